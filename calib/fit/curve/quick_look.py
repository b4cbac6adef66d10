"""A first answer from a few readings: how far to trust it, which of them may be wrong, and which to take again.

Three readings check nothing: a pull typed 15 % too high is as good a band as the true one. So none is believed outright
(slips.py): every reading is judged by all the others under what rubber can be, and the limits hold under each credible
answer to which of them is wrong. Asking and wording are done elsewhere.
"""

import numpy as np

from calib.fit.curve import slips
from calib.fit.curve.estimate import Solved, solve
from calib.fit.curve.observations import observe
from calib.frozen import dataclass
from calib.records import Array, Row, Run

SURE_ENOUGH = 0.10  # of the pull, 95 %: a first look needs no more
POSSIBLE = 0.15  # probability from which a reading is among those one of which is wrong
SAME_PLACE = 0.005  # [m]


@dataclass(frozen=True)
class Judged:
    """A reading beside what the readings say together."""

    row: Row
    pull: float  # [N] net
    force: float  # [N] of the curve there
    u95: float  # [N] half-width there; carries the chance of a slip nobody has seen
    slip: float  # probability that the reading is one


@dataclass(frozen=True)
class QuickLook:
    """What a few readings are worth."""

    readings: tuple[Judged, ...]
    solved: Solved

    @property
    def wrong(self) -> tuple[Row, ...]:
        """Readings that are slips as surely as so few can show it."""
        return tuple(r.row for r in self.readings if r.slip >= slips.SURE)

    @property
    def suspects(self) -> tuple[Row, ...]:
        """Readings one of which is more likely wrong than not, when which one cannot be told; the likeliest first."""
        if self.wrong:
            return ()
        able = sorted((r for r in self.readings if r.slip >= POSSIBLE), key=lambda r: -r.slip)
        return tuple(r.row for r in able) if sum(r.slip for r in able) >= slips.TOLD else ()

    @property
    def again(self) -> Row | None:
        """The reading to take once more, out or back: a suspect, else where the limits are widest; None where enough.

        Repeating it is worth more than a new length: only a second look at the same place shows a slip.
        """
        once = [r for r in self.readings if self._seen(r) == 1]
        suspects = [r for r in self.readings if r.row in (*self.wrong, *self.suspects)]
        if suspects:
            return max(suspects, key=lambda r: (self._seen(r) == 1, r.slip)).row
        widest = max(once, key=lambda r: r.u95 / r.force, default=None)
        return widest.row if widest and widest.u95 > SURE_ENOUGH * widest.force else None

    def _seen(self, reading: Judged) -> int:
        at = reading.row.length or 0.0
        return sum(abs((r.row.length or 0.0) - at) < SAME_PLACE for r in self.readings)

    def limits(self, length: Array) -> tuple[Array, Array]:
        """Force [N] and 95 % half-width [N] on loading at half-path lengths within those read."""
        force, gradient = self.solved.curve.rows(length, False)
        return force, force * self.solved.curve.limits(length, gradient)


def quick_look(run: Run) -> QuickLook:
    """Judge a few readings together.

    Args:
        run: With readings at three lengths at least on loading.

    Raises:
        DataError: Fewer, or none that pulls.
    """
    with np.errstate(all="ignore"):
        solved = solve(observe([run]), run.name)
    seen, curve = solved.seen, solved.curve
    found = []
    for i, members in enumerate(seen.rows):
        force, gradient = curve.rows(seen.length[i : i + 1], bool(seen.unloading[i]))
        u95 = float(force[0] * curve.half_widths(gradient)[0])
        found.append(Judged(members[0][1], float(seen.pull[i]), float(force[0]), u95, float(solved.slip[i])))
    return QuickLook(tuple(found), solved)
