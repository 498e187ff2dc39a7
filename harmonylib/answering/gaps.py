"""Call and response: while a melody chord is held, or a rest follows, other voicings of the harmony answer it.

The melody chord is the *call*. Its *gap* is the time from when the call has rung for a beat (or has ended) to the next
call. A gap is answered by one to three chords in a rhythm from a written table; any of them may be *approached* by the
same grip one fret lower or higher. For every gap the cheapest answer over all rhythms, voicings and approaches is found
exactly, with the costs below.

Conventions
- Time is in quarter notes as in `harmonylib.tunes`; rhythms are written in beats (a dotted quarter in compound metres).
- An answer shortens its call, it never moves it; the melody stays as it is.
- A seed draws, gap by gap, a rhythm with its place, a contour and an approach; the search may depart from what was
  drawn, and pays for it.

Rhythms, weights and times are common practice. `check_answers` tells what is wrong and shares no code with the search.
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
