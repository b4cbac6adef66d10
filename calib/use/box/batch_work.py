"""What a fit of a box does with one band at a time, so that other processes can: look, fit, borrow, write.

Of a band only what the record of the batch needs is kept, so a thousand take no more room than a few. Which bands come
first and what is said of them is the business of fitting.py.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING
from zlib import crc32

from calib.errors import BandcurveError
from calib.frozen import dataclass

if TYPE_CHECKING:
    from calib.finding import Finding
    from calib.fit.batch.pooled_fit import Taught
    from calib.profile.document import Profile
    from calib.records import Fit
    from calib.use.bands.batch_levels import BatchMember

ONE_TIME = timedelta(days=30)  # runs of a band further apart than that are not one calibration; a choice
Group = tuple[Path, ...]  # the runs of one band
Failure = tuple[str, str]  # file, error


@dataclass(frozen=True)
class SeenRuns:
    """What a first look at a run tells: whose it is, at which lengths it was read, or why it cannot be used."""

    path: Path
    band: str = ""
    lengths_out: frozenset[float] = frozenset()
    started: datetime | None = None
    rows: tuple[int, ...] = ()  # a check sum of each
    untaped: bool = False  # nobody had the band in hand yet
    error: str = ""


def look(path: Path) -> SeenRuns:
    """Read a run and keep next to nothing of it: of a thousand runs only a few are ever held at once."""
    from calib.acquire.files.run_file import read_run
    from calib.acquire.recording.batch_plan import UNTAPED

    try:
        run = read_run(path)
    except BandcurveError as error:
        return SeenRuns(path, error=str(error))
    out = frozenset(round(r.length, 3) for r in run.readings if r.branch == "loading" and r.length is not None)
    rows = tuple(crc32(repr(replace(row, line=0)).encode()) for row in run.rows)
    return SeenRuns(path, run.head.band.id, out, run.head.started, rows, bool(run.head.extensions.get(UNTAPED)))


def not_seen(path: Path, sentence: str) -> SeenRuns:
    """A run whose first look failed in a way nobody expected."""
    return SeenRuns(path, error=f"{path}: {sentence}")


@dataclass(frozen=True)
class Sorted:
    """The runs by band, bands nobody had in hand yet, and what cannot be read."""

    groups: tuple[Group, ...]
    full: frozenset[Group]  # of them, bands that seem to be measured in full
    waiting: tuple[str, ...]
    failed: tuple[Failure, ...]
    earlier: tuple[Path, ...] = ()  # of a band that was measured again since
    copies: tuple[Path, ...] = ()  # of a recording that another file holds with as many rows or more


def sorted_runs(seen: Iterable[SeenRuns]) -> Sorted:
    """Put the runs of each band together, in the order of the files."""
    from calib.fit.batch.pooled_fit import FULL_LENGTHS

    bands: dict[str, list[SeenRuns]] = {}
    failed: list[Failure] = []
    waiting: list[str] = []
    for one in seen:
        if one.error:
            failed.append((str(one.path), one.error))
        elif one.untaped:
            waiting.append(one.band)
        else:
            bands.setdefault(one.band, []).append(one)
    all_of = [one for runs in bands.values() for one in runs]
    bands = {band: _without_copies(runs) for band, runs in bands.items()}
    copies = [one.path for one in all_of if one not in bands[one.band]]
    newest = {band: _newest(runs) for band, runs in bands.items()}
    earlier = [one.path for band, runs in bands.items() for one in runs if one not in newest[band]]
    lengths = {tuple(s.path for s in runs): {x for s in runs for x in s.lengths_out} for runs in newest.values()}
    full = frozenset(group for group, out in lengths.items() if len(out) >= FULL_LENGTHS)
    waiting = [band for band in waiting if band not in bands]
    return Sorted(tuple(lengths), full, tuple(waiting), tuple(failed), tuple(earlier), tuple(copies))


def _without_copies(runs: Sequence[SeenRuns]) -> list[SeenRuns]:
    """Each recording once, or its readings would count twice: one whose rows another file begins with is left out."""
    kept: list[SeenRuns] = []
    for one in sorted(runs, key=lambda one: -len(one.rows)):
        if not any(one.rows and one.rows == k.rows[: len(one.rows)] and one.started == k.started for k in kept):
            kept.append(one)
    return [one for one in runs if one in kept]


def _newest(runs: Sequence[SeenRuns]) -> list[SeenRuns]:
    """The runs of one calibration, the latest: what was measured long before it is a band as it was then."""
    last = max((one.started for one in runs if one.started), default=None)
    return [one for one in runs if last is None or one.started is None or last - one.started <= ONE_TIME]


@dataclass(frozen=True)
class Done:
    """One band with a profile."""

    member: "BatchMember"
    runs: tuple[str, ...]
    path: Path


Outcome = Done | str | None  # an error in words; None where there is nothing yet to borrow from


def not_done(group: Group, sentence: str) -> Outcome:
    """A band whose fit failed in a way nobody expected."""
    return f"{group[0]}: {sentence}"


def by_itself(folder: Path, group: Group) -> Outcome:
    """Fit a band measured in full as by itself; nothing is done with another."""
    return _saved(None, folder, (), group)


def in_the_batch(taught: "Taught", folder: Path, teachers: Sequence[tuple[str, str]], group: Group) -> Outcome:
    """Fit a band: one measured in full as by itself, with what the batch says of it; one with few readings borrows."""
    return _saved(taught, folder, teachers, group)


def _saved(taught: "Taught | None", folder: Path, teachers: Sequence[tuple[str, str]], group: Group) -> Outcome:
    from calib.acquire.files.run_file import read_run
    from calib.fit.batch.partial_pooling import fit_in_batch, odd_in
    from calib.fit.batch.pooled_fit import band_readings
    from calib.use.bands.batch_levels import member_of
    from calib.use.bands.calibrate import fit_and_save

    try:
        runs = [read_run(path) for path in group]
        band = band_readings(runs)
        if band.full:
            odd = odd_in(taught, band) if taught else None
            told = partial(_told_of, odd) if odd else None
            fit, profile, path = fit_and_save(
                list(zip(group, runs, strict=True)), folder, None, (), set(), told, grown=True
            )
            return Done(member_of(profile, sum(p.used for p in fit.points), band.lengths_out), _run_names(group), path)
        return _borrowed(fit_in_batch(taught, band), group, folder, teachers) if taught else None
    except BandcurveError as error:
        return str(error)


def _told_of(odd: "Finding", profile: "Profile") -> "Profile":
    """The band's own profile with what the batch says of it."""
    from calib.profile.parts import ProfileFinding

    said = ProfileFinding(code=odd.code, text=odd.text)
    return profile.model_copy(update={"findings": (said, *profile.findings)})


def _borrowed(fit: "Fit", group: Group, folder: Path, teachers: Sequence[tuple[str, str]]) -> Done:
    from calib.use.bands.batch_levels import member_of
    from calib.use.bands.calibrate import save_fit

    profile, path = save_fit(fit, folder, teachers, grown=True)
    lengths = len({round(p.length, 3) for p in fit.points if p.branch == "loading"})
    return Done(member_of(profile, sum(p.used for p in fit.points), lengths), _run_names(group), path)


def _run_names(group: Group) -> tuple[str, ...]:
    return tuple(path.name for path in group)


def marked(taught: "Taught", done: Done) -> Done:
    """A band learnt from, measured in full: its own profile tells where its shape is not the batch's."""
    from calib.fit.batch.partial_pooling import odd_in
    from calib.profile.document import load_profile, save_profile

    odd = odd_in(taught, next(band for band in taught.bands if band.id == done.member.id))
    if odd is None:
        return done
    save_profile(_told_of(odd, load_profile(done.path)), done.path)
    return replace(done, member=replace(done.member, departs=odd.text))


def provenance(teachers: Iterable[Done]) -> list[tuple[str, str]]:
    """Profiles the shape came from, each with its hash."""
    return [(done.path.name, sha256(done.path.read_bytes()).hexdigest()) for done in teachers]
