"""Numbers that several questions about bands share, kept apart so that a quick answer loads no numerics."""

from typing import TYPE_CHECKING

from calib.assumptions import BY_NAME

if TYPE_CHECKING:
    from calib.profile.document import Profile

NORMAL_95 = 1.959964
SEEN = 1.645  # sd above the limit at which a change is seen in 95 of 100
U_TEMPERATURE = BY_NAME["u_temperature_unknown"].value  # [K] of a day whose temperature is not known
RETIRE = BY_NAME["retire"].value  # of the level lost
DAY = "between_day_gain"


def of_one_day(profile: "Profile") -> float:
    """How much the one day of a calibration may have moved its curve, relative; 0 where it joined several days.

    The middle of the prior that a fit has, or what was assumed for that fit. The limits of a next set allow for days
    that differ by far more; a band that lost 5 % in a year would mostly pass them.
    """
    return 0.0 if profile.repeatability.days > 1 else profile.made.assumed.get(DAY, BY_NAME[DAY].value)


def of_another_day(profile: "Profile") -> float:
    """How much another day of an unchanged band may lie from its curve, relative."""
    several = profile.repeatability.days > 1
    return profile.repeatability.between_day_gain if several else 2**0.5 * of_one_day(profile)
