"""Shells: the melody with only the chord's root under it, the stage before the middle is filled in.

Conventions
- The melody lies on top, the root on a string below it, at least a fifth deep where the hand can: a shell is what will
  be filled in.
- Strings between the two are damped and cost nothing here; the melody belongs on the upper strings.

Source: common practice.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import product

from harmonylib.arranging.chain import Option
from harmonylib.arranging.costs import COMFORT_FRET, COMFORT_MM, MELODY_STRING, Weights
from harmonylib.guitar.neck import Neck
from harmonylib.tunes.chordtones import Tested

DEEPEST, SHALLOWEST = 31, 7
"""Semitones from the melody down to the root: two octaves and a fifth at most, a fifth at least."""
BASS_STRINGS = 4
"""The highest string a root lies on."""


def shell_options(verdict: Tested, neck: Neck, weights: Weights) -> tuple[Option, ...]:
    """Every way to hold the chord's root under a melody note, with what it costs."""
    if verdict.chord is None:
        return ()
    return _shells(neck, verdict.note.pitch.midi, verdict.chord.root.pitch_class, weights)


@lru_cache(maxsize=4096)
def _shells(neck: Neck, midi: int, root: int, weights: Weights) -> tuple[Option, ...]:
    weight, count, found = dict(weights.grip), len(neck.open_midi), []
    depth = (midi - root) % 12
    for below, top, low in product(range(depth, DEEPEST + 1, 12), range(1, count), range(2, count + 1)):
        if below < SHALLOWEST or low <= top or low < BASS_STRINGS:
            continue
        grip = neck.grip_for((midi - below, midi), (low, top))
        if grip:
            costs = {
                "stretch": max(neck.stretch_mm(grip.frets) - COMFORT_MM, 0),
                "open string": grip.frets.count(0),
                "high fret": max(max(grip.fretted, default=0) - COMFORT_FRET, 0),
                "melody string": max(top - MELODY_STRING, 0),
            }
            paid = tuple((name, weight[name] * amount) for name, amount in costs.items() if amount)
            found.append(Option(grip, paid, neck.position_mm(grip), (midi - below, 0, 0), "shell", ("1",)))
    return tuple(found)
