"""Writing a file so that either the new or the old one is there, whole. What is written is the caller's business.

A file that several programs write to goes through `update`: under its lock what is there is read again, changed and
written, so nobody writes over what somebody else put there meanwhile. Where a disk says that a file is busy (a virus
scanner or the program that syncs the folder has it open, on Windows) it is tried again for a while.
"""

import errno
import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from calib import system
from calib.errors import FileError, file_error
from calib.file_lock import locked
from calib.safe_read import read_capped

_BUSY_S = 3.0  # how long a busy file is tried again
_BUSY_PAUSE_S = 0.05
FORMULA = ("=", "+", "-", "@")  # a cell that begins so is one to a spreadsheet, also where it came from a stranger


def write_atomically(path: Path, content: str | bytes) -> None:
    """Write a file by way of a temporary one beside it, so that a full disk or a power cut leaves the old one whole.

    Args:
        path: Where to; an existing file is replaced and keeps its permissions, a link is followed.
        content: Text is written as UTF-8.

    Raises:
        FileError: It could not be written; what was there before still is.
    """
    with _errors_told(path):
        target = path.resolve()
        if target.is_dir():
            raise IsADirectoryError(errno.EISDIR, "is a folder")
        if target.exists() and not target.is_file():
            _write_through(target, _bytes(content))
            return
        with locked(target) as alone:
            _replace(target, _bytes(content), alone)


def update(path: Path, change: Callable[[bytes | None], str | bytes], cap_bytes: int = 16_000_000) -> bytes:
    """Read, change and write a file while nobody else does: what others wrote meanwhile is in what `change` is given.

    Args:
        path: Where; its folder is there.
        change: Given the bytes that are there, None where there is no file; returns what shall be there. Where it
            raises, nothing is written.
        cap_bytes: A larger file is refused. [byte]

    Returns:
        What is there now.

    Raises:
        FileError: It could not be read or written, or another program keeps it locked.
    """
    with _errors_told(path), locked(path) as alone:
        there = _read(path, cap_bytes)
        data = _bytes(change(there))
        if data != there:
            _replace(path.resolve(), data, alone)
        return data


def _bytes(content: str | bytes) -> bytes:
    return content.encode() if isinstance(content, str) else content


@contextmanager
def _errors_told(path: Path) -> Iterator[None]:
    """Whatever the system says of writing a file, in one sentence."""
    try:
        yield
    except FileError:
        raise
    except OSError as error:
        raise file_error(error, path, "written") from error
    except RuntimeError:  # how Python 3.11 and 3.12 say it
        raise file_error(OSError(errno.ELOOP, "links in a circle"), path, "written") from None


def _read(path: Path, cap_bytes: int) -> bytes | None:
    if not path.exists():
        return None
    data = read_capped(path, cap_bytes)
    if len(data) > cap_bytes:
        raise FileError(f"is larger than {cap_bytes / 1e6:.0f} MB", where=str(path), remedy="is it the right file?")
    return data


def patiently(work: Callable[[], object]) -> None:
    """Do something with a file, again and again for a while where the disk says it is busy.

    Raises:
        OSError: As the system says it, at last.
    """
    until = time.monotonic() + _BUSY_S
    while True:
        try:
            work()
            return
        except OSError as error:
            if not system.is_busy(error) or time.monotonic() > until:
                raise
        time.sleep(_BUSY_PAUSE_S)


def write_new(path: Path, content: str | bytes) -> None:
    """Write a file that must not exist yet.

    Raises:
        FileError: It exists, or could not be written.
    """
    with _errors_told(path):
        _refuse_existing(path)
        with locked(path) as alone:
            _refuse_existing(path)  # made by another program meanwhile
            _replace(path, _bytes(content), alone)


def _refuse_existing(path: Path) -> None:
    if system.is_taken(path):
        raise FileError("exists and is not overwritten", where=str(path), remedy="choose another name, or move it away")


def _write_through(target: Path, data: bytes) -> None:
    """Devices and pipes cannot be replaced; they are written to."""
    with target.open("wb") as out:
        out.write(data)


def _replace(target: Path, data: bytes, alone: bool) -> None:
    """Write beside the target, then put it in its place.

    Under the lock the name beside it is always the same, so what a kill left there is taken over by the next write.
    Where a disk cannot lock, each write has a name of its own.
    """
    apart = "" if alone else f".{os.urandom(4).hex()}"
    part = target.with_name(f".{target.name[:200]}{apart}.part")
    with suppress(FileNotFoundError):
        part.unlink()
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | system.BINARY, 0o666)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
        if target.exists():
            part.chmod(target.stat().st_mode & 0o7777)
        patiently(lambda: part.replace(target))
    except BaseException:
        with suppress(FileNotFoundError):
            part.unlink()
        raise
    system.sync_folder(target.parent)


@contextmanager
def new_folder(folder: Path) -> Iterator[None]:
    """A folder for what is written in this block, made where it is missing; where that fails, none is left behind.

    Raises:
        FileError: It cannot be made.
    """
    missing = [place for place in (folder, *folder.parents) if not os.path.lexists(place)]
    try:
        _make(folder)
        with _errors_told(folder):
            yield
    except BaseException:
        for place in missing:
            with suppress(OSError):
                place.rmdir()  # only where it is empty
        raise


def _make(folder: Path) -> None:
    remedy = "name another folder with --out"
    if str(folder) == "-":
        raise FileError("is standard output, not a folder", where="-", remedy=remedy)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        raise FileError("is a file, not a folder", where=str(folder), remedy=remedy) from None
    except OSError as error:
        raise FileError(f"cannot be made: {error.strerror}", where=str(folder), remedy=remedy) from error


def quoted(note: str) -> str:
    """A note as a cell of a table; a space before it where a spreadsheet would take it for a formula.

    >>> quoted('=cmd("x")'), quoted("sticky"), quoted("")
    ('" =cmd(""x"")"', '"sticky"', '')
    """
    if not note:
        return ""
    return '"' + " " * note.startswith(FORMULA) + note.replace('"', '""') + '"'


def write_all(descriptor: int, data: bytes) -> None:
    """Write everything to an open file; one call of the system may take only a part.

    Raises:
        OSError: As the system says it; a part may have been written.
    """
    while data:
        data = data[os.write(descriptor, data) :]
