"""The raw stream of a load cell beside its run: every line as it came, appended at once. Nothing is judged here.

`at_s,indication_<unit>,status`, and `length` where the line carries one; unit is that of the line, or `counts`. A row
is with the system when `append` returns, so a program that is killed loses none; `keep` has them on the disk.
"""

import csv
import os
import re
from collections.abc import Iterator
from io import TextIOWrapper
from pathlib import Path

from calib.acquire.cell.line_format import UNITS
from calib.acquire.cell.lines import Record
from calib.closing import Closing
from calib.errors import DataError, FileError, file_error
from calib.frozen import dataclass
from calib.safe_read import open_regular
from calib.safe_write import write_all

_APPEND = os.O_WRONLY | os.O_APPEND | os.O_CREAT | getattr(os, "O_BINARY", 0)
_HEADER = re.compile(r"at_s,indication_(\w+),status(,length)?")
KEEP_EVERY_S = 5.0
LONGEST_ROW = 4096  # bytes; a line's note is shorter


@dataclass(frozen=True)
class StreamRow:
    """One line of a stream: a number, or why there is none."""

    at_s: float
    value: float | None
    unit: str | None  # None: counts
    status: str
    length: float | None = None


def stream_path(run: Path) -> Path:
    """Where the stream of a run goes: NAME.run.csv has NAME.stream.csv beside it."""
    return run.with_name(run.name.removesuffix(".csv").removesuffix(".run") + ".stream.csv")


class StreamWriter(Closing):
    """A stream file open for appending; a file that is there goes on."""

    def __init__(self, path: Path, unit: str | None, *, with_length: bool = False) -> None:
        """Open or go on.

        Args:
            path: NAME.stream.csv.
            unit: Of the line; None is counts.
            with_length: Whether the line carries a length.

        Raises:
            FileError: It cannot be written, or holds another unit.
        """
        self.path, self._with_length = path, with_length
        header = f"at_s,indication_{unit or 'counts'},status{',length' if with_length else ''}\n"
        self._kept_s = 0.0
        first = _first_line(path)
        try:
            self._descriptor = os.open(path, _APPEND, 0o666)
            if first == header:
                _drop_half_a_row(path, self._descriptor)
            elif header.startswith(first):  # new, or cut by a full disk
                os.ftruncate(self._descriptor, 0)
                write_all(self._descriptor, header.encode())
        except OSError as error:
            raise file_error(error, path, "written") from error
        if not header.startswith(first):
            self.close()
            raise FileError("holds a stream of another kind", where=str(path), remedy="move it away, or start again")

    def append(self, at_s: float, record: Record) -> None:
        """Add one line; nothing where it is closed.

        Raises:
            FileError: It cannot be written any more.
        """
        if self._descriptor < 0:
            return
        number = record.counts if record.value is None else record.value
        shown = "" if record.kind != "reading" or number is None else f"{number:.10g}"
        cells = [f"{at_s:.3f}", shown, _status(record)]
        if self._with_length:
            cells.append("" if record.length is None else f"{record.length:.10g}")
        try:
            write_all(self._descriptor, (",".join(cells) + "\n").encode())
            if at_s - self._kept_s > KEEP_EVERY_S:
                self._kept_s = at_s
                os.fsync(self._descriptor)
        except OSError as error:
            raise file_error(error, self.path, "written") from error

    def close(self) -> None:
        """Have it on the disk and close it; twice does no harm."""
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1


def _first_line(path: Path) -> str:
    if not path.exists():
        return ""
    with open_regular(path) as file:
        return file.readline(200).decode("utf-8", "replace")


def _drop_half_a_row(path: Path, descriptor: int) -> None:
    """Cut what a full disk left after the last whole row: the next would make one number of two."""
    with open_regular(path) as file:
        size = file.seek(0, os.SEEK_END)
        file.seek(max(0, size - LONGEST_ROW))
        half = file.read().rpartition(b"\n")[2]
    if half:
        os.ftruncate(descriptor, size - len(half))


def _status(record: Record) -> str:
    if record.kind == "reading":
        return {True: "stable", False: "moving", None: "ok"}[record.stable]
    return f"{record.kind}: {record.note}".replace(",", ";").replace("\n", " ") if record.note else record.kind


def read_stream(path: Path) -> Iterator[StreamRow]:
    """Read a stream file, row by row; half a row at its end does not count.

    Raises:
        FileError: It cannot be read.
        DataError: It is no stream, or a row cannot be read; with file and line.
    """
    try:
        with TextIOWrapper(open_regular(path), "utf-8", newline="") as file:
            header = file.readline()
            found = _HEADER.fullmatch(header.strip())
            if not found or not (found[1] == "counts" or found[1] in UNITS):
                raise DataError("is not the stream of a load cell", where=path.name, remedy="is it the right file?")
            unit = None if found[1] == "counts" else found[1]
            for number, line in enumerate(file, 2):
                if line.endswith("\n"):
                    yield _row(next(csv.reader([line])), unit, f"{path.name}:{number}")
    except UnicodeDecodeError:
        raise DataError("is not a text file", where=path.name, remedy="is it the right file?") from None
    except FileError:
        raise
    except OSError as error:
        raise file_error(error, path, "read") from error


def _row(cells: list[str], unit: str | None, where: str) -> StreamRow:
    try:
        value = float(cells[1]) if cells[1] else None
        length = float(cells[3]) if len(cells) > 3 and cells[3] else None
        return StreamRow(float(cells[0]), value, unit, cells[2], length)
    except (ValueError, IndexError):
        raise DataError("cannot be read", where=where, remedy="correct or delete the line") from None
