"""Every way to pair a few things, as the yardstick of the search."""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

Costs = NDArray[np.int64]
Pairs = list[tuple[int, int]]


def all_pairings(things: Sequence[int]) -> Iterator[Pairs]:
    """All ways to pair an even number of things."""
    if not things:
        yield []
        return
    first, *others = things
    for i, partner in enumerate(others):
        for rest in all_pairings(others[:i] + others[i + 1 :]):
            yield [(first, partner), *rest]


def worst_and_sum(cost: Costs, pairs: Pairs) -> tuple[int, int]:
    """What a pairing is judged by."""
    costs = [int(cost[pair]) for pair in pairs]
    return max(costs, default=0), sum(costs)


def best_of_all(cost: Costs) -> tuple[int, int]:
    """Smallest worst pair and then smallest sum of all pairings; with an odd number each may be left over."""
    n = len(cost)
    left_over = range(n) if n % 2 else (n,)
    groups = ([i for i in range(n) if i != left] for left in left_over)
    return min(worst_and_sum(cost, pairs) for group in groups for pairs in all_pairings(group))


def any_costs(rng: np.random.Generator, n: int | None = None) -> Costs:
    """Costs of 2 to 8 things, or of n: few values with many ties, many values, levels on a line, places on a plane."""
    n = n or int(rng.integers(2, 9))
    kind = rng.integers(4)
    if kind < 2:
        cost = rng.integers(0, (8, 100_000)[kind], (n, n))
    else:
        place = rng.normal(0, 10_000, (n, kind - 1))
        place[0] += rng.choice([0, 100_000])
        cost = (np.abs(place[:, None] - place[None]).max(axis=-1)).astype(np.int64) + 1000
    upper = np.triu(cost, 1)
    return np.asarray(upper + upper.T)
