"""The cheapest chain: one grip a column, found exactly by dynamic programming.

The best way to reach a grip is the best way to reach some grip of the column before, plus one step; a chain is a
shortest path through the columns.

Conventions
- Costs are pure numbers that add up, infinite where no hand gets there in time.
- Positions are millimetres along the neck, gaps are seconds.
- Arrays have the shape (notes, options of the longest column), padded with options that cost infinity.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonylib.arranging.costs import SHIFT_MM, TRAVEL_MM_S, Weights
from harmonylib.guitar.grips import Grip

Array = NDArray[np.float64]


class Option(NamedTuple):
    """One way to play one melody note: a grip with what it costs, and the voicing behind it."""

    grip: Grip
    costs: tuple[tuple[str, float], ...]
    position: float
    lower: tuple[int, ...]
    spread: str = ""
    stack: tuple[str, ...] = ()


def best_chains(
    columns: Sequence[Sequence[Option]], gaps: Sequence[float], count: int = 1, weights: Weights | None = None
) -> list[tuple[float, tuple[int, ...]]]:
    """The `count` cheapest chains through the columns: (cost, index chosen in each column), exact.

    `gaps` holds the seconds between one note and the next. A column without options is passed over. Empty when the
    hand cannot follow any chain.
    """
    full = [index for index, column in enumerate(columns) if column]
    if not full:
        return [(0.0, (0,) * len(columns))]
    arrays = laid_out([columns[index] for index in full])
    width, times = arrays.cost.shape[1], gaps_between(full, gaps)
    total = np.full((width, count), np.inf)
    total[:, 0] = arrays.cost[0]
    back = np.empty((len(full), count, width), dtype=np.int32)
    for index, step in steps_between(arrays, times, weights or Weights()):
        total, back[index] = advance(total, step, arrays.cost[index], count)
    ends = total.ravel().argsort(kind="stable")[:count]
    chains = []
    for end in ends:
        if not np.isfinite(total.ravel()[end]):
            break
        pick, rank = divmod(int(end), count)
        picks = [pick]
        for index in range(len(full) - 1, 0, -1):
            pick, rank = divmod(int(back[index, rank, pick]), count)
            picks.append(pick)
        chain = [0] * len(columns)
        for index, pick in zip(full, reversed(picks), strict=True):
            chain[index] = pick
        chains.append((float(total.ravel()[end]), tuple(chain)))
    return chains


def advance(total: Array, step: Array, own: Array, count: int) -> tuple[Array, NDArray[np.intp]]:
    """One column further: the `count` cheapest ways to every option of the next column, and where they come from.

    `total` has shape (options, count), `step` (options, options of the next column), `own` their own costs. A way comes
    from slot option · count + rank of the column before.
    """
    if count == 1:
        reach = total + step
        return (reach.min(0) + own)[:, None], reach.argmin(0)[None]
    before, width = step.shape
    reach = (total[:, :, None] + step[:, None, :]).reshape(before * count, width)
    order = reach.argsort(0, kind="stable")[:count]
    return reach[order, np.arange(width)].T + own[:, None], order


class Columns(NamedTuple):
    """Options as arrays of shape (notes, width), padded with options that cost infinity; `lower` has three voices."""

    cost: Array
    position: Array
    lower: Array
    strings: Array
    block: NDArray[np.bool_]

    def part(self, start: int, stop: int) -> Columns:
        """The columns from `start` to before `stop`."""
        cost, position, lower, strings, block = (array[start:stop] for array in self)
        return Columns(cost, position, lower, strings, block)  # type: ignore[arg-type]


def laid_out(columns: Sequence[Sequence[Option]]) -> Columns:
    """The arrays of some columns; equal columns (the same object) are laid out once."""
    different = {id(column): column for column in columns}
    rows = {key: row for row, key in enumerate(different)}
    width = max(len(column) for column in columns)
    shape = (len(different), width)
    cost, position, strings = np.full(shape, np.inf), np.zeros(shape), np.zeros(shape)
    lower, block = np.zeros((*shape, 3)), np.zeros(shape, dtype=bool)
    for row, column in enumerate(different.values()):
        size = len(column)
        cost[row, :size] = [sum(value for _, value in option.costs) for option in column]
        position[row, :size] = [option.position for option in column]
        strings[row, :size] = [string_bits(option.grip.frets) for option in column]
        block[row, :size] = [bool(option.lower) for option in column]
        lower[row, :size] = [option.lower or (0, 0, 0) for option in column]
    take = np.array([rows[id(column)] for column in columns])
    return Columns(cost[take], position[take], lower[take], strings[take], block[take])


@lru_cache(maxsize=65536)
def string_bits(frets: tuple[int | None, ...]) -> int:
    """A number that is the same for the same strings and no others."""
    return sum(1 << place for place, fret in enumerate(frets) if fret is not None)


def step_terms(before: Columns, after: Columns, weights: Weights) -> dict[str, Array]:
    """What each cost of a step comes to, from every option to every option: shape (notes, width, width)."""
    weight = dict(weights.step)
    travel = np.abs(before.position[:, :, None] - after.position[:, None, :])
    both = before.block[:, :, None] & after.block[:, None, :]
    voices = np.zeros_like(travel)
    for voice_number in range(3):
        voices += np.abs(before.lower[:, :, None, voice_number] - after.lower[:, None, :, voice_number])
    moved = before.strings[:, :, None] != after.strings[:, None, :]
    return {
        "travel": weight["travel"] * travel,
        "voices": weight["voices"] * voices * both,
        "string set": weight["string set"] * (moved & both),
    }


def steps_between(
    arrays: Columns, times: Sequence[float], weights: Weights, chunk: int = 2048
) -> Iterator[tuple[int, Array]]:
    """For each note but the first: its index and the cost of every step to it; too fast a jump costs infinity."""
    seconds = np.asarray(times)
    for start in range(1, len(arrays.cost), chunk):
        stop = min(start + chunk, len(arrays.cost))
        before, after = arrays.part(start - 1, stop - 1), arrays.part(start, stop)
        steps = sum(step_terms(before, after, weights).values())
        reach = np.maximum(TRAVEL_MM_S * seconds[start - 1 : stop - 1], SHIFT_MM)[:, None, None]
        far = np.abs(before.position[:, :, None] - after.position[:, None, :]) > reach
        steps = np.where(far & after.block[:, None, :], np.inf, steps)
        yield from ((start + offset, step) for offset, step in enumerate(steps))


def gaps_between(full: Sequence[int], gaps: Sequence[float]) -> list[float]:
    if len(full) == len(gaps) + 1:
        return list(gaps)
    return [sum(gaps[a:b]) for a, b in zip(full, full[1:], strict=False)]
