"""A folder of plain files as the store of a collection, its profiles read whole: for history and lists.

There is no index and no database: what lies in the folder and in the folders below is the collection, so two people
merge theirs by copying one folder into the other. Which file is of which band the register says.
"""

from collections.abc import Iterator
from dataclasses import field
from datetime import datetime
from hashlib import sha256
from pathlib import Path

from calib.errors import BandcurveError, DataError
from calib.frozen import dataclass
from calib.profile.document import CAP_BYTES, Profile, load_profile
from calib.profile.store.cards import Problem
from calib.profile.store.newest_profile import are_two_bands, called
from calib.profile.store.rechecks import Recheck
from calib.profile.store.register import KnownBand, Register, read_register
from calib.profile.store.uses import Use
from calib.safe_read import read_capped
from calib.scale import Scale, parse_scale
from calib.stamp import instant


@dataclass(frozen=True)
class BandFiles:
    """What the collection holds of one band."""

    id: str
    profiles: tuple[tuple[Path, Profile], ...] = ()  # oldest first; those without a day first of all
    uses: tuple[Use, ...] = ()
    rechecks: tuple[Recheck, ...] = ()  # oldest first
    known: KnownBand = field(default_factory=lambda: KnownBand("", ""))
    unread: tuple[str, ...] = ()  # why calibrations of its name cannot be read

    @property
    def latest(self) -> Profile | None:
        """The newest calibration."""
        return self.profiles[-1][1] if self.profiles else None

    def calibrations(self) -> list[Profile]:
        """All of them, oldest first.

        Raises:
            DataError: There is none, none can be read, or they are of two bands.
        """
        if not self.profiles and self.unread:
            raise DataError(f"no calibration of {self.id} can be read: {self.unread[0]}")
        if not self.profiles:
            raise DataError(f"{self.id} was never measured", remedy=f"measure it: bandcurve record {self.id}")
        if self.is_two_bands:
            raise DataError(
                f"{self.id} stands for two bands: their flat lengths differ by more than a band gets longer",
                remedy=f"give only one of them another name: bandcurve rename {self.profiles[0][0]} NEW-NAME",
            )
        return [p for _, p in self.profiles]

    @property
    def begun(self) -> tuple[datetime | None, ...]:
        """When the run of each calibration was begun, as far as it lies beside it."""
        started = {card.path: card.started for card in self.known.calibrations}
        return tuple(_instant(started.get(path, "")) for path, _ in self.profiles)

    @property
    def is_two_bands(self) -> bool:
        """Whether the flat lengths are too far apart for one band: two people may have used one id."""
        return are_two_bands([p for _, p in self.profiles])


@dataclass(frozen=True)
class Collection:
    """Everything found in a folder."""

    folder: Path
    bands: tuple[BandFiles, ...]
    scales: tuple[tuple[Path, Scale], ...]
    problems: tuple[Problem, ...]
    register: Register

    @property
    def failed(self) -> tuple[str, ...]:
        """Of each file that could not be used, one sentence."""
        return tuple(p.text for p in self.problems)

    def band(self, name: str) -> BandFiles:
        """What there is of one band.

        Raises:
            DataError: Nothing is, or two bands have that name.
        """
        address = self.register.band(name).address
        for found in self.bands:
            if found.id == address:
                return found
        failed = next((p.text for p in self.problems if p.mark.lower() == name.lower()), "")
        raise DataError(f"no file of {address} can be used: {failed}", remedy="fit it again")

    def failed_of(self, band: BandFiles) -> tuple[str, ...]:
        """What is said of the files of one band, by their names, that could not be used."""
        mark = band.known.mark.lower()
        return tuple(p.text for p in self.problems if p.mark.lower() == mark)


def _instant(text: str) -> datetime | None:
    try:
        return instant(text)
    except (ValueError, OverflowError):
        return None


def read_collection(folder: Path) -> Collection:
    """Look through a folder and the folders below it, and read every profile whole.

    Args:
        folder: Where.

    Raises:
        FileError: It is not a folder.
    """
    register = read_register(folder)
    problems = list(register.problems)
    bands = tuple(_files(band, problems) for band in register.bands)
    scales = list(_scales(register, problems))
    kept = tuple(b for b in bands if b.profiles or b.uses or b.rechecks or not b.known.calibrations)
    return Collection(folder, kept, tuple(scales), tuple(problems), register)


def _files(band: KnownBand, problems: list[Problem]) -> BandFiles:
    """A band with its profiles; one that cannot be used is named and passed over."""
    read: list[tuple[Path, Profile]] = []
    unread = list(band.unread)
    for card in band.calibrations:
        try:
            read.append((card.path, called(load_profile(card.path), band.address)))
        except BandcurveError as error:
            problems.append(Problem(card.path, band.mark, str(error)))
            unread.append(str(error))
    return BandFiles(band.address, tuple(read), band.uses, band.rechecks, band, tuple(unread))


def _scales(register: Register, problems: list[Problem]) -> Iterator[tuple[Path, Scale]]:
    """Each scale's content once."""
    found: dict[bytes, tuple[Path, Scale]] = {}
    for path in register.scales:
        try:
            data = read_capped(path, CAP_BYTES)
            found.setdefault(sha256(data).digest(), (path, parse_scale(data, str(path.relative_to(register.folder)))))
        except BandcurveError as error:
            problems.append(Problem(path, path.name.partition(".")[0], str(error)))
    yield from sorted(found.values(), key=lambda s: s[1].id.lower())
