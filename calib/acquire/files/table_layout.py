"""Layouts of people's tables made one: no header, several pulls beside each other, several bands in one table.

What comes out is a table with one length and one pull a row, as `table_import` reads it.
"""

import re
from collections.abc import Sequence
from dataclasses import replace

from calib.acquire.files.spreadsheet import is_workbook, sheets_of
from calib.acquire.files.table_header import (
    WAYS,
    RawTable,
    invented_header,
    is_numbers,
    names_columns,
    role_of,
    way_of,
    words_of,
)
from calib.acquire.files.table_import import LOOK, read_table
from calib.errors import DataError
from calib.frozen import dataclass

_BAND = ("band", "id", "name")


@dataclass(frozen=True)
class BandTable:
    """One band's table."""

    band: str  # "" where the table does not say
    flat: str  # its flat length as written, with the unit of its header; "" where it is not there
    table: RawTable


def band_tables(data: bytes, name: str) -> list[BandTable]:
    """Every band's table of a file.

    Args:
        data: The whole file: CSV or a workbook.
        name: What to call it in an error.

    Raises:
        DataError: It cannot be read, or holds no table with a length and a pull.
    """
    tables = _of_workbook(data, name) if is_workbook(data) else [("", read_table(data, name))]
    found = []
    for title, table in tables:
        parts = _by_band(table) or {title if len(tables) > 1 else "": table}
        found += [BandTable(band, _flat(part), one_pull_a_row(part)) for band, part in parts.items()]
    return found


def _of_workbook(data: bytes, name: str) -> list[tuple[str, RawTable]]:
    sheets = sheets_of(data, name)
    found = [(title, table) for title, rows in sheets if (table := with_header(rows, f"{name} {title}")) is not None]
    if not found:
        raise DataError(
            "no sheet has a length and a force column", where=name, remedy="write a header: length (mm), force (kg)"
        )
    return found


def with_header(rows: Sequence[tuple[int, tuple[str, ...]]], name: str) -> RawTable | None:
    """The table below the first row that names a length and a pull, or one that is all numbers; None without either.

    Args:
        rows: With their numbers.
        name: What to call it in an error.
    """
    for at, (number, cells) in enumerate(rows[:LOOK]):
        if names_columns(cells):
            return RawTable(name, number, cells, tuple(rows[at + 1 :]))
    if rows and is_numbers(rows[0][1]):
        return RawTable(name, 0, invented_header(rows[0][1]), tuple(rows))
    return None


def _by_band(table: RawTable) -> dict[str, RawTable]:
    """Tables of several bands below each other, by a column that names them."""
    at = next((i for i, h in enumerate(table.header) if _names_the_band(h)), None)
    if at is None:
        return {}
    by_name: dict[str, list[tuple[int, tuple[str, ...]]]] = {}
    last = ""
    for number, cells in table.rows:
        last = (cells[at] if at < len(cells) else "") or last  # one name above several rows
        by_name.setdefault(last, []).append((number, cells))
    return {band: replace(table, rows=tuple(rows)) for band, rows in by_name.items() if band}


def _names_the_band(header: str) -> bool:
    return role_of(header) is None and (words_of(header) or [""])[0] in _BAND


def is_of_the_band(header: str) -> bool:
    """Whether a column says something of the band as a whole: its name or its flat length."""
    return "flat" in words_of(header) or _names_the_band(header)


def _flat(table: RawTable) -> str:
    """The flat length of a column that has it."""
    for i, header in enumerate(table.header):
        if "flat" in words_of(header):
            found = next((cells[i] for _, cells in table.rows if i < len(cells) and cells[i]), "")
            unit = next((word for word in reversed(words_of(header)) if word in ("mm", "cm", "m", "in", "ft")), "")
            return f"{found}{unit}" if found else ""
    return ""


def one_pull_a_row(table: RawTable) -> RawTable:
    """A table with pulls beside each other as one with them below each other; any other as it is.

    Columns of pulls bear one name and a number, or say which way they are: "pull 1, pull 2", "out, back".
    """
    roles = [role_of(header) for header in table.header]
    pulls = [i for i, h in enumerate(table.header) if roles[i] == "force" or (roles[i] is None and way_of(h))]
    names = {tuple(w for w in words_of(table.header[i]) if w not in WAYS) for i in pulls}
    told_apart = len({table.header[i] for i in pulls}) == len(pulls)
    if len(pulls) < 2 or len(names) > 1 or not told_apart or {"cycle", "branch"} & set(roles) or "length" not in roles:
        return table
    length, note = roles.index("length"), roles.index("note") if "note" in roles else None
    ways = [way_of(table.header[i]) for i in pulls]
    rows: list[tuple[int, tuple[str, ...]]] = []
    for k, (i, way) in enumerate(zip(pulls, ways, strict=True)):
        cycle = ways[:k].count(way) + 1
        ordered = reversed(table.rows) if way == "unloading" else table.rows
        for number, cells in ordered:
            more = (cells[note] if note is not None and note < len(cells) else "",)
            rows.append((number, (_cell_at(cells, length), _cell_at(cells, i), way, f"{cycle}", *more)))
    rows = _in_order(rows) if all(ways) else rows
    header = (table.header[length], table.header[pulls[0]], "branch" if all(ways) else "", "cycle", "note")
    return replace(table, header=header, rows=tuple(rows))


def _in_order(rows: list[tuple[int, tuple[str, ...]]]) -> list[tuple[int, tuple[str, ...]]]:
    """As they were taken: out and back of one cycle, then the next."""
    return sorted(rows, key=lambda row: (int(row[1][3]), row[1][2] == "unloading"))


def _cell_at(cells: Sequence[str], i: int) -> str:
    return re.sub(r"^-$", "", cells[i]) if i < len(cells) else ""
