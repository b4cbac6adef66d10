"""Every constant that a result rests on and that no reading gives: its value, where it is from, and what it stands for.

One table. A number with a source is a fact of somebody else; one without is an assumption and says so. Any of them may
be set anew for one call (`assuming`), within bounds beyond which nothing was tried; the profile then names it.
docs/assumptions.md is made from this table.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from difflib import get_close_matches

from calib.errors import DataError

ASSUMED = "assumption"
PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Constant:
    """One number."""

    name: str
    value: float
    unit: str  # "" where it is a plain number or relative
    least: float
    most: float
    meaning: str
    source: str = ASSUMED


TABLE = (
    Constant("between_day_gain", 0.01, "", 0.0005, 0.1,
             "sd of a band's pull from one day to another, the middle of what is thought possible"),
    Constant("between_day_gain_log_sd", 0.6, "", 0.05, 1.5,
             "how widely that may be off, as the sd of its logarithm: 0.6 is 0.3 to 3.2 %"),
    Constant("rubber_density", 950.0, "kg/m3", 850.0, 1400.0,
             "for the weight of a band that was not weighed"),
    Constant("shear_modulus", 0.4e6, "Pa", 0.1e6, 2e6,
             "for the weight of a band that was not weighed, and for the pull a plan expects",
             "0.39 MPa in Treloar, Trans. Faraday Soc. 40 (1944) 59, from memory"),
    Constant("u_weight_guess", 0.5, "", 0.1, 1.0,
             "u of half the weight of a band that was not weighed, over the guess"),
    Constant("zero_unseen_steps", 2.0, "", 0.0, 50.0,
             "u of a zero that was not read again after the last reading, in steps of the display"),
    Constant("zero_unseen_share", 0.003, "", 0.0, 0.1,
             "the same, over the largest pull; the larger of the two counts"),
    Constant("display_cut", 0.5, "", 0.0, 0.5,
             "u, in steps, of a display of which nobody said whether it rounds or cuts off: what cutting off would do"),
)  # fmt: skip
BY_NAME = {constant.name: constant for constant in TABLE}
_SET: ContextVar[Mapping[str, float] | None] = ContextVar("assumed", default=None)


def value(name: str) -> float:
    """The value in force of a constant."""
    return (_SET.get() or {}).get(name, BY_NAME[name].value)


def changed() -> dict[str, float]:
    """Constants that were set anew, with their values."""
    return dict(_SET.get() or {})


@contextmanager
def assuming(given: Mapping[str, float]) -> Iterator[None]:
    """Take other values within a `with`.

    Args:
        given: Values by name.

    Raises:
        DataError: An unknown name, or a value out of its bounds.
    """
    for name, number in given.items():
        check(name, number)
    token = _SET.set({**changed(), **given})
    try:
        yield
    finally:
        _SET.reset(token)


def check(name: str, number: float) -> None:
    """Refuse a name that is not in the table, and a value nothing was tried with.

    Raises:
        DataError: With what would do.
    """
    known = BY_NAME.get(name)
    if known is None:
        near = get_close_matches(name, list(BY_NAME), n=1)
        remedy = f"did you mean {near[0]!r}?" if near else "docs/assumptions.md lists them"
        raise DataError(f"there is no assumption {name[:40]!r}", remedy=remedy)
    if not known.least <= number <= known.most:
        unit = f" {known.unit}" if known.unit else ""
        raise DataError(
            f"{name} of {number:g}{unit} is out of its range",
            remedy=f"give {known.least:g} to {known.most:g}{unit}; {known.value:g} is the usual value",
        )


def parse(text: str) -> tuple[str, float]:
    """NAME=VALUE as it is typed; a per cent sign is understood.

    Raises:
        DataError: It is no such thing, or not in the table.
    """
    name, equals, number = (part.strip() for part in text.partition("="))
    share = number.endswith("%")
    try:
        found = float(number.removesuffix("%")) / (100 if share else 1)
    except ValueError:
        found = float("nan")
    if not equals or found != found:
        raise DataError(f"{text[:40]!r} is no assumption", remedy="write NAME=VALUE, like between_day_gain=2%")
    check(name, found)
    return name, found
