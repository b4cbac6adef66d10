"""What is noted of one band from day to day: a head naming format and band, then rows that are only ever added.

A row carries when it was written to the second, so that rows which come together again when folders are merged are
counted once. What a row says is the caller's business; no file is opened here.
"""

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from calib.errors import DataError
from calib.identity import check_id

CAP_BYTES = 4_000_000
VERSION = 1


@dataclass(frozen=True)
class Kind:
    """One kind of log."""

    name: str  # as in its format and its file's name
    words: str
    columns: tuple[str, ...]  # the first two are written_at and on, the last one, note, may be left out
    begun_by: str

    @property
    def format(self) -> str:
        """As the head says it."""
        return f"bandcurve-{self.name}/{VERSION}"


@dataclass(frozen=True)
class LogRow:
    """Cells of one row by column; `written_at` and `on` are known to be times."""

    band: str
    where: str  # file and line, for an error
    cells: dict[str, str]

    @property
    def on(self) -> date:
        """The day it is about."""
        return date.fromisoformat(self.cells["on"])


def begun(kind: Kind, band: str) -> str:
    """The beginning of a log."""
    return f'# format = "{kind.format}"\n# band = "{band}"\n{",".join(kind.columns)}\n'


def row_text(cells: Sequence[str], note: str) -> str:
    """One row, its note quoted."""
    quoted = '"' + note.replace('"', '""') + '"' if note else ""
    return ",".join([*cells, quoted]) + "\n"


def parse_log(data: bytes, name: str, kind: Kind) -> list[LogRow]:
    """Read a log; a last row that was cut off is passed over.

    Args:
        data: The whole file.
        name: What to call it in an error.
        kind: What it should be.

    Raises:
        DataError: It is no such log, or a row of it has not the right cells or times; with its line.
    """
    if len(data) > CAP_BYTES:
        raise DataError("is larger than 4 MB", where=name, remedy="is it the right file?")
    try:
        lines = io.StringIO(data.decode("utf-8-sig").replace("\r\n", "\n"), newline="\n").readlines()
    except UnicodeDecodeError:
        raise DataError("is not a text file in UTF-8", where=name, remedy="is it the right file?") from None
    head = [line for line in lines if line.startswith("#")]
    band = _band(head, name, kind)
    rows = lines[len(head) :]
    if not rows or tuple(rows[0].strip().split(",")) != kind.columns:
        raise DataError(f"has no line {','.join(kind.columns)}", where=name, remedy=f"begin one with {kind.begun_by}")
    whole = rows[1:] if _is_whole(rows[-1], kind) else rows[1:-1]
    return [_row(line, band, kind, f"{name}:{i}") for i, line in enumerate(whole, len(head) + 2) if line.strip()]


def _is_whole(line: str, kind: Kind) -> bool:
    """Whether a last row was not cut off: an editor may have left out its end, with all its cells there."""
    return line.endswith("\n") or (line.count('"') % 2 == 0 and line.count(",") >= len(kind.columns) - 1)


def _band(head: Sequence[str], name: str, kind: Kind) -> str:
    text = "".join(head)
    found = re.search(rf'^# format = "bandcurve-{kind.name}/([0-9]{{1,4}})(?:\.[0-9]{{1,4}})?"$', text, re.MULTILINE)
    if found is None or int(found[1]) < 1:
        raise DataError(f"is no {kind.words}", where=name, remedy=f'one begins with # format = "{kind.format}"')
    if int(found[1]) > VERSION:
        raise DataError(
            f"is of version {found[1]}, newer than this program reads ({VERSION})",
            where=name,
            remedy="install a newer bandcurve",
        )
    band = re.search(r'^# band = "([^"\n]*)"$', text, re.MULTILINE)
    if band is None:
        raise DataError("does not say of which band it is", where=name, remedy='add a line # band = "B07"')
    try:
        return check_id(band[1])
    except DataError as error:
        raise error.at(name) from None


def _row(line: str, band: str, kind: Kind, where: str) -> LogRow:
    try:
        cells = next(csv.reader(io.StringIO(line)))
    except csv.Error:  # a cell of more than 131072 signs
        cells = []
    if len(cells) not in (len(kind.columns) - 1, len(kind.columns)):
        raise DataError(f"has {len(cells)} cells, not {len(kind.columns)}", where=where, remedy="mend or remove it")
    row = LogRow(band, where, dict(zip(kind.columns, [*cells, ""], strict=False)))
    try:
        datetime.fromisoformat(row.cells["written_at"])
        date.fromisoformat(row.cells["on"])
    except ValueError:
        raise DataError("a day is not written as 2026-03-01", where=where, remedy="mend or remove that row") from None
    return row
