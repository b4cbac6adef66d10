"""One row more in a band's own file of days: its use log, its re-checks. What a row says is the command's business."""

from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Protocol, TypeVar

from calib.errors import DataError


class Entry(Protocol):
    """One row."""

    @property
    def band(self) -> str: ...  # noqa: D102


T = TypeVar("T", bound=Entry)


def add_row(path: Path, band: str, begun: str, row: str, parse: Callable[[bytes, str], Sequence[T]]) -> list[T]:
    """Add a row to a file, beginning it where it is not there; a last row that was cut off goes.

    Args:
        path: The file.
        band: Whose it must be.
        begun: How it begins.
        row: What to add.
        parse: Its reader.

    Returns:
        What is in it now.

    Raises:
        DataError: What is there cannot be read, or is another band's.
        FileError: It cannot be written.
    """
    from calib.profile.store.band_log import CAP_BYTES
    from calib.safe_write import write_atomically
    from calib.strict_json import read_capped

    there = read_capped(path, CAP_BYTES) if path.exists() else begun.encode()
    before = parse(there, path.name)
    if before and before[0].band != band:
        raise DataError(f"is of {before[0].band}", where=str(path), remedy="give it back its name")
    now = _ended(there, len(before), lambda data: parse(data, path.name)) + row.encode()
    write_atomically(path, now)
    return list(parse(now, path.name))


def _ended(there: bytes, count: int, parse: Callable[[bytes], Sequence[object]]) -> bytes:
    """What is there with an end to its last row; a last row that does not count is taken away."""
    if there.endswith(b"\n"):
        return there
    with suppress(DataError):
        if len(parse(there + b"\n")) == count:
            return there + b"\n"
    return there[: there.rfind(b"\n") + 1]
