"""Metre: the bars of a tune, and the one felt beat that arranging, answers, beams, clicks and accents go by.

Conventions
- Time is counted in quarter notes, as `Fraction`. A pick-up is bar 0 and counts towards the next bar line.
- The felt beat is a quarter; a half in 2/2, 3/2 and 4/2; three units in 3/8, 6/8, 9/8, 12/8 and their sixteenths.
  Irregular metres in eighths and sixteenths run in twos with what is left at the end (5/8 is 2+3, 7/8 is 2+2+3),
  unless the tune says how its units are grouped (3+2/8). Metres over 4 are counted in quarters, 6/4 too.
- A beat shown to a person is one of the metre's lower number.

Sources: common practice of notation; the tests compare the beats with music21's, and say where they differ.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import accumulate
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
    groups: tuple[int, ...] = ()
    """How the units of the metre are grouped, as in (3, 2) for 3+2/8; empty where the tune does not say."""
    section: str = ""
    """The name of the section that opens here, as in ``"B"``; empty inside a section."""

    @property
    def end(self) -> Fraction:
        return self.onset + self.length

    @property
    def full(self) -> Fraction:
        """What its metre holds, in quarter notes."""
        return Fraction(4 * self.metre[0], self.metre[1])

    @property
    def lead(self) -> Fraction:
        """What a pick-up leaves out of its metre, in quarter notes; 0 for every other bar."""
        return self.full - self.length if self.number == 0 else Fraction(0)

    @property
    def start(self) -> Fraction:
        """Where its metre starts: its onset, or where the bar line of a pick-up would be."""
        return self.onset - self.lead

    @property
    def grid(self) -> Grid:
        """Its felt beats, counted from `start`."""
        return grid(self.metre, self.lead + self.length, self.groups)

    def beat_length(self, onset: Fraction) -> Fraction:
        """Length of the felt beat that holds a moment, in quarter notes.

        >>> [str(Bar(1, Fraction(0), Fraction(5, 2), (5, 8)).beat_length(Fraction(at))) for at in (0, 1, 2)]
        ['1', '3/2', '3/2']
        """
        return _moment(self.metre, self.groups, self.lead + self.length, onset - self.start).beat

    def on_beat(self, onset: Fraction) -> bool:
        """Whether a moment is the start of a felt beat."""
        return _moment(self.metre, self.groups, self.lead + self.length, onset - self.start).on_beat

    def on_strong_beat(self, onset: Fraction) -> bool:
        """Whether a moment is the first beat, or the middle of a bar that has one on a beat."""
        return _moment(self.metre, self.groups, self.lead + self.length, onset - self.start).strong


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


def quarters(length: Fraction) -> str:
    """A length as a person says it.

    >>> quarters(Fraction(1, 2)), quarters(Fraction(1)), quarters(Fraction(5, 2))
    ('½ quarter', '1 quarter', '2½ quarters')
    """
    return f"{beat_text(length).lstrip('0').strip() or '0'} quarter{'' if 0 < length <= 1 else 's'}"


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
def grid(metre: tuple[int, int], length: Fraction, groups: tuple[int, ...] = ()) -> Grid:
    """The felt beats of a bar in `metre`; a bar longer than its metre goes on in the same beats.

    >>> [str(beat) for beat in grid((7, 8), Fraction(7, 2)).beats], str(grid((6, 8), Fraction(3)).middle)
    (['0', '1', '2', '7/2'], '3/2')
    >>> [str(beat) for beat in grid((5, 8), Fraction(5, 2), (3, 2)).beats]
    ['0', '3/2', '5/2']
    """
    count, lower = metre
    compound = lower >= 8 and count % 3 == 0
    unit = Fraction(4, lower)
    step = 3 * unit if compound else 2 * unit if lower >= 8 else unit
    full = count * unit
    if sum(groups) == count:
        beats = [unit * part for part in accumulate(groups, initial=0)]
    else:
        beats = [step * n for n in range(max(int(full / step), 1))] + [full]
    while beats[-1] < length:
        beats.append(beats[-1] + step)
    middle = full / 2 if full / 2 in beats and len(beats) % 2 else None
    return Grid(tuple(beats), middle, compound)


class Moment(NamedTuple):
    """A moment of a bar: the length of its felt beat, whether it starts one, whether that is a strong one."""

    beat: Fraction
    on_beat: bool
    strong: bool


@lru_cache(maxsize=4096)
def _moment(metre: tuple[int, int], groups: tuple[int, ...], length: Fraction, at: Fraction) -> Moment:
    made = grid(metre, length, groups)
    start, end = made.beat(at)
    return Moment(end - start, at in made.beats, at in (Fraction(0), made.middle))
