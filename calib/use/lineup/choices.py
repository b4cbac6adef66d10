"""What one lifter could hang, and the plan of all lifters with the least to change between them.

Lifters take turns at one bar, so nothing that one hangs is lacking to the next: what is wanted is each lifter's own
matter, and only the changes from one to the next tie them together. The order of importance is therefore kept exactly:
of each lifter's choices those with the least miss beyond U stay, of these those whose sides differ least, and among
them the plan with the fewest changes is a shortest path from turn to turn, which is exact for any number of lifters. A
programme of whole numbers over all of them would find the same plan; it was not needed.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import cdist

from calib.frozen import dataclass
from calib.records import Array

CHANGE = 1e5  # one change weighs more than all plates of an evening
MOST_AT_ONCE = 3000  # choices of one turn, equal in miss and balance, that are held against each other


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

    def only(self, rows: NDArray[np.int_]) -> "Choices":
        """Some of them."""
        return Choices(
            self.beyond[rows], self.unlike[rows], self.miss[rows], self.hung[rows], self.hook[rows], self.plates[rows],
            self.anchors,
        )  # fmt: skip


@dataclass(frozen=True)
class Plan:
    """One row of each turn's choices."""

    rows: tuple[int, ...]
    moves: tuple[int, ...]  # bands and anchors changed before each turn
    plates: tuple[int, ...]  # plates put on or off a side before each turn
    fewer_moves: int  # by how many moves at most a better plan may have fewer; 0 where the plan is exact


def best_plan(turns: Sequence[Choices]) -> Plan:
    """The plan that is best in the order: miss beyond U, sides alike, fewest moves, fewest plates, least miss.

    Args:
        turns: Of each lifter the choices, at least one each, in the order they lift.
    """
    kept = [_kept(turn) for turn in turns]
    hooks = 1 + max(int(turn.hook.max()) for turn in turns)
    scale = 1.0 / (1.0 + sum(float(turn.miss.max()) for turn in turns))
    cost, back = _first(turns[0].only(kept[0]), scale), [np.zeros(0, dtype=int)]
    for before, now in zip(range(len(turns) - 1), range(1, len(turns)), strict=True):
        one, two = turns[before].only(kept[before]), turns[now].only(kept[now])
        whole = cost[:, None] + cdist(_weighed(one, hooks), _weighed(two, hooks), "cityblock")
        back.append(whole.argmin(axis=0))
        cost = whole.min(axis=0) + scale * two.miss
    at, places = int(cost.argmin()), []
    for step in reversed(back):
        places.append(at)
        at = int(step[at]) if len(step) else at
    rows = tuple(int(kept[i][place]) for i, place in enumerate(reversed(places)))
    return _told(turns, kept, rows)


def _kept(turn: Choices) -> NDArray[np.int_]:
    """Rows with the least miss beyond U, and of these the least unlike; the rest cannot be in the best plan."""
    rows: NDArray[np.int_] = np.flatnonzero(turn.beyond == turn.beyond.min())
    rows = rows[turn.unlike[rows] == turn.unlike[rows].min()]
    if len(rows) > MOST_AT_ONCE:
        rows = rows[np.argsort(turn.miss[rows], kind="stable")[:MOST_AT_ONCE]]
    return rows


def _weighed(choices: Choices, hooks_in_all: int) -> Array:
    hooks = np.eye(hooks_in_all)[choices.hook] * choices.anchors / 2
    return np.hstack([CHANGE * choices.hung, CHANGE * hooks, choices.plates])


def _first(choices: Choices, scale: float) -> Array:
    """From an empty bar; where the anchors are to begin with costs nothing."""
    found: Array = CHANGE * choices.hung.sum(axis=1) + choices.plates.sum(axis=1) + scale * choices.miss
    return found


def _told(turns: Sequence[Choices], kept: Sequence[NDArray[np.int_]], rows: tuple[int, ...]) -> Plan:
    first = turns[0]
    moves, plates = [int(first.hung[rows[0]].sum())], [int(first.plates[rows[0]].sum())]
    for n in range(1, len(turns)):
        a, b, i, j = turns[n - 1], turns[n], rows[n - 1], rows[n]
        moved = b.anchors if a.hook[i] != b.hook[j] else 0
        moves.append(round(float(abs(a.hung[i] - b.hung[j]).sum())) + moved)
        plates.append(round(float(abs(a.plates[i] - b.plates[j]).sum())))
    whole = all(len(k) < MOST_AT_ONCE for k in kept)
    return Plan(rows, tuple(moves), tuple(plates), 0 if whole else max(sum(moves) - _least(turns), 0))


def _least(turns: Sequence[Choices]) -> int:
    """No plan has fewer moves than the bands of the turn that needs most, put on once."""
    return max(int(t.hung.sum(axis=1).min()) for t in turns)
