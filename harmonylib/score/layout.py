"""Which bars are written, and where a line of music ends.

Conventions
- Bars are named by their number; a pick-up is bar 0 and shares the line of the bar after it.
"""

from __future__ import annotations

from collections.abc import Sequence

from harmonylib.errors import HarmonyError, shown, whole
from harmonylib.tunes.metre import Bar
from harmonylib.tunes.tune import Tune

BARS_A_LINE = 4

COLUMNS_A_LINE = 30
"""Chords and rests that fit on a line of music as wide as a page; a denser line is divided (chosen by eye)."""


def bar_range(tune: Tune, first: int | None, last: int | None) -> range:
    """Indices of the bars numbered `first` to `last`, None for either end of the tune; `HarmonyError` if none."""
    numbers = [bar.number for bar in tune.bars]
    low, high = numbers[0] if first is None else first, numbers[-1] if last is None else last
    low, high = whole(low, "the number of a bar"), whole(high, "the number of a bar")
    chosen = [index for index, number in enumerate(numbers) if low <= number <= high]
    if not chosen:
        raise HarmonyError(f"bars {shown(low)} to {shown(high)}: the tune has bars {numbers[0]} to {numbers[-1]}")
    return range(chosen[0], chosen[-1] + 1)


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
