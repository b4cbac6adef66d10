"""What is said of a scale before it is checked: the step of its display, its maximum, whether its number locks."""

from typing import Literal

from calib.acquire.files.typed import parse_force
from calib.errors import DataError
from calib.records import Locks
from calib.scale import SHOWN_UNIT, Scale
from calib.units import FORCE

Kind = Literal["hanging-scale", "platform-scale", "load-cell"]
STEPS = "Pull slowly and watch: 4.00, 4.05, 4.10 are steps of 0.05. Many labels give it as d = 50 g: type 0.05 kg."
MAXIMUM = "It is on the scale's label, often as Max."
LOCKING = "A luggage scale often holds the highest pull, or freezes the number; then you can only measure loading."
LOCKS: dict[Locks, str] = {
    "no": "follows the pull",
    "peak": "stays at the highest pull",
    "steady": "freezes after a moment",
}
MOST = 1e7  # [N] no scale shows more


def shown_value(text: str, unit: str) -> tuple[float, str]:
    """A value above zero as a scale shows it, as typed [N], and the unit it was typed in."""
    value = parse_force(text, unit)
    if not 0 < value <= MOST:
        raise DataError(f"{text[:20]} is not a value a scale shows", remedy="type for example 0.05, or 50")
    return value, unit_behind(text) or unit


def unit_behind(text: str) -> str | None:
    """The unit that stands behind a typed force."""
    return next((u for u in sorted(FORCE, key=len, reverse=True) if text.strip().endswith(u)), None)


def scale_of(name: str, kind: Kind, step: float, capacity: float | None, locks: Locks, unit: str) -> Scale:
    """A scale that was never checked; step and capacity in newtons.

    Raises:
        DataError: They do not go together.
    """
    if capacity is not None and capacity <= step:
        raise DataError("the capacity is not above one step of the display", remedy="were the two swapped?")
    return Scale(
        format="bandcurve-scale/1",
        id=name,
        kind=kind,
        resolution_N=step,
        capacity_N=capacity,
        locks=locks,
        extensions={SHOWN_UNIT: unit},
    )
