"""Lengths and forces given as options: a number that wears its unit. What is typed at a prompt is not read here."""

import re

from calib.errors import UsageError
from calib.units import UNITS, to_si

_EXAMPLE = {"length": "1.6m", "force": "15kg", "mass": "20kg"}


def option_in_si(text: str, option: str, quantity: str, unit: str | None = None) -> float:
    """Read one option.

    Args:
        text: For example "1.6m", "63 in", "1600 mm".
        option: Its name, for the message.
        quantity: "length", "force" or "mass".
        unit: What a bare number is in; None where a unit is needed.

    Returns:
        The value in metre, newton or kilogram.

    >>> option_in_si("160cm", "--length", "length")
    1.6

    Raises:
        UsageError: It is not a number with a known unit, or not positive.
    """
    found = re.fullmatch(r"\s*([0-9]+(?:[.][0-9]*)?|[.][0-9]+)\s*([A-Za-z]*)\s*", text, re.ASCII)
    given = (found[2] or unit) if found else None
    example = f"for example {option} {_EXAMPLE[quantity]}"
    if found is None or given is None:
        missing = "has no unit" if found else "is not a positive number with a unit"
        raise UsageError(f"{option} {text[:40]!r} {missing}", remedy=example)
    if given not in UNITS[quantity]:
        raise UsageError(
            f"{option} {text[:40]!r}: {given!r} is not a unit of {quantity}",
            remedy=f"use one of {', '.join(UNITS[quantity])}; {example}",
        )
    value = to_si(float(found[1]), given, quantity)
    if not 0 < value < float("inf"):
        raise UsageError(f"{option} {text[:40]!r} is not above zero", remedy=example)
    return value


def lengths_in_si(text: str, option: str, unit: str, most: int) -> tuple[float, ...]:
    """Read lengths with commas between, bare numbers in `unit`. [m]

    >>> lengths_in_si("25,50", "--fittings", "mm", 2)
    (0.025, 0.05)
    """
    parts = text.split(",")
    if len(parts) > most:
        raise UsageError(f"{option} {text[:40]!r} names {len(parts)} lengths", remedy=f"give at most {most}")
    return tuple(option_in_si(part, option, "length", unit) for part in parts)
