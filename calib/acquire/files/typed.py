"""Numbers as people type them: decimal commas, fractions, feet and inches, a unit behind. No prompt is shown here.

`1,405` could be one and a half or one thousand four hundred: it is an error of its own kind, so that a prompt can ask.
"""

import re
from collections.abc import Sequence
from typing import Literal

from calib.errors import DataError
from calib.units import FORCE, INCH, LENGTH, MASS, to_si

EARLIEST = 1950  # year; no measurement of a band is older
LONGEST = 40  # characters; no measured number needs more
_EXAMPLE = {
    "length": "1029, 102.9cm or 55 1/4in",
    "force": "16.35 or 36.1 lb",
    "mass": "310 g, 20 kg or 45 lb",
    "number": "16.35",
}
_CALLED = {"length": "a length", "mass": "a weight", "force": "a load"}
_TABLE = {"length": LENGTH, "force": FORCE, "mass": MASS, "number": {}}
_SIGNS = {
    **dict.fromkeys("\u2032\u2019\u2018", "'"),
    **dict.fromkeys("\u2033\u201d\u201c", '"'),
    "\u2212": "-",
    "\u00a0": " ",
    "\u202f": " ",
    "\u00bc": " 1/4",
    "\u00bd": " 1/2",
    "\u00be": " 3/4",
}
_NAMES = {
    "length": {
        **{unit.lower(): unit for unit in LENGTH},
        **dict.fromkeys(("inch", "inches", '"', "''"), "in"),
        **dict.fromkeys(("foot", "feet", "'"), "ft"),
        **dict.fromkeys(("metre", "metres", "meter", "meters"), "m"),
    },
    "force": {
        **{unit.lower(): unit for unit in FORCE},
        **dict.fromkeys(("newton", "newtons"), "N"),
        **dict.fromkeys(("kgs", "kilo", "kilos"), "kg"),
        **dict.fromkeys(("lbs", "pound", "pounds"), "lb"),
    },
    "mass": {
        **{unit.lower(): unit for unit in MASS},
        **dict.fromkeys(("gram", "grams"), "g"),
        **dict.fromkeys(("kgs", "kilo", "kilos"), "kg"),
        **dict.fromkeys(("lbs", "pound", "pounds"), "lb"),
    },
}
_NUMBER = r"[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+"
_FRACTION = r"(?:([0-9]+)(?:\s+|-))?([0-9]+)\s*/\s*([0-9]+)"
_FEET = re.compile(r"""([0-9]+)\s*(?:'|ft|feet|foot)\s*(?:-\s*)?(\S.*?)\s*(?:"|''|in|inch|inches)?""", re.IGNORECASE)

_GLUE = "\0"  # stands for the blank inside one part while a list is taken apart

Quantity = Literal["length", "force", "mass", "number"]


class AmbiguousNumberError(DataError):
    """A number such as `1,405`; the two ways to read it are in `readings`, as text."""

    def __init__(self, text: str, *, where: str = "") -> None:
        self.text = text
        self.readings = (text.replace(",", "."), text.replace(",", ""))
        what = f"{text} could be {self.readings[0]} or {self.readings[1]}"
        super().__init__(what, where=where, remedy="type it without the comma, or with a dot")

    def placed_at(self, where: str) -> "AmbiguousNumberError":
        """Return the same error with its place named, where none was known yet."""
        return self if self.where else AmbiguousNumberError(self.text, where=where)


def parse_number(text: str) -> float:
    """Read a plain number, with a dot or a comma, or a whole number and a fraction.

    >>> parse_number("16,35"), parse_number("64 1/4"), parse_number("-0.05")
    (16.35, 64.25, -0.05)

    Raises:
        AmbiguousNumberError: Such as `1,405`.
        DataError: Anything else that is not one number.
    """
    return _signed(_cleaned(text, "number"), text)


def parse_length(text: str, unit: str) -> float:
    """Read a length. [m]

    Args:
        text: As typed.
        unit: Of a number without one.

    >>> parse_length("1029", "mm"), parse_length("1.6m", "mm"), f"{parse_length('4ft 7 1/4in', 'mm'):.5f}"
    (1.029, 1.6, '1.40335')

    Raises:
        AmbiguousNumberError: Such as `1,405`.
        DataError: It is not a length above zero.
    """
    clean = _cleaned(text, "length")
    feet = _FEET.fullmatch(clean)
    if feet:
        inches = _signed(feet[2], text, "length")
        if not 0 <= inches < 12:
            raise DataError(
                f"{clean} has {inches:g} inches beside the feet", remedy="type less than 12, or all in inches"
            )
        return int(feet[1]) * LENGTH["ft"] + inches * INCH
    value = _with_unit(clean, text, unit, "length")
    if value <= 0:
        raise DataError(f"a length of {clean} is not above zero", remedy=f"type for example {_EXAMPLE['length']}")
    return value


def parse_force(text: str, unit: str) -> float:
    """Read what a scale shows. [N]

    Args:
        text: As typed; below zero is possible.
        unit: Of a number without one.

    >>> round(parse_force("36.1 lb", "kgf"), 3), parse_force("-2", "N")
    (160.581, -2.0)

    Raises:
        AmbiguousNumberError: Such as `1,405`.
        DataError: It is not a force.
    """
    return _with_unit(_cleaned(text, "force"), text, unit, "force")


def parse_mass(text: str, unit: str) -> float:
    """Read a mass. [kg]

    Args:
        text: As typed.
        unit: Of a number without one.

    >>> parse_mass("1,5kg", "g"), parse_mass("310", "g"), parse_mass("45 lbs", "kg")
    (1.5, 0.31, 20.41165665)

    Raises:
        AmbiguousNumberError: Such as `1,405`.
        DataError: It is not a mass, or below zero.
    """
    value = _with_unit(_cleaned(text, "mass"), text, unit, "mass")
    if value < 0:
        raise DataError(f"a mass of {text.strip()} is below zero", remedy=f"type for example {_EXAMPLE['mass']}")
    return value


def parse_temperature(text: str) -> float:
    """Read a temperature; a number without F behind it is in C. [degree Celsius]

    >>> parse_temperature("21,5"), parse_temperature("68 F"), parse_temperature("-4C")
    (21.5, 20.0, -4.0)

    Raises:
        DataError: It is not one number.
    """
    clean = _cleaned(text, "number").upper()
    unit = clean[-1] if clean[-1] in "CF" else "C"
    return to_si(_signed(clean.removesuffix(unit).strip(), text), unit, "temperature")


def unit_named(text: str, known: Sequence[str], quantity: Quantity) -> str:
    """The unit that a word names, as people write it.

    Args:
        text: As typed.
        known: The units that will do.
        quantity: What is measured.

    >>> unit_named("lbs", ["kg", "lb"], "mass"), unit_named("inches", ["mm", "in"], "length")
    ('lb', 'in')

    Raises:
        DataError: It names none of them.
    """
    unit = _NAMES[quantity].get(text.strip().lower(), "")
    if unit not in known:
        raise DataError(f"{text[:20]!r} is not one of {', '.join(known)}")
    return unit


def listed(text: str) -> list[str]:
    """Parts of a list: with semicolons or comma and space between, else with spaces; `45 1/2` is one part.

    >>> listed("44 45 1/2 47,5"), listed("1130, 1200"), listed("2.5;5"), listed("1 1/4 3/16")
    (['44', '45 1/2', '47,5'], ['1130', '1200'], ['2.5', '5'], ['1 1/4', '3/16'])
    """
    if ";" in text or ", " in text:
        parts = [part.strip() for part in text.replace(", ", ";").split(";")]
    elif "," in text and " " not in text:
        parts = text.split(",")
    else:
        parts = re.sub(r"(?<![/0-9.,])([0-9]+)\s+(?=[0-9]+/[0-9])", rf"\1{_GLUE}", text).split()
    return [part.replace(_GLUE, " ") for part in parts if part]


def _cleaned(text: str, quantity: Quantity) -> str:
    """The text with typographic characters made plain; refused where it cannot be a number at all."""
    remedy = f"type for example {_EXAMPLE[quantity]}"
    if len(text) > 4 * LONGEST or len(text.strip()) > LONGEST:
        raise DataError(f"{text.strip()[:12]!a}... is too long for a number", remedy=remedy)
    clean = "".join(_SIGNS.get(c, c) for c in text.replace("\t", " ")).strip()
    if not clean:
        raise DataError("nothing was typed", remedy=remedy)
    if any(not c.isprintable() for c in clean):
        raise DataError(f"{clean[:20]!a} holds a control character", remedy="type it again")
    if any(not c.isascii() and c.isnumeric() for c in clean):
        raise DataError("the digits are of another alphabet", remedy="type 0 to 9")
    return clean


def _with_unit(clean: str, text: str, unit: str, quantity: Quantity) -> float:
    found = re.fullmatch(r"""(.*?[0-9.,])\s*([A-Za-z]+|"|''|')?""", clean)
    table = _TABLE[quantity]
    if found is None:
        raise _no_number(clean, quantity)
    given = _NAMES[quantity].get(found[2].lower()) if found[2] else unit
    if given is None:
        other = next((kind for kind in _CALLED if found[2].lower() in _NAMES[kind]), "")
        if other and quantity != "number":
            what = f"{clean[:20]!a} is {_CALLED[other]}, and {_CALLED[quantity]} is asked for"
            raise DataError(what, remedy=f"type for example {_EXAMPLE[quantity]}")
        known = ", ".join(table)
        raise DataError(f"{found[2][:20]!r} is not a unit of {quantity}", remedy=f"use one of {known}")
    return _signed(found[1], text, quantity) * table[given]


def _signed(clean: str, text: str, quantity: Quantity = "number") -> float:
    negative = clean.startswith("-")
    body = clean.removeprefix("-").removeprefix("+").strip()
    fraction = re.fullmatch(_FRACTION, body)
    if fraction:
        if int(fraction[3]) == 0:
            raise DataError(f"{clean} divides by zero", remedy=f"type for example {_EXAMPLE[quantity]}")
        value = int(fraction[1] or 0) + int(fraction[2]) / int(fraction[3])
    elif re.fullmatch(r"[1-9][0-9]{0,2},[0-9]{3}", body):
        raise AmbiguousNumberError(body if not negative else f"-{body}")
    elif re.fullmatch(_NUMBER, body):
        value = float(body.replace(",", "."))
    else:
        raise _no_number(text.strip(), quantity)
    return -value if negative else value


def _no_number(text: str, quantity: Quantity) -> DataError:
    return DataError(f"{text[:20]!a} is not a number", remedy=f"type for example {_EXAMPLE[quantity]}")
