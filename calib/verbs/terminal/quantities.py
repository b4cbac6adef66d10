"""Lengths, forces and masses given as options: read as typed ones are, but a unit is needed; nothing is asked."""

import re
from datetime import date
from typing import TYPE_CHECKING, Literal

from calib.acquire.files.typed import EARLIEST, parse_force, parse_length, parse_mass
from calib.errors import DataError, UsageError
from calib.units import SHOWN, UNITS, Shown

if TYPE_CHECKING:
    from calib.use.report.sheet import Paper

UNIT_HELP = "Units of the text: kg and metres, or lb and inches."
Quantity = Literal["length", "force", "mass"]
_EXAMPLE = {"length": "1.6m", "force": "15kg", "mass": "20kg"}
_READ = {"length": parse_length, "force": parse_force, "mass": parse_mass}


def option_in_si(text: str, option: str, quantity: Quantity, unit: str | None = None) -> float:
    """Read one option. [m], [N] or [kg]

    Args:
        text: For example "1.6m", "63 1/4 in", "5'3", "15kg".
        option: Its name, for the message.
        quantity: What it is.
        unit: What a bare number is in; None where a unit is needed.

    >>> option_in_si("160cm", "--length", "length"), option_in_si("1,5kg", "--u-each", "mass")
    (1.6, 1.5)

    Raises:
        UsageError: It is not a number with a known unit, or not above zero.
    """
    example = f"for example {option} {_EXAMPLE[quantity]}"
    if unit and quantity == "length":
        example = f"a bare number is in {unit}"
    given = f"{option} {text[:40]!r}"
    if unit is None and re.fullmatch(r"[-+0-9.,/\s]*", text):
        raise UsageError(f"{given} is not a number with a unit", remedy=example)
    try:
        value = _READ[quantity](text, unit or UNITS[quantity][-1])  # a unit stands there where none was given
    except DataError as error:
        raise UsageError(f"{given}: {error.what}", remedy=example) from None
    if value <= 0:
        raise UsageError(f"{given} is not above zero", remedy=example)
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


def paper_size(text: str) -> "Paper":
    """The paper of `--paper`.

    Raises:
        UsageError: It is not a size known here.
    """
    if text not in ("a4", "letter"):
        raise UsageError(f"--paper {text[:20]!r} is not a size", remedy="use a4 or letter")
    return "letter" if text == "letter" else "a4"


def day_gone_by(text: str, option: str) -> date:
    """Read a day like 2026-03-01 that is not still to come.

    Args:
        text: As given.
        option: Its name, for the message.

    >>> day_gone_by("2026-03-01", "--date")
    datetime.date(2026, 3, 1)

    Raises:
        UsageError: It is no day, or not one of the past: a typing slip in the year would put it there.
    """
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise UsageError(f"{option} {text[:20]!r} is not a day", remedy="write it like 2026-03-01") from None
    if day.year < EARLIEST or day > date.today():
        said = "too long ago" if day.year < EARLIEST else "still to come"
        raise UsageError(f"{option} {day} is {said}", remedy="write year, month, day like 2026-03-01")
    return day


def shown_in(unit: str) -> Shown:
    """The units for people that `--unit` names.

    Raises:
        UsageError: It is neither kg nor lb.
    """
    if unit not in SHOWN:
        raise UsageError(f"--unit {unit[:40]!r} is not known", remedy="use kg or lb")
    return SHOWN[unit]


def range_in_si(text: str, option: str) -> tuple[float, float]:
    """Read two lengths with two dots between. [m]

    >>> range_in_si("1.2m..180cm", "--over")
    (1.2, 1.8)

    Raises:
        UsageError: It is not that, or the second is not the larger one.
    """
    first, dots, last = text.partition("..")
    example = f"for example {option} 1.2m..1.8m"
    if not dots:
        raise UsageError(f"{option} {text[:40]!r} is not two lengths", remedy=example)
    try:
        low, high = option_in_si(first, option, "length"), option_in_si(last, option, "length")
    except UsageError as error:
        raise UsageError(error.what, remedy=example) from None
    if high <= low:
        raise UsageError(f"{option} {text[:40]!r}: the second length must be the larger", remedy=example)
    return low, high
