"""The use log of a band, `ID.uses.csv`: how often it was pulled, and when. No file is opened here.

Rows are only ever added. A row carries when it was written to the second, so that rows which come together again when
folders are merged are counted once.
"""

import csv
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from calib.errors import DataError
from calib.identity import check_id

FORMAT = "bandcurve-uses/1"
COLUMNS = ("written_at", "on", "reps", "note")
CAP_BYTES = 4_000_000
MOST_REPS = 100_000  # in one entry: more is a slip


@dataclass(frozen=True)
class Use:
    """One entry of a band's log."""

    band: str
    written_at: str  # ISO, to the second
    on: date
    reps: int
    note: str = ""


def new_log(band: str) -> str:
    """The beginning of a log."""
    return f'# format = "{FORMAT}"\n# band = "{band}"\n{",".join(COLUMNS)}\n'


def row_of(use: Use) -> str:
    """One row, its note quoted."""
    note = '"' + use.note.replace('"', '""') + '"' if use.note else ""
    return f"{use.written_at},{use.on.isoformat()},{use.reps},{note}\n"


def parse_uses(data: bytes, name: str) -> list[Use]:
    """Read a log; a last row that was cut off is passed over.

    Args:
        data: The whole file.
        name: What to call it in an error.

    Raises:
        DataError: It is no log, or a row of it cannot be used; with its line.
    """
    if len(data) > CAP_BYTES:
        raise DataError("is larger than 4 MB", where=name, remedy="is it the right file?")
    try:
        lines = data.decode("utf-8-sig").splitlines(keepends=True)
    except UnicodeDecodeError:
        raise DataError("is not a text file in UTF-8", where=name, remedy="is it the right file?") from None
    head = [line for line in lines if line.startswith("#")]
    band = _band(head, name)
    rows = lines[len(head) :]
    if not rows or tuple(rows[0].strip().split(",")) != COLUMNS:
        raise DataError(f"has no line {','.join(COLUMNS)}", where=name, remedy="begin a log with bandcurve log")
    whole = rows[1:] if not rows[-1:] or rows[-1].endswith("\n") else rows[1:-1]
    return [_use(line, band, f"{name}:{i}") for i, line in enumerate(whole, len(head) + 2) if line.strip()]


def _band(head: Sequence[str], name: str) -> str:
    text = "".join(head)
    found = re.search(r'^# format = "bandcurve-uses/([0-9]{1,4})(?:\.[0-9]{1,4})?"$', text, re.MULTILINE)
    if found is None or int(found[1]) < 1:
        raise DataError("is no use log", where=name, remedy=f'a log begins with # format = "{FORMAT}"')
    if int(found[1]) > 1:
        raise DataError(
            f"is of version {found[1]}, newer than this program reads (1)",
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


def _use(line: str, band: str, where: str) -> Use:
    cells = next(csv.reader(io.StringIO(line)))
    if len(cells) not in (len(COLUMNS) - 1, len(COLUMNS)):
        raise DataError(f"has {len(cells)} cells, not {len(COLUMNS)}", where=where, remedy="mend or remove that row")
    try:
        datetime.fromisoformat(cells[0])
        return Use(band, cells[0], date.fromisoformat(cells[1]), checked_reps(cells[2]), cells[3] if cells[3:] else "")
    except ValueError as error:
        what = error.what if isinstance(error, DataError) else "a day is not written as 2026-03-01"
        raise DataError(what, where=where, remedy="mend or remove that row") from None


def checked_reps(text: str) -> int:
    """A number of repetitions.

    >>> checked_reps("60")
    60

    Raises:
        DataError: It is none.
    """
    if not (text.isascii() and text.isdecimal()) or len(text) > 9 or not 0 < int(text) <= MOST_REPS:
        raise DataError(f"{text[:20]!r} is no number of repetitions", remedy=f"give a whole number, 1 to {MOST_REPS}")
    return int(text)


def counted_once(uses: Iterable[Use]) -> list[Use]:
    """Entries in order of their day, those that are the same in every cell counted once."""
    return sorted(set(uses), key=lambda use: (use.on, use.written_at, use.reps, use.note))


def reps_between(uses: Iterable[Use], after: date | None, until: date | None) -> int:
    """Repetitions after one day, up to and with another; None leaves that end open."""
    return sum(u.reps for u in uses if (after is None or u.on > after) and (until is None or u.on <= until))
