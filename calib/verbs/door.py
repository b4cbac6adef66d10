"""The door to the terminal: every printed line goes through it, and nobody else's control characters come with it.

A path, a note or a device's line may hold an escape sequence that clears the screen, renames the window or types for
the user. Whatever is printed has ? in their place, whoever printed it; what the program draws itself goes by `draw`,
and a page of its own by `own`.
"""

import re
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any, TextIO, cast

_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]|\r(?!\n)")
_own: set[str] = set()


def harmless(text: str) -> str:
    """Text without control characters and marks that turn the direction of writing; line ends and tabs stay.

    >>> harmless("knee" + chr(27) + "[2J.run.csv")
    'knee?[2J.run.csv'
    """
    return text if text.isascii() and text.isprintable() else _CONTROL.sub("?", text)


class Door:
    """A stream that lets harmless text through."""

    def __init__(self, stream: TextIO) -> None:
        self.stream = stream

    def write(self, text: str) -> int:
        """Write it, without what is not harmless."""
        page = text.removesuffix("\n")
        if page in _own:
            _own.discard(page)
        else:
            text = harmless(text)
        return self.stream.write(text)

    def writelines(self, lines: Iterable[str]) -> None:
        """Write several."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.stream, name)


@contextmanager
def guarded() -> Iterator[None]:
    """Have standard output and standard error go through the door."""
    before = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = (cast("TextIO", s if s is None or isinstance(s, Door) else Door(s)) for s in before)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before


def draw(stream: TextIO, text: str) -> None:
    """Write what the program draws: its own sequences around text that is harmless already."""
    raw(stream).write(text)


def raw(stream: TextIO) -> TextIO:
    """The stream behind the door."""
    return stream.stream if isinstance(stream, Door) else stream


def own(page: str) -> str:
    """A page with sequences of the program's own, printed by somebody else's code: it passes once as it is."""
    _own.add(page)
    return page
