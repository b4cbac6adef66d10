"""Single keys from a terminal, on POSIX through `termios`, on Windows through `msvcrt`: the one place that knows which.

A key is one character; Enter is "\\r" or "\\n". Arrow and function keys give nothing. Nothing is shown here.
"""

import os
import select
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from calib.verbs.terminal.prompts import EndOfInputError

TICK = 0.02  # s; on Windows a key is looked for so often
_ENDS = ("\x04", "\x1a")  # Ctrl-D, Ctrl-Z
_SPECIAL = ("\x00", "\xe0")  # on Windows the first half of an arrow or function key
Key = Callable[[float], str]


@contextmanager
def keys_if_any() -> Iterator[Key]:
    """The same where somebody is at a keyboard; else, behind a pipe, a function that never gives a key."""
    if not (sys.stdin and sys.stdin.isatty()):
        yield lambda _: ""
        return
    with keys() as key:
        yield key


@contextmanager
def keys() -> Iterator[Key]:
    """A function that waits a while for one key, "" where none comes [s]; the terminal is as before afterwards.

    Raises:
        EndOfInputError: The terminal is gone, or Ctrl-D (Windows: Ctrl-Z) was pressed.
    """
    try:
        import msvcrt
    except ImportError:
        with _posix_keys() as key:
            yield key
        return
    yield _windows_keys(msvcrt)


def _windows_keys(console: Any) -> Key:
    """Keys of a Windows console."""

    def key(seconds: float) -> str:
        end = time.monotonic() + seconds
        while not console.kbhit():
            left = end - time.monotonic()
            if left <= 0:
                return ""
            time.sleep(min(TICK, left))
        pressed: str = console.getwch()
        if pressed in _SPECIAL:
            console.getwch()  # the other half
            return ""
        if pressed == "\x03":
            raise KeyboardInterrupt
        if pressed in _ENDS:
            raise EndOfInputError
        return pressed if pressed >= " " or pressed in ("\r", "\n") else ""

    return key


@contextmanager
def _posix_keys() -> Iterator[Key]:
    import termios
    import tty

    fd = sys.stdin.fileno()
    try:
        before = termios.tcgetattr(fd)
        tty.setcbreak(fd, termios.TCSADRAIN)
    except termios.error as error:
        raise EndOfInputError from error

    def key(seconds: float) -> str:
        if not select.select([fd], [], [], seconds)[0]:
            return ""
        try:
            byte = os.read(fd, 1)
        except OSError as error:
            raise EndOfInputError from error
        if not byte or byte == b"\x04":  # Ctrl-D at the start of a line
            raise EndOfInputError
        if byte < b" " and byte not in (b"\r", b"\n"):
            _drain(fd)  # an arrow or function key
            return ""
        return byte.decode("ascii", "ignore")

    try:
        yield key
    finally:
        with _ignore_gone():
            termios.tcsetattr(fd, termios.TCSADRAIN, before)


def _drain(fd: int) -> None:
    while select.select([fd], [], [], 0)[0] and os.read(fd, 16):
        pass


@contextmanager
def _ignore_gone() -> Iterator[None]:
    """A terminal that went away cannot be set back."""
    import termios

    try:
        yield
    except (OSError, termios.error):
        return
