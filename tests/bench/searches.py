"""The cheapest chain found in three other ways, on the columns and step costs of the library's own search.

Each takes a `Lattice` and gives the cost of its best chain; the library's is `best_chains`.

Sources: networkx (`shortest_path_length`, Dijkstra); OR-tools (`SimpleMinCostFlow`: one
unit of flow from the first column to the last is a shortest path); `itertools.product` for every chain there is.
"""

from __future__ import annotations

from itertools import pairwise, product
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonylib.arranging.arrange import _seconds_between
from harmonylib.arranging.arrangement import Settings
from harmonylib.arranging.candidates import option_columns
from harmonylib.arranging.chain import laid_out, steps_between
from harmonylib.tunes.tune import Tune

SCALE = 10**6
"""OR-tools takes whole costs: a millionth is its unit."""


class Lattice(NamedTuple):
    """A tune's columns of options as the library lays them out: `own` costs a column, `steps` between columns."""

    columns: tuple[tuple[object, ...], ...]
    gaps: list[float]
    own: list[NDArray[np.float64]]
    steps: list[NDArray[np.float64]]

    @property
    def width(self) -> float:
        """Options a note, on average."""
        return sum(map(len, self.columns)) / len(self.columns)

    def cost(self, chain: tuple[int, ...]) -> float:
        """What one chain costs."""
        own = sum(costs[pick] for costs, pick in zip(self.own, chain, strict=True))
        return float(own + sum(step[a, b] for step, (a, b) in zip(self.steps, pairwise(chain), strict=True)))


def lattice(tune: Tune, settings: Settings, notes: int | None = None) -> Lattice:
    """The lattice of a tune all of whose notes lie on the neck, or of its first notes."""
    columns = option_columns(tune, settings)[:notes]
    gaps = _seconds_between(tune, settings)[: len(columns) - 1]
    arrays = laid_out(columns)
    sizes = [len(column) for column in columns]
    found = steps_between(arrays, gaps, settings.weights)
    steps = [step[:a, :b] for (_, step), (a, b) in zip(found, pairwise(sizes), strict=True)]
    return Lattice(columns, gaps, [cost[:size] for cost, size in zip(arrays.cost, sizes, strict=True)], steps)


def by_networkx(given: Lattice) -> float:
    import networkx

    graph = networkx.DiGraph()
    graph.add_weighted_edges_from(("start", (0, pick), cost) for pick, cost in enumerate(given.own[0].tolist()))
    for index, step in enumerate(given.steps, start=1):
        weights = step + given.own[index]
        for a, b in zip(*np.nonzero(np.isfinite(weights)), strict=True):
            graph.add_edge((index - 1, int(a)), (index, int(b)), weight=float(weights[a, b]))
    graph.add_weighted_edges_from(((len(given.steps), pick), "end", 0.0) for pick in range(len(given.own[-1])))
    return float(networkx.shortest_path_length(graph, "start", "end", weight="weight"))


def by_ortools(given: Lattice) -> float:
    from ortools.graph.python import min_cost_flow

    first = np.cumsum([1, *map(len, given.own)])  # node 0 is the start, one node an option, the end comes last
    end = int(first[-1])
    tails, heads, costs = [np.zeros(len(given.own[0]))], [first[0] + np.arange(len(given.own[0]))], [given.own[0]]
    for index, step in enumerate(given.steps, start=1):
        weights = step + given.own[index]
        a, b = np.nonzero(np.isfinite(weights))
        tails.append(first[index - 1] + a)
        heads.append(first[index] + b)
        costs.append(weights[a, b])
    last = np.arange(first[-2], end)
    tails, heads, costs = [*tails, last], [*heads, np.full(len(last), end)], [*costs, np.zeros(len(last))]
    tail, head = np.concatenate(tails).astype(int), np.concatenate(heads).astype(int)
    flow = min_cost_flow.SimpleMinCostFlow()
    arcs = flow.add_arcs_with_capacity_and_unit_cost(
        tail, head, np.ones(len(tail), dtype=int), np.rint(np.concatenate(costs) * SCALE).astype(int)
    )
    flow.set_nodes_supplies(np.array([0, end]), np.array([1, -1]))
    status = flow.solve()
    if status != flow.OPTIMAL:
        raise RuntimeError(f"OR-tools ends with {status}")
    used = sorted(head[flow.flows(arcs) == 1])[:-1]  # nodes are numbered in the order of the tune
    return given.cost(tuple(int(node - start) for node, start in zip(used, first, strict=False)))


def by_trying_all(given: Lattice) -> float:
    return min(map(given.cost, product(*(range(len(own)) for own in given.own))))
