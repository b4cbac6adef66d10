"""Writing a file so that either the new or the old one is there, whole. What is written is the caller's business.

A file that several programs write to goes through `update`: under its lock what is there is read again, changed and
written, so nobody writes over what somebody else put there meanwhile. Where a disk says that a file is busy (a virus
scanner or the program that syncs the folder has it open, on Windows) it is tried again for a while.
"""

import errno
import os
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from calib.errors import FileError
from calib.file_lock import locked

_BUSY_S = 3.0  # how long a busy file is tried again
_BUSY_PAUSE_S = 0.05
_BUSY_WINDOWS = (5, 32, 33)  # access denied, in use by another program, a part of it locked

_REASONS = {
    errno.ENOENT: ("there is no such file or folder", "check the name"),
    errno.EACCES: ("permission denied", "change its permissions, or choose another place"),
    errno.EPERM: ("permission denied", "change its permissions, or choose another place"),
    errno.EROFS: ("the disk can only be read", "choose another place"),
    errno.ENOSPC: ("the disk is full", "make room, or choose another place"),
    errno.EDQUOT: ("the disk quota is used up", "make room, or choose another place"),
    errno.EFBIG: ("the file grows larger than this system allows", "make room, or choose another place"),
    errno.EISDIR: ("it is a folder", "name a file"),
    errno.ENOTDIR: ("a part of the path is not a folder", "check the name"),
    errno.ELOOP: ("its links lead round in a circle", "remove the link, or choose another place"),
    errno.ENAMETOOLONG: ("the name is too long", "choose a shorter one"),
}


def file_error(error: OSError, path: Path, doing: str) -> FileError:
    """Say in one sentence why a file could not be used.

    Args:
        error: What the system said.
        path: The file.
        doing: "read" or "written".
    """
    what, remedy = _REASONS.get(error.errno or 0, (error.strerror or str(error), "choose another place"))
    return FileError(f"cannot be {doing}: {what}", where=str(path), remedy=remedy)


def write_atomically(path: Path, content: str | bytes) -> None:
    """Write a file by way of a temporary one beside it, so that a full disk or a power cut leaves the old one whole.

    Args:
        path: Where to; an existing file is replaced and keeps its permissions, a link is followed.
        content: Text is written as UTF-8.

    Raises:
        FileError: It could not be written; what was there before still is.
    """
    data = content.encode() if isinstance(content, str) else content
    try:
        target = path.resolve()
        if target.is_dir():
            raise IsADirectoryError(errno.EISDIR, "is a folder")
        if target.exists() and not target.is_file():
            _write_through(target, data)
        else:
            _replace(target, data)
    except OSError as error:
        raise file_error(error, path, "written") from error
    except RuntimeError:  # how Python 3.11 and 3.12 say it
        raise file_error(OSError(errno.ELOOP, "links in a circle"), path, "written") from None


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
    try:
        with locked(path):
            there = _read(path, cap_bytes)
            now = change(there)
            data = now.encode() if isinstance(now, str) else now
            if data != there:
                write_atomically(path, data)
            return data
    except FileError:
        raise
    except OSError as error:
        raise file_error(error, path, "written") from error
    except RuntimeError:
        raise file_error(OSError(errno.ELOOP, "links in a circle"), path, "written") from None


def _read(path: Path, cap_bytes: int) -> bytes | None:
    try:
        data = path.read_bytes() if path.stat().st_size <= cap_bytes else None
    except FileNotFoundError:
        return None
    if data is None:
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
            if not _is_busy(error) or time.monotonic() > until:
                raise
        time.sleep(_BUSY_PAUSE_S)


def _is_busy(error: OSError) -> bool:
    """Only Windows says "denied" for a file that another program has open; elsewhere it stays denied."""
    if os.name == "nt" and getattr(error, "winerror", None) in _BUSY_WINDOWS:
        return True
    return error.errno in (errno.EBUSY, errno.ETXTBSY)


def write_new(path: Path, content: str | bytes) -> None:
    """Write a file that must not exist yet.

    Raises:
        FileError: It exists, or could not be written.
    """
    if os.path.lexists(path):
        raise FileError("exists and is not overwritten", where=str(path), remedy="choose another name, or move it away")
    write_atomically(path, content)


def _write_through(target: Path, data: bytes) -> None:
    """Devices and pipes cannot be replaced; they are written to."""
    with target.open("wb") as out:
        out.write(data)


def _replace(target: Path, data: bytes) -> None:
    part = target.with_name(f".{target.name[:200]}.{os.urandom(4).hex()}.part")
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
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
    sync_folder(target.parent)


def write_all(descriptor: int, data: bytes) -> None:
    """Write everything to an open file; one call of the system may take only a part.

    Raises:
        OSError: As the system says it; a part may have been written.
    """
    while data:
        data = data[os.write(descriptor, data) :]


def sync_folder(folder: Path) -> None:
    """Put the new name on the disk too; systems that cannot sync a folder need no such call."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
