"""A table of known loads and what a scale showed, read from bytes. No file is opened here and nothing is fitted."""

import csv
import io
import re
from collections.abc import Callable, Iterator, Sequence
from typing import Literal, NamedTuple

from calib.acquire.files.typed import listed, parse_force, parse_mass, parse_number
from calib.errors import DataError
from calib.frozen import dataclass
from calib.records import BranchName
from calib.safe_read import utf8_text
from calib.units import FORCE, MASS

CAP_BYTES = 1_000_000
MOST_ROWS = 10_000
BRANCHES: dict[str, BranchName] = {"loading": "loading", "up": "loading", "unloading": "unloading", "down": "unloading"}
EXAMPLE = "for example known_kg,shown_kg,branch"
Quantity = Literal["mass", "force", "volume"]
_KNOWN = {**MASS, "N": 1.0, "l": 1.0}
COUNTS = "counts"
LIKE = "write it like 20, or 10+10 for two pieces"
PAIR = "for example: 20 19.85"
LONGEST = 200  # characters
MOST = 1e7  # kg, N or l
MOST_COUNTS = 1e10  # a converter has at most 32 bits


@dataclass(frozen=True)
class CheckRow:
    """One known load and what was shown."""

    pieces: tuple[float, ...]  # as written, "10+5" is two pieces [kg], or [N] for known_N, [l] for known_l (water)
    shown: float  # [N], or counts
    branch: BranchName
    line: int


@dataclass(frozen=True)
class CheckTable:
    """A whole table."""

    rows: tuple[CheckRow, ...]
    quantity: Quantity  # of the known loads
    has_pieces: bool  # a "+" stood somewhere: single numbers are single pieces then
    in_counts: bool = False  # what was shown is counts of a load cell's line

    @property
    def totals(self) -> tuple[float, ...]:
        """Each row's load as one number."""
        return tuple(float(sum(row.pieces)) for row in self.rows)


class _Columns(NamedTuple):
    known: int
    known_unit: str
    shown: int
    shown_unit: str
    branch: int | None


def parse_check_table(data: bytes, name: str) -> CheckTable:
    """Read a table with the columns `known_<unit>`, `shown_<unit>` and, if the way down was read too, `branch`.

    Args:
        data: UTF-8, a comma, semicolon or tab between columns; with semicolons a decimal comma is understood.
        name: What to call it in an error.

    Raises:
        DataError: A column is missing, or a cell cannot be read.
    """
    if len(data) > CAP_BYTES:
        raise DataError("is larger than 1 MB", where=name, remedy="is it the right file?")
    text = utf8_text(data, name, "save the sheet as CSV, UTF-8")
    if "\0" in text:
        raise DataError("is not a text file", where=name, remedy="save the sheet as CSV, UTF-8")
    lines = list(_cells(text, name))
    if not lines:
        raise DataError("the file is empty", where=name, remedy=f"write a line of column names, {EXAMPLE}")
    columns = _columns(lines[0][1], f"{name}:{lines[0][0]}")
    if len(lines) > MOST_ROWS:
        raise DataError(f"has more than {MOST_ROWS} rows", where=name, remedy="is it the right file?")
    rows = tuple(_row(cells, columns, line, f"{name}:{line}") for line, cells in lines[1:])
    if not rows:
        raise DataError("has column names and no row", where=name, remedy="write one row a reading")
    plus = any(len(row.pieces) > 1 for row in rows)
    quantities: dict[str, Quantity] = {"N": "force", "l": "volume"}
    return CheckTable(rows, quantities.get(columns.known_unit, "mass"), plus, columns.shown_unit == COUNTS)


def format_check_table(rows: Sequence[CheckRow], quantity: Quantity, shown: str = "N") -> str:
    """The table of some rows, as `parse_check_table` reads it; what was shown is in N or in counts."""
    unit = {"mass": "kg", "force": "N", "volume": "l"}[quantity]
    lines = [f"{'+'.join(map(_plain, r.pieces)) or '0'},{_plain(r.shown)},{r.branch}" for r in rows]
    return "\n".join([f"known_{unit},shown_{shown},branch", *lines, ""])


def _plain(value: float) -> str:
    """All digits, and no power of ten."""
    return repr(value) if "e" not in repr(value) else f"{value:.12f}"


def _cells(text: str, name: str) -> Iterator[tuple[int, list[str]]]:
    """Line numbers and cells, without empty lines and lines behind a `#`."""
    first = next((line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")), "")
    separator = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    try:
        for cells in reader:
            if any(c.strip() for c in cells) and not cells[0].lstrip().startswith("#"):
                yield reader.line_num, [_dot(c.strip(), separator) for c in cells]
    except csv.Error as error:
        raise DataError(
            f"is not a table ({error})", where=f"{name}:{reader.line_num}", remedy="correct the line"
        ) from None


def _dot(cell: str, separator: str) -> str:
    """A decimal comma as a dot where commas do not separate columns."""
    return cell.replace(",", ".") if separator != "," and re.fullmatch(r"[-+0-9, ]+", cell) else cell


def _columns(names: Sequence[str], where: str) -> _Columns:
    low = [n.strip() for n in names]
    known, known_unit = _column(low, "known", _KNOWN, where)
    shown, shown_unit = _column(low, "shown", {**FORCE, COUNTS: 1.0}, where)
    branch = next((i for i, n in enumerate(low) if n.lower() == "branch"), None)
    return _Columns(known, known_unit, shown, shown_unit, branch)


def _column(names: Sequence[str], quantity: str, units: dict[str, float], where: str) -> tuple[int, str]:
    found = [(i, n) for i, n in enumerate(names) if n.lower().startswith(quantity)]
    if len(found) != 1:
        what = f"{len(found)} columns" if found else "no column"
        raise DataError(f"{what} named {quantity}_<unit>", where=where, remedy=f"name one, {EXAMPLE}")
    index, name = found[0]
    unit = next((u for u in units if name[len(quantity) :] == f"_{u}"), None)
    if unit is None:
        usable = ", ".join(f"{quantity}_{u}" for u in units)
        raise DataError(f"the column {name[:40]!r} has no unit known here", where=where, remedy=f"use {usable}")
    return index, unit


def _row(cells: Sequence[str], columns: _Columns, line: int, where: str) -> CheckRow:
    branch = _cell(cells, columns.branch) if columns.branch is not None else "up"
    if branch.lower() not in BRANCHES:
        said = f"the branch {branch[:20]!r}" if branch else "an empty branch"
        raise DataError(f"{said} is neither up nor down", where=where, remedy="write up or down (loading or unloading)")
    pieces = read_pieces(_cell(cells, columns.known), columns.known_unit, where)
    shown = _read(_shown, _cell(cells, columns.shown), columns.shown_unit, ("what was shown", where))
    return CheckRow(pieces, shown, BRANCHES[branch.lower()], line)


def _cell(cells: Sequence[str], index: int) -> str:
    return cells[index].strip() if index < len(cells) else ""


def read_pieces(text: str, unit: str, where: str = "") -> tuple[float, ...]:
    """Read a known load: `20`, or `10 + 10` for two pieces; 0 is nothing at all. [kg], [N] or [l]

    Args:
        text: As typed or written.
        unit: Of a number without one: of mass, N, or l for litres of water.
        where: For an error.

    >>> read_pieces("10 + 2,5", "kg"), read_pieces("0", "lb")
    ((10.0, 2.5), ())

    Raises:
        DataError: It is not that.
    """
    if len(text) > LONGEST:
        raise DataError(f"the known load {text[:12]!a}... is too long", where=where, remedy=LIKE)
    pieces = [_read(_known, part, unit, ("the known load", where)) for part in text.split("+")]
    if any(not 0 <= piece <= MOST for piece in pieces):
        raise DataError(f"the known load {text[:30]!a} is below zero, or more than any scale takes", where=where)
    return tuple(piece for piece in pieces if piece > 0)


def _known(text: str, unit: str) -> float:
    if unit == "l":
        return parse_number(re.sub(r"\s*(l|litres?|liters?)$", "", text.strip(), flags=re.IGNORECASE))
    return parse_force(text, unit) if unit == "N" else parse_mass(text, unit)


def _shown(text: str, unit: str) -> float:
    """[N], or counts"""
    value = parse_number(text) if unit == COUNTS else parse_force(text, unit)
    if abs(value) > (MOST_COUNTS if unit == COUNTS else MOST):
        raise DataError(f"{text[:30]!a} is more than any scale shows")
    return value


def _read(read: Callable[[str, str], float], text: str, unit: str, place: tuple[str, str]) -> float:
    """A value; an error names what it was to be, and where."""
    try:
        return read(text, unit)
    except DataError as error:
        raise DataError(f"{place[0]}: {error.what}", where=place[1], remedy=error.remedy or LIKE) from None


def read_pair(text: str, known_unit: str, shown_unit: str) -> tuple[tuple[float, ...], float]:
    """Read what is typed for one load: the known load, a space, what the scale shows. [kg] or [l], and [N]

    Args:
        text: As typed.
        known_unit: Of a known load without one: of mass, or l for litres of water.
        shown_unit: Of a force without one.

    >>> read_pair("10+10  20,05", "kg", "N")
    ((10.0, 10.0), 20.05)

    Raises:
        DataError: It is not that.
    """
    if len(text) > LONGEST:
        raise DataError(f"{text[:12]!a}... is too long", remedy=PAIR)
    units = "|".join(sorted({*FORCE, *MASS, "l", "lbs"}, key=len, reverse=True))
    close = re.sub(rf"(?<=[0-9])\s+(?=(?:{units})(?:\s|\+|$))", "", re.sub(r"\s*\+\s*", "+", text.strip()))
    parts = listed(close)
    if len(parts) != 2:
        raise DataError("type the known load, a space, and what the scale shows", remedy=PAIR)
    known, shown = parts
    return read_pieces(known, known_unit), _read(_shown, shown, shown_unit, ("what the scale shows", ""))
