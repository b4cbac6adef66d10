"""Run files: read whole, written by appending rows that are on the disk before the next is asked for. No fit here.

A file may be cut off anywhere: half a line at its end was never acknowledged and does not count.
"""

import os
from collections.abc import Iterable, Sequence
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from typing import Self

from calib.acquire.files.run_checks import check_readable
from calib.acquire.files.run_head import format_head, is_newer_head, parse_head, version_of
from calib.acquire.files.run_table import (
    LONGEST_LINE,
    MOST_ROWS,
    Table,
    check_rows,
    format_row,
    parse_header,
    parse_row,
    split_line,
    with_pieces,
)
from calib.closing import Closing
from calib.errors import DataError, FileError, file_error
from calib.file_lock import locked
from calib.records import Row, Run, RunHead
from calib.safe_read import not_utf8, read_capped
from calib.safe_write import write_all, write_new
from calib.system import is_taken

__all__ = ["COLUMNS", "RunWriter", "columns_for", "format_head", "format_row", "parse_run", "read_run", "save_run"]

CAP_BYTES = 16_000_000
_APPEND = os.O_WRONLY | os.O_APPEND | getattr(os, "O_BINARY", 0)  # line ends as written, on every system
COLUMNS = ("row", "kind", "about", "cycle", "branch", "length_mm", "force_kgf", "at_s", "dwell_s", "note")


def columns_for(
    length_unit: str = "mm",
    force_unit: str = "kgf",
    mass_unit: str | None = None,
    *,
    cell: bool = False,
    pieces: bool = False,
) -> tuple[str, ...]:
    """Names of the columns of a run in the user's units.

    Args:
        length_unit: Of the tape.
        force_unit: Of the scale.
        mass_unit: Of hung weights, where weights were hung.
        cell: Whether a load cell on a line is read: counts, samples, their scatter and relaxation are then kept too.
        pieces: Whether the plates hung are named.
    """
    value = f"mass_{mass_unit}" if mass_unit else f"force_{force_unit}"
    measured = ("counts", "n", f"sd_{force_unit}", "relax_percent_per_decade") if cell else ()
    hung = (value, "pieces") if pieces else (value,)
    return (
        "row",
        "kind",
        "about",
        "cycle",
        "branch",
        f"length_{length_unit}",
        *hung,
        "at_s",
        "dwell_s",
        *measured,
        "note",
    )


def read_run(path: Path | str) -> Run:
    """Read a run file.

    Args:
        path: NAME.run.csv.

    Raises:
        FileError: It cannot be read, or is too large.
        DataError: It is not a run, or a row of it cannot be used; with file and line.
    """
    where = Path(path)
    return parse_run(read_bytes(where), where.name)


def read_bytes(path: Path) -> bytes:
    """The bytes of a file, no more than just past the cap.

    Raises:
        FileError: It cannot be read.
    """
    return read_capped(path, CAP_BYTES)


def parse_run(data: bytes, name: str) -> Run:
    """Make a run of a file's bytes.

    Args:
        data: The whole file.
        name: What to call it in an error.

    Raises:
        DataError: It is not a run, or a row of it cannot be used; with file and line.
    """
    if data.removeprefix(b"\xef\xbb\xbf").lstrip()[:1] == b"{":
        raise DataError("is a JSON document, not a run", where=name, remedy=_what_json(name))
    lines, cut = _lines(data, name)
    long = next((i for i, line in enumerate(lines, 1) if len(line) > LONGEST_LINE), 0)
    if long:
        what = f"has a line of more than {LONGEST_LINE} characters"
        raise DataError(what, where=f"{name}:{long}", remedy="shorten its note; or is it the right file?")
    top = _head_length(lines)
    head_text = _head_text(lines[:top])
    if not head_text.strip():
        remedy = "a plain table becomes a run with: bandcurve import"
        raise DataError("has no head of lines that begin with #", where=f"{name}:1", remedy=remedy)
    head = parse_head(head_text, name)
    start = next((i for i in range(top, len(lines)) if lines[i].strip(" ,;\t")), None)
    if start is None:
        raise DataError(
            "ends before its table", where=f"{name}:{max(top, 1)}", remedy="was it cut off? record it again"
        )
    table = parse_header(lines[start], f"{name}:{start + 1}", head, is_newer_head(head_text), version_of(head_text))
    rows = with_pieces(_rows(lines, start + 1, table, cut, name), head, name)
    run = Run(
        name=name,
        head=head,
        rows=rows,
        sha256=sha256(data).hexdigest(),
        length_unit=table.unit("length", "mm"),
        force_unit=table.unit("mass" if head.procedure.method == "hung-weight" else "force", "kg"),
    )
    check_readable(run)
    return run


def _what_json(name: str) -> str:
    if name.endswith(".profile.json"):
        return f"a profile is fitted already: bandcurve show {name}"
    return f"for a scale: bandcurve scale show {name}" if name.endswith(".scale.json") else "is it the right file?"


def _lines(data: bytes, name: str) -> tuple[list[str], bool]:
    """Lines without their ends, and whether the last one was not ended."""
    if len(data) > CAP_BYTES:
        raise FileError(f"is larger than {CAP_BYTES / 1e6:.0f} MB", where=name, remedy="is it the right file?")
    if not data.strip():
        raise DataError("the file is empty", where=name, remedy="is it the right file?")
    body, end, tail = data.rpartition(b"\n")
    if not end and b"\r" in data:
        body, end, tail = data.rpartition(b"\r")
    try:
        text = (body + end).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = (body + end)[: error.start].count(b"\n") + 1
        raise not_utf8(data, f"{name}:{line}", "save it as CSV UTF-8") from None
    if "\0" in text or b"\0" in tail:
        raise DataError("is a binary file, not a run", where=name, remedy="is it the right file?")
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")[:-1] if text else []
    try:
        last = tail.decode("utf-8" if lines else "utf-8-sig")
    except UnicodeDecodeError:
        if not lines:
            raise not_utf8(data, name) from None
        last = ""  # cut in the middle of a letter: half a line
    return ([*lines, last.rstrip("\r")] if last else lines), bool(tail)


def _head_length(lines: Sequence[str]) -> int:
    """How many lines from the start are of the head."""
    for i, line in enumerate(lines):
        if line.strip(" ,;\t") and not line.lstrip().lstrip('"').startswith("#"):
            return i
    return len(lines)


def _head_text(lines: Sequence[str]) -> str:
    """The head's TOML, one line for each line of the file, with what a spreadsheet did to it undone."""
    first = next((line.rstrip(" ") for line in lines if line.strip()), "")
    touched = first.startswith('"') or first.endswith((",", ";", "\t"))
    separator = first[-1] if first.endswith((",", ";", "\t")) else ","
    return "\n".join(_bare(_untouched(line, separator) if touched else line) for line in lines)


def _untouched(line: str, separator: str) -> str:
    """Cells put together again by the commas they were taken apart at."""
    cells = split_line(line, separator)
    if cells is None:
        return line
    while cells and not cells[-1].strip():
        cells.pop()
    return ",".join(cells)


def _bare(line: str) -> str:
    return line.strip().removeprefix("#").removeprefix(" ")


def _rows(lines: Sequence[str], start: int, table: Table, cut: bool, name: str) -> tuple[Row, ...]:
    if len(lines) - start > MOST_ROWS:
        what = f"has more than {MOST_ROWS} rows: the trace of a logger, not a run"
        raise DataError(what, where=name, remedy=f"make a short run of it: bandcurve import {name}")
    rows: list[Row] = []
    for i in range(start, len(lines)):
        if not lines[i].strip(" ,;\t"):
            continue
        cells = split_line(lines[i], table.separator)
        unended = cut and i == len(lines) - 1
        if unended and not _is_whole(cells, table):
            break
        if cells is None:
            raise DataError(
                "a quote is not closed", where=f"{name}:{i + 1}", remedy='close it, and write "" for a quote'
            )
        rows.append(parse_row(cells, table, len(rows) + 1, i + 1, name))
    check_rows(rows, name)
    return tuple(rows)


def _is_whole(cells: Sequence[str] | None, table: Table) -> bool:
    """Whether a last line without an end says all it was meant to; a strike of version 1 without its note does not."""
    if cells is None or len(cells) < table.width:
        return False
    kind = cells[table.columns["kind"][0]] if "kind" in table.columns else "reading"
    return kind != "strike" or table.version > 1 or bool(cells[-1].strip())


def save_run(path: Path, head: RunHead, columns: Sequence[str], rows: Iterable[Row]) -> None:
    """Write a new run that is complete: whole or not at all, also where the program is killed meanwhile.

    Raises:
        FileError: It exists, or cannot be written.
    """
    write_new(path, _beginning(head, columns) + "".join(format_row(row, columns) for row in rows))


def _beginning(head: RunHead, columns: Sequence[str]) -> str:
    return format_head(head, 2 if "about" in columns else 1) + ",".join(columns) + "\n"


def _appending(path: Path) -> int:
    try:
        return os.open(path, _APPEND)
    except OSError as error:
        raise file_error(error, path, "written") from error


class RunWriter(Closing):
    """A run file open for appending; a row is flushed and on the disk before `append` returns. Nothing is rewritten."""

    def __init__(self, path: Path, columns: Sequence[str], descriptor: int) -> None:
        self.path = path
        self.columns = tuple(columns)
        self._descriptor = descriptor
        self._size = os.fstat(descriptor).st_size  # [bytes] while nobody else writes to it

    @classmethod
    def create(cls, path: Path, head: RunHead, columns: Sequence[str] = COLUMNS) -> Self:
        """Begin a new run file.

        Args:
            path: It must not exist.
            head: Written at once.
            columns: Names in the file, for example `length_mm`.

        Raises:
            FileError: It exists, or cannot be written.
        """
        if is_taken(path):
            raise FileError("exists already, and nothing is overwritten", where=str(path), remedy="choose another name")
        write_new(path, _beginning(head, columns))  # with its whole head or not at all
        return cls(path, columns, _appending(path))

    @classmethod
    def resume(cls, path: Path) -> tuple[Self, Run]:
        """Take up a run where its file ends; half a line at its end is cut away first.

        Returns:
            The writer, and the run so far.
        """
        data = read_bytes(path)
        run = parse_run(data, path.name)
        lines, cut = _lines(data, path.name)
        header = next(line for line in lines[_head_length(lines) :] if line.strip(" ,;\t"))
        separator = max((",", ";", "\t"), key=header.count)
        columns = [cell.strip() for cell in split_line(header, separator) or [] if cell.strip()]
        if separator != "," or len(columns) != len(split_line(header, separator) or []):
            raise DataError(
                "was saved by a spreadsheet and cannot be appended to", where=str(path), remedy="start a new run"
            )
        if "about" not in columns and version_of(_head_text(lines[: _head_length(lines)])) > 1:
            raise DataError("has no column about", where=str(path), remedy="add it to the table, or start a new run")
        with suppress(OSError), locked(path, wait_s=0.0):
            pass  # so that nothing a kill left stays beside it
        writer = cls(path, columns, _appending(path))
        writer._size = len(data)
        if cut:
            last_counts = bool(run.rows) and run.rows[-1].line == len(lines)
            writer._end_line(len(data), len(data.rpartition(b"\n")[2]), keep=last_counts or lines[-1] == header)
        return writer, run

    def append(self, row: Row) -> None:
        """Add one row; it is on the disk when this returns.

        Raises:
            FileError: It could not be written; what stood before is whole.
        """
        self._write(format_row(row, self.columns))

    def extend(self, rows: Iterable[Row]) -> None:
        """Add several rows at once."""
        self._write("".join(format_row(row, self.columns) for row in rows))

    def refuse_if_changed(self) -> None:
        """Nothing is done to a file that somebody else wrote to, or that is another one by now.

        Raises:
            FileError: It is not as this writer left it.
        """
        if not self._is_there():  # rows would go where nobody looks for them
            raise FileError(
                "was moved or deleted since it was opened", where=str(self.path), remedy="choose another place"
            )
        if os.fstat(self._descriptor).st_size != self._size:
            raise FileError(
                "was written to by another recording meanwhile", where=str(self.path), remedy="choose another place"
            )

    def _is_there(self) -> bool:
        """Whether the file of that name is the one that is open: it may be gone, or another put in its place."""
        try:
            return os.path.samestat(self.path.stat(), os.fstat(self._descriptor))
        except FileNotFoundError:
            return False

    def close(self) -> None:
        """Close the file; twice does no harm."""
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1

    def _write(self, text: str) -> None:
        data = text.encode("utf-8")
        try:
            self.refuse_if_changed()
            try:
                write_all(self._descriptor, data)
                os.fsync(self._descriptor)
            except OSError:
                os.ftruncate(self._descriptor, self._size)  # no half row may stand before the next try
                raise
        except FileError:
            raise
        except OSError as error:
            raise file_error(error, self.path, "written") from error
        self._size += len(data)

    def _end_line(self, size: int, half: int, *, keep: bool) -> None:
        if keep:
            self._write("\n")
            return
        try:
            self.refuse_if_changed()
            os.ftruncate(self._descriptor, size - half)
            os.fsync(self._descriptor)
        except FileError:
            raise
        except OSError as error:
            raise file_error(error, self.path, "written") from error
        self._size = size - half
