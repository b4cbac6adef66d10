"""Anybody's table with a length and a force column, made into the rows of a run. No file is opened here.

Which column is what, in which unit, is told by the header (`table_header`); branches and cycles by a column or by the
turning points (`turning_points`).
"""

import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import chain, islice

from calib.acquire.files.run_table import LONGEST_LINE, MOST_ROWS, NUMBER, split_line
from calib.acquire.files.table_header import RawTable, Understood, invented_header, is_numbers, is_remark, names_columns
from calib.acquire.files.turning_points import courses_of
from calib.acquire.files.typed import AmbiguousNumberError, parse_length, parse_number
from calib.errors import DataError
from calib.frozen import dataclass
from calib.half_path import u_of_step
from calib.records import BranchName, Row
from calib.units import FORCE, LENGTH, MASS

CAP_BYTES = 16_000_000
LOOK = 20  # lines in which a header is looked for
LARGEST = 1e12  # in any unit; nobody measures as much, and the search for the finest step would overflow
MOST_CELLS = 500  # in a line
_DIGITS = frozenset("0123456789.+-eE")

_BRANCH_WORDS: dict[str, BranchName] = {
    **dict.fromkeys(
        ["up", "u", "loading", "load", "out", "stretch", "stretching", "+", "increasing", "rising", "auf"], "loading"
    ),
    **dict.fromkeys(
        ["down", "d", "unloading", "unload", "back", "release", "releasing", "-", "decreasing", "falling", "ab"],
        "unloading",
    ),
}


@dataclass(frozen=True)
class Imported:
    """Rows of a run, and what was done to get them."""

    rows: tuple[Row, ...]
    left_out: int  # rows with an empty length or force
    branch_from: str
    cycles_from: str
    resolution: float  # [N] the finest step of the force column
    u_reading: float = 0.0  # [m] of a tape whose step is coarse; 0: nothing is known of it
    samples: int = 0  # that a long table was made short from; 0: each row is a reading


def read_table(data: bytes, name: str) -> RawTable:
    """Split a file into header and rows.

    Args:
        data: The whole file.
        name: What to call it in an error.

    Raises:
        DataError: It is empty, binary, or has no header with a length and a force column.
    """
    lines = _lines(data, name)
    if lines[0].lstrip('"# ').startswith("format =") and len(lines) <= MOST_ROWS:
        raise DataError("is a run already", where=name, remedy=f"fit it: bandcurve fit {name}")
    kept = ((i, line) for i, line in enumerate(lines, 1) if line and not _is_remark(line))
    top = list(islice(kept, LOOK))
    if not top:
        raise DataError("the file is empty", where=name, remedy="is it the right file?")
    for position, (number, line) in enumerate(top):
        separator = _separator(line)
        header = tuple(cell.strip() for cell in split_line(line, separator) or ())
        if names_columns(header):
            rows = tuple((n, _cells(text, separator)) for n, text in chain(top[position + 1 :], kept))
            return RawTable(name, number, header, rows)
    number, first = top[0]
    if is_numbers(cells := _cells(first, _separator(first))):
        rows = tuple((n, _cells(text, _separator(text))) for n, text in chain(top, kept))
        return RawTable(name, 0, invented_header(cells), rows)
    raise DataError(
        f"no line names a length and a force column (the first is {first.strip()[:50]!a})",
        where=f"{name}:{number}",
        remedy="write a header such as: length (mm), force (kg)",
    )


def _lines(data: bytes, name: str) -> list[str]:
    """Lines without their ends, and without what a spreadsheet puts after the last cell."""
    lines = [line.rstrip(" ,;\t") for line in _text(data, name).replace("\r\n", "\n").replace("\r", "\n").split("\n")]
    for number, line in enumerate(lines, 1):
        if len(line) > MOST_CELLS and (len(line) > LONGEST_LINE or line.count(_separator(line)) >= MOST_CELLS):
            raise DataError(
                f"has a line of more than {LONGEST_LINE} characters or {MOST_CELLS} cells",
                where=f"{name}:{number}",
                remedy="is it the right file?",
            )
    return lines


def _is_remark(line: str) -> bool:
    return line[0] in ' "#' and line.lstrip(' "').startswith("#") and is_remark(_cells(line, _separator(line)))


def _separator(line: str) -> str:
    return max(("\t", ";", ","), key=line.count)


def _text(data: bytes, name: str) -> str:
    if len(data) > CAP_BYTES:
        raise DataError(f"is larger than {CAP_BYTES / 1e6:.0f} MB", where=name, remedy="is it the right file?")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", errors="replace")
    if b"\0" in data or data.startswith((b"PK\x03\x04", b"%PDF")):
        raise DataError("is a binary file", where=name, remedy="save the table as CSV")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")  # what spreadsheets on one system write as plain CSV


def _cells(line: str, separator: str) -> tuple[str, ...]:
    cells = split_line(line, separator)
    if cells is None:  # an odd quote is an inch sign more often than a quote left open
        return tuple(cell.strip() for cell in line.split(separator))
    return tuple(cell.strip() for cell in cells)


def rows_of(table: RawTable, found: Understood, length_unit: str, force_unit: str, *, hung: bool = False) -> Imported:
    """Rows of a run.

    Args:
        table: As read.
        found: Which column is what.
        length_unit: Of the length column.
        force_unit: Of the force column.
        hung: Whether the force column holds the masses of hung weights.

    Raises:
        DataError: A cell cannot be read; with file and line.
    """
    at = found.columns
    full = [(n, c) for n, c in table.rows if _cell(c, at["length"]) and _cell(c, at["force"])]
    if not full:
        raise DataError("has no row with a length and a force", where=table.name, remedy="is it the right file?")
    lengths = _numbers(table, full, at["length"], "length", length_unit)
    forces = _numbers(table, full, at["force"], "force")
    if len(full) > MOST_ROWS and not hung:
        return _made_short(table, lengths, forces, LENGTH[length_unit], FORCE[force_unit])
    branches = _named_branches(table, full, at["branch"]) if "branch" in at else None
    cycles = _named_cycles(table, full, at["cycle"]) if "cycle" in at else None
    paired = courses_of(lengths, branches, cycles)
    rows = []
    for i, ((line, cells), (cycle, branch)) in enumerate(zip(full, paired, strict=True)):
        note = _cell(cells, at["note"]) if "note" in at else ""
        row = Row(i + 1, "reading", cycle, branch, lengths[i] * LENGTH[length_unit], note=note, line=line)
        filled = (
            replace(row, mass=forces[i] * MASS[force_unit])
            if hung
            else replace(row, force=forces[i] * FORCE[force_unit])
        )
        rows.append(filled)
    return Imported(
        rows=tuple(rows),
        left_out=len(table.rows) - len(full),
        branch_from=f"column {table.header[at['branch']]!r}" if branches else "the direction of the lengths",
        cycles_from=f"column {table.header[at['cycle']]!r}" if cycles else "the turning points",
        resolution=finest_step(forces) * FORCE[force_unit],
        u_reading=round(u_of_step([length * LENGTH[length_unit] for length in lengths]), 4),
    )


def _made_short(
    table: RawTable, lengths: list[float], forces: list[float], to_metre: float, to_newton: float
) -> Imported:
    from calib.acquire.files.long_table import points_of_trace

    points = points_of_trace(lengths, forces, table.name)
    rows = [
        Row(
            i,
            cycle=point.cycle,
            branch=point.branch,
            length=round(point.length * to_metre, 5),
            force=point.force * to_newton,
            n=point.n,
            sd=point.sd * to_newton,
        )
        for i, point in enumerate(points, 2)
    ]
    said = f"{len(lengths)} samples of {table.name} made {len(points)} readings, by lines through those near each"
    return Imported(
        rows=(Row(1, "note", note=said), *rows),
        left_out=len(table.rows) - len(lengths),
        branch_from="the direction of the lengths",
        cycles_from="the turning points",
        resolution=finest_step(forces) * to_newton,
        samples=len(lengths),
    )


def _cell(cells: Sequence[str], i: int) -> str:
    return cells[i] if i < len(cells) else ""


def _numbers(
    table: RawTable, rows: Sequence[tuple[int, Sequence[str]]], at: int, column: str, unit: str = ""
) -> list[float]:
    """The numbers of a column; a comma is taken the same way in all of them.

    Raises:
        AmbiguousNumberError: Every comma stands before exactly three digits.
    """
    texts = [_cell(cells, at) for _, cells in rows]
    if (plain_numbers := _plain(texts)) and (column != "length" or min(plain_numbers) > 0):
        return plain_numbers
    decimal = any(re.fullmatch(r"[+-]?(0?|[0-9]+),([0-9]{1,2}|[0-9]{4,})|[+-]?0,[0-9]+", t) for t in texts)
    thousands = any(re.fullmatch(r"[+-]?[0-9]{1,3},[0-9]{3}\.[0-9]+", t) for t in texts)
    out = []
    for (line, _), text in zip(rows, texts, strict=True):
        where = f"{table.name}:{line}"
        plain = text.replace(",", "." if decimal else "") if decimal != thousands else text
        if NUMBER.fullmatch(plain):
            value = float(plain)
            if abs(value) > LARGEST:
                raise DataError(f"{column} {text[:20]} is too large", where=where, remedy="correct it")
        else:
            value = _typed(plain, column, where, unit)
        if column == "length" and value <= 0:
            raise DataError(
                f"length {text[:20]} is not above zero", where=where, remedy="correct it, or leave the row out"
            )
        out.append(value)
    return out


def _plain(texts: Sequence[str]) -> list[float]:
    """The numbers of a column of nothing but plain ones; empty where one must be looked at."""
    if not _DIGITS.issuperset("".join(texts)):
        return []
    try:
        values = [float(text) for text in texts]
    except ValueError:
        return []
    return values if all(-LARGEST <= value <= LARGEST for value in values) else []


def _typed(text: str, column: str, where: str, unit: str) -> float:
    try:
        if column == "length" and re.search(r"[0-9]\s*(?:'|ft|feet|foot)", text, re.IGNORECASE):
            return float(f"{parse_length(text, unit) / LENGTH[unit]:.9g}")
        return parse_number(text.removesuffix('"').strip())
    except AmbiguousNumberError as error:
        raise error.placed_at(where) from None
    except DataError:
        remedy = "the cell should hold only the number; its unit stands in the header"
        raise DataError(f"{column} {text[:30]!a} is not a number", where=where, remedy=remedy) from None


def _named_branches(table: RawTable, full: Sequence[tuple[int, Sequence[str]]], at: int) -> list[BranchName]:
    out = []
    for line, cells in full:
        word = _cell(cells, at).lower()
        if word not in _BRANCH_WORDS:
            where = f"{table.name}:{line}"
            raise DataError(f"{word[:20]!a} names no branch", where=where, remedy="write loading or unloading")
        out.append(_BRANCH_WORDS[word])
    return out


def _named_cycles(table: RawTable, full: Sequence[tuple[int, Sequence[str]]], at: int) -> list[int]:
    out = []
    for line, cells in full:
        text = _cell(cells, at)
        if not re.fullmatch(r"[0-9]{1,6}", text, re.ASCII):
            where = f"{table.name}:{line}"
            raise DataError(f"{text[:20]!a} is not the number of a cycle", where=where, remedy="write 1, 2, 3 ...")
        out.append(int(text))
    return out


def finest_step(values: Sequence[float]) -> float:
    """The largest step 5, 2 or 1 times a power of ten that all values are multiples of; at least 0.0001.

    >>> finest_step([5.4, 21.45, 0.0])
    0.05
    """
    values = list(set(values))
    for power in (0, -1, -2, -3, -4):
        for digit in (5, 2, 1):
            step = digit * 10.0**power
            if step <= 1 and all(abs(v / step - round(v / step)) < 1e-6 for v in values):
                return float(f"{step:.1g}")
    return 1e-4
