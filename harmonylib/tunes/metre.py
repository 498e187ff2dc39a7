"""Tunes: a melody and its chord changes in exact beats, read from MusicXML or ABC.

Conventions
- Time is counted in quarter notes from the first written note or rest, as `Fraction`; tempo is quarter notes a minute.
- Bars stand in written order; repeats and endings are marks on the bars, nothing is played out.
- A bar and beat shown to a person count from 1, a pick-up bar is 0, and beats are those of the metre's lower number.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple


@dataclass(frozen=True, slots=True)
class Bar:
    """A written bar; a pick-up or a bar split by a repeat is shorter than its metre."""

    number: int
    onset: Fraction
    length: Fraction
    metre: tuple[int, int] = (4, 4)
    fifths: int = 0
    repeat_start: bool = False
    repeat_end: bool = False
    ending: str = ""
    """The numbers of the ending this bar belongs to, as in ``"1"`` or ``"1, 2"``; empty outside endings."""
    marks: tuple[str, ...] = ()
    """Words that steer the reading: Segno, Coda, Fine, D.C. al Fine …"""
    section: str = ""
    """The name of the section that opens here, as in ``"B"``; empty inside a section."""

    @property
    def end(self) -> Fraction:
        return self.onset + self.length

    @property
    def full(self) -> Fraction:
        """How long a bar of its metre is."""
        return Fraction(4 * self.metre[0], self.metre[1])


def beat_text(beat: Fraction) -> str:
    """A beat as a person says it.

    >>> beat_text(Fraction(5, 2)), beat_text(Fraction(3)), beat_text(Fraction(4, 3))
    ('2½', '3', '1⅓')
    """
    part = {(1, 2): "½", (1, 3): "⅓", (2, 3): "⅔", (1, 4): "¼", (3, 4): "¾"}
    whole, rest = divmod(beat, 1)
    if rest == 0:
        return str(whole)
    return f"{whole}{part.get((rest.numerator, rest.denominator), f' {rest}')}"


class Grid(NamedTuple):
    """The beats of a bar: their starts with the end of the last, the middle if it has one, whether it is compound."""

    beats: tuple[Fraction, ...]
    middle: Fraction | None
    compound: bool

    def beat(self, at: Fraction) -> tuple[Fraction, Fraction]:
        """Start and end of the beat that holds the moment `at`."""
        index = min(max(bisect_right(self.beats, at) - 1, 0), len(self.beats) - 2)
        return self.beats[index], self.beats[index + 1]


@lru_cache(maxsize=256)
def grid(metre: tuple[int, int], length: Fraction) -> Grid:
    """The beats of a bar in `metre`; a bar longer than its metre goes on in the same beats.

    >>> [str(beat) for beat in grid((7, 8), Fraction(7, 2)).beats], str(grid((6, 8), Fraction(3)).middle)
    (['0', '1', '2', '7/2'], '3/2')
    """
    count, lower = metre
    compound = lower >= 8 and count % 3 == 0
    step = Fraction(12 if compound else 8, lower) if lower >= 8 else Fraction(1)
    full = Fraction(4 * count, lower)
    beats = [step * n for n in range(int(full / step))] + [full]
    while beats[-1] < length:
        beats.append(beats[-1] + step)
    middle = full / 2 if full / 2 in beats and len(beats) % 2 else None
    return Grid(tuple(beats), middle, compound)
