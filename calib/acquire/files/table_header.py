"""What the header of somebody's table says: which column is what, in which unit, by the words of several languages.

Its cells are read in `table_import`.
"""

import re
from collections.abc import Sequence
from typing import Literal

from calib.acquire.files.run_table import NUMBER
from calib.errors import DataError
from calib.frozen import dataclass
from calib.units import FORCE, LENGTH

Role = Literal["length", "force", "branch", "cycle", "note"]
_WORDS: dict[Role, frozenset[str]] = {
    "length": frozenset(
        [
            "length",
            "len",
            "distance",
            "dist",
            "l",
            "tape",
            "laenge",
            "länge",
            "abstand",
            "longueur",
            "longitud",
            "lunghezza",
        ]
    ),
    "force": frozenset(
        [
            "force",
            "pull",
            "tension",
            "load",
            "weight",
            "scale",
            "reading",
            "mass",
            "f",
            "kraft",
            "zugkraft",
            "gewicht",
            "charge",
            "poids",
            "peso",
            "fuerza",
            "forza",
        ]
    ),
    "branch": frozenset(["branch", "direction", "way", "phase", "richtung", "sens", "dir"]),
    "cycle": frozenset(["cycle", "cycles", "set", "round", "rep", "zyklus", "ciclo"]),
    "note": frozenset(["note", "notes", "comment", "comments", "remark", "remarks"]),
}
_LENGTH_UNITS = {
    **{unit: unit for unit in LENGTH},
    **dict.fromkeys(("inch", "inches", '"'), "in"),
    **dict.fromkeys(("foot", "feet", "'"), "ft"),
    **dict.fromkeys(("metre", "metres", "meter", "meters"), "m"),
    **dict.fromkeys(("millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
    **dict.fromkeys(("centimetre", "centimetres", "centimeter", "centimeters"), "cm"),
}
_FORCE_UNITS = {
    **{unit.lower(): unit for unit in FORCE},
    **dict.fromkeys(("newton", "newtons"), "N"),
    **dict.fromkeys(("kilo", "kilos", "kgs", "kilogram", "kilograms", "kp"), "kg"),
    **dict.fromkeys(("lbs", "pound", "pounds"), "lb"),
}


@dataclass(frozen=True)
class RawTable:
    """A table as text: header and rows, each row with its line in the file."""

    name: str
    line: int  # of the header
    header: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]


@dataclass(frozen=True)
class Understood:
    """Which column is what; units are None where the header does not say."""

    columns: dict[Role, int]
    length_unit: str | None
    force_unit: str | None


_FIRST_WORD: tuple[Role, ...] = ("cycle", "note", "branch")
_ANY_WORD: tuple[Role, ...] = ("length", "force")
_FAILED = re.compile(r"#(DIV/0!|N/A|NAME\?|NULL!|NUM!|REF!|VALUE!)")  # a cell of a formula without a value
WAYS = {
    **dict.fromkeys(("out", "up", "loading"), "loading"),
    **dict.fromkeys(("back", "down", "unloading"), "unloading"),
}
"""Words of a column that say which branch its pulls are of."""
_BRANCH_PAIRS = ({"up", "down"}, {"out", "back"}, {"loading", "unloading"})


def words_of(name: str) -> list[str]:
    """The words of a header, small; a mark for feet or inches is one."""
    return re.findall(r"[^\W\d_]+|[\"']", name.lower())


def role_of(name: str) -> Role | None:
    """What a column is, by its words, else by its unit alone."""
    tokens = words_of(name)
    if "flat" in tokens:
        return None  # of the band, not of a reading
    for role in _FIRST_WORD:
        if tokens and tokens[0] in _WORDS[role]:
            return role
    if any(pair <= set(tokens) for pair in _BRANCH_PAIRS):
        return "branch"
    for role in _ANY_WORD:
        if _WORDS[role] & set(tokens):
            return role
    if any(t in _LENGTH_UNITS for t in tokens):
        return "length"
    return "force" if any(t in _FORCE_UNITS for t in tokens) else None


def names_columns(cells: Sequence[str]) -> bool:
    """Whether a row names a length and a pull."""
    roles = [role_of(cell) for cell in cells]
    return "length" in roles and ("force" in roles or len([c for c in cells if way_of(c)]) > 1)


def is_remark(cells: Sequence[str]) -> bool:
    """Whether a row begins as a remark does, "# so"; not one numbered "#", nor one whose formula failed."""
    first = cells[0].strip()
    return first.startswith("#") and not _FAILED.match(first) and (first != "#" or not any(cells[1:]))


def is_numbers(cells: Sequence[str]) -> bool:
    """Whether a row is numbers alone, two or more."""
    full = [cell for cell in cells if cell]
    return len(full) > 1 and bool(cells[0]) and all(NUMBER.fullmatch(cell.replace(",", ".")) for cell in full)


def invented_header(cells: Sequence[str]) -> tuple[str, ...]:
    """What columns of a table without a header are taken to be: a length, then pulls."""
    return ("length", *(f"pull {i}" for i in range(1, len(cells))))


def way_of(header: str) -> str:
    """Which branch a column of pulls is of; "" where it does not say."""
    return next((WAYS[word] for word in words_of(header) if word in WAYS), "")


def understand(table: RawTable) -> Understood:
    """Tell which column is what, and its unit.

    Raises:
        DataError: Two columns could be the length or the force.
    """
    columns: dict[Role, int] = {}
    for i, name in enumerate(table.header):
        role = role_of(name)
        if role is None or (role == "note" and role in columns):
            continue
        if role in columns:
            both = f"{table.header[columns[role]]!r} and {name!r}"
            where = f"{table.name}:{table.line}"
            raise DataError(f"two columns could be the {role}: {both}", where=where, remedy="rename or remove one")
        columns[role] = i
    length, force = table.header[columns["length"]], table.header[columns["force"]]
    return Understood(columns, _unit_in(length, _LENGTH_UNITS), _unit_in(force, _FORCE_UNITS))


def _unit_in(name: str, known: dict[str, str]) -> str | None:
    """The unit a header names: its last token that is one."""
    return next((known[token] for token in reversed(words_of(name)) if token in known), None)
