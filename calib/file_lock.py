"""One writer at a time for one file, on every system: all that is locked in this program is locked here.

The lock lies beside the file, `.NAME.lock`, so that it also holds between two accounts and between two machines that
share a disk, and so that the file itself may be replaced while it is locked. It is taken away again with the lock;
who waited for the one that is gone sees so and takes the new one. A program that dies gives its lock back: the system
does that, nothing goes stale. Waiting is polled, because a wait without an end looks like a program that hangs.
On a disk that cannot lock (some network drives) the work goes on without, as nothing better is to be had there.
"""

import errno
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from calib import system
from calib.errors import FileError

WAIT_S = 30.0
_PAUSE_S = (0.001, 0.02)
_TAKEN = (errno.EAGAIN, errno.EACCES, errno.EDEADLK)
_CANNOT = (errno.ENOLCK, errno.ENOSYS, errno.EOPNOTSUPP, errno.EINVAL)


@contextmanager
def locked(path: Path, wait_s: float = WAIT_S) -> Iterator[bool]:
    """Hold the lock of a file; nobody else who asks for it gets it meanwhile. It cannot be taken twice.

    Args:
        path: The file, there or not; a link is followed.
        wait_s: How long to wait for who holds it. [s]

    Yields:
        Whether it is held; False on a disk that cannot lock.

    Raises:
        FileError: It is held longer than that.
        OSError: The lock cannot be made: the folder is not there, or not to be written to.
    """
    target = path.resolve()
    lock = target.with_name(f".{target.name[:200]}.lock")
    descriptor, alone = _held(lock, path, time.monotonic() + wait_s)
    try:
        yield alone
    finally:
        _give_back(lock, descriptor)


def _held(lock: Path, path: Path, until: float) -> tuple[int, bool]:
    while True:
        descriptor = _opened(lock, until)
        try:
            taken = _taken(descriptor)
            if taken is None:
                return descriptor, False
            if taken and _is_still(lock, descriptor):
                return descriptor, True
        except BaseException:
            os.close(descriptor)
            raise
        os.close(descriptor)
        if time.monotonic() > until:
            raise FileError(
                "is being written by another program", where=str(path), remedy="wait for it, or end it, and try again"
            )
        time.sleep(_PAUSE_S[0] + (_PAUSE_S[1] - _PAUSE_S[0]) * os.urandom(1)[0] / 255)


def _opened(lock: Path, until: float) -> int:
    while True:
        try:
            return os.open(lock, os.O_RDWR | os.O_CREAT | system.NO_LINK, 0o666)
        except PermissionError:  # Windows says so while another program takes the lock's file away
            if not system.WINDOWS or time.monotonic() > until:
                raise
            time.sleep(_PAUSE_S[1])


def _taken(descriptor: int) -> bool | None:
    """Whether the lock was free; None where the disk cannot lock."""
    try:
        system.take_lock(descriptor)
    except OSError as error:
        if error.errno in _CANNOT:
            return None
        if error.errno in _TAKEN:
            return False
        raise
    return True


def _is_still(lock: Path, descriptor: int) -> bool:
    """Whether the file that was locked is the one that lies there: who held it before may have taken it away."""
    try:
        there, mine = lock.stat(), os.fstat(descriptor)
    except FileNotFoundError:
        return False
    return (there.st_dev, there.st_ino) == (mine.st_dev, mine.st_ino)


def _give_back(lock: Path, descriptor: int) -> None:
    if not system.WINDOWS:  # there an open file cannot be taken away, and one that somebody else has open stays
        with suppress(OSError):
            lock.unlink()
        os.close(descriptor)
        return
    os.close(descriptor)
    with suppress(OSError):
        lock.unlink()
