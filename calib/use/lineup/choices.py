"""What one lifter could hang, and the plan of all lifters with the least to change between them.

Lifters take turns at one bar, so nothing that one hangs is lacking to the next: what is wanted is each lifter's own
matter, and only the changes from one to the next tie them together. The order of importance is therefore kept exactly:
of each lifter's choices those with the least miss beyond U stay, of these those whose sides differ least, and among
them the plan with the fewest changes is a shortest path from turn to turn, which is exact for any number of lifters. A
programme of whole numbers over all of them would find the same plan; it was not needed.

Two walks find it. The first goes from one way to hang the bands to the next and counts moves alone; the second goes
over the plates of what lies on a path with the fewest moves.
"""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import cdist

from calib.frozen import dataclass
from calib.records import Array

MOST_AT_ONCE = 4000  # ways to hang the bands of one turn, equal in miss and balance, that are held against each other


@dataclass(frozen=True)
class Choices:
    """What one lifter could hang, each row one way to do it.

    Attributes:
        beyond: Miss beyond U, in steps of half a kilo.
        unlike: How far left and right differ, in the same steps.
        miss: From what is wanted. [kg]
        hung: Which band hangs on which side, 0 or 1, shape (n, sides times bands).
        hook: Number of the way the anchors are set.
        plates: How many of each mass are on a side.
    """

    beyond: NDArray[np.int_]
    unlike: NDArray[np.int_]
    miss: Array
    hung: Array
    hook: NDArray[np.int_]
    plates: Array
    anchors: int = 2  # moved where the hook is another

    def with_rows(self, rows: NDArray[np.int_]) -> "Choices":
        """Some of them."""
        return Choices(
            self.beyond[rows], self.unlike[rows], self.miss[rows], self.hung[rows], self.hook[rows], self.plates[rows],
            self.anchors,
        )  # fmt: skip


@dataclass(frozen=True)
class LineupPlan:
    """One row of each turn's choices."""

    rows: tuple[int, ...]
    moves: tuple[int, ...]  # bands and anchors changed before each turn
    plates: tuple[int, ...]  # plates put on or off a side before each turn
    fewer_moves: int  # by how many moves at most a better plan may have fewer; 0 where the plan is exact


def best_plan(turns: Sequence[Choices]) -> LineupPlan:
    """The plan that is best in the order: miss beyond U, sides alike, fewest moves, fewest plates, least miss.

    Args:
        turns: Of each lifter the choices, at least one each, in the order they lift.
    """
    kept = [_kept(turn) for turn in turns]
    hung = [_Hung(turn.with_rows(rows)) for turn, rows in zip(turns, kept, strict=True)]
    moves = [hung[0].bands.sum(axis=1)]
    for before, now in pairwise(hung):
        moves.append((moves[-1][:, None] + _moves(before, now)).min(axis=0))
    rows = tuple(int(some[row]) for some, row in zip(kept, _fewest_plates(hung, moves), strict=True))
    whole = all(len(h.choices.miss) == _equal(turn).sum() for h, turn in zip(hung, turns, strict=True))
    return _plan_of_rows(turns, rows, exact=whole)


def _equal(turn: Choices) -> NDArray[np.bool_]:
    """Which rows have the least miss beyond U, and of these the least unlike; no other is in the best plan."""
    least = turn.beyond == turn.beyond.min()
    found: NDArray[np.bool_] = least & (turn.unlike == turn.unlike[least].min())
    return found


def _kept(turn: Choices) -> NDArray[np.int_]:
    rows: NDArray[np.int_] = np.flatnonzero(_equal(turn))
    state = _state_of(turn.with_rows(rows))
    if state.max() < MOST_AT_ONCE:
        return rows
    near = rows[np.argsort(turn.miss[rows], kind="stable")]
    first = list(dict.fromkeys(_state_of(turn.with_rows(near)).tolist()))[:MOST_AT_ONCE]
    return near[np.isin(_state_of(turn.with_rows(near)), first)]


def _state_of(choices: Choices) -> NDArray[np.int_]:
    """Which way to hang the bands each row is, plates apart; numbered from 0."""
    packed = np.hstack([np.packbits(choices.hung.astype(bool), axis=1), choices.hook.astype("<u4")[:, None].view("u1")])
    _, found = np.unique(packed, axis=0, return_inverse=True)
    return np.asarray(found, dtype=int).ravel()


class _Hung:
    """The choices of a turn by the way the bands hang."""

    def __init__(self, choices: Choices) -> None:
        self.choices, state = choices, _state_of(choices)
        order = np.argsort(state, kind="stable")
        self.rows = np.split(order, np.flatnonzero(np.diff(state[order])) + 1)  # of each way
        first = [rows[0] for rows in self.rows]
        self.bands, self.hook = choices.hung[first], choices.hook[first]


def _moves(before: _Hung, now: _Hung, only: "NDArray[np.int_] | slice" = slice(None)) -> Array:
    """Bands and anchors changed from every way to hang before to every (or only some) of now."""
    bands, hook = now.bands[only], now.hook[only]
    both = before.bands @ bands.T
    anchors = now.choices.anchors * (before.hook[:, None] != hook[None, :])
    found: Array = before.bands.sum(axis=1)[:, None] + bands.sum(axis=1)[None, :] - 2 * both + anchors
    return found


def _fewest_plates(hung: Sequence[_Hung], moves: Sequence[Array]) -> list[int]:
    """Of the plans with the fewest moves that with the fewest plates moved, then the least miss: a row of each turn."""
    steps, wanted = [], np.flatnonzero(moves[-1] == moves[-1].min())
    for k in range(len(hung) - 1, 0, -1):
        on_path = moves[k - 1][:, None] + _moves(hung[k - 1], hung[k], wanted) == moves[k][wanted][None, :]
        steps.append((wanted, on_path))
        wanted = np.flatnonzero(on_path.any(axis=1))
    scale = 1.0 / (1.0 + sum(float(h.choices.miss.max()) for h in hung))  # all misses together weigh less than a plate
    first = hung[0].choices
    cost = np.where(_rows_hung(hung[0], wanted), first.plates.sum(axis=1) + scale * first.miss, np.inf)
    back: list[NDArray[np.int_]] = []
    for k, (goals, on_path) in enumerate(reversed(steps), 1):
        cost, came = _over_plates(hung[k - 1], hung[k], cost, goals, on_path)
        cost = cost + scale * hung[k].choices.miss
        back.append(came)
    found = [int(cost.argmin())]
    for came in reversed(back):
        found.append(int(came[found[-1]]))
    return found[::-1]


def _rows_hung(hung: _Hung, ways: NDArray[np.int_]) -> NDArray[np.bool_]:
    found = np.zeros(len(hung.choices.miss), dtype=bool)
    for way in ways:
        found[hung.rows[way]] = True
    return found


def _over_plates(
    before: _Hung, now: _Hung, cost: Array, goals: NDArray[np.int_], on_path: NDArray[np.bool_]
) -> tuple[Array, NDArray[np.int_]]:
    """Least cost of each row now with the row before that leads there; infinite where no path with the fewest moves."""
    lists, which = np.unique(before.choices.plates, axis=0, return_inverse=True)
    apart = cdist(lists, now.choices.plates, "cityblock")
    least, came = np.full(len(now.choices.miss), np.inf), np.zeros(len(now.choices.miss), dtype=int)
    for goal, way in enumerate(goals):
        sources = np.concatenate([before.rows[i] for i in np.flatnonzero(on_path[:, goal])])
        sources = sources[np.lexsort((cost[sources], which.ravel()[sources]))]
        loads, at = np.unique(which.ravel()[sources], return_index=True)  # the cheapest of each list of plates
        best = sources[at]
        whole = cost[best][:, None] + apart[np.ix_(loads, now.rows[way])]
        least[now.rows[way]], came[now.rows[way]] = whole.min(axis=0), best[whole.argmin(axis=0)]
    return least, came


def _plan_of_rows(turns: Sequence[Choices], rows: tuple[int, ...], *, exact: bool) -> LineupPlan:
    first = turns[0]
    moves, plates = [int(first.hung[rows[0]].sum())], [int(first.plates[rows[0]].sum())]
    for n in range(1, len(turns)):
        a, b, i, j = turns[n - 1], turns[n], rows[n - 1], rows[n]
        moved = b.anchors if a.hook[i] != b.hook[j] else 0
        moves.append(round(float(abs(a.hung[i] - b.hung[j]).sum())) + moved)
        plates.append(round(float(abs(a.plates[i] - b.plates[j]).sum())))
    return LineupPlan(rows, tuple(moves), tuple(plates), 0 if exact else max(sum(moves) - _least(turns), 0))


def _least(turns: Sequence[Choices]) -> int:
    """No plan has fewer moves than the bands of the turn that needs most, put on once."""
    return max(int(t.hung.sum(axis=1).min()) for t in turns)
