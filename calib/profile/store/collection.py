"""A folder of plain files as the store of a collection: which bands, scales and logs are in it. Nothing is judged here.

There is no index and no database: what lies in the folder and in the folders below is the collection, so two people
merge theirs by copying one folder into the other. A file that is there twice, whatever its name, is counted once.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import TypeVar

from calib.errors import BandcurveError, DataError, FileError
from calib.profile.document import CAP_BYTES, Profile, parse_profile
from calib.profile.store.newest_profile import are_two_bands
from calib.profile.store.rechecks import Recheck, noted_once, parse_rechecks
from calib.profile.store.uses import Use, counted_once, parse_uses
from calib.scale import Scale, parse_scale
from calib.strict_json import read_capped

MOST_FILES = 10_000

T = TypeVar("T")


@dataclass(frozen=True)
class BandFiles:
    """What the collection holds of one band."""

    id: str
    profiles: tuple[tuple[Path, Profile], ...] = ()  # oldest first; those without a day first of all
    uses: tuple[Use, ...] = ()
    rechecks: tuple[Recheck, ...] = ()  # oldest first

    @property
    def latest(self) -> Profile | None:
        """The newest calibration."""
        return self.profiles[-1][1] if self.profiles else None

    def calibrations(self) -> list[Profile]:
        """All of them, oldest first.

        Raises:
            DataError: There is none, or they are of two bands.
        """
        if not self.profiles:
            raise DataError(f"{self.id} was never measured", remedy=f"measure it: bandcurve record {self.id}")
        if self.is_two_bands:
            raise DataError(
                f"{self.id} stands for two bands: their flat lengths differ by more than a band gets longer",
                remedy="give one of them another id, or keep them in two folders",
            )
        return [p for _, p in self.profiles]

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
    failed: tuple[str, ...] = field(default=())  # one sentence a file

    def band(self, name: str) -> BandFiles:
        """What there is of one band.

        Raises:
            DataError: Nothing is.
        """
        for found in self.bands:
            if found.id.lower() == name.lower():
                return found
        known = ", ".join(b.id for b in self.bands[:12]) or "none"
        raise DataError(
            f"there is no band {name[:64]!r} in {self.folder}", remedy=f"known here: {known}; or give another --folder"
        )

    def failed_of(self, name: str) -> tuple[str, ...]:
        """What is said of the files of one band, by their names, that could not be used."""
        return tuple(said for said in self.failed if Path(said.partition(":")[0]).name.startswith(f"{name}."))


def read_collection(folder: Path) -> Collection:
    """Look through a folder and the folders below it.

    Args:
        folder: Where.

    Raises:
        FileError: It is no folder.
    """
    if not folder.is_dir():
        raise FileError("is no folder", where=str(folder), remedy="name the folder your profiles are in")
    failed: list[str] = []
    profiles = list(_each(folder, "*.profile.json", parse_profile, failed))
    scales = list(_each(folder, "*.scale.json", parse_scale, failed))
    uses = [use for _, found in _each(folder, "*.uses*.csv", parse_uses, failed) for use in found]
    rechecks = [r for _, found in _each(folder, "*.rechecks*.csv", parse_rechecks, failed) for r in found]
    ids = {p.band.id for _, p in profiles} | {u.band for u in uses} | {r.band for r in rechecks}
    bands = tuple(
        BandFiles(
            name,
            tuple(sorted((f for f in profiles if f[1].band.id == name), key=lambda f: f[1].made.measured_at or "")),
            tuple(counted_once(u for u in uses if u.band == name)),
            tuple(noted_once(r for r in rechecks if r.band == name)),
        )
        for name in sorted(ids, key=str.lower)
    )
    return Collection(folder, bands, tuple(sorted(scales, key=lambda s: s[1].id.lower())), tuple(failed))


def _each(folder: Path, pattern: str, parse: Callable[[bytes, str], T], failed: list[str]) -> Iterator[tuple[Path, T]]:
    """Files of one kind, each content once; a file that cannot be used is named and passed over."""
    seen: set[bytes] = set()
    for path in _listed(folder, pattern):
        try:
            data = read_capped(path, CAP_BYTES)
            digest = sha256(data).digest()
            if digest not in seen:
                seen.add(digest)
                yield path, parse(data, str(path.relative_to(folder)))
        except BandcurveError as error:
            failed.append(str(error))


def _listed(folder: Path, pattern: str) -> Iterable[Path]:
    found = sorted(p for p in folder.rglob(pattern) if not p.name.startswith(".") and not p.is_fifo())
    if len(found) > MOST_FILES:
        raise DataError(f"holds more than {MOST_FILES} files", where=str(folder), remedy="name a smaller folder")
    return found
