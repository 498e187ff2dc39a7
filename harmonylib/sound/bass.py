"""Bass roots: the lowest note of the sounding chord, low down, at every bar line and every change.

Conventions
- A chord over another bass sounds that bass; where no chord sounds the bass rests.
- Times are those of `harmonylib.sound.events.played_events`.
"""

from __future__ import annotations

from collections.abc import Sequence

from harmonylib.sound.events import PARTS, Event, zero_of
from harmonylib.tunes.form import Run
from harmonylib.tunes.tune import Tune

BASS_LOWEST = 28
"""The low E of a bass, an octave under that of a guitar; the eleven semitones over it are in use too."""


def bass_events(tune: Tune, runs: Sequence[Run]) -> tuple[Event, ...]:
    """The bass under some runs of bars.

    >>> from harmonylib.tunes.form import runs
    >>> from harmonylib.tunes.reading import read_text
    >>> tune = read_text('M:4/4\\nL:1/4\\nK:C\\n"C"E4|"C"E2"G7/F"F2|')
    >>> [(str(event.onset), str(event.duration), event.midi) for event in bass_events(tune, runs(tune))]
    [('0', '4', (36,)), ('4', '2', (36,)), ('6', '2', (29,))]
    """
    zero = zero_of(runs[0].bars[0])
    found = []
    for run in runs:
        for bar in run.bars:
            moments = {bar.onset} | {c.onset for c in tune.changes if bar.onset < c.onset < bar.end}
            for start, end in zip(sorted(moments), [*sorted(moments)[1:], bar.end], strict=True):
                chord = tune.chord_at(start)
                if chord:
                    lowest = (chord.bass or chord.root).pitch_class
                    midi = BASS_LOWEST + (lowest - BASS_LOWEST) % 12
                    onset = start + run.later - zero
                    found.append(Event(onset, end - start, (midi,), "bass", None, PARTS["bass"][0]))
    return tuple(found)
