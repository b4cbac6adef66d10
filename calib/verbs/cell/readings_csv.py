"""`listen --csv` and `--ask`: readings written to a file as they come, and what is written to a silent device."""

import csv
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from calib.acquire.cell.lines import Record
from calib.acquire.cell.listening import Listening
from calib.errors import FileError, UsageError, file_error
from calib.safe_write import FORMULA
from calib.verbs.terminal.prompts import say

HEADER = ("time_s", "force_N", "indication", "unit", "status", "length", "raw")
_ESCAPE = re.compile(r"\\(?:x([0-9A-Fa-f]{2})|([rnt\\]))")
_NAMED = {"r": "\r", "n": "\n", "t": "\t", "\\": "\\"}
LONGEST_ASK = 64


@contextmanager
def readings_file(path: Path) -> Iterator[Any]:
    """A new file for readings; gives what writes a row.

    Raises:
        FileError: It is there already, or cannot be written.
    """
    try:
        with path.open("x", newline="", encoding="utf-8", buffering=1) as file:
            rows = csv.writer(file)
            rows.writerow(HEADER)
            yield rows
    except FileExistsError:
        raise FileError("is there already", where=str(path), remedy="name another file, or move it away") from None
    except OSError as error:
        raise file_error(error, path, "written") from error


class Written(Listening):
    """A stream whose records are written down as they are read."""

    def __init__(self, listening: Listening, rows: Any, force: Callable[[Record], float | None]) -> None:
        self.__dict__.update(listening.__dict__)
        self._rows, self._force = rows, force

    def poll(self, wait_s: float) -> list[Record]:
        """The records of the next arrival, each in the file before it is given."""
        records = super().poll(wait_s)
        for record in records:
            self._rows.writerow(self._row(record))
        return records

    def _row(self, record: Record) -> tuple[object, ...]:
        force = self._force(record) if record.kind == "reading" else None
        number = record.counts if record.value is None else record.value
        status = {True: "stable", False: "moving", None: "ok"}[record.stable]
        return (
            f"{record.at_s:.4f}",
            "" if force is None else f"{force:.6g}",
            "" if number is None or record.kind != "reading" else f"{number:.10g}",
            record.unit or ("counts" if record.counts is not None else ""),
            status if record.kind == "reading" else record.kind,
            "" if record.length is None else f"{record.length:.10g}",
            " " * record.raw.startswith(FORMULA) + record.raw,
        )


def asked_of(text: str | None, port: str, baud: str | None) -> bytes:
    """What `--ask` writes, after saying that it does; nothing where it is not given.

    Raises:
        UsageError: It is empty or too long, or nothing says at which speed.
    """
    if text is None:
        return b""
    asked = _ESCAPE.sub(lambda found: chr(int(found[1], 16)) if found[1] else _NAMED[found[2]], text)
    if not 0 < len(asked) <= LONGEST_ASK:
        what = f"--ask holds {len(asked)} characters"
        raise UsageError(what, remedy=f"use 1 to {LONGEST_ASK}, such as --ask 'R\\r'; the device's manual says which")
    if baud is None and not port.startswith("socket://"):
        raise UsageError(
            "--ask needs --baud", remedy="give the device's speed, such as --baud 9600: it is silent otherwise"
        )
    shown = asked.encode("unicode_escape").decode()
    say(f"Note: this WRITES {shown!r} to {port}, up to ten times a second. Ctrl-C stops it.")
    return asked.encode("latin-1", "replace")
