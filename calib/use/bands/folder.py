"""All bands of a folder at once. The rule which calibration answers for a band is `lookup`'s."""

from collections.abc import Iterator, Mapping
from pathlib import Path

from calib.errors import BandcurveError
from calib.profile.document import Profile
from calib.use.bands.lookup import Found, Lookup


class Folder(Mapping[str, Profile]):
    """The bands of a folder and the folders below, by name: each the newest good calibration.

    A name is found in whatever case. `found` gives what is to be said beside the profile: its day, its file, findings.

    >>> bands = calib.read_folder(folder_path)
    >>> list(bands)
    ['B07']
    >>> round(bands["b07"].force(1.6), 1)
    143.2
    """

    def __init__(self, folder: Path | str = Path()) -> None:
        self._lookup = Lookup(Path(folder))
        bands = self._lookup.register().bands
        self._names = tuple(band.address for band in bands if band.calibrations)
        self._problems = tuple(str(problem) for problem in self._lookup.register().problems)

    def found(self, name: str) -> Found:
        """The calibration that answers for a band, with its findings.

        Args:
            name: Of the band.

        Raises:
            DataError: No band has that name, or two have.
        """
        return self._lookup.find(name)

    @property
    def problems(self) -> tuple[str, ...]:
        """Files that could not be used, and why."""
        return self._problems

    def __getitem__(self, name: str) -> Profile:
        try:
            return self.found(name).profile
        except BandcurveError as error:
            raise KeyError(str(error)) from error

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)

    def __repr__(self) -> str:
        shown = ", ".join(self._names[:8]) + (", ..." if len(self._names) > 8 else "")
        return f"<Folder of {len(self)} bands: {shown[:200]}>"


def read_folder(folder: Path | str = Path()) -> Folder:
    """Look a folder and the folders below through for bands.

    Args:
        folder: The folder.

    Raises:
        FileError: It cannot be read.
    """
    return Folder(folder)
