"""The errors a user can cause, each one sentence: where, what, and what would mend it. No file is opened here."""


class BandcurveError(Exception):
    """What is wrong with the user's input or data, in one sentence; the parts are attributes too."""

    def __init__(self, what: str, *, where: str = "", remedy: str = "") -> None:
        self.what = what
        self.where = where
        self.remedy = remedy
        super().__init__(what)

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        mend = f"; {self.remedy}" if self.remedy else ""
        said = f"{place}{self.what}{mend}"
        return said if said.isprintable() else "".join(c if c.isprintable() else "?" for c in said)

    def at(self, where: str) -> "BandcurveError":
        """Return the same error with its place named, where none was known yet."""
        return self if self.where else type(self)(self.what, where=where, remedy=self.remedy)


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
