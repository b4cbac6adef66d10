"""What a held point is, and how still is still: the rules of each grip, the point, and what the samples led to."""

from math import sqrt
from typing import Literal

from calib.frozen import dataclass

Grip = Literal["strap", "hand", "weight"]
Refusal = Literal["creeps", "slow line", "sways"]


@dataclass(frozen=True)
class HoldRules:
    """How still is still. A share is of the force above zero; "along" is the way the stretch went, else it relaxes.

    Args:
        grip: What fixes the length.
        t_ref: Time after the stop at which the force is stated. [s]
        window: What is evaluated, in t_ref.
        patience: When a trend is taken for a motion at last, in t_ref.
        spread: Largest scatter about a line over the first look. [share]
        slope: Largest change over the first look. [share/s]
        off: How far off the force so far a move is. [share]
        sway: Of a mean over the window, k = 1, believed before it is seen. [share]
        steady: Largest change along the way while held: above it a slow pull goes on. [force/s]
        floor: Noise and steps of the line: no change up to here is a motion. [force]
    """

    grip: Grip
    t_ref: float
    window: tuple[float, float]
    patience: float
    spread: float
    slope: float
    off: float
    sway: float
    steady: float
    floor: float

    @classmethod
    def strap(cls, t_ref: float = 10.0, floor: float = 0.1, newton: float = 1.0) -> "HoldRules":
        """The length is fixed by a strap, pins or a stand. `newton` is one newton in the unit of the force."""
        return cls("strap", t_ref, (0.5, 1.5), 2.5, 0.015, 0.015, 0.02, 0.0, 2.5 * newton, floor)

    @classmethod
    def hand(cls, t_ref: float = 6.0, floor: float = 0.1, newton: float = 1.0) -> "HoldRules":
        """The length is held by hand, which sways by about a per cent."""
        return cls("hand", t_ref, (2 / 3, 4 / 3), 3.0, 0.03, 0.02, 0.06, 0.006, 1.25 * newton, floor)

    @classmethod
    def weight(cls, t_ref: float = 4.0, floor: float = 0.1, newton: float = 1.0) -> "HoldRules":
        """Nothing, or a known weight, hangs on the cell; it may swing a little."""
        return cls("weight", t_ref, (0.5, 1.5), 3.0, 0.01, 0.005, 0.02, 0.0001, 0.5 * newton, floor)


@dataclass(frozen=True)
class HeldPoint:
    """The force at a stated time after the stretch stopped."""

    stopped_s: float  # when the stretch stopped
    at_s: float  # the time the force is stated for
    force: float
    u: float  # of the mean or the fit by itself; 1.96 of it hold 95 %
    n: int
    sd: float  # of blocks of a quarter of a second about the fit
    per_s: float = 0.0  # how fast it changes with time
    percent_per_decade: float | None = None  # change with a decade of time; falling is negative
    u_percent: float | None = None
    keyed: bool = False  # the stop was said by key
    unseen_s: float = 0.0  # silence of the line between the motion and the end of the window
    lag_s: float = 0.0  # by which the device was found to answer late; allowed for

    @property
    def dwell_s(self) -> float:
        """Time from the stop to the time the force is stated for. [s]"""
        return self.at_s - self.stopped_s

    def total_u(self, resolution: float, u_sensor: float, u_zero: float) -> float:
        """Standard uncertainty with one step of the line, the sensor and the zero, all in the unit of the force."""
        return sqrt(self.u**2 + resolution**2 / 12 + u_sensor**2 + u_zero**2)


@dataclass(frozen=True)
class Event:
    """What the samples led to: the stretch stopped, moved off again, a point is there, is refused, or samples miss.

    A refusal comes once a hold: `why` says which, `size` how much: the change [force/s] or the scatter [share]; of a
    gap in a hold, `size` is how long it was. [s]
    """

    kind: Literal["stopped", "moved", "held", "refused", "gap"]
    at_s: float
    point: HeldPoint | None = None
    why: Refusal | None = None
    size: float = 0.0
