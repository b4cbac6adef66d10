"""The table of a run: lines of text to and from `Row` in SI. No file is opened here."""

import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from difflib import get_close_matches
from math import isfinite
from typing import Any, cast, get_args

from calib.acquire.files.run_events import KINDS_1, from_version_1, to_version_1
from calib.errors import DataError
from calib.frozen import dataclass
from calib.records import BranchName, Row, RowKind, RunHead
from calib.safe_write import quoted
from calib.units import UNITS, from_si, to_si

KINDS: tuple[str, ...] = get_args(RowKind)
BRANCHES: tuple[str, ...] = get_args(BranchName)
PLAIN = (
    *("row", "kind", "about", "cycle", "branch", "pieces", "counts", "at_s", "dwell_s", "note", "n"),
    "relax_percent_per_decade",
)
WITH_UNIT = {"length": "length", "force": "force", "mass": "mass", "sd": "force"}
NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
LARGEST_RELAXATION = 100.0  # per cent a decade of time
SAME_LOAD = 0.03  # relative: a label may be off by two or three per cent of what was weighed
MOST_ROWS = 20_000  # of a run; whoever reads one in three seconds needs 17 hours for as many
LONGEST_LINE = 100_000  # characters; the csv reader gives up soon after
STRIKES = re.compile(r"[0-9]{1,9}")
BESIDE = ("gap", "left-out", "chosen", "planned", "note")  # rows whose length was not read


@dataclass(frozen=True)
class Column:
    """A column of the table: which field of a row, in which unit."""

    field: str
    unit: str = ""


@dataclass(frozen=True)
class Table:
    """The header of a table: where each field stands."""

    columns: dict[str, tuple[int, str]]  # field -> position, unit
    width: int
    separator: str
    version: int = 2  # of the run
    hung: bool = False  # loads are set and lengths are read

    def unit(self, field: str, usual: str) -> str:
        """What a column is in, as scale and tape say it: kg for kgf, lb for lbf; `usual` where there is none."""
        unit = self.columns.get(field, (0, usual))[1]
        return {"kgf": "kg", "lbf": "lb"}.get(unit, unit)


def split_line(line: str, separator: str) -> list[str] | None:
    """Cells of one line; None where a quote is left open. What the csv reader gives up on is cut at every separator."""
    if line and '"' not in line and "\r" not in line:
        return line.split(separator)
    if line.count('"') % 2:
        return None
    try:
        return next(csv.reader([line], delimiter=separator), [])
    except csv.Error:  # a cell of more than 131072 characters, or a bare carriage return
        return line.split(separator)


def column_of(name: str) -> Column | None:
    """The field a column's name stands for; None where unknown."""
    if name in PLAIN:
        return Column(name)
    bare, _, unit = name.rpartition("_")
    quantity = WITH_UNIT.get(bare)
    return Column(bare, unit) if quantity and unit in UNITS[quantity] else None


def parse_header(line: str, where: str, head: RunHead, newer: bool, version: int = 2) -> Table:
    """Read the names of the columns.

    Args:
        line: Without its line end.
        where: The place, for an error.
        head: The method decides between force and mass.
        newer: Whether the file is of a newer minor version: unknown columns are then passed over.
        version: Of the run; 1 has no column `about`.

    Raises:
        DataError: A column is unknown, appears twice or is missing.
    """
    separator = max((",", ";", "\t"), key=line.count)
    names = [name.strip() for name in split_line(line, separator) or []]
    while names and not names[-1]:
        names.pop()
    columns: dict[str, tuple[int, str]] = {}
    for i, name in enumerate(names):
        column = None if version == 1 and name == "about" else column_of(name)
        if column is None and newer:
            continue
        if column is None:
            raise _unknown_column(name, where)
        if column.field in columns:
            raise DataError(f"two columns give the {column.field}", where=where, remedy="keep one of them")
        columns[column.field] = (i, column.unit)
    _check_needed(columns, where, head)
    return Table(columns, len(names), separator, version, head.procedure.method == "hung-weight")


def _unknown_column(name: str, where: str) -> DataError:
    bare, _, unit = name.rpartition("_")
    quantity = WITH_UNIT.get(bare, "")
    if quantity:
        known = ", ".join(UNITS[quantity])
        return DataError(
            f"{unit[:30]!r} is not a unit of {quantity} ({name[:60]})", where=where, remedy=f"use one of {known}"
        )
    example = {"length": "length_mm", "force": "force_kgf", "mass": "mass_kg", "sd": "sd_kgf"}
    if name in example:
        return DataError(f"the column {name!r} has no unit", where=where, remedy=f"write for example {example[name]}")
    near = get_close_matches(name, [*PLAIN, *example.values()], n=1)
    remedy = f"did you mean {near[0]!r}?" if near else "a plain table becomes a run with: bandcurve import"
    return DataError(f"unknown column {name[:60]!r}", where=where, remedy=remedy)


def _check_needed(columns: dict[str, tuple[int, str]], where: str, head: RunHead) -> None:
    hung = head.procedure.method == "hung-weight"
    if hung and "force" in columns and "mass" not in columns:
        raise DataError("hung weights are masses", where=where, remedy="name the column mass_kg, not force_...")
    value = ("mass", "pieces") if hung else ("force", "counts")
    for names, example in ((("cycle",), "cycle"), (("branch",), "branch"), (("length",), "length_mm")):
        if not set(names) & set(columns):
            raise DataError(f"the column {example!r} is missing", where=where, remedy="add it")
    if not set(value) & set(columns):
        example = "mass_kg" if hung else "force_kgf"
        raise DataError(f"the column {example!r} is missing", where=where, remedy="add it, in any accepted unit")


def parse_row(cells: Sequence[str], table: Table, order: int, line: int, name: str) -> Row:
    """Make a row of its cells.

    Args:
        cells: As split.
        table: The header.
        order: Place among the rows, from 1: its number where none is given.
        line: Line in the file.
        name: Of the file, for errors.

    Raises:
        DataError: With file and line.
    """
    where = f"{name}:{line}"
    if len(cells) > table.width and any(cell.strip() for cell in cells[table.width :]):
        remedy = "is a number written with a decimal comma, or a note without quotes?"
        raise DataError(f"has {len(cells)} cells, the header {table.width}", where=where, remedy=remedy)
    given: dict[str, Any] = {}
    for field, (i, unit) in table.columns.items():
        if i < len(cells) and (text := cells[i].strip()):
            given[_FIELD.get(field, field)] = _value(text, field, unit, table, where)
    row = Row(**{"number": order, "line": line, **given})
    if table.version == 1:
        row = from_version_1(row, hung=table.hung)
    _check_complete(row, where, table.version)
    return row


_FIELD = {"row": "number"}  # of a column, where its field has another name


def _value(text: str, field: str, unit: str, table: Table, where: str) -> Any:
    """A cell with something in it as a row holds it."""
    if field in WITH_UNIT:
        return _quantity(text, field, unit, where)
    if field in ("row", "cycle", "n"):
        return _whole(text, field, where)
    if field in ("counts", "at_s", "dwell_s", "relax_percent_per_decade"):
        return _number(text, field, where)
    if field == "kind":
        return _kind(text, where, KINDS if table.version > 1 else KINDS_1)
    if field == "branch":
        return _branch(text, where)
    if field == "pieces":
        return tuple(part.strip() for part in text.split("+") if part.strip())
    return text


def _check_complete(row: Row, where: str, version: int) -> None:
    needs = {"reading": ("cycle", "branch", "length"), "flat": ("length",)}.get(row.kind, ())
    for field in needs:
        if getattr(row, field) is None:
            raise DataError(f"this {row.kind} has no {field}", where=where, remedy="add it, or strike the row")
    no_force = row.force is None and row.mass is None and row.counts is None and not row.pieces
    if row.kind in ("reading", "zero", "check-load") and no_force:
        raise DataError(f"this {row.kind} has no force", where=where, remedy="add it, or make the row's kind 'gap'")
    _check_event(row, where, version)
    if abs(row.relax_percent_per_decade or 0.0) > LARGEST_RELAXATION:
        raise DataError(
            f"relax_percent_per_decade is beyond {LARGEST_RELAXATION:.0f} %",
            where=where,
            remedy="correct it, or drop it",
        )
    for field in ("dwell_s", "sd"):
        if (getattr(row, field) or 0.0) < 0:
            raise DataError(f"{field} is negative", where=where, remedy="correct it")


def _check_event(row: Row, where: str, version: int) -> None:
    """What a typed row needs to mean something."""
    if row.kind == "strike" and not STRIKES.fullmatch(row.about):
        remedy = "write the row's number under about" if version > 1 else 'begin its note like "row 3: misread"'
        raise DataError("this strike does not say which row", where=where, remedy=remedy)
    if (
        version > 1
        and row.kind == "chosen"
        and (row.cycle is None or row.branch is None or not (row.length or row.mass))
    ):
        raise DataError("asks for a reading without cycle, branch or length", where=where, remedy="add them")
    if row.kind == "skipped" and row.about not in ("reading", "zero", "check-load", "flat"):
        raise DataError("does not say what was skipped", where=where, remedy="write the kind of row under about")


def _number(text: str, field: str, where: str) -> float | None:
    if not text:
        return None
    if NUMBER.fullmatch(text):
        value = float(text)
        if isfinite(value):
            return value
        raise DataError(f"{field} {text[:20]} is too large", where=where, remedy="write a finite number")
    if text.lstrip("+-").lower() in ("nan", "inf", "infinity"):
        raise DataError(
            f"{field} is {text}, not a finite number", where=where, remedy="leave the row out, or write its number"
        )
    if re.fullmatch(r"[+-]?[0-9]+,[0-9]+", text):
        raise DataError(f"{field} {text[:20]} has a decimal comma", where=where, remedy="write it with a dot")
    shown = ascii(text[:30])
    raise DataError(
        f"{field} {shown} is not a number", where=where, remedy="write a number, its unit stands in the header"
    )


def _whole(text: str, field: str, where: str) -> int | None:
    value = _number(text, field, where)
    if value is None:
        return None
    least = 1 if field in ("row", "n") else 0
    if value != int(value) or not least <= value < 1e9:
        raise DataError(f"{field} {text[:20]} is not a whole number from {least}", where=where, remedy="correct it")
    return int(value)


def _quantity(text: str, field: str, unit: str, where: str) -> float | None:
    value = _number(text, f"{field}_{unit}", where)
    return None if value is None else to_si(value, unit, WITH_UNIT[field])


def _kind(text: str, where: str, known: tuple[str, ...]) -> RowKind:
    if (text or "reading") in known:
        return cast(RowKind, text or "reading")
    raise _not_one_of(text, "kind", known, where)


def _branch(text: str, where: str) -> BranchName | None:
    if not text:
        return None
    for branch in get_args(BranchName):
        if text == branch:
            found: BranchName = branch
            return found
    raise _not_one_of(text, "branch", BRANCHES, where)


def _not_one_of(text: str, field: str, known: tuple[str, ...], where: str) -> DataError:
    near = get_close_matches(text, known, n=1)
    remedy = f"did you mean {near[0]!r}?" if near else f"use one of {', '.join(known)}"
    return DataError(f"the {field} {text[:30]!a} is unknown", where=where, remedy=remedy)


def with_pieces(rows: Sequence[Row], head: RunHead, name: str) -> tuple[Row, ...]:
    """Rows whose load is what their pieces weigh together; the others as they are.

    Args:
        rows: Of the table.
        head: It names the pieces and says what each weighs.
        name: Of the file, for errors.

    Raises:
        DataError: A piece nobody named, one that hangs twice, or pieces whose sum is not the load.
    """
    return tuple(_with_its_pieces(row, head, f"{name}:{row.line}") if row.pieces else row for row in rows)


def _with_its_pieces(row: Row, head: RunHead, where: str) -> Row:
    loads = head.loads
    if loads is None or not loads.pieces:
        raise DataError("names pieces, and the head has none", where=where, remedy="add # pieces = [...] to # [loads]")
    for piece in row.pieces:
        if piece not in loads.pieces:
            raise DataError(
                f"there is no piece {piece[:24]!a} in [loads]",
                where=where,
                remedy=f"its pieces: {', '.join(loads.pieces)[:120]}",
            )
    if len(set(row.pieces)) < len(row.pieces):
        raise DataError(f"one piece hangs twice in {'+'.join(row.pieces)[:60]}", where=where, remedy="name the other")
    total = float(sum(loads.piece(piece)[0] for piece in row.pieces))
    if row.mass is not None and abs(row.mass - total) > SAME_LOAD * total:
        raise DataError(
            f"{'+'.join(row.pieces)[:60]} is {total:.4g} kg together, and the load {row.mass:.4g} kg",
            where=where,
            remedy="correct the pieces or the load",
        )
    return replace(row, mass=total)


def check_rows(rows: Sequence[Row], name: str) -> None:
    """Refuse row numbers that appear twice, strikes of rows that do not stand before, and negative lengths that count.

    Raises:
        DataError: With file and line.
    """
    seen: set[int] = set()
    struck: set[int] = set()
    for row in rows:
        where = f"{name}:{row.line}"
        if row.number in seen:
            raise DataError(f"row number {row.number} appears twice", where=where, remedy="number the rows in order")
        if row.kind == "strike":
            target = int(row.about)
            if target not in seen:
                raise DataError(
                    f"strikes row {target}, which does not stand before it", where=where, remedy="correct the number"
                )
            struck.add(target)
        seen.add(row.number)
    for row in rows:
        if row.length is not None and row.length <= 0 and row.kind not in BESIDE and row.number not in struck:
            raise DataError(
                f"length {row.length:.4g} m is not above zero",
                where=f"{name}:{row.line}",
                remedy="correct it, or strike the row",
            )


def format_row(row: Row, columns: Sequence[str]) -> str:
    """One line of the table, ended.

    Args:
        row: In SI.
        columns: Their names in the file, for example `length_mm`; without `about` it is a file of version 1.
    """
    return ",".join(_cells(row if "about" in columns else to_version_1(row), columns)) + "\n"


def _cells(row: Row, columns: Sequence[str]) -> Iterator[str]:
    for name in columns:
        column = column_of(name)
        if column is None:
            raise ValueError(f"no such column: {name}")
        value = row.number if column.field == "row" else getattr(row, column.field)
        if column.field == "pieces":
            yield "+".join(row.pieces)
        elif value is None or value == "":
            yield ""
        elif column.field == "note":
            yield quoted(_one_line(row.note)) or '""'
        elif isinstance(value, float):
            yield f"{from_si(value, column.unit, WITH_UNIT[column.field]) if column.unit else value:.13g}"
        else:
            yield str(value)


def _one_line(note: str) -> str:
    """A note without line ends and control characters, which would break the row."""
    return "".join(c if c.isprintable() else " " for c in note).strip()
