"""How the zero of a load cell moves: told by the trend within a zero, better by two zeros. No clock and no file."""

from math import hypot, sqrt

from calib.acquire.points.hold_rules import HeldPoint
from calib.frozen import dataclass

CHANGES = 0.3  # share of a drift by which it changes before the next zero: a cell that warms up slows down
TREND_S = 8.0  # of a zero, over which its trend was seen


@dataclass(frozen=True)
class ZeroDrift:
    """What the zeros so far say of the next minutes.

    Args:
        at_s: When the last zero was taken, None before the first. [s]
        zero: What it was. [force]
        per_s: By which it moves on; 0 where that cannot be told from noise. [force/s]
        u_per_s: How well that is known, k = 1. [force/s]
    """

    at_s: float | None = None
    zero: float = 0.0
    per_s: float = 0.0
    u_per_s: float = 0.0

    def after(self, point: HeldPoint, *, anew: bool) -> "ZeroDrift":
        """With another zero.

        Args:
            point: As held.
            anew: The line was interrupted meanwhile: the zeros before say nothing of this one.
        """
        rate, u_rate = point.per_s, sqrt(12.0) * (point.u + 1e-12) / TREND_S
        if self.at_s is not None and not anew and point.at_s - self.at_s > TREND_S:
            since = point.at_s - self.at_s
            between, u_between = (point.force - self.zero) / since, hypot(point.u, point.u) / since
            if u_between < u_rate:
                rate, u_rate = between, u_between
        known = abs(rate) > 3 * u_rate
        u = hypot(u_rate if known else 0.0, CHANGES * rate) if known else min(u_rate, abs(rate))
        return ZeroDrift(point.at_s, point.force, rate if known else 0.0, u)

    def u_after(self, at_s: float, u_zero: float) -> float:
        """Standard uncertainty of the last zero at a later time: what it may have moved by is in it. [force]"""
        if self.at_s is None:
            return u_zero
        return hypot(u_zero, hypot(self.per_s, self.u_per_s) / sqrt(3) * max(at_s - self.at_s, 0.0))
