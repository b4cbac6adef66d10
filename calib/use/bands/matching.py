"""Pairs out of an even or odd number of things: the smallest worst pair first, then the smallest sum. No band is known.

Two exact steps. Edmonds' search for augmenting paths through odd circles (Canad. J. Math. 17 (1965) 449) finds the
smallest cost at which everybody still has a partner. Among those pairs the smallest sum is a linear programme: one
partner each, and as many of Edmonds' conditions on odd sets (J. Res. Natl. Bur. Stand. 69B (1965) 125) as are needed
until the answer is whole. A whole answer of a programme with fewer conditions than the true one has is the best there
is. Where the simple search finds no further condition, branching (HiGHS, through scipy) ends it.
"""

from collections import deque
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Costs = NDArray[np.int64]
Mask = NDArray[np.bool_]
Pairs = list[tuple[int, int]]
_MUCH = np.iinfo(np.int64).max


def best_pairs(cost: Costs) -> tuple[Pairs, int | None]:
    """Pair everybody: of all ways that with the smallest worst cost, of those that with the smallest sum.

    Args:
        cost: Of each two together, whole numbers from 0 on, symmetric, shape (n, n); the diagonal does not matter.

    Returns:
        Pairs of numbers, dearest last, and who is left over where n is odd.
    """
    n = len(cost)
    if n % 2:  # somebody who costs nothing and is nobody
        cost = np.pad(cost, (0, 1))
    if n < 2:
        return [], 0 if n else None
    allowed = cost <= smallest_worst(cost)
    np.fill_diagonal(allowed, False)
    pairs = _SmallestSum(np.where(allowed, cost, cost.sum() + 1)).solve()
    left = next((i for i, j in pairs if j == n), None)
    return sorted(((i, j) for i, j in pairs if j < n), key=lambda p: (cost[p], p)), left


def smallest_worst(cost: Costs) -> int:
    """Smallest c for which everybody finds a partner at a cost of c or less; the number of things is even."""
    upper = cost[np.triu_indices(len(cost), 1)]
    steps = np.unique(upper)
    apart = np.where(np.eye(len(cost), dtype=bool), upper.max() + 1, cost)
    low, high = int(np.searchsorted(steps, apart.min(axis=1).max())), len(steps) - 1
    while low < high:
        middle = (low + high) // 2
        partners = most_partners([np.flatnonzero(row <= steps[middle]).tolist() for row in apart])
        low, high = (low, middle) if -1 not in partners else (middle + 1, high)
    return int(steps[low])


def most_partners(neighbours: Sequence[Sequence[int]]) -> list[int]:
    """A matching of a graph with as many pairs as it can have.

    Args:
        neighbours: Of each vertex.

    Returns:
        The partner of each vertex, -1 where it has none.
    """
    partner = [-1] * len(neighbours)
    for v, near in enumerate(neighbours):  # most find one without asking anybody to move
        free = next((w for w in near if partner[w] < 0), None) if partner[v] < 0 else None
        if free is not None:
            partner[v], partner[free] = free, v
    for root in range(len(neighbours)):
        if partner[root] < 0:
            _Search(neighbours, partner).augment(root)
    return partner


class _Search:
    """A search for one augmenting path: alternating trees whose odd circles are shrunk to their base."""

    def __init__(self, neighbours: Sequence[Sequence[int]], partner: list[int]) -> None:
        n = len(neighbours)
        self.neighbours, self.partner = neighbours, partner
        self.parent = [-1] * n
        self.base = list(range(n))
        self.even = [False] * n

    def augment(self, root: int) -> None:
        """Give the root a partner where that is possible without taking anybody's away."""
        self.even[root] = True
        queue = deque([root])
        while queue:
            v = queue.popleft()
            for w in self.neighbours[v]:
                if self.base[v] == self.base[w] or self.partner[v] == w:
                    continue
                if w == root or (self.partner[w] >= 0 and self.parent[self.partner[w]] >= 0):
                    self._shrink(v, w, queue)
                elif self.parent[w] < 0:
                    self.parent[w] = v
                    if self.partner[w] < 0:
                        self._swap(w)
                        return
                    self.even[self.partner[w]] = True
                    queue.append(self.partner[w])

    def _swap(self, end: int) -> None:
        """Change partners along the path from the root."""
        while end >= 0:
            before = self.parent[end]
            onward = self.partner[before]
            self.partner[end], self.partner[before] = before, end
            end = onward

    def _shrink(self, v: int, w: int, queue: deque[int]) -> None:
        """Make one of an odd circle."""
        top = self._common_base(v, w)
        within: set[int] = set()
        for start, child in ((v, w), (w, v)):
            here, below = start, child
            while self.base[here] != top:
                within |= {self.base[here], self.base[self.partner[here]]}
                self.parent[here] = below
                below = self.partner[here]
                here = self.parent[below]
        for u in range(len(self.base)):
            if self.base[u] in within:
                self.base[u] = top
                if not self.even[u]:
                    self.even[u] = True
                    queue.append(u)

    def _common_base(self, v: int, w: int) -> int:
        """Where the ways to the root meet."""
        passed: set[int] = set()
        while True:
            v = self.base[v]
            passed.add(v)
            if self.partner[v] < 0:
                break
            v = self.parent[self.partner[v]]
        while self.base[w] not in passed:
            w = self.parent[self.partner[self.base[w]]]
        return self.base[w]


class _SmallestSum:
    """A perfect matching of a complete graph with the smallest sum of costs, by Edmonds' primal-dual method.

    Nodes are the things, 0 to n - 1, and behind them odd circles shrunk to one node. Each node has a price; an edge is
    tight where its twofold cost equals the prices at its ends, and only tight edges are used. `end[x, y]` is the thing
    in node x that the best edge from x to y leaves from. Trees grow from all things without a partner at once.
    """

    def __init__(self, cost: Costs) -> None:
        n = len(cost)
        size = n + n // 2
        self.n, self.cost = n, 4 * cost  # even prices to begin with: then every step is a whole number
        self.price = np.zeros(size, dtype=np.int64)
        self.price[:n] = 2 * np.where(np.eye(n, dtype=bool), cost.max() + 1, cost).min(axis=1)
        self.end = np.broadcast_to(np.arange(size)[:, None], (size, size)).copy()
        self.top = np.full(size, -1)  # the outermost node each is in; -1: not in use
        self.top[:n] = np.arange(n)
        self.circle: list[list[int]] = [[x] for x in range(n)] + [[] for _ in range(n, size)]
        self.holds: list[dict[int, int]] = [{x: x} for x in range(n)] + [{} for _ in range(n, size)]
        self.partner = np.full(size, -1)  # of a node: the thing at the other end
        self._forget()

    def solve(self) -> Pairs:
        """Pair all; the number of things is even."""
        tight = self._slack(np.arange(self.n)[:, None], np.arange(self.n)[None, :]) == 0
        for x in range(self.n):
            free = np.flatnonzero(tight[x] & (self.partner[: self.n] < 0))
            free = free[free != x]
            if self.partner[x] < 0 and len(free):
                self.partner[x], self.partner[free[0]] = free[0], x
        while (self.partner[: self.n] < 0).any():
            self._grow_trees()
        return [(x, int(y)) for x, y in enumerate(self.partner[: self.n]) if x < y]

    def _forget(self) -> None:
        size = len(self.price)
        self.kind = np.full(size, -1)  # of an outermost node: 0 even, 1 odd distance from its root, -1 in no tree
        self.parent = np.full(size, -1)  # thing through which an odd node was reached
        self.nearest = np.full(size, -1)  # the thing in an even node that is nearest to a node
        self.queue: deque[int] = deque()

    def _slack(self, x: Any, y: Any) -> Any:
        """How far the best edge between nodes is from being tight."""
        u, v = self.end[x, y], self.end[y, x]
        return self.cost[u, v] - self.price[u] - self.price[v]

    def _outermost(self) -> Costs:
        return np.flatnonzero(self.top == np.arange(len(self.top)))

    def _push(self, x: int) -> None:
        self.queue.extend(self.holds[x])

    def _grow_trees(self) -> None:
        """Go on until two things without a partner are joined by a path."""
        self._forget()
        for x in self._outermost():
            if self.partner[x] < 0:
                self.kind[x] = 0
                self._push(int(x))
        while True:
            while self.queue:
                if self._visit(self.queue.popleft()):
                    return
            self._change_prices()
            for x in self._outermost():
                u = int(self.nearest[x])
                met = u >= 0 and self.top[x] == x and self.top[u] != x and self.kind[x] != 1
                if met and self._slack(u, x) == 0 and self._use(u, int(x)):
                    return
            for b in np.flatnonzero((self.top == np.arange(len(self.top))) & (self.kind == 1) & (self.price == 0)):
                if b >= self.n:
                    self._open(int(b))

    def _visit(self, u: int) -> bool:
        """Use the tight edges of a thing in an even node; True where partners were changed."""
        while True:
            around = self._outermost()
            around = around[(around != self.top[u]) & (self.kind[around] != 1)]
            slack = self._slack(u, around)
            if not (slack == 0).any():
                break
            if self._use(u, int(around[np.argmax(slack == 0)])):
                return True
        known = self.nearest[around]
        nearer, met = known < 0, known >= 0
        nearer[met] = slack[met] < self._slack(known[met], around[met])
        self.nearest[around[nearer]] = u
        return False

    def _change_prices(self) -> None:
        """Raise prices of even nodes and lower those of odd ones until an edge becomes tight or a circle opens."""
        at = self._outermost()
        reached = at[(self.nearest[at] >= 0) & (self.kind[at] != 1)]
        slack = self._slack(self.nearest[reached], reached)
        room = np.where(self.kind[reached] == 0, slack // 2, slack)
        circles = at[(at >= self.n) & (self.kind[at] == 1)]
        step = int(min(room.min(initial=_MUCH), (self.price[circles] // 2).min(initial=_MUCH)))
        kind = self.kind[self.top[: self.n]]
        self.price[: self.n] += np.where(kind == 0, step, np.where(kind == 1, -step, 0))
        blossoms = at[at >= self.n]
        self.price[blossoms] += np.where(self.kind[blossoms] == 0, 2 * step, 0)
        self.price[blossoms] -= np.where(self.kind[blossoms] == 1, 2 * step, 0)

    def _use(self, u: int, y: int) -> bool:
        """Take a tight edge from a thing in an even node to a node: grow, shrink, or change partners (True)."""
        u, v = int(self.end[u, y]), int(self.end[y, u])
        x, y = int(self.top[u]), int(self.top[v])
        if self.kind[y] < 0:
            self.parent[y], self.kind[y] = u, 1
            z = int(self.top[self.partner[y]])
            self.nearest[y] = self.nearest[z] = -1
            self.kind[z] = 0
            self._push(z)
        elif self.kind[y] == 0:
            meeting = self._meeting(x, y)
            if meeting < 0:
                self._augment(x, y)
                self._augment(y, x)
                return True
            self._shrink(x, meeting, y)
        return False

    def _meeting(self, x: int, y: int) -> int:
        """The even node where the ways to the roots meet, -1 where the roots differ."""
        passed: set[int] = set()
        while x >= 0 or y >= 0:
            if x >= 0:
                if x in passed:
                    return x
                passed.add(x)
                x = self._above(x)
            x, y = y, x
        return -1

    def _above(self, x: int) -> int:
        """The even node above an even one, -1 above a root."""
        odd = int(self.top[self.partner[x]]) if self.partner[x] >= 0 else -1
        return int(self.top[self.parent[odd]]) if odd >= 0 else -1

    def _augment(self, x: int, y: int) -> None:
        """Give node x the node y for partner, and change partners up to x's root."""
        while True:
            odd = int(self.top[self.partner[x]]) if self.partner[x] >= 0 else -1
            self._marry(x, y)
            if odd < 0:
                return
            x, y = int(self.top[self.parent[odd]]), odd
            self._marry(y, x)

    def _marry(self, x: int, y: int) -> None:
        """Match node x to node y, inside x too."""
        self.partner[x] = self.end[y, x]
        if x < self.n:
            return
        inner = self.holds[x][int(self.end[x, y])]
        even = self._even_way(x, inner)
        ring = self.circle[x]
        for i in range(even):
            self._marry(ring[i], ring[i ^ 1])
        self._marry(inner, y)
        self.circle[x] = ring[even:] + ring[:even]

    def _even_way(self, b: int, inner: int) -> int:
        """Turn a circle so that an even number of steps leads from its base to one of its nodes; return the number."""
        ring = self.circle[b]
        at = ring.index(inner)
        if at % 2:
            ring[1:] = ring[:0:-1]
            at = len(ring) - at
        return at

    def _shrink(self, x: int, meeting: int, y: int) -> None:
        """Make one node of an odd circle of tight edges."""
        b = int(np.flatnonzero(self.top[self.n :] < 0)[0]) + self.n
        ring = [meeting]
        for start in (x, y):
            side: list[int] = []
            here = start
            while here != meeting:
                odd = int(self.top[self.partner[here]])
                side += [here, odd]
                here = int(self.top[self.parent[odd]])
                self._push(odd)
            ring += side[::-1] if start == x else side
        self.circle[b], self.price[b], self.kind[b] = ring, 0, 0
        self.partner[b], self.nearest[b] = self.partner[meeting], -1
        self.holds[b] = {thing: part for part in ring for thing in self.holds[part]}
        self._best_edges(b, ring)
        self._put_in(b, b)
        self._find_nearest(b)

    def _best_edges(self, b: int, ring: Sequence[int]) -> None:
        every = np.flatnonzero((self.top >= 0) & ~np.isin(self.top, ring))
        slack = np.array([self._slack(part, every) for part in ring])
        best = np.array(ring)[slack.argmin(axis=0)]
        self.end[b, every], self.end[every, b] = self.end[best, every], self.end[every, best]

    def _put_in(self, x: int, b: int) -> None:
        self.top[x] = b
        if x >= self.n:
            for part in self.circle[x]:
                self._put_in(part, b)

    def _find_nearest(self, x: int) -> None:
        """The thing in an even node nearest to a node, -1 where there is none."""
        things = np.arange(self.n)
        things = things[(self.kind[self.top[: self.n]] == 0) & (self.top[: self.n] != x)]
        self.nearest[x] = things[self._slack(things, x).argmin()] if len(things) else -1

    def _open(self, b: int) -> None:
        """Undo an odd node whose price is nil: the even way through it stays in the tree, the rest leaves it."""
        for part in self.circle[b]:
            self._put_in(part, part)
        came = int(self.end[b, self.parent[b]])
        inner = self.holds[b][came]
        even = self._even_way(b, inner)
        ring = self.circle[b]
        self.top[b] = -1
        for i in range(0, even, 2):
            odd, next_even = ring[i], ring[i + 1]
            self.parent[odd] = self.end[next_even, odd]
            self.kind[odd], self.kind[next_even] = 1, 0
            self.nearest[odd] = -1
            self._find_nearest(next_even)
            self._push(next_even)
        self.kind[inner], self.parent[inner] = 1, self.parent[b]
        for part in ring[even + 1 :]:
            self.kind[part] = -1
            self._find_nearest(part)
        self.kind[b] = -1
