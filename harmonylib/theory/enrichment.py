"""Enriching a chord: what it becomes when a note that is foreign to it is held over it.

The seasoned way beside the diminished seventh: a ninth, a thirteenth, a sharp eleventh, an eleventh over a minor chord,
a fourth over a dominant or a minor seventh is taken into the chord, in the place of a neighbour.

Conventions
- The table runs by the kind of chord that sounds, then by the degree the note is; it gives the symbol's new ending and
  the four degrees, on the same root.
- A symbol that alters a degree (♭9) is not given the plain one (9).

Source: common practice.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from harmonylib.theory.chords import Chord
from harmonylib.theory.families import interval
from harmonylib.theory.pitch import Pitch

_Row = dict[str, tuple[str, ...]]

_MAJOR_SEVENTH: _Row = {
    "9": ("maj9", "9 3 5 7"),
    "13": ("maj13", "1 3 13 7", "9 3 13 7"),
    "♯11": ("maj7♯11", "1 3 ♯11 7"),
}
_SIXTH: _Row = {"9": ("6/9", "9 3 5 6"), "♯11": ("6(♯11)", "1 3 ♯11 6"), "7": ("maj7", "1 3 5 7")}
_DOMINANT: _Row = {
    "9": ("9", "9 3 5 ♭7"),
    "13": ("13", "1 3 13 ♭7", "9 3 13 ♭7"),
    "♯11": ("7♯11", "1 3 ♯11 ♭7"),
    "4": ("7sus4", "1 4 5 ♭7"),
}
_MINOR: _Row = {
    "9": ("m9", "9 ♭3 5 ♭7"),
    "11": ("m11", "1 ♭3 11 ♭7", "9 ♭3 11 ♭7"),
    "13": ("m13", "1 ♭3 13 ♭7", "9 ♭3 13 ♭7"),
}
_MINOR_SIXTH: _Row = {"9": ("m6/9", "9 ♭3 5 6"), "11": ("m6(add11)", "1 ♭3 11 6"), "♭7": ("m7", "1 ♭3 5 ♭7")}
ENRICHED: dict[str, _Row] = {
    # kind of the chord: degree of the note → the new ending, and the four degrees it may be played with
    "": {"9": ("6/9", "9 3 5 6"), "♯11": ("6(♯11)", "1 3 ♯11 6")},
    "6": _SIXTH,
    "maj7": _MAJOR_SEVENTH,
    "7": _DOMINANT,
    "7♭5": {"9": ("9♭5", "9 3 ♭5 ♭7"), "13": ("7♭5(add13)", "1 3 13 ♭7")},
    "7♯5": {"9": ("9♯5", "9 3 ♯5 ♭7"), "♯11": ("7♯5(♯11)", "3 ♯11 ♯5 ♭7")},
    "7sus4": {"9": ("9sus4", "9 4 5 ♭7"), "13": ("13sus4", "1 4 13 ♭7", "9 4 13 ♭7"), "3": ("7", "1 3 5 ♭7")},
    "sus4": {"9": ("9sus4", "9 4 5 ♭7"), "13": ("13sus4", "1 4 13 ♭7", "9 4 13 ♭7"), "3": ("7", "1 3 5 ♭7")},
    "m": {"9": _MINOR["9"], "11": _MINOR["11"]},
    "m7": _MINOR,
    "m6": _MINOR_SIXTH,
    "m(maj7)": {"9": ("m(maj9)", "9 ♭3 5 7"), "11": ("m(maj7)(add11)", "1 ♭3 11 7"), "6": ("m6", "1 ♭3 5 6")},
    "m7♭5": {"9": ("m9♭5", "9 ♭3 ♭5 ♭7"), "11": ("m7♭5(add11)", "1 11 ♭5 ♭7")},
    "maj7♯5": {"9": ("maj7♯5(add9)", "9 3 ♯5 7")},
    "maj7♭5": {"9": ("maj7♭5(add9)", "9 3 ♭5 7"), "13": ("maj7♭5(add13)", "1 3 13 7")},
}
DOMINANTS = ("7", "7♭5", "7♯5", "7sus4", "sus4")
"""Kinds that drive onward: over them a ninth or a thirteenth belongs to the chord at any length."""


@dataclass(frozen=True, slots=True)
class Enrichment:
    """A chord enriched by a note: what it becomes, which degree the note is, and the forms that hold it."""

    chord: Chord
    degree: str
    stacks: tuple[tuple[str, ...], ...]


def enrichment(pitch: Pitch, over: Chord, dominant: bool = False) -> Enrichment | None:
    """What `over` becomes when `pitch` is taken into it; None where the trade knows nothing better.

    `dominant` takes a major triad for the seventh chord that it is by its place in the key.

    >>> made = enrichment(Pitch.parse("D4"), Chord.parse("C7"))
    >>> made.chord, made.degree, made.stacks
    (C9, '9', (('9', '3', '5', '♭7'),))
    >>> enrichment(Pitch.parse("F4"), Chord.parse("G7sus4")), enrichment(Pitch.parse("Db4"), Chord.parse("C"))
    (None, None)
    """
    return _enrichment(pitch.midi % 12, over, "7" if dominant and over.kind == "" else over.kind)


@lru_cache(maxsize=4096)
def _enrichment(pitch_class: int, over: Chord, kind: str) -> Enrichment | None:
    altered = {extension[1:] for extension in over.extensions if extension[0] in "♭♯"}
    for degree, (ending, *stacks) in ENRICHED.get(kind, {}).items():
        here = (over.root.pitch_class + interval(degree)[1]) % 12 == pitch_class
        if here and pitch_class not in over.tones and degree not in altered:
            chord = Chord.parse(f"{over.root}{ending}")
            return Enrichment(chord, degree, tuple(tuple(stack.split()) for stack in stacks))
    return None
