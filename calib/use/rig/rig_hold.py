"""One number that tells whether a rig is what was worked out: the pull of one side, held at one height.

How it is measured, and what a deviation means, is not decided here.
"""

from collections.abc import Sequence
from dataclasses import replace

from calib.frozen import dataclass
from calib.profile.document import Profile
from calib.use.rig.rig_check import work_out
from calib.use.rig.rig_file import Rig
from calib.use.rig.statics import SIDES

DWELL = 10.0  # s, where the profile does not say how long was waited


@dataclass(frozen=True)
class HoldPull:
    """What one side pulls down (up where the bands hang from above), as a scale in place of the bar shows it. [kg]"""

    side: str
    value: float
    u95: float  # of the mean
    next_u95: float  # of one measurement


@dataclass(frozen=True)
class Hold:
    """The bands of a side pulled out to a height and held there."""

    height: float  # [m] of the sleeve's centre, where the bands pull most
    wait_s: float
    across: bool  # a band from sleeve to sleeve: both its ends have to be held
    sides: tuple[HoldPull, ...]


def hold_number(rig: Rig, profiles: Sequence[Profile], *, extrapolate: bool = False) -> Hold | None:
    """The pull held at the far end of the lift, after a few pulls from one end to the other.

    Args:
        rig: The rig as it is written; a check of it is taken into account.
        profiles: One for each of its bands.
        extrapolate: Go beyond the tested lengths.

    Returns:
        None where bands hang from above and from below: no one height pulls both out.
    """
    above = {band.source == "above" for band in rig.band}
    if len(above) > 1:
        return None
    wait = profiles[0].conditions.dwell_s or DWELL
    still = replace(rig, bar=replace(rig.bar, tempo_s=wait))
    answer, _ = work_out(still, profiles, extrapolate=extrapolate)
    at, way = (0, "down") if above == {True} else (-1, "up")
    direction, g = answer.known_ways[way], answer.gravity  # type: ignore[index]
    sides = tuple(
        HoldPull(side, abs(float(k.value[at])) / g, float(k.u95[at]) / g, float(k.next_u95[at]) / g)
        for side in SIDES
        if (k := direction.sides[side]).value.any()
    )
    return Hold(float(answer.heights[at]), wait, any(b.arrangement == "across" for b in rig.band), sides)
