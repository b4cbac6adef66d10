"""Tables of TOML whose keys carry their unit, `flat_length_mm = 1029`, read into SI under bare names.

Runs, series and rigs are read by these rules: every key must be known, so that a mistyped `u_gain` cannot pass.
"""

from collections.abc import Callable, Mapping, Sequence
from difflib import get_close_matches
from typing import Any, NamedTuple

from calib.errors import DataError
from calib.units import UNITS, to_si

LARGEST = 1.7e308  # of any number; a larger one is infinite, or has too many digits for a float
SI_SIGN = {"length": " m", "force": " N", "mass": " kg", "temperature": " C"}


class Key(NamedTuple):
    """A field of a record as the file writes it."""

    name: str  # of the record; the file adds the unit where there is a quantity
    quantity: str | None = None
    unit: str = ""  # written with
    written: str = ""  # name in the file where it differs

    @property
    def in_file(self) -> str:
        """The key as this program writes it."""
        return self.written or (f"{self.name}_{self.unit}" if self.quantity else self.name)


def plain_keys(*names: str) -> tuple[Key, ...]:
    """Keys without a unit."""
    return tuple(Key(name) for name in names)


def mm_keys(*names: str) -> tuple[Key, ...]:
    """Lengths, written in millimetres."""
    return tuple(Key(name, "length", "mm") for name in names)


def table_in_si(
    table: Mapping[str, Any], keys: Sequence[Key], where: Callable[[str], str], newer: bool = False
) -> dict[str, Any]:
    """The table with bare names and values in SI.

    Args:
        table: As it stands in the file.
        keys: That it may have.
        where: What to call the place of a key in an error.
        newer: The file is of a newer minor version: an unknown key is passed over.

    Raises:
        DataError: A key is unknown, lacks its unit or is given twice, or a number is not finite.
    """
    out: dict[str, Any] = {}
    for key, value in table.items():
        found = _known(key, keys)
        if found is None:
            if newer and all(key != known.name for known in keys):
                continue
            raise _unknown(key, keys, where(key))
        known, unit = found
        if known.name in out:
            raise DataError(f"{known.name} is given twice, in two units", where=where(key), remedy="keep one of them")
        out[known.name] = _converted(value, unit, known, where(key))
    return out


def _known(key: str, keys: Sequence[Key]) -> tuple[Key, str] | None:
    for known in keys:
        unit = key.removeprefix(f"{known.name}_")
        if known.quantity and unit != key and unit in UNITS[known.quantity]:
            return known, unit
        if known.quantity is None and key == known.in_file:
            return known, ""
    return None


def _unknown(key: str, keys: Sequence[Key], where: str) -> DataError:
    for known in keys:
        if known.quantity and key == known.name:
            return DataError(f"{key} has no unit", where=where, remedy=f"write for example {known.in_file}")
        if known.quantity and key.startswith(f"{known.name}_"):
            said = f"{key[len(known.name) + 1 :][:20]!r} is not a unit of {known.quantity} ({key[:60]})"
            return DataError(said, where=where, remedy=f"use one of {', '.join(UNITS[known.quantity])}")
    return unknown_field(key, [known.in_file for known in keys], where)


def unknown_field(key: str, known: Sequence[str], where: str) -> DataError:
    """A key that nobody knows, with the nearest one that is known."""
    near = get_close_matches(key, known, n=1)
    remedy = f"did you mean {near[0]!r}?" if near else "free fields belong under [extensions]"
    return DataError(f"unknown field {key[:60]!r}", where=where, remedy=remedy)


def _converted(value: Any, unit: str, known: Key, where: str) -> Any:
    """A number, or a list of numbers, in SI; anything else as it is, for the check of types to refuse."""
    if isinstance(value, list):
        return [_converted(one, unit, known, where) for one in value]
    if isinstance(value, bool) or not isinstance(value, int | float):
        return value
    refuse_not_finite(value, known.in_file, where)
    return to_si(value, unit, known.quantity) if known.quantity else value


def refuse_not_finite(value: Any, key: str, where: str) -> None:
    """Refuse a number, or one anywhere in a table or list, that is infinite or no number."""
    if isinstance(value, dict | list):
        for name, inner in value.items() if isinstance(value, dict) else ((key, one) for one in value):
            refuse_not_finite(inner, name, where)
    elif isinstance(value, int | float) and not abs(value) < LARGEST:
        said = f"{key} is {str(value)[:20]}, not a finite number"
        raise DataError(said, where=where, remedy="write a number, or leave it out")
