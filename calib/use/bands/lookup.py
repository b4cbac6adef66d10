"""A band by its name: which calibration answers for it, of which day it is, and what speaks against going by it.

The one rule, for every command, the page and the library: a name is answered from the newest good calibration of that
band. Profiles of the same runs are one; what was set aside is not good; of one day a full recording comes before a
quick look, and a later one before an earlier one. The path of a file is answered from that file, and a newer
calibration is mentioned. Where two bands have the name nothing is guessed: that is an error which names both.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import field
from datetime import date
from itertools import combinations
from pathlib import Path

from calib.errors import BandcurveError, DataError, FileError
from calib.finding import Finding
from calib.frozen import dataclass
from calib.profile.document import Profile, load_again, load_profile
from calib.profile.store.cards import Card, is_folder, is_path
from calib.profile.store.levels import SOON_DAYS, can_be_one_band, days_between, level_ratio
from calib.profile.store.newest_profile import are_two_bands, called, newest_of
from calib.profile.store.own_files import is_invented
from calib.profile.store.rechecks import Recheck
from calib.profile.store.register import KnownBand, Register, read_register
from calib.use.bands.assumed import RETIRE
from calib.use.bands.box import with_verdicts

DOUBTFUL = frozenset(
    {"band-retired", "band-suspect", "band-softened", "recheck-failed", "outlying-band"}
    | {"branches-cross", "force-falls", "not-repeatable"}  # its own runs say: measure it again
)
"""Findings for which a band is paired, or chosen for a rig, only where no other is left."""


@dataclass(frozen=True)
class Found:
    """The calibration that answers for a band, and what is to be said beside the answer."""

    profile: Profile
    path: Path  # of its file
    band: KnownBand | None  # as the register has it; None where the file is in no folder that could be looked through
    findings: tuple[Finding, ...]  # of the band as a whole; those of the calibration are in the profile
    by_name: bool
    verdict: str = ""  # of its box; see `calib.use.bands.box`

    @property
    def day(self) -> str | None:
        """Day of the calibration, ISO; None where it was not noted."""
        return self.profile.made.measured_at

    @property
    def name(self) -> str:
        """What the band is called now."""
        return self.band.address if self.band else self.profile.band.id

    @property
    def is_retired(self) -> bool:
        """Whether it is not to be offered any more."""
        return self.verdict == "retire" or any(f.code == "band-retired" for f in self.findings)

    @property
    def is_doubtful(self) -> bool:
        """Whether something speaks against using it where there is another."""
        if self.verdict in ("look at it", "measure again"):
            return True
        return bool(DOUBTFUL & ({f.code for f in self.findings} | {f.code for f in self.profile.findings}))

    @property
    def is_held(self) -> bool:
        """Whether it is not to be used, or only where no other is left."""
        return self.is_retired or self.is_doubtful

    @property
    def is_alone(self) -> bool:
        """Whether it is sound, but no other band of its box is its match."""
        return self.verdict == "alone"

    def is_same_calibration(self, other: "Found") -> bool:
        """Whether both are one file, or profiles of the same runs."""
        if self is other or self.path.resolve() == other.path.resolve():
            return True
        mine, theirs = (self.band and _card_at(self.band, self.path), other.band and _card_at(other.band, other.path))
        return bool(mine and theirs and mine.key == theirs.key)

    @property
    def source(self) -> str:
        """Where the answer comes from, for a line beside it."""
        return f"{self.name}, calibrated {self.day or 'on an unknown date'} ({self.path})"


@dataclass(frozen=True)
class Lookup:
    """Bands looked up one after the other for one answer: each folder is looked through once, when first needed."""

    folder: Path = Path()  # where names are looked for, and in the folders below
    _registers: dict[Path, Register] = field(default_factory=dict)

    def register(self, folder: Path | None = None) -> Register:
        """The register of a folder; of the one where names are looked for if none is given."""
        where = self.folder if folder is None else folder
        key = where.resolve()
        if key not in self._registers:
            self._registers[key] = read_register(where)
        return self._registers[key]

    def find(self, name: str | Path) -> Found:
        """The calibration that answers for a band.

        Args:
            name: A band's name (B07, in whatever case; FOLDER/B07 where two have it) or a profile's file.

        Raises:
            DataError: No band has that name, two have it, it was never calibrated, or no file of it can be used.
            FileError: The file or the folder cannot be read.
        """
        if is_path(str(name)):
            return self._of_file(Path(name))
        register = self.register()
        try:
            band = register.band(str(name))
        except DataError:
            if is_folder(str(name)):
                raise FileError("is a folder", where=str(name), remedy="name a file in it, or a band") from None
            raise
        return _newest(band, register)

    def find_all(self, names: Sequence[str | Path]) -> list[Found]:
        """Several bands, each once: of several files of one the newest answers, and the others are mentioned.

        Args:
            names: Names of bands or profiles' files, in any order.

        Returns:
            One of each band, in the order they were first named.
        """
        by_band: dict[tuple[str, ...], list[Found]] = {}
        for name in names:
            found = self.find(name)
            by_band.setdefault(_same_band(found), []).append(found)
        return with_verdicts([_best(several) for several in by_band.values()])

    def _of_file(self, path: Path) -> Found:
        profile = load_again(path)
        try:
            register = self.register(path.parent)
        except BandcurveError:
            return Found(profile, path, None, (), by_name=False)
        band = register.band_of_file(path)
        findings = tuple(_findings(band, register, profile, path)) if band else ()
        return Found(called(profile, band.address) if band else profile, path, band, findings, by_name=False)


def find(name: str | Path, folder: Path = Path()) -> Found:
    """The calibration that answers for one band; see `Lookup.find`."""
    return Lookup(folder).find(name)


def first_and_newest(name: str, folder: Path = Path()) -> tuple[Found, Found]:
    """The first and the newest calibration of a band.

    Raises:
        DataError: It has one only, or cannot be looked up.
    """
    lookup = Lookup(folder)
    newest = lookup.find(name)
    calibrations = newest.band.calibrations if newest.band else ()
    if len(calibrations) < 2:
        raise DataError(
            f"{newest.name} was calibrated once", remedy=f"measure it again: bandcurve record {newest.name}"
        )
    first = calibrations[0].path
    return Found(called(load_profile(first), newest.name), first, newest.band, (), by_name=True), newest


def _same_band(found: Found) -> tuple[str, ...]:
    if found.band is None or not found.band.calibrations:
        return (found.profile.band.id.lower(), str(found.path.parent.resolve()))
    return (found.band.id,)


def _best(several: Sequence[Found]) -> Found:
    """Of several files of one band the newest; what an older one had to say of being older is not said."""
    profiles = [f.profile for f in several]
    if are_two_bands(profiles):
        newest_of(profiles)  # says so
    newest = max(several, key=_order)
    left = [f for f in several if not f.is_same_calibration(newest)]
    if not left:
        return newest
    days = sorted({f.day or "on an unknown date" for f in left})
    if newest.day in days:
        text = f"{newest.name} was calibrated more than once on {newest.day}: {newest.path.name} is taken"
    else:
        text = f"{newest.name}: its newest profile is taken, of {newest.day}, not that of {' and '.join(days)}"
    others = tuple(f for f in newest.findings if f.code != "older-profile")
    return Found(newest.profile, newest.path, newest.band, (*others, Finding("older-profile", text)), newest.by_name)


def _order(found: Found) -> int:
    """Where a file stands among the calibrations of its band, the newest last."""
    card = _card_at(found.band, found.path) if found.band else None
    keys = [c.key for c in found.band.calibrations] if found.band else []
    return keys.index(card.key) if card and card.key in keys else -1


def _newest(band: KnownBand, register: Register) -> Found:
    if band.is_two_bands:
        flat = sorted(c.flat_length for c in band.calibrations)
        raise DataError(
            f"{band.address} stands for two bands: flat lengths of {flat[0]:.3f} and {flat[-1]:.3f} m cannot belong "
            "to one band",
            remedy=f"give only one of them another name: bandcurve rename {band.calibrations[0].path} NEW-NAME",
        )
    if not band.calibrations:
        raise _never(band)
    failed: list[str] = []
    for card in reversed(band.calibrations):
        try:
            profile = load_again(card.path)
        except BandcurveError as error:
            failed.append(str(error))
            continue
        said = [Finding("file-not-read", f"{text}; an older calibration is used") for text in failed]
        findings = (*said, *_findings(band, register, profile, card.path))
        return Found(called(profile, band.address), card.path, band, findings, by_name=True)
    raise DataError(f"no calibration of {band.address} can be read: {failed[0]}", remedy="fit it again")


def _never(band: KnownBand) -> DataError:
    """Why a band has no calibration: its file cannot be read, it was set aside, or there never was one."""
    if band.unread:
        return DataError(f"no calibration of {band.address} can be read: {band.unread[0]}")
    if band.aside:
        return DataError(f"every calibration of {band.address} was set aside", remedy=f"bandcurve undo {band.address}")
    return DataError(f"{band.address} was never calibrated", remedy=f"measure it: bandcurve record {band.mark}")


def band_findings(band: KnownBand, register: Register, profile: Profile, path: Path) -> tuple[Finding, ...]:
    """What speaks against going by a calibration of a band; what the calibration itself says is in the profile."""
    return tuple(_findings(band, register, profile, path))


def _findings(band: KnownBand, register: Register, profile: Profile, path: Path) -> Iterator[Finding]:
    card = _card_at(band, path)
    if is_invented(path.parent):
        yield Finding("invented-data", f"{band.address} is invented: nobody measured it")
    yield from _of_status(band)
    yield from _older(band, card)
    yield from _apart(band)
    yield from _soft(band)
    yield from _failed_recheck(band, profile)
    yield from _outlying(profile)
    for problem in band.problems:
        yield Finding("file-not-read", f"left out, {problem.text}")
    if len(band.folders) > 1 and not band.one_band and len({c.folder for c in band.calibrations}) > 1:
        where = " and ".join(folder or "this folder" for folder in band.folders)
        decide = f"decide with: bandcurve merge {band.mark}"
        text = f"files of {band.mark} lie in {where} and are taken as one band; {decide}"
        yield Finding("several-folders", text)
    yield from (Finding("register-differs", text) for text in register.said if _names(text, band.mark))


def _names(text: str, mark: str) -> bool:
    return bool(re.search(rf"(?<![\w.-]){re.escape(mark)}(?![\w.-])", text, re.IGNORECASE))


def _card_at(band: KnownBand, path: Path) -> Card | None:
    cards = (*band.calibrations, *band.copies, *band.aside)
    if found := next((c for c in cards if c.path == path), None):
        return found
    where = path.resolve()
    return next((c for c in cards if c.path.resolve() == where), None)


def _of_status(band: KnownBand) -> Iterator[Finding]:
    if band.decision is None or band.status == "in use":
        return
    day, why = band.decision.stamp.at.date(), f": {band.decision.note}" if band.decision.note else ""
    if band.status == "retired":
        yield Finding("band-retired", f"{band.address} was retired on {day}{why}")
    else:
        yield Finding("band-suspect", f"{band.address} is suspect since {day}{why}")


def _older(band: KnownBand, card: Card | None) -> Iterator[Finding]:
    newest = band.calibrations[-1] if band.calibrations else None
    if card is None or newest is None or card.key == newest.key or card in band.calibrations[-1:]:
        return
    if card in band.aside:
        yield Finding("older-profile", f"{card.path.name} was set aside; {band.address} is answered from {newest.path}")
        return
    if card.runs and card.runs < newest.runs:
        return
    when = "again that day" if card.day == newest.day else f"again on {newest.day or 'an unknown date'}"
    was = f" is of {card.day}" if card.day else " has no day"
    text = f"{card.path.name}{was}; {band.address} was calibrated {when} ({newest.path.name}): ask for {band.address}"
    yield Finding("older-profile", text)


def _apart(band: KnownBand) -> Iterator[Finding]:
    """Two calibrations of nearly one day that cannot both be right."""
    for a, b in combinations(band.calibrations, 2):
        if not a.day or not b.day or abs(days_between(a, b)) > SOON_DAYS or can_be_one_band(a, b):
            continue
        ratio = level_ratio(a, b)
        if ratio is not None:
            text = (
                f"{a.path.name} ({a.day}) and {b.path.name} ({b.day}) differ by {abs(ratio - 1):.0%}: "
                "one contains a slip, or they are two bands"
            )
            yield Finding("one-day-apart", text)
            return


def _soft(band: KnownBand) -> Iterator[Finding]:
    if len(band.calibrations) < 2:
        return
    first, last = band.calibrations[0], band.calibrations[-1]
    if first.day == last.day:
        return
    ratio = level_ratio(first, last)
    if ratio is not None and 1 - ratio > RETIRE:
        text = f"{band.address} has lost {1 - ratio:.1%} of its pull since {first.day or 'it was first measured'}"
        yield Finding("band-softened", f"{text}: retire it, or use it elsewhere with a new partner")


def _failed_recheck(band: KnownBand, profile: Profile) -> Iterator[Finding]:
    """The last re-check held against this calibration that could be judged, where it did not pass."""
    measured = date.fromisoformat(profile.made.measured_at) if profile.made.measured_at else None
    if not band.rechecks:
        return
    from calib.use.bands.recheck import recheck  # most bands have none, and a quick answer loads little

    for check in reversed(band.rechecks):
        if not _is_against(check, measured):
            continue
        try:
            found = recheck(profile, check.hung, check.length)
        except BandcurveError:
            continue
        if not found.passed:
            text = (
                f"{band.address} did not pass its re-check of {check.on}: {100 * (found.level_ratio - 1):+.1f} "
                f"+- {100 * found.k * found.u_level_ratio:.1f} % of the pull; measure it again"
            )
            yield Finding("recheck-failed", text)
        return


def _is_against(check: Recheck, measured: date | None) -> bool:
    if check.calibrated is not None:
        return check.calibrated == measured
    return measured is None or check.on >= measured


_OF_RUNS = ("outlying-band", "branches-cross", "force-falls", "not-repeatable")


def _outlying(profile: Profile) -> Iterator[Finding]:
    return (Finding(f.code, f.text) for f in profile.findings if f.code in _OF_RUNS)
