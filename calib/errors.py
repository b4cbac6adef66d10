"""The errors a user can cause, each one sentence: where, what, and what would fix it. No file is opened here."""

import errno
from pathlib import Path

LONGEST = 400  # characters of a part of a sentence


class BandcurveError(Exception):
    """What is wrong with the user's input or data, in one sentence; the parts are attributes too."""

    def __init__(self, what: str, *, where: str = "", remedy: str = "") -> None:
        self.what = _cut(what)
        self.where = _cut(where)
        self.remedy = _cut(remedy)
        super().__init__(self.what)

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        mend = f"; {self.remedy}" if self.remedy else ""
        return printable(f"{place}{self.what}{mend}")

    def placed_at(self, where: str) -> "BandcurveError":
        """Return the same error with its place named, where none was known yet."""
        return self if self.where else type(self)(self.what, where=where, remedy=self.remedy)


def printable(said: object) -> str:
    """A text or the name of a file without what would paint a terminal."""
    text = str(said)
    return text if text.isprintable() else "".join(c if c.isprintable() else "?" for c in text)


def _cut(text: str) -> str:
    """Long enough for any path and list of names; what a stranger's file brings in may be longer."""
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 3]}..."


class DataError(BandcurveError, ValueError):
    """A value that cannot be used: in a file, typed, or as an argument."""


class OutOfRangeError(DataError):
    """A length or force outside what was tested."""


class FileError(BandcurveError, OSError):
    """A file that cannot be read or written."""


class UsageError(BandcurveError, ValueError):
    """An option that cannot be read (exit status 2)."""


class EndOfInputError(Exception):
    """There will be no more answers: end of input, or the terminal is gone."""


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


def fault(error: Exception) -> str:
    """An error that nobody expected, in one sentence."""
    said = " ".join(str(error).split())[:120]
    return f"bandcurve has a fault here, please report it with this file ({type(error).__name__}: {said})"
