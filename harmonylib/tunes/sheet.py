"""A sheet: what was read from a file, before it becomes a tune; with the limits on what a file may hold.

Conventions
- `tunes.musicxml` and `tunes.abc` make a `Sheet`, `tunes.melody` makes a tune of it.
- What was left out, and what was guessed, is said in the remarks.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from harmonylib.errors import HarmonyError
from harmonylib.theory.chords import Chord
from harmonylib.tunes.metre import Bar
from harmonylib.tunes.tune import MODES, Note

LIMIT = 20_000_000
"""Bytes a file may hold, unpacked: a long book of tunes has about a tenth of that."""


MOST_NOTES = 20_000
"""Notes and rests a part or tune may hold: a long symphony has about as many in its first part."""


MOST_QUARTERS = 50_000
"""Quarter notes a tune may last: more than 12,000 bars."""


LONGEST = 1000
"""Quarter notes a single note or rest may last; more is a damaged file."""


MODE_NAMES = {**{mode: mode for mode in MODES}, "ionian": "major", "aeolian": "minor"}


STEERING = re.compile(
    r"\b(?:D\.?\s?[CS]\.?(?=\s|$)|da\s?capo|dal\s?segno|(?:to\s?)?coda|fine|segno)", re.IGNORECASE
)  # words that send the player elsewhere


@dataclass
class Sheet:
    """What a file says, before the melody is one line."""

    title: str = ""
    composer: str = ""
    tempo: float | None = None
    mode: str | None = None
    notes: list[tuple[Note, bool]] = field(default_factory=list)
    """Every note, and whether a tie leads into it."""
    chords: list[tuple[Fraction, Chord | None | HarmonyError]] = field(default_factory=list)
    """In written order; an error is a symbol that cannot be read."""
    bars: list[Bar] = field(default_factory=list)
    numbers: list[str] = field(default_factory=list)
    pick_up: bool | None = None
    """Whether the file calls its first bar one; None: see by its length."""
    free: bool = False
    """Whether the file says that its bars keep no metre."""
    remarks: list[str] = field(default_factory=list)
    note_move: tuple[int, int] = (0, 0)
    """Letters and semitones from the written to the sounding notes."""
    chord_move: tuple[int, int] = (0, 0)


def clean(text: str | None) -> str:
    """One line without control characters, of at most 200 characters; what is cut ends in an ellipsis."""
    line = " ".join("".join(c if c.isprintable() else " " for c in text or "").split())
    return line if len(line) <= 200 else f"{line[:199].rstrip()}…"


def countable(notes: int = 0, quarters: Fraction = Fraction(0)) -> None:
    """Raises `HarmonyError` when there is more than `MOST_NOTES` or `MOST_QUARTERS`, before it is laid out."""
    if notes > MOST_NOTES:
        raise HarmonyError(f"it has more than {MOST_NOTES} notes and rests: give the file of a single tune")
    if quarters > MOST_QUARTERS:
        raise HarmonyError(f"it lasts longer than {MOST_QUARTERS} quarter notes: give the file of a single tune")


def fraction(value: Any) -> Fraction:
    return Fraction(value).limit_denominator(65_535)  # music21's own limit for lengths that are no binary fractions


def likely_tempo(value: float) -> float | None:
    return value if 10 <= value <= 1000 else None


def steer(text: str) -> str:
    return (text.capitalize() if text.islower() else text)[:60]


def section_name(text: str | None) -> str:
    """The name of a section as a file gives it, of at most 40 letters."""
    return clean(text)[:40].strip()
