"""Which bars are written, and where a line of music ends.

Conventions
- Bars are named by their number; a pick-up is bar 0 and shares the line of the bar after it.
"""

from __future__ import annotations

from collections.abc import Sequence

from harmonylib.tunes.metre import Bar

BARS_A_LINE = 4

COLUMNS_A_LINE = 30
"""Chords and rests that fit on a line of music as wide as a page; a denser line is divided (chosen by eye)."""


def line_starts(columns: Sequence[int], bars: Sequence[Bar], most: int) -> frozenset[int]:
    """Indices of the bars that open a line of music: every four bars, halved where they hold more than `most` columns.

    `columns` counts the chords and rests of each bar; a pick-up shares the line of the bar after it.
    """
    first = 1 if bars[0].number == 0 else 0
    groups = [range(start if start > first else 0, min(start + BARS_A_LINE, len(bars)))
              for start in range(first, len(bars), BARS_A_LINE)]  # fmt: skip
    return frozenset(start for group in groups for start in _lines(group, columns, most))


def _lines(group: range, columns: Sequence[int], most: int) -> list[int]:
    if len(group) == 1 or sum(columns[index] for index in group) <= most:
        return [group[0]]
    half = (len(group) + 1) // 2
    return _lines(group[:half], columns, most) + _lines(group[half:], columns, most)
