"""A collection as its report tells it: every band, batch, pair, rig and scale, each as the answer of its command.

What cannot be told is one sentence in its place, never the end of the report.
"""

from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path

from calib.errors import BandcurveError
from calib.frozen import dataclass
from calib.profile.batch_document import Batch, load_batch
from calib.profile.document import Profile
from calib.profile.store.collection import BandFiles, Collection, read_collection
from calib.use.answers.bands import CompareAnswer, HistoryAnswer, ListedBand, ListedScale, PairAnswer
from calib.use.answers.parts import Doubt, doubts
from calib.use.answers.rigs import RigAnswer
from calib.use.bands.box import with_verdicts
from calib.use.bands.compare import compare, compare_answer
from calib.use.bands.history import history_answer
from calib.use.bands.listing import band_history, listed_band, listed_scale
from calib.use.bands.lookup import Found, Lookup
from calib.use.bands.pair import pair_answer, pair_found
from calib.use.rig.rig_answers import refuse_flying, rig_answer
from calib.use.rig.rig_files import worked_out


@dataclass(frozen=True)
class BandPart:
    """One band."""

    name: str
    listed: ListedBand
    profile: Profile | None  # that answers; None where none can
    file: str  # as seen from the folder
    status: str
    beside: tuple[Doubt, ...]  # of the band as a whole
    history: HistoryAnswer | None = None  # where there is more than one day
    change: CompareAnswer | None = None
    why_not: str = ""  # nothing can be said of it

    @property
    def offset(self) -> float:
        """Half-path length less what its tape reads; 0 where that is unknown. [m]"""
        return (self.profile.half_path_less_tape or 0.0) if self.profile else 0.0


@dataclass(frozen=True)
class RigPart:
    """One rig; no answer, and the reason, where it cannot be worked out."""

    name: str
    answer: RigAnswer | None
    why_not: str = ""


@dataclass(frozen=True)
class PairPart:
    """Left and right among the bands of one folder."""

    folder: str
    answer: PairAnswer | None
    why_not: str = ""


@dataclass(frozen=True)
class BatchPart:
    """A batch measured together."""

    folder: str
    batch: Batch | None
    why_not: str = ""


@dataclass(frozen=True)
class Collected:
    """All of it."""

    name: str
    today: date
    bands: tuple[BandPart, ...]
    batches: tuple[BatchPart, ...]
    pairs: tuple[PairPart, ...]
    rigs: tuple[RigPart, ...]
    scales: tuple[ListedScale, ...]
    problems: tuple[str, ...]


def collect(folder: Path, rigs: Sequence[Path], batches: Sequence[Path], today: date) -> Collected:
    """Read a folder and answer what is asked of everything in it.

    Args:
        folder: The collection.
        rigs: Its rig files.
        batches: Its records of batches.
        today: What is due is due on that day.

    Raises:
        FileError: It is not a folder.
    """
    collection, lookup = read_collection(folder), Lookup(folder)
    found = {files.id: _calibration_of(files, lookup) for files in collection.bands}
    bands = tuple(_band(files, found[files.id], collection, today) for files in collection.bands)
    return Collected(
        name=folder.resolve().name,
        today=today,
        bands=bands,
        batches=tuple(_batch(path, folder) for path in batches),
        pairs=tuple(_pairs(collection, found, folder)),
        rigs=tuple(_rig(path, folder) for path in rigs),
        scales=tuple(listed_scale(scale, today) for _, scale in collection.scales),
        problems=(*collection.failed, *collection.register.said),
    )


def _calibration_of(files: BandFiles, lookup: Lookup) -> Found | str:
    """What answers for a band, or why nothing does."""
    try:
        return lookup.find(files.id)
    except BandcurveError as error:
        return str(error)


def _band(files: BandFiles, found: Found | str, collection: Collection, today: date) -> BandPart:
    listed = listed_band(files, collection.register, today)
    if isinstance(found, str):
        return BandPart(files.id, listed, None, "", files.known.status, (), why_not=found)
    told, change = None, None
    past = band_history(files)
    if past is not None and len(past.days) + len(past.plates) > 1:
        calibrations = [p for _, p in files.profiles][-len(past.days) :]
        told = history_answer(past, calibrations)
        change = _change(calibrations)
    file, status, beside = _beside(found.path, collection.folder), files.known.status, doubts(found.findings)
    return BandPart(files.id, listed, found.profile, file, status, beside, told, change)


def _change(calibrations: Sequence[Profile]) -> CompareAnswer | None:
    if len(calibrations) < 2:
        return None
    try:
        return compare_answer(calibrations[0], calibrations[-1], compare(calibrations[0], calibrations[-1]))
    except BandcurveError:
        return None  # the history says how they lie


def _beside(path: Path, folder: Path) -> str:
    """A path as seen from the folder; the bare name where a link leads out of it."""
    try:
        return path.resolve().relative_to(folder.resolve()).as_posix()
    except ValueError:
        return path.name


def _pairs(collection: Collection, found: dict[str, Found | str], folder: Path) -> Iterator[PairPart]:
    """Left and right within each folder that holds two bands or more."""
    by_folder: dict[str, list[Found]] = {}
    for files in collection.bands:
        one = found[files.id]
        if isinstance(one, Found) and not one.is_retired:
            by_folder.setdefault(_beside(one.path.parent, folder), []).append(one)
    for name, several in by_folder.items():
        if len(several) > 1:
            try:
                yield PairPart(name, pair_answer(pair_found(with_verdicts(several))))
            except BandcurveError as error:
                yield PairPart(name, None, str(error))


def _rig(path: Path, folder: Path) -> RigPart:
    name = _beside(path, folder).removesuffix(".rig.toml")
    try:
        answer, profiles = worked_out(path, extrapolate=False)
        refuse_flying(answer)
        return RigPart(name, rig_answer(answer, profiles))
    except BandcurveError as error:
        return RigPart(name, None, str(error))


def _batch(path: Path, folder: Path) -> BatchPart:
    name = _beside(path.parent, folder)
    try:
        return BatchPart(name, load_batch(path))
    except BandcurveError as error:
        return BatchPart(name, None, str(error))
