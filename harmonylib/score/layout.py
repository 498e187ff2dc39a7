"""Which bars are written, and where a line of music ends.

Conventions
- Bars are named by their number; a pick-up is bar 0. Where a bar is parted by a repeat or double bar, its second part
  is the pick-up of what follows. A pick-up shares the line of the bar after it and is not counted.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from harmonylib.tunes.metre import Bar

BARS_A_LINE = 4

COLUMNS_A_LINE = 30
"""Chords and rests that fit on a line of music as wide as a page; a denser line is divided (chosen by eye)."""

COLUMNS_A_LETTER = 0.75
"""How much of one the letters of chord symbols take where several stand in a bar (chosen by eye)."""


def columns_over(symbols: Sequence[str]) -> int:
    """How many columns a bar needs for its chord symbols to keep clear of each other; one alone has room.

    >>> columns_over(["Gm7♭5", "C7(♭9)"]), columns_over(["Gm7♭5"])
    (9, 0)
    """
    return int(COLUMNS_A_LETTER * sum(len(symbol) + 1 for symbol in symbols)) if len(symbols) > 1 else 0


def line_starts(columns: Sequence[int], bars: Sequence[Bar], most: int) -> frozenset[int]:
    """Indices of the bars that open a line of music: every four bars, halved where they hold more than `most` columns.

    `columns` counts the chords and rests of each bar; a pick-up shares the line of the bar after it.
    """
    counted = [index for index in range(len(bars)) if not _is_pick_up(bars, index)]
    starts = [index - _is_pick_up(bars, index - 1) for index in counted[::BARS_A_LINE]]
    groups = [range(start, stop) for start, stop in pairwise([*starts, len(bars)])]
    return frozenset(start for group in groups for start in _lines(group, columns, most))


def _is_pick_up(bars: Sequence[Bar], index: int) -> bool:
    """Whether a bar leads into the next one: bar 0, or what the bar before it lacks to be full."""
    if index < 0 or bars[index].number == 0:
        return index >= 0
    bar, before = bars[index], bars[index - 1]
    parted = index > 0 and bar.length < bar.full and before.length + bar.length == bar.full == before.full
    return parted and not _is_pick_up(bars, index - 1)


def _lines(group: range, columns: Sequence[int], most: int) -> list[int]:
    if len(group) == 1 or sum(columns[index] for index in group) <= most:
        return [group[0]]
    half = (len(group) + 1) // 2
    return _lines(group[:half], columns, most) + _lines(group[half:], columns, most)
