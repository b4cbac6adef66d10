"""Anybody's table with a length and a force column, made into the rows of a run. No file is opened here.

Which column is what, in which unit, is told by the header; branches and cycles by a column or by the turning points.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from calib.acquire.run_table import NUMBER, split_line
from calib.acquire.typed import AmbiguousNumberError, parse_length, parse_number
from calib.errors import DataError
from calib.records import BranchName, Row
from calib.units import FORCE, LENGTH, MASS

CAP_BYTES = 16_000_000
Role = Literal["length", "force", "branch", "cycle", "note"]

_WORDS: dict[Role, frozenset[str]] = {
    "length": frozenset(
        (
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
        )
    ),
    "force": frozenset(
        (
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
        )
    ),
    "branch": frozenset(
        (
            "branch",
            "direction",
            "way",
            "phase",
            "richtung",
            "sens",
            "dir",
        )
    ),
    "cycle": frozenset(
        (
            "cycle",
            "cycles",
            "set",
            "round",
            "rep",
            "zyklus",
            "ciclo",
        )
    ),
    "note": frozenset(
        (
            "note",
            "notes",
            "comment",
            "comments",
            "remark",
            "remarks",
        )
    ),
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


@dataclass(frozen=True)
class Imported:
    """Rows of a run, and what was done to get them."""

    rows: tuple[Row, ...]
    left_out: int  # rows with an empty length or force
    branch_from: str
    cycles_from: str
    resolution: float  # [N] the finest step of the force column


def read_table(data: bytes, name: str) -> RawTable:
    """Split a file into header and rows.

    Args:
        data: The whole file.
        name: What to call it in an error.

    Raises:
        DataError: It is empty, binary, or has no header with a length and a force column.
    """
    lines = _text(data, name).replace("\r\n", "\n").replace("\r", "\n").split("\n")
    if lines[0].lstrip('"# ').startswith("format ="):
        raise DataError("is a run already", where=name, remedy=f"fit it: bandcurve fit {name}")
    kept = [
        (i, line) for i, line in enumerate(lines, 1) if line.strip(" ,;\t") and not line.lstrip('" ').startswith("#")
    ]
    if not kept:
        raise DataError("the file is empty", where=name, remedy="is it the right file?")
    for position, (number, line) in enumerate(kept[:20]):
        separator = max(("\t", ";", ","), key=line.count)
        header = tuple(cell.strip() for cell in split_line(line, separator) or ())
        roles = [_role(cell) for cell in header]
        if "length" in roles and "force" in roles:
            rows = tuple((n, _cells(text, separator, f"{name}:{n}")) for n, text in kept[position + 1 :])
            return RawTable(name, number, header, rows)
    number, first = kept[0]
    raise DataError(
        f"no line names a length and a force column (the first is {first.strip()[:50]!a})",
        where=f"{name}:{number}",
        remedy="write a header such as: length (mm), force (kg)",
    )


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


def _cells(line: str, separator: str, where: str) -> tuple[str, ...]:
    cells = split_line(line, separator)
    if cells is None:  # an odd quote is an inch sign more often than a quote left open
        return tuple(cell.strip() for cell in line.split(separator))
    return tuple(cell.strip() for cell in cells)


_FIRST_WORD: tuple[Role, ...] = ("cycle", "note", "branch")
_ANY_WORD: tuple[Role, ...] = ("length", "force")
_BRANCH_PAIRS = ({"up", "down"}, {"out", "back"}, {"loading", "unloading"})


def _tokens(name: str) -> list[str]:
    return re.findall(r"[^\W\d_]+|[\"']", name.lower())


def _role(name: str) -> Role | None:
    """What a column is, by its words, else by its unit alone."""
    tokens = _tokens(name)
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


def understand(table: RawTable) -> Understood:
    """Tell which column is what, and its unit.

    Raises:
        DataError: Two columns could be the length or the force.
    """
    columns: dict[Role, int] = {}
    for i, name in enumerate(table.header):
        role = _role(name)
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
    return next((known[token] for token in reversed(_tokens(name)) if token in known), None)


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
    lengths = _numbers(table, [(n, _cell(c, at["length"])) for n, c in full], "length", length_unit)
    forces = _numbers(table, [(n, _cell(c, at["force"])) for n, c in full], "force")
    branches = _named_branches(table, full, at["branch"]) if "branch" in at else None
    cycles = _named_cycles(table, full, at["cycle"]) if "cycle" in at else None
    paired = _courses(lengths, branches, cycles)
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
    )


def _cell(cells: Sequence[str], i: int) -> str:
    return cells[i] if i < len(cells) else ""


def _numbers(table: RawTable, cells: Sequence[tuple[int, str]], column: str, unit: str = "") -> list[float]:
    """The numbers of a column; a comma is taken the same way in all of them.

    Raises:
        AmbiguousNumberError: Every comma stands before exactly three digits.
    """
    texts = [text for _, text in cells]
    decimal = any(re.fullmatch(r"[+-]?(0?|[0-9]+),([0-9]{1,2}|[0-9]{4,})|[+-]?0,[0-9]+", t) for t in texts)
    thousands = any(re.fullmatch(r"[+-]?[0-9]{1,3},[0-9]{3}\.[0-9]+", t) for t in texts)
    out = []
    for line, text in cells:
        where = f"{table.name}:{line}"
        plain = text.replace(",", "." if decimal else "") if decimal != thousands else text
        if NUMBER.fullmatch(plain):
            value = float(plain)
            if abs(value) == float("inf"):
                raise DataError(f"{column} {text[:20]} is too large", where=where, remedy="mend it")
        else:
            value = _typed(plain, column, where, unit)
        if column == "length" and value <= 0:
            raise DataError(
                f"length {text[:20]} is not above zero", where=where, remedy="mend it, or leave the row out"
            )
        out.append(value)
    return out


def _typed(text: str, column: str, where: str, unit: str) -> float:
    try:
        if column == "length" and re.search(r"[0-9]\s*(?:'|ft|feet|foot)", text, re.IGNORECASE):
            return float(f"{parse_length(text, unit) / LENGTH[unit]:.9g}")
        return parse_number(text.removesuffix('"').strip())
    except AmbiguousNumberError as error:
        raise error.at(where) from None
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


def _courses(
    lengths: Sequence[float], branches: Sequence[BranchName] | None, cycles: Sequence[int] | None
) -> list[tuple[int, BranchName]]:
    """Cycle and branch of each reading, from columns where there are any, else from the turning points."""
    if cycles is not None and branches is None:
        branches = [branch for run in _runs(cycles) for branch in _direction([lengths[i] for i in run])]
    if branches is None:
        branches = _direction(lengths)
    if cycles is None:
        cycles = _counted(lengths, branches)
    return list(zip(cycles, branches, strict=True))


def _runs(values: Sequence[int]) -> list[list[int]]:
    out: list[list[int]] = []
    for i, value in enumerate(values):
        if not out or values[out[-1][0]] != value:
            out.append([])
        out[-1].append(i)
    return out


def _direction(lengths: Sequence[float]) -> list[BranchName]:
    """Loading while lengths grow, unloading while they shrink.

    A top read twice belongs to both branches, a bottom read twice too; a fall in one step to where the next way out
    begins is no way back but a fresh start.
    """
    steps = [(b > a) - (b < a) for a, b in pairwise(lengths)]
    out: list[BranchName] = ["loading"]
    for i, step in enumerate(steps):
        ahead = next((s for s in steps[i + 1 :] if s), 0)
        alone = step < 0 and out[-1] == "loading" and ahead > 0
        if step > 0 or alone:
            out.append("loading")
        elif step < 0:
            out.append("unloading")
        elif ahead:
            out.append("loading" if ahead > 0 else "unloading")
        else:
            out.append("unloading" if out[-1] == "loading" else out[-1])
    return out


def _counted(lengths: Sequence[float], branches: Sequence[BranchName]) -> list[int]:
    out = [1]
    for i in range(1, len(lengths)):
        onward = branches[i] == "loading" and (branches[i - 1] == "unloading" or lengths[i] < lengths[i - 1])
        out.append(out[-1] + onward)
    return out


def finest_step(values: Sequence[float]) -> float:
    """The largest step 5, 2 or 1 times a power of ten that all values are multiples of; at least 0.0001.

    >>> finest_step([5.4, 21.45, 0.0])
    0.05
    """
    for power in (0, -1, -2, -3, -4):
        for digit in (5, 2, 1):
            step = digit * 10.0**power
            if step <= 1 and all(abs(v / step - round(v / step)) < 1e-6 for v in values):
                return float(f"{step:.1g}")
    return 1e-4
