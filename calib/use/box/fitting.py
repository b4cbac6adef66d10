"""The bands of a box fitted together: those measured in full teach the shape, the others borrow it; one record."""

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Protocol, TypeVar

from calib import __version__
from calib.errors import BandcurveError, DataError, FileError, fault
from calib.frozen import dataclass

if TYPE_CHECKING:
    from calib.finding import Finding
    from calib.fit.batch.pooled_fit import Taught
    from calib.profile.batch_document import Batch
    from calib.use.box.batch_work import Done, Failure, Group, Outcome, SeenRuns, Sorted

TEACHERS, PUPILS = 24, 24  # bands of each kind that the shape and the spreads are learnt from

T = TypeVar("T")
R = TypeVar("R")


class MapWithProgress(Protocol):
    """Does a piece of work on each of some items; results in order."""

    def __call__(
        self, doing: str, work: Callable[[T], R], items: Sequence[T], failed: Callable[[T, str], R]
    ) -> Iterator[R]:
        """Do it.

        Args:
            doing: What to call it beside the bar; empty for no bar.
            work: A function of a module, or a partial of one, so that another process finds it.
            items: What it is done on.
            failed: Makes the result of an item that could not be done, of it and a sentence; of a module too.
        """
        ...


def here(doing: str, work: Callable[[T], R], items: Sequence[T], failed: Callable[[T, str], R]) -> Iterator[R]:
    """A piece of work on each of some items, one after another in this process; one never costs the others."""
    for item in items:
        try:
            yield work(item)
        except Exception as error:  # of one band, which fails alone
            yield failed(item, fault(error))


@dataclass(frozen=True)
class Fitted:
    """The batch as far as it could be fitted."""

    done: tuple["Done", ...]
    failed: tuple["Failure", ...]
    shape_from: tuple[str, ...] = ()


def fit_all(found: "Sorted", folder: Path, each: MapWithProgress) -> Fitted:
    """Every band that can be fitted: those the shape is learnt from first, then all the others by one look at each."""
    from calib.use.box.batch_work import Done, by_itself, in_the_batch, marked, not_done, provenance

    full = [group for group in found.groups if group in found.full][:TEACHERS]
    looked = zip(full, each("learning", partial(by_itself, folder), full, not_done), strict=True)
    outcomes: dict[Group, Outcome] = {group: outcome for group, outcome in looked if outcome}  # others are not full
    few = [group for group in found.groups if group not in outcomes and group not in found.full][:PUPILS]
    try:
        taught = _teach([*(g for g, outcome in outcomes.items() if isinstance(outcome, Done)), *few], len(found.groups))
    except DataError as error:
        rest = [group for group in found.groups if group not in outcomes]
        outcomes |= zip(rest, each("fitting", partial(by_itself, folder), rest, not_done), strict=True)
        unusable = "its shape cannot be borrowed: no band that was measured in full could be used; correct those first"
        usable = any(isinstance(outcome, Done) for group, outcome in outcomes.items() if group in found.full)
        return _fitted(found, outcomes, none=unusable if full and not usable else str(error))
    outcomes |= {group: marked(taught, done) for group, done in outcomes.items() if isinstance(done, Done)}
    done = [outcome for outcome in outcomes.values() if isinstance(outcome, Done)]
    teachers = provenance(one for one in done if one.member.id in taught.teachers)
    outcomes |= {group: in_the_batch(taught, folder, teachers, group) for group in few}
    rest = [group for group in found.groups if group not in outcomes]
    work = partial(in_the_batch, taught.for_others(), folder, teachers)
    outcomes |= zip(rest, each("fitting", work, rest, not_done), strict=True)
    return _fitted(found, outcomes, shape_from=taught.teachers)


def _teach(groups: "Sequence[Group]", of: int) -> "Taught":
    """Learn from some bands of so many; one that cannot be used is passed over here and told of in its turn."""
    from calib.acquire.files.run_file import read_run
    from calib.fit.batch.pooled_fit import band_readings, teach

    bands = []
    for group in groups:
        with suppress(BandcurveError):
            bands.append(band_readings([read_run(path) for path in group]))
    return teach(bands, of=of)


def _fitted(
    found: "Sorted", outcomes: "Mapping[Group, Outcome]", none: str = "", shape_from: tuple[str, ...] = ()
) -> Fitted:
    """Results in the order of the files; `none` says why nothing could be borrowed."""
    from calib.use.box.batch_work import Done

    done = [outcome for group in found.groups if isinstance(outcome := outcomes[group], Done)]
    failed = [
        (_names(group), outcome or f"{_names(group)}: {none}")
        for group in found.groups
        if not isinstance(outcome := outcomes[group], Done)
    ]
    return Fitted(tuple(done), (*found.failed, *failed), shape_from)


def _names(group: "Group") -> str:
    return ", ".join(str(path) for path in group)


def record(fitted: Fitted, folder: Path) -> "Batch":
    """The record of the batch, written beside the profiles."""
    from calib.profile.batch_document import NAME, Batch, save_batch
    from calib.use.bands.batch_levels import batch_document, standing
    from calib.use.bands.triage import verdicts

    members = [done.member for done in fitted.done]
    found = standing(members) if members else None
    told = verdicts(members, found.levels, _known(folder, {m.id for m in members})) if found else []
    document = batch_document(
        members,
        [(done.runs, done.path.name) for done in fitted.done],
        fitted.shape_from,
        fitted.failed,
        f"bandcurve {__version__}",
        found,
        [(one.word, one.why) for one in told],
    )
    batch = Batch.model_validate(document)
    if batch.bands:
        save_batch(batch, folder / NAME)
    return batch


def _known(folder: Path, bands: set[str]) -> "dict[str, Sequence[Finding]]":
    """Of bands that somebody decided about, that were checked again or calibrated before: what is known of them."""
    from calib.use.bands.lookup import Lookup

    lookup, found = Lookup(folder), dict[str, "Sequence[Finding]"]()
    with suppress(BandcurveError):
        for band in lookup.register().bands:
            if band.mark in bands and (band.decision or band.rechecks or len(band.calibrations) > 1):
                with suppress(BandcurveError):
                    found[band.mark] = lookup.find(band.address).findings
    return found


def check_record(folder: Path, seen: "Sequence[SeenRuns]", complain: Callable[[str], object]) -> None:
    """Say before anything is written that the record there cannot be read, or is of other bands too."""
    from calib.acquire.recording.batch_plan import misnamed
    from calib.profile.batch_document import NAME, load_batch

    for said in misnamed([(one.path.name, one.band) for one in seen if one.band]):
        complain(said)
    path, aside = folder / NAME, "choose another folder with --out"
    if not os.path.lexists(path):
        return
    try:
        old = load_batch(path)
    except BandcurveError as error:
        what = f"{error.what}, so it was not overwritten"
        raise type(error)(what, where=error.where, remedy=f"move it away, or {aside}") from error
    here, unread = {one.band for one in seen if not one.untaped}, {one.path.name for one in seen if one.error}
    gone = [band.id for band in old.bands if band.id not in here and not unread & set(band.runs)]
    if gone:
        raise FileError(
            f"holds other bands too ({', '.join(gone[:5])}{', ...' if len(gone) > 5 else ''}), without a run here",
            where=str(path),
            remedy=f"it is not overwritten: put their runs back, or {aside}",
        )
