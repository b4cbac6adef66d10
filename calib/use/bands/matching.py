"""Pairs out of an even or odd number of things: the smallest worst pair first, then the smallest sum. No band is known.

Two exact steps, both a maximum-weight matching of a general graph (Z. Galil, ACM Comput. Surv. 18 (1986) 23) by
rustworkx, in whole numbers: a search over the costs for the smallest at which everybody still has a partner, then among
those pairs the smallest sum. A search for augmenting paths and a primal-dual matching of our own stood here before: the
same answers in 300 lines.
"""

import numpy as np
import rustworkx
from numpy.typing import NDArray

Costs = NDArray[np.int64]
Pairs = list[tuple[int, int]]


def best_pairs(cost: Costs) -> tuple[Pairs, int | None]:
    """Pair everybody: of all ways that with the smallest worst cost, of those that with the smallest sum.

    Args:
        cost: Of each two together, whole numbers from 0 on, symmetric, shape (n, n); the diagonal does not matter.

    Returns:
        Pairs of numbers, dearest last, and who is left over where n is odd.
    """
    n = len(cost)
    if n % 2:  # a dummy vertex that costs nothing: its partner is left over
        cost = np.pad(cost, (0, 1))
    if n < 2:
        return [], 0 if n else None
    worst = smallest_worst(cost)
    pairs = _matching(cost, worst, worst + 1)
    left = next((i for i, j in pairs if j == n), None)
    return sorted(((i, j) for i, j in pairs if j < n), key=lambda p: (cost[p], p)), left


def smallest_worst(cost: Costs) -> int:
    """Smallest c for which everybody finds a partner at a cost of c or less; the number of things is even."""
    upper = cost[np.triu_indices(len(cost), 1)]
    steps = np.unique(upper)
    apart = np.where(np.eye(len(cost), dtype=bool), upper.max() + 1, cost)
    low, high = int(np.searchsorted(steps, apart.min(axis=1).max())), len(steps) - 1
    middle = low  # where the loneliest has its only partner: mostly that is it
    while low < high:
        everybody = 2 * len(_matching(cost, int(steps[middle]), None)) == len(cost)
        low, high = (low, middle) if everybody else (middle + 1, high)
        middle = (low + high) // 2
    return int(steps[low])


def _matching(cost: Costs, most: int, above: int | None) -> Pairs:
    """A matching of as many as can be, no pair dearer than `most`; of those the cheapest where `above` is given.

    Args:
        cost: As in `best_pairs`.
        most: Largest cost allowed.
        above: A number above all costs: a weight is what a cost is short of it. None: the sum does not matter.
    """
    i, j = np.nonzero(np.triu(cost <= most, 1))
    weights = [1] * len(i) if above is None else (above - cost[i, j]).tolist()
    graph = rustworkx.PyGraph(multigraph=False)
    graph.add_nodes_from(range(len(cost)))
    graph.add_edges_from(list(zip(i.tolist(), j.tolist(), weights, strict=True)))
    found = rustworkx.max_weight_matching(graph, max_cardinality=True, weight_fn=int)
    return [(min(pair), max(pair)) for pair in found]
