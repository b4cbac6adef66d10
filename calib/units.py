"""Units at the edges: exact factors to SI and names that carry their unit. Nothing is parsed from free text here.

Factors: NIST SP 811 (2008), appendix B; the pound, inch, foot and standard gravity are exact by definition.
"""

from typing import Literal

from calib.frozen import dataclass

G_STANDARD = 9.80665  # m/s2, exact (3rd CGPM 1901)
POUND = 0.45359237  # kg, exact
INCH = 0.0254  # m, exact

LENGTH = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": INCH, "ft": 12 * INCH}
FORCE = {
    "N": 1.0,
    "kgf": G_STANDARD,
    "kg": G_STANDARD,  # what a scale shows as "kg" is a force: kgf
    "lbf": POUND * G_STANDARD,  # 4.4482216152605 N
    "lb": POUND * G_STANDARD,
}
Unit = Literal["kg", "lb"]  # of the loads on a bar
UNIT: dict[Unit, float] = {"kg": 1.0, "lb": POUND}
MASS = {"g": 1e-3, "kg": 1.0, "lb": POUND}
TEMPERATURE = ("C", "F")


@dataclass(frozen=True)
class Shown:
    """Units for people: what their scale and their tape show."""

    force: str  # "kg" | "lb"
    newton: float  # one of it
    length: str
    metre: float  # one of it
    digits: int  # of a length, after the point

    def pull(self, newton: float, digits: int = 2) -> str:
        """A force without its unit."""
        shown = f"{newton / self.newton:.{digits}f}"
        return shown.removeprefix("-") if float(shown) == 0 else shown

    def tape(self, metre: float) -> str:
        """A length without its unit."""
        return f"{metre / self.metre:.{self.digits}f}"


SHOWN = {"kg": Shown("kg", FORCE["kg"], "m", 1.0, 3), "lb": Shown("lb", FORCE["lb"], "in", INCH, 2)}


def metres(length: float) -> str:
    """A length in both units, for a sentence that does not know whose tape it is about.

    >>> metres(1.34)
    '1.34 m (52.8 in)'
    """
    return f"{length:.4g} m ({length / INCH:.1f} in)"


UNITS = {"length": tuple(LENGTH), "force": tuple(FORCE), "mass": tuple(MASS), "temperature": TEMPERATURE}


def to_si(value: float, unit: str, quantity: str) -> float:
    """Convert a value to metre, newton, kilogram or degree Celsius.

    Args:
        value: The number as written.
        unit: One of `UNITS[quantity]`.
        quantity: "length", "force", "mass" or "temperature".

    Raises:
        KeyError: The unit does not belong to the quantity.
    """
    if quantity == "temperature":
        return {"C": value, "F": (value - 32) / 1.8}[unit]
    return value * {"length": LENGTH, "force": FORCE, "mass": MASS}[quantity][unit]


def from_si(value: float, unit: str, quantity: str) -> float:
    """Convert a value in SI to a unit; the inverse of `to_si`."""
    if quantity == "temperature":
        return {"C": value, "F": value * 1.8 + 32}[unit]
    return value / {"length": LENGTH, "force": FORCE, "mass": MASS}[quantity][unit]


def kilos(newton: float, digits: int = 2) -> str:
    """A pull in words, as a scale shows it.

    Args:
        newton: The pull. [N]
        digits: After the point.

    >>> kilos(147.09975)
    '15.00 kg'
    """
    return as_read(newton, "kg", digits)


def as_read(newton: float, unit: str, digits: int = 2) -> str:
    """A pull in words, in the unit it was read in.

    Args:
        newton: The pull. [N]
        unit: A unit of force, or g where grams were hung.
        digits: After the point.

    >>> as_read(147.09975, "lb")
    '33.07 lb'
    """
    shown = f"{newton / force_of(unit):.{digits}f}"
    return f"{shown.removeprefix('-') if float(shown) == 0 else shown} {unit}"


def force_of(unit: str) -> float:
    """One of a unit of force, or what one of a unit of mass weighs. [N]"""
    return FORCE[unit] if unit in FORCE else MASS[unit] * G_STANDARD


def other_unit(ratio: float, within: float = 0.1) -> str:
    """Which unit was taken for which where something is so many times what it should be; "" where it is none.

    >>> other_unit(2.19), other_unit(0.46), other_unit(1.3)
    ('lb taken for kg', 'kg taken for lb', '')
    """
    if abs(ratio * POUND - 1) < within:
        return "lb taken for kg"
    return "kg taken for lb" if abs(ratio / POUND - 1) < within else ""
