"""Masses given as options: a number that wears its unit."""

import re

from calib.errors import UsageError
from calib.units import MASS


def mass_option(text: str, option: str, unit: str | None = None) -> float:
    """Read one mass. [kg]

    Args:
        text: For example "20kg", "5 g", "45lb".
        option: Its name, for the message.
        unit: What a bare number is in; None where a unit is needed.

    >>> mass_option("5g", "--u-each")
    0.005

    Raises:
        UsageError: It is not a number with a known unit, or not above zero.
    """
    found = re.fullmatch(r"\s*([0-9]{1,9}(?:[.][0-9]{0,9})?|[.][0-9]{1,9})\s*([A-Za-z]*)\s*", text, re.ASCII)
    given = (found[2] or unit) if found else None
    if found is None or given not in MASS or float(found[1]) == 0:
        remedy = f"use a number above zero with {', '.join(MASS)}, for example {option} 20kg"
        raise UsageError(f"{option} {text[:40]!r} is not a mass", remedy=remedy)
    return float(found[1]) * MASS[given]
