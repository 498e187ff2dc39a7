"""Repeats alike: the cheapest chain in which bars that are the same are played the same.

Bars with the same notes and the same options are one *phrase*; phrases that always follow each other are joined. A
phrase costs M(entry, exit): the cheapest way through it from its first grip to its last, once for each time it comes.
The sum of these and of the steps from phrase to phrase is minimised over all entries and exits by variable elimination,
which is exact. Where a tune jumps about among so many repeated bars that a table would outgrow `LARGEST`, one grip is
fixed to what the free search prefers and the rest is solved exactly: still alike, not proven cheapest.

Conventions
- Notes are counted from 0; columns without options are passed over. Costs are pure numbers, infinite where no hand
  gets there in time.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from heapq import heappop, heappush
from typing import NamedTuple

import numpy as np

from harmonylib.arranging.chain import Array, Columns

LARGEST = 500_000
"""Entries of the largest table that is built while variables are eliminated."""


class Phrase(NamedTuple):
    """Notes that come again: where each of its occurrences starts, and how many notes it has."""

    starts: tuple[int, ...]
    size: int


class Bound(NamedTuple):
    """A chain that plays repeats alike: what it costs, its picks, and whether it is proven the cheapest such chain."""

    cost: float
    picks: tuple[int, ...]
    exact: bool


def phrases(bars: Sequence[tuple[Hashable, int]], seconds: Sequence[float]) -> list[Phrase]:
    """The phrases of a tune from its bars, each a key (equal for bars that are alike) and its number of notes.

    `seconds` lie between each note and the next. Bars that always follow each other, equally fast, are joined; so are
    those that come once.

    >>> phrases([("a", 2), ("b", 3), ("c", 1), ("a", 2), ("b", 3)], [0.5] * 10)
    [Phrase(starts=(0, 6), size=5), Phrase(starts=(5,), size=1)]
    """
    names, starts, at = [key for key, size in bars if size], [], 0
    sizes = [size for _, size in bars if size]
    for size in sizes:
        starts.append(at)
        at += size
    before: dict[Hashable, set[object]] = {}
    after: dict[Hashable, set[object]] = {}
    for place, name in enumerate(names):
        gap = round(seconds[starts[place] - 1], 9) if place else None
        before.setdefault(name, set()).add((names[place - 1], gap) if place else None)
        after.setdefault(names[place - 1], set()).add((name, gap)) if place else None
    after.setdefault(names[-1], set()).add(None)
    found: dict[Hashable, list[tuple[int, int]]] = {}
    head: Hashable = None
    for place, name in enumerate(names):
        came = next(iter(before[name])) if len(before[name]) == 1 else None
        joined = came is not None and len(after[names[place - 1]]) == 1 and names[place - 1] != name
        if joined:
            start, size = found[head][-1]
            found[head][-1] = (start, size + sizes[place])
        else:
            head = name
            found.setdefault(head, []).append((starts[place], sizes[place]))
    return [Phrase(tuple(start for start, _ in places), places[0][1]) for places in found.values()]


def bound_chain(arrays: Columns, steps: Sequence[Array], tune: Sequence[Phrase], free: Sequence[int]) -> Bound | None:
    """The cheapest chain in which every phrase is played alike; None when the hand cannot follow any.

    `steps[n]` holds the cost of every step from note n to note n + 1, `free` the picks of the free search.
    """
    tables: list[Factor] = []
    inside: list[list[Array]] = []
    order = sorted((start, number) for number, phrase in enumerate(tune) for start in phrase.starts)
    for number, phrase in enumerate(tune):
        through, ways = _through(arrays, steps, phrase)
        inside.append(ways)
        if phrase.size == 1:
            tables.append(Factor((2 * number,), np.diagonal(through)))
        else:
            tables.append(Factor((2 * number, 2 * number + 1), through))
    for (start, number), (following, other) in zip(order, order[1:], strict=False):
        leave, enter = 2 * number + (tune[number].size > 1), 2 * other
        assert start + tune[number].size == following
        step = steps[following - 1]
        if leave == enter:
            tables.append(Factor((leave,), np.diagonal(step)))
        else:
            tables.append(Factor((leave, enter), step))
    fixed = {}
    for number, phrase in enumerate(tune):
        fixed[2 * number] = free[phrase.starts[0]]
        fixed[2 * number + 1] = free[phrase.starts[0] + phrase.size - 1]
    cost, values, exact = eliminate(tables, fixed)
    if not np.isfinite(cost):
        return None
    picks = [0] * len(arrays.cost)
    for number, phrase in enumerate(tune):
        chain = _way(inside[number], values[2 * number], values.get(2 * number + 1, values[2 * number]))
        for start in phrase.starts:
            picks[start : start + phrase.size] = chain
    return Bound(cost, tuple(picks), exact)


def bound_chains(
    arrays: Columns, steps: Sequence[Array], tune: Sequence[Phrase], free: Sequence[int], count: int
) -> list[Bound]:
    """The `count` cheapest chains that play every phrase alike, the cheapest first; fewer when there are not so many.

    After each chain found, the rest is parted by the first note that is played otherwise, and each part solved anew.
    """
    notes = [(phrase, place) for phrase in tune for place in range(phrase.size)]
    first = bound_chain(arrays, steps, tune, free)
    heap: list[tuple[float, int, Bound, int, Array]] = [(first.cost, 0, first, 0, arrays.cost)] if first else []
    found: list[Bound] = []
    while heap and len(found) < count:
        _, _, best, depth, own = heappop(heap)
        found.append(best)
        if len(found) == count:
            break
        own = own.copy()
        for number in range(depth, len(notes)):
            phrase, place = notes[number]
            rows, pick = [start + place for start in phrase.starts], best.picks[phrase.starts[0] + place]
            without = own.copy()
            without[rows, pick] = np.inf
            other = bound_chain(arrays._replace(cost=without), steps, tune, free)
            if other:
                heappush(heap, (other.cost, len(found) * len(notes) + number, other, number, without))
            kept = own[rows, pick].copy()
            own[rows] = np.inf
            own[rows, pick] = kept
    return found


def _through(arrays: Columns, steps: Sequence[Array], phrase: Phrase) -> tuple[Array, list[Array]]:
    """The cheapest way through all occurrences of a phrase, from every entry to every exit, and where it comes from."""
    first, times = phrase.starts[0], len(phrase.starts)
    own = arrays.cost[np.add.outer(np.array(phrase.starts), np.arange(phrase.size))].sum(0)
    total = np.where(np.eye(own.shape[1], dtype=bool), own[0][:, None], np.inf)
    ways: list[Array] = []
    for place in range(1, phrase.size):
        reach = total[:, :, None] + times * steps[first + place - 1][None]
        ways.append(reach.argmin(1))
        total = reach.min(1) + own[place][None]
    return total, ways


def _way(ways: Sequence[Array], entry: int, leave: int) -> list[int]:
    """The picks of a phrase between a given entry and exit."""
    picks = [leave]
    for back in reversed(ways):
        picks.append(int(back[entry, picks[-1]]))
    return picks[::-1]


# --- variable elimination -----------------------------------------------------------------------------------------


class Factor(NamedTuple):
    """A table of costs over some variables, one axis each."""

    over: tuple[int, ...]
    table: Array


def eliminate(factors: Sequence[Factor], fixed: dict[int, int]) -> tuple[float, dict[int, int], bool]:
    """The least sum of all factors, a value for every variable that reaches it, and whether that is proven.

    The variable with the fewest neighbours goes first; one whose table would outgrow `LARGEST` is `fixed`.

    >>> steps = [Factor((0, 1), np.array([[4.0, 1.0], [0.0, 9.0]])), Factor((1, 2), np.array([[2.0, 7.0], [3.0, 0.0]]))]
    >>> eliminate(steps, {})
    (1.0, {2: 1, 1: 1, 0: 0}, True)
    """
    at: dict[int, list[Factor]] = {}
    for factor in factors:
        for variable in factor.over:
            at.setdefault(variable, []).append(factor)
    constant, exact = 0.0, True
    known: dict[int, int] = {}
    chosen: list[tuple[int, tuple[int, ...], Array]] = []
    queue = [(len(_around(at[variable])), variable) for variable in at]
    queue.sort()
    while queue:
        degree, variable = heappop(queue)
        if variable not in at:
            continue
        now = len(_around(at[variable]))
        if now > degree:
            heappush(queue, (now, variable))
            continue
        mine = at.pop(variable)
        others = tuple(v for v in _around(mine) if v != variable)
        width = mine[0].table.shape[mine[0].over.index(variable)]
        if width ** (len(others) + 1) > LARGEST:
            exact, known[variable] = False, fixed[variable]
            made = [_at_value(factor, variable, fixed[variable]) for factor in mine]
        else:
            table = sum(_spread(factor, (variable, *others)) for factor in mine)
            chosen.append((variable, others, np.asarray(table).argmin(0)))
            made = [Factor(others, np.asarray(table).min(0))]
        for old in mine:
            for other in set(old.over) - {variable}:
                at[other] = [factor for factor in at[other] if factor is not old]
        for factor in made:
            if not factor.over:
                constant += float(factor.table)
            for other in factor.over:
                at[other].append(factor)
        for other in others:
            heappush(queue, (len(_around(at[other])), other))
    for variable, others, best in reversed(chosen):
        known[variable] = int(best[tuple(known[other] for other in others)])
    return constant, known, exact


def _around(factors: Sequence[Factor]) -> tuple[int, ...]:
    return tuple(sorted({variable for factor in factors for variable in factor.over}))


def _at_value(factor: Factor, variable: int, value: int) -> Factor:
    axis = factor.over.index(variable)
    return Factor(tuple(v for v in factor.over if v != variable), np.asarray(factor.table.take(value, axis)))


def _spread(factor: Factor, over: tuple[int, ...]) -> Array:
    """The table of a factor with the axes of `over`, of length 1 where it does not hang on a variable."""
    order = sorted(factor.over, key=over.index)
    table = factor.table.transpose([factor.over.index(variable) for variable in order])
    sizes = iter(table.shape)
    return table.reshape([next(sizes) if variable in factor.over else 1 for variable in over])
