"""The chord changes of a `Sheet`, put in time.

Conventions
- “N.C.” and its kind end the chord before. A symbol that cannot be read leaves a remark that names its bar, and the
  chord before it goes on.
- Of several symbols at one moment the last one written counts.
"""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

from harmonylib.errors import HarmonyError
from harmonylib.theory.chords import Chord
from harmonylib.tunes.sheet import Sheet
from harmonylib.tunes.tune import Change, Tune

NO_CHORD = re.compile(r"n\.?\s*c\.?|no\s*chord|none|tacet", re.IGNORECASE)


def changes_in(sheet: Sheet, tune: Tune) -> tuple[list[Change], list[str]]:
    """The changes in time, the last one written at a moment, and a remark on each symbol that cannot be read."""
    found: dict[Fraction, Chord | None] = {}
    remarks = []
    for onset, chord in sorted(sheet.chords, key=lambda pair: pair[0]):
        bar = tune.bar_at(onset).number
        if isinstance(chord, HarmonyError):
            remarks.append(f"bar {bar}: {chord}; the chord before it goes on")
        elif onset >= tune.end:
            remarks.append(f"{chord or 'N.C.'} after the last bar is left out")
        else:
            onset = max(onset, Fraction(0))
            if onset in found and found[onset] != chord:
                remarks.append(
                    f"bar {bar}: {found[onset] or 'N.C.'} and {chord or 'N.C.'} stand together: the last counts"
                )
            found[onset] = chord
            remarks += [f"bar {bar}, {chord}: {remark}" for remark in (chord.remarks if chord else ())]
    return [Change(onset, chord) for onset, chord in found.items()], remarks


def read_chord(symbol: str) -> Chord:
    """`Chord.parse` with roots and basses of at most one accidental; raises `HarmonyError`."""
    chord = Chord.parse(symbol)
    return replace(chord, root=chord.root.simplest(), bass=chord.bass and chord.bass.simplest())
