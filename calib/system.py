"""What differs between the systems where files are concerned, in one place; keys of a terminal are in `keyboard`.

| | Linux, macOS | Windows |
|---|---|---|
| lock of a file | `flock`, given back when the program dies | `msvcrt.locking` of its first byte, likewise |
| a file somebody has open | can be replaced and deleted | cannot: tried again for a while, a lock's file stays |
| a name on the disk | the folder is synced | needs and allows no such call |
| bytes as written | always | only with O_BINARY |

Names that differ only in case are one file on Windows and, as a rule, on macOS: no code may count on two.
Tests put stand-ins for the functions here and for `WINDOWS`.
"""

import errno
import os
from contextlib import suppress
from pathlib import Path

try:
    import fcntl
except ImportError:  # Windows
    fcntl = None  # type: ignore[assignment, unused-ignore]

WINDOWS = os.name == "nt"
BINARY = getattr(os, "O_BINARY", 0)
NO_LINK = getattr(os, "O_NOFOLLOW", 0)
AT_ONCE = getattr(os, "O_NONBLOCK", 0)  # a pipe is opened without waiting for who writes to it
_BUSY_WINDOWS = (5, 32, 33)  # access denied, in use by another program, a part of it locked


def take_lock(descriptor: int) -> None:
    """Lock an open file for this program alone, without waiting.

    Raises:
        OSError: Another has it, or the disk cannot lock.
    """
    if fcntl is not None:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        return
    import msvcrt

    os.lseek(descriptor, 0, os.SEEK_SET)
    msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined, unused-ignore]


def is_busy(error: OSError) -> bool:
    """Whether it may be tried again; only Windows says "denied" for a file that another program has open."""
    if WINDOWS and getattr(error, "winerror", None) in _BUSY_WINDOWS:
        return True
    return error.errno in (errno.EBUSY, errno.ETXTBSY)


def is_taken(path: Path) -> bool:
    """Whether a file of that name is there, or one that differs only in case: elsewhere the two would be one file."""
    if os.path.lexists(path):
        return True
    with suppress(OSError), os.scandir(path.parent) as there:
        return any(entry.name.casefold() == path.name.casefold() for entry in there)
    return False


def sync_folder(folder: Path) -> None:
    """Put a new name on the disk too, where the system has a call for it."""
    if WINDOWS:
        return
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
