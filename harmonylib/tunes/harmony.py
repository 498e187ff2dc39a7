"""Reading a tune file: the door behind `harmonylib.tunes.read`.

Conventions
- A file becomes a `Sheet` (`reading_musicxml`, `reading_abc`), a sheet becomes a tune here.
- music21 reads notes; what a chord symbol says is read by `harmonylib.chords` alone, so music21 never sees one.
- The melody is the top line of the first part or voice that has notes; what is left out is said in the remarks.
- Nothing but a `HarmonyError` leaves this module.
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
            found[max(onset, Fraction(0))] = chord
            remarks += [f"bar {bar}, {chord}: {remark}" for remark in (chord.remarks if chord else ())]
    return [Change(onset, chord) for onset, chord in found.items()], remarks


def read_chord(symbol: str) -> Chord:
    """`Chord.parse` with roots and basses of at most one accidental; raises `HarmonyError`."""
    chord = Chord.parse(symbol)
    return replace(chord, root=chord.root.simplest(), bass=chord.bass and chord.bass.simplest())
