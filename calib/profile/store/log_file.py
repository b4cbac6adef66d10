"""Adding an entry to one of a band's logs so that nobody's entry is lost, however many programs write at once."""

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from calib.errors import DataError
from calib.profile.store.band_log import CAP_BYTES, Kind, begun, parse_log, version_of
from calib.safe_write import update


def add_entry(path: Path, kind: Kind, band: str, row: Callable[[int], str]) -> None:
    """Add one entry under the file's lock, beginning the file where it is not there; a row that was cut off goes.

    Args:
        path: The file.
        kind: Which log it is.
        band: Whose it must be.
        row: Given the version the file is written in, the row.

    Raises:
        DataError: What is there cannot be read, or is another band's.
        FileError: It cannot be written.
    """
    update(path, lambda there: _with_row(there, path, kind, band, row), CAP_BYTES)


def _with_row(there: bytes | None, path: Path, kind: Kind, band: str, row: Callable[[int], str]) -> bytes:
    if there is None:
        return (begun(kind, band) + row(version_of(b"", kind))).encode()
    before = parse_log(there, path.name, kind)
    if before and before[0].band.lower() != band.lower():
        raise DataError(f"is of {before[0].band}", where=str(path), remedy="restore its name")
    return _ended(there, len(before), path.name, kind) + row(version_of(there, kind)).encode()


def _ended(there: bytes, count: int, name: str, kind: Kind) -> bytes:
    """What is there with an end to its last row; a last row that does not count is taken away."""
    if there.endswith(b"\n"):
        return there
    with suppress(DataError):
        if len(parse_log(there + b"\n", name, kind)) == count:
            return there + b"\n"
    return there[: there.rfind(b"\n") + 1]
