"""The gaps between the calls: where an arrangement leaves time for an answer.

The melody chord is the *call*. Its *gap* is the time from when the call has rung for a beat (or has ended) to the next
call.

Conventions
- Time is in quarter notes from the first written note or rest; calls are counted as the notes of the tune, from 0.

Source: how short a gap may be is common practice.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from harmonylib.arranging.arrangement import ARRANGEMENT, Arrangement
from harmonylib.errors import expect

SHORTEST_GAP_S = 0.6  # a gap shorter than this stays silent (common practice)


@dataclass(frozen=True)
class Gap:
    """Time for an answer after the call with index `call`, from `start` to `end`; or why it must stay silent."""

    call: int
    start: Fraction
    end: Fraction
    why_silent: str = ""


def gaps(arrangement: Arrangement) -> tuple[Gap, ...]:
    """Every gap of an arrangement: a chord held longer than a beat, or followed by a rest.

    >>> from harmonylib.tunes.reading import read_text
    >>> from harmonylib.arranging.arrange import arrange
    >>> tune = read_text('X:1\\nT:Example\\nM:4/4\\nL:1/4\\nK:C\\n"Cmaj7"E3 G | "Dm7"F2 z2 |]')
    >>> [(gap.call, str(gap.start), str(gap.end)) for gap in gaps(arrange(tune))]
    [(0, '1', '3'), (2, '5', '8')]
    """
    tune, found = expect(Arrangement, arrangement, ARRANGEMENT).tune, []
    for choice in arrangement.choices:
        if choice.voicing is None:
            continue
        note, beat = choice.note, tune.beat_length(choice.note.onset)
        following = arrangement.choices[choice.index + 1 : choice.index + 2]
        end = following[0].note.onset if following else tune.end
        start = note.onset + min(note.duration, beat)
        if end <= start:
            continue
        seconds = float(end - start) * 60 / arrangement.tempo
        short = f"{seconds:.2f} s is too short for an answer" if seconds < SHORTEST_GAP_S else ""
        found.append(Gap(choice.index, start, end, short))
    return tuple(found)
