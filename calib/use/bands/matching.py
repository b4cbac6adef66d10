"""Left and right out of many: limits of how far two bands may be apart, and pairs of the smallest worst, then sum.

The pairs: two exact steps, both a maximum-weight matching of a general graph (Z. Galil, ACM Comput. Surv. 18 (1986) 23)
by rustworkx, in whole numbers: a search over the costs for the smallest at which everybody still has a partner, then
among those pairs the smallest sum. A search for augmenting paths and a primal-dual matching of our own stood here
before: the same answers in 300 lines.

The limits: 95 % upper limits from errors drawn once. Of every two bands a bound that their limit cannot fall below
comes from one matrix product over all draws. Limits are worked out for the nearest only; a pairing that is best while
all others stand in with their bounds is best of all.
"""

import zlib
from collections.abc import Iterator, Sequence

import numpy as np
import rustworkx
from numpy.typing import NDArray

from calib.records import Array
from calib.use.bands.shared_lengths import NORMAL_95, Curve

Costs = NDArray[np.int64]
Pairs = list[tuple[int, int]]
DRAWS = 2000  # of the errors; the limits then scatter by 5 % of u
SEED = 20260301
STEP = 1e-3  # [N] two limits nearer than this are the same
NEAREST = 16  # bands whose limit with a band is worked out at first, and again where that was not enough
ROUNDING = 1e-5  # of a mean square, in single precision


def draws_of(curve: Curve, count: int) -> Array:
    """Errors of a curve as they may be, shape (count, lengths). [N]

    A source draws the same numbers in whatever company, so that what two bands share cancels and the answer for two
    bands does not depend on the others.
    """
    return drawn(curve.sources, count)


def drawn(sources: dict[str, Array], count: int) -> Array:
    """What sources do together, shape (count, lengths). [N]"""
    numbers = np.stack([_numbers(key, count) for key in sources], axis=1)
    return numbers @ np.stack(list(sources.values()))


def _numbers(key: str, count: int) -> Array:
    return np.random.default_rng([SEED, zlib.crc32(key.encode())]).standard_normal(count)


class PairLimits:
    """Curves of several bands with their errors, and how far any two of them may be apart.

    The difference is taken to be as seen plus its error, drawn from all sources together: with nothing known of it
    beforehand, that is what is known of it now. Where u95 is wider than of a normal error, the error is widened.
    """

    def __init__(self, curves: Sequence[Curve], draws: int = DRAWS) -> None:
        self.curves = curves
        self.errors = [draws_of(curve, draws) for curve in curves]
        self._single = np.array([error.T for error in self.errors], dtype=np.float32)
        self._last = int(np.ceil(0.95 * draws)) - 1

    def limit_of(self, i: int, j: int) -> float:
        """95 % upper limit of the largest difference of two. [N]"""
        return self._limit_of(i, j, self._single[i] - self._single[j])

    def with_more(self, i: int, j: int, more: Sequence[Array]) -> float:
        """The same with more errors of these two, shape (draws, lengths) each. [N]"""
        one, other = ((self.errors[k] + of_k).T.astype(np.float32) for k, of_k in zip((i, j), more, strict=True))
        return self._limit_of(i, j, one - other)

    def _limit_of(self, i: int, j: int, off: NDArray[np.float32]) -> float:
        a, b = self.curves[i], self.curves[j]
        off *= (np.maximum(a.ratio, b.ratio) / NORMAL_95).astype(np.float32)[:, None]
        off += (a.force - b.force).astype(np.float32)[:, None]
        largest = np.abs(off, out=off).max(axis=0)
        return float(np.partition(largest, self._last)[self._last])

    def floors(self) -> Array:
        """What no limit of two falls below, shape (bands, bands). [N]

        At most one draw in t^2 is off by more than t root mean squares (Chebyshev's inequality, which holds for draws
        too). With t^2 just above 1 / 0.95 that leaves a draw within the limit whose error is no more than that.
        """
        draws = self._single.shape[2]
        at = self._single.transpose(1, 0, 2)  # lengths first
        square = (at @ at.transpose(0, 2, 1)).astype(float) / draws
        own = np.einsum("xii->xi", square)
        both = own[:, :, None] + own[:, None, :]
        apart = np.sqrt(np.maximum(both - 2 * square, 0.0) + ROUNDING * both).transpose(1, 2, 0)
        force, ratio = (np.array([getattr(c, name) for c in self.curves]) for name in ("force", "ratio"))
        wider = np.maximum(ratio[:, None], ratio[None]) / NORMAL_95
        t = (draws / (self._last - 1)) ** 0.5
        found: Array = (abs(force[:, None] - force[None]) * (1 - 1e-6) - t * wider * apart).max(axis=2)
        return np.maximum(found, 0.0)


def upper_limits(curves: Sequence[Curve], draws: int = DRAWS) -> Array:
    """95 % upper limits of the largest difference of every two curves, shape (bands, bands). [N]"""
    limits, n = PairLimits(curves, draws), len(curves)
    out = np.zeros((n, n))
    for i, j in _every_two(n):
        out[i, j] = out[j, i] = limits.limit_of(i, j)
    return out


def _every_two(n: int) -> Iterator[tuple[int, int]]:
    return ((i, j) for i in range(n) for j in range(i + 1, n))


def nearest_pairs(limits: PairLimits) -> tuple[list[tuple[int, int, float]], int | None]:
    """The best of all pairings by the limits, each pair with its own; and who is left over.

    Everything not worked out stands in with the bound it cannot fall below: when the best pairing holds none of these,
    no other pairing can be better.
    """
    floors, n = limits.floors(), len(limits.curves)
    cost = np.floor(floors / STEP).astype(np.int64)
    exact: dict[tuple[int, int], float] = {}
    known = np.eye(n, dtype=bool)

    def work_out(bands: Sequence[int], pairs: Pairs) -> None:
        nearest = np.argsort(np.where(known[bands], np.inf, floors[bands]), axis=1, kind="stable")[:, :NEAREST]
        wanted = {(min(i, int(j)), max(i, int(j))) for i, row in zip(bands, nearest, strict=True) for j in row}
        for i, j in {*wanted, *pairs}:
            if not known[i, j]:
                exact[i, j] = limits.limit_of(i, j)
                known[i, j] = known[j, i] = True
                cost[i, j] = cost[j, i] = round(exact[i, j] / STEP)

    work_out(range(n), [])
    while True:
        pairs, left = best_pairs(cost)
        guessed = [pair for pair in pairs if not known[pair]]
        if not guessed:
            return [(i, j, exact[i, j]) for i, j in pairs], left
        work_out(sorted({band for pair in guessed for band in pair}), guessed)


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
