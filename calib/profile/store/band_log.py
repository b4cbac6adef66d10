"""What is noted of one band from day to day: a head naming format and band, then rows that are only ever added.

A row carries an id of its own and the instant it was written, so that rows which meet again when folders are merged
count once and stand in the order they were written, whatever clock or time zone. Version 1 had no id: there the row's
own text gives one. A file begun in version 1 goes on in version 1, for nothing is rewritten unasked. What a row says is
the caller's business; no file is opened here.
"""

import csv
import io
import re
from collections.abc import Sequence
from datetime import date

from calib.errors import DataError
from calib.frozen import dataclass
from calib.identity import check_id
from calib.safe_read import utf8_text
from calib.safe_write import quoted
from calib.stamp import EARLIEST, ID_DIGITS, Stamp, calendar_day, derived_id, instant

CAP_BYTES = 4_000_000
VERSION = 2
_ENTRY = re.compile(rf"[0-9a-f]{{{ID_DIGITS}}}")
NO_STAMP = Stamp("", EARLIEST)


@dataclass(frozen=True)
class Kind:
    """One kind of log."""

    name: str  # as in its format and its file's name
    words: str
    cells: tuple[str, ...]  # what it says, between the day and the note; the note may be left out
    begun_by: str

    @property
    def format(self) -> str:
        """As the head says it."""
        return f"bandcurve-{self.name}/{VERSION}"

    def columns(self, version: int = VERSION) -> tuple[str, ...]:
        """Names of all columns."""
        stamped = ("entry", "at") if version > 1 else ("written_at",)
        return (*stamped, "on", *self.cells, "note")


@dataclass(frozen=True)
class LogRow:
    """Cells of one row by column; `on` is known to be a day."""

    band: str
    where: str  # file and line, for an error
    cells: dict[str, str]
    stamp: Stamp = NO_STAMP

    @property
    def about_day(self) -> date:
        """The day it is about."""
        return date.fromisoformat(self.cells["on"])


def begun(kind: Kind, band: str) -> str:
    """The beginning of a log."""
    return f'# format = "{kind.format}"\n# band = "{band}"\n{",".join(kind.columns())}\n'


def row_text(stamp: Stamp, on: date, cells: Sequence[str], note: str, version: int = VERSION) -> str:
    """One row, its note quoted."""
    stamped = [stamp.entry, stamp.at_text] if version > 1 else [stamp.at_text]
    return ",".join([*stamped, on.isoformat(), *cells, quoted(note)]) + "\n"


def version_of(data: bytes, kind: Kind) -> int:
    """The version a log is written in; that of a new one where the head does not say."""
    found = re.search(rf'^# format = "bandcurve-{kind.name}/([0-9]+)'.encode(), data[:2000], re.MULTILINE)
    return int(found[1]) if found else VERSION


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
    lines = io.StringIO(utf8_text(data, name).replace("\r\n", "\n"), newline="\n").readlines()
    head = [line for line in lines if line.startswith("#")]
    band, version = _band(head, name, kind)
    columns = kind.columns(version)
    rows = lines[len(head) :]
    if not rows or tuple(rows[0].strip().split(",")) != columns:
        raise DataError(f"has no line {','.join(columns)}", where=name, remedy=f"begin one with {kind.begun_by}")
    whole = rows[1:] if _is_whole(rows[-1], columns) else rows[1:-1]
    return [_row(line, band, columns, f"{name}:{i}") for i, line in enumerate(whole, len(head) + 2) if line.strip()]


def _is_whole(line: str, columns: Sequence[str]) -> bool:
    """Whether a last row was not cut off: an editor may have left out its end, with all its cells there."""
    return line.endswith("\n") or (line.count('"') % 2 == 0 and line.count(",") >= len(columns) - 1)


def _band(head: Sequence[str], name: str, kind: Kind) -> tuple[str, int]:
    """Whose it is, and in which version."""
    text = "".join(head)
    found = re.search(rf'^# format = "bandcurve-{kind.name}/([0-9]{{1,4}})(?:\.[0-9]{{1,4}})?"$', text, re.MULTILINE)
    if found is None or int(found[1]) < 1:
        raise DataError(f"is not a {kind.words}", where=name, remedy=f'one begins with # format = "{kind.format}"')
    if int(found[1]) > VERSION:
        raise DataError(
            f"is of version {found[1]}, newer than this program reads ({VERSION})",
            where=name,
            remedy="install a newer bandcurve",
        )
    band = re.search(r'^# band = "([^"\n]*)"$', text, re.MULTILINE)
    if band is None:
        raise DataError("does not say which band it is of", where=name, remedy='add a line # band = "B07"')
    try:
        return check_id(band[1]), int(found[1])
    except DataError as error:
        raise error.placed_at(name) from None


def _row(line: str, band: str, columns: Sequence[str], where: str) -> LogRow:
    try:
        cells = next(csv.reader(io.StringIO(line)))
    except csv.Error:  # a cell of more than 131072 characters
        cells = []
    if len(cells) not in (len(columns) - 1, len(columns)):
        raise DataError(f"has {len(cells)} cells, not {len(columns)}", where=where, remedy="correct or remove it")
    named = dict(zip(columns, [*cells, ""], strict=False))
    try:
        at = instant(named.get("at", named.get("written_at", "")))
        calendar_day(named["on"])
    except (ValueError, OverflowError):
        raise DataError("a day is not written as 2026-03-01", where=where, remedy="correct or remove it") from None
    entry = (
        named.get("entry", "") if "entry" in columns else derived_id(band, *cells[: len(columns) - 1], named["note"])
    )
    named["note"] = named["note"].removeprefix(" ")  # it stands before what a spreadsheet would take for a formula
    if not _ENTRY.fullmatch(entry):
        what = f"the entry's id {entry[:20]!r} is not {ID_DIGITS} hex digits"
        raise DataError(what, where=where, remedy="correct or remove it")
    return LogRow(band, where, named, Stamp(entry, at))
