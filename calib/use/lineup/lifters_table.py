"""Lifters with their heights and wanted loads, as CSV or TOML. No file is opened here.

A column, or a key of a [[lifter]] table, carries its unit: bottom_mm, want_top_kg. Names are shown as they are written.
"""

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from calib.acquire.files.typed import parse_length, parse_mass
from calib.errors import DataError
from calib.frozen import dataclass
from calib.safe_read import utf8_text
from calib.strict_toml import parse_toml
from calib.units import LENGTH
from calib.use.rig.solve import Of, Wish

CAP_BYTES = 200_000
MOST = 200  # lifters
FORMAT = "bandcurve-lineup/1"
WANTED: dict[str, Of] = {"want_bottom": "bottom", "want_top": "top", "want_average": "average"}
SHARE = "want_share_of_top"
PLAIN = ("lifter", "day", "exercise", "order", SHARE)
_WITH_UNIT = re.compile(rf"(bottom|top)_({'|'.join(LENGTH)})|(want_bottom|want_top|want_average)_(kg|lb)")
HEAD = "lifter,bottom_mm,top_mm,want_bottom_kg,want_top_kg"


@dataclass(frozen=True)
class Turn:
    """One lifter's turn at the bar."""

    lifter: str
    bottom: float  # [m] sleeve's centre above the floor
    top: float  # [m]
    wishes: tuple[Wish, ...]
    day: str = ""
    exercise: str = ""
    order: float | None = None


def parse_lifters(data: bytes, name: str) -> tuple[Turn, ...]:
    """Read a table of lifters, in the order they lift.

    Args:
        data: The whole file.
        name: What to call it in an error; .toml is read as TOML, anything else as CSV.

    Returns:
        By day and exercise as these first appear, then by `order` where it is given, then as they stand.

    Raises:
        DataError: A column or a cell is missing or cannot be read; a lifter has no heights or wants nothing.
    """
    if len(data) > CAP_BYTES:
        raise DataError("is larger than 200 kB", where=name, remedy="is it the right file?")
    text = utf8_text(data, name, "save it as UTF-8")
    rows = _of_toml(text, name) if name.lower().endswith(".toml") else _of_csv(text, name)
    if not 0 < len(rows) <= MOST:
        raise DataError(f"holds {len(rows)} lifters", where=name, remedy=f"give 1 to {MOST}")
    return _ordered([_turn(row, where) for row, where in rows])


def _of_csv(text: str, name: str) -> list[tuple[dict[str, str], str]]:
    head = text.split("\n", 1)[0]
    rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=";" if ";" in head else ","))
    columns = [cell.strip() for cell in rows[0]] if rows else []
    _check_keys([c for c in columns if c], f"{name}:1")
    found = []
    for line, row in enumerate(rows[1:], 2):
        if any(cell.strip() for cell in row):
            cells = zip(columns, row, strict=False)
            found.append(({key: cell.strip() for key, cell in cells if key and cell.strip()}, f"{name}:{line}"))
    return found


def _of_toml(text: str, name: str) -> list[tuple[dict[str, str], str]]:
    document = parse_toml(text.replace("\r\n", "\n"), name)
    if document.get("format") != FORMAT:
        raise DataError("has another format", where=f"{name}: format", remedy=f'begin with format = "{FORMAT}"')
    tables = document.get("lifter")
    if not isinstance(tables, list) or not all(isinstance(one, dict) for one in tables):
        raise DataError("has no lifters", where=f"{name}: lifter", remedy="write [[lifter]] above each")
    found = []
    for i, table in enumerate(tables):
        _check_keys(list(table), f"{name}: lifter[{i}]")
        found.append(({key: str(value) for key, value in table.items()}, f"{name}: lifter[{i}]"))
    return found


def _check_keys(keys: Sequence[str], where: str) -> None:
    for key in keys:
        if key not in PLAIN and not _WITH_UNIT.fullmatch(key):
            raise DataError(f"{key[:40]!r} is not known", where=where, remedy=f"use {HEAD},{','.join(PLAIN[1:])}")


def _turn(row: Mapping[str, str], where: str) -> Turn:
    lifter = row.get("lifter", "")
    if not lifter:
        raise DataError("a lifter has no name", where=where, remedy="add one")
    ends: dict[str, float] = {}
    wishes: list[Wish] = []
    for key, text in row.items():
        found = _WITH_UNIT.fullmatch(key)
        try:
            if found and found[1]:
                ends[found[1]] = parse_length(text, found[2])
            elif found:
                wishes.append(Wish(WANTED[found[3]], parse_mass(text, found[4])))
        except DataError as error:
            raise DataError(f"{key}: {error.what}", where=where, remedy=error.remedy) from None
    for end in ("bottom", "top"):
        if end not in ends:
            said = f"{lifter[:40]} has no height at the {end}"
            raise DataError(said, where=where, remedy=f"give {end}_mm, the sleeve above the floor")
    if ends["bottom"] >= ends["top"]:
        raise DataError(f"the bottom of {lifter[:40]} is not below the top", where=where, remedy="exchange them")
    if SHARE in row:
        wishes.append(Wish("top", None, _share(row[SHARE], where)))
    if not wishes:
        raise DataError(
            f"no load is wanted for {lifter[:40]}", where=where, remedy="give want_bottom_kg or want_top_kg"
        )
    turn = Turn(lifter, ends["bottom"], ends["top"], tuple(wishes), row.get("day", ""), row.get("exercise", ""))
    return replace(turn, order=_number(row["order"], where)) if "order" in row else turn


def _share(text: str, where: str) -> float:
    found = re.fullmatch(r"([0-9]{1,2}(?:[.,][0-9]{1,3})?) ?%", text.strip(), re.ASCII)
    share = float(found[1].replace(",", ".")) / 100 if found else 0.0
    if not 0 < share < 1:
        raise DataError(f"{text[:40]!r} is not a share", where=where, remedy="write for example 25%")
    return share


def _number(text: str, where: str) -> float:
    if not re.fullmatch(r"[0-9]{1,6}(\.[0-9]{1,3})?", text.strip(), re.ASCII):
        raise DataError(f"order {text[:40]!r} is not a number", where=where, remedy="write 1, 2, 3")
    return float(text)


def _ordered(turns: Sequence[Turn]) -> tuple[Turn, ...]:
    chains = list(dict.fromkeys((t.day, t.exercise) for t in turns))
    last = float(MOST * 10_000)
    return tuple(sorted(turns, key=lambda t: (chains.index((t.day, t.exercise)), last if t.order is None else t.order)))
