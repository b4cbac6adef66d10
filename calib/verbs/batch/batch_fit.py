"""`bandcurve batch fit`: runs of a batch in, a profile for every band and one record of the batch out."""

import os
import sys
from collections.abc import Mapping, Sequence
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from calib import __version__
from calib.errors import BandcurveError, DataError, FileError
from calib.frozen import dataclass
from calib.safe_write import new_folder
from calib.units import Shown
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.many import MapWithProgress, workers
from calib.verbs.terminal.plain_text import complaint, findings_text, table, wrap
from calib.verbs.terminal.quantities import UNIT_HELP, shown_in

if TYPE_CHECKING:
    from calib.finding import Finding
    from calib.fit.batch.pooled_fit import Taught
    from calib.profile.batch_document import Batch
    from calib.use.bands.batch_levels import BatchMember
    from calib.verbs.batch.batch_work import Done, Failure, Group, Outcome, SeenRuns, Sorted

TEACHERS, PUPILS = 24, 24  # bands of each kind that the shape and the spreads are learnt from


def command(
    sources: Annotated[list[Path], typer.Argument(metavar="FOLDER|RUN...", help="A batch folder, or its runs.")],
    out: Annotated[
        Path | None, typer.Option("--out", "-o", metavar="DIR", help="Folder for the profiles; default: the batch's.")
    ] = None,
    figure: Annotated[
        Path | None,
        typer.Option("--figure", "-f", metavar="FILE", help="Draw the levels: a new .png, .svg or .pdf."),
    ] = None,
    jobs: Annotated[int, typer.Option("--jobs", min=1, max=64, help="Processes, where there are many bands.")] = 2,
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP)] = "kg",
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of words.")] = False,
) -> int:
    """Fit the bands of a batch together.

    Bands measured at five lengths or more are fitted as by themselves and teach the shape of the curve; the others
    borrow it, with an honest, wider uncertainty. Writes ID.profile.json for every band and batch.json. A file that
    cannot be used does not stop the others.

    \b
    Examples:
      bandcurve batch fit box
      bandcurve batch fit box --figure box.pdf
      bandcurve batch fit box/*.run.csv --out profiles --json
    """
    shown = shown_in(unit)
    if figure is not None:
        from calib.verbs.terminal.drawing import check_figure

        check_figure(figure)
    paths, folder = _paths(sources, out)
    with new_folder(folder), workers(len(paths), jobs) as each:
        from calib.verbs.batch.batch_work import look, not_seen, sorted_runs

        seen = tuple(each("reading", look, paths, not_seen))
        _check_record(folder, seen)
        found = sorted_runs(seen)
        fitted = _fit_all(found, folder, each)
    batch = _record(fitted, folder)
    if figure is not None and batch.bands:
        from calib.use.paper.answer_figures import batch_figure
        from calib.verbs.terminal.drawing import save_figure

        save_figure(figure, partial(batch_figure, batch))
    if as_json:
        from calib.versioned import to_json

        print(to_json(batch), end="")
    elif fitted.done:
        _say(batch, folder, shown)
        _say_what_to_do(batch, [done.member for done in fitted.done])
    if found.waiting and not as_json:
        print(f"Not measured yet: {', '.join(found.waiting)}.")
    why = (("of bands that were measured again since", found.earlier), ("held by another file too", found.copies))
    for words, left in why:
        if left and not as_json:
            print(wrap(f"Left aside, {words}: {', '.join(str(path) for path in left)}."))
    for _, sentence in fitted.failed:
        print(complaint(sentence), file=sys.stderr)
    return 1 if fitted.failed else 0


def _paths(sources: Sequence[Path], out: Path | None) -> tuple[list[Path], Path]:
    """Run files, and where the results go."""
    paths: list[Path] = []
    for source in sources:
        if source.is_dir():
            found = sorted(p for p in source.glob("*.run.csv") if not p.is_fifo())  # a pipe is waited for without end
            if not found:
                raise DataError("holds no run", where=str(source), remedy=f"bandcurve batch record {source}")
            paths += found
        else:
            paths.append(source)
    folder = out or (sources[0] if sources[0].is_dir() else Path())
    return list(dict.fromkeys(paths)), folder


@dataclass(frozen=True)
class Fitted:
    """The batch as far as it could be fitted."""

    done: tuple["Done", ...]
    failed: tuple["Failure", ...]
    shape_from: tuple[str, ...] = ()


def _fit_all(found: "Sorted", folder: Path, each: MapWithProgress) -> Fitted:
    """Every band that can be fitted: those the shape is learnt from first, then all the others by one look at each."""
    from calib.verbs.batch.batch_work import Done, by_itself, in_the_batch, marked, not_done, provenance

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
        return _fitted(found, outcomes, none=unusable if full else str(error))
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
    from calib.verbs.batch.batch_work import Done

    done = [outcome for group in found.groups if isinstance(outcome := outcomes[group], Done)]
    failed = [
        (_names(group), outcome or f"{_names(group)}: {none}")
        for group in found.groups
        if not isinstance(outcome := outcomes[group], Done)
    ]
    return Fitted(tuple(done), (*found.failed, *failed), shape_from)


def _names(group: "Group") -> str:
    return ", ".join(str(path) for path in group)


def _record(fitted: Fitted, folder: Path) -> "Batch":
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


def _check_record(folder: Path, seen: "Sequence[SeenRuns]") -> None:
    """Say before anything is written that the record there cannot be read, or is of other bands too."""
    from calib.acquire.recording.batch_plan import misnamed
    from calib.profile.batch_document import NAME, load_batch

    for said in misnamed([(one.path.name, one.band) for one in seen if one.band]):
        print(complaint(said), file=sys.stderr)
    path, aside = folder / NAME, "choose another folder with --out"
    if not os.path.lexists(path):
        return
    try:
        old = load_batch(path)
    except BandcurveError as error:
        what = f"{error.what}, so it is not overwritten"
        raise type(error)(what, where=error.where, remedy=f"move it away, or {aside}") from error
    here, unread = {one.band for one in seen if not one.untaped}, {one.path.name for one in seen if one.error}
    gone = [band.id for band in old.bands if band.id not in here and not unread & set(band.runs)]
    if gone:
        raise FileError(
            f"holds other bands too ({', '.join(gone[:5])}{', ...' if len(gone) > 5 else ''}), without a run here",
            where=str(path),
            remedy=f"it is not overwritten: put their runs back, or {aside}",
        )


def _say(batch: "Batch", folder: Path, shown: Shown) -> None:
    from calib.profile.batch_document import NAME

    print(_levels(batch, shown))
    print()
    print(wrap(f"Level: pull at {batch.stretch:.2f} times the flat length, against the mean. +- is 95 %, half-path."))
    for number, size in enumerate(batch.sizes, 1):
        if size.spread is not None and size.u_spread is not None:
            of = f"Size {number}: bands" if len(batch.sizes) > 1 else "Bands"
            print(
                wrap(
                    f"{of} differ by {100 * size.spread:.1f} % in level (sd from band to band, u "
                    f"{100 * size.u_spread:.1f} %) and {100 * (size.flat_length_spread or 0):.1f} % in flat length."
                )
            )
    if batch.measure_more:
        print(wrap(f"Measure next: {batch.measure_more.id}; {batch.measure_more.why}."))
    if batch.findings:
        print(findings_text(batch.findings))
    count = len(batch.bands)
    print(
        wrap(
            f"Written: {count} profile{'s' * (count > 1)} and {folder / NAME}. Pairs: bandcurve pair "
            f"{folder / '*.profile.json'}"
        )
    )


def _levels(batch: "Batch", shown: Shown) -> str:
    """The bands' table."""
    several = len(batch.sizes) > 1
    at = f"{shown.force} at {shown.tape(batch.length_m)} {shown.length}" if batch.length_m else shown.force
    headers = ["band", "flat mm", "readings", *(["size"] if several else []), "level", at, "+-", "shape"]
    rows = [
        [
            band.id,
            f"{1000 * band.flat_length_m:.0f}",
            str(band.readings),
            *([str(band.size)] if several else []),
            f"{100 * (band.level - 1):+.1f} %",
            shown.pull(band.force_N) if band.force_N is not None else "-",
            shown.pull(band.u95_N) if band.u95_N is not None else "-",
            ("NOT THE BATCH'S" if band.outlying else "borrowed" if band.borrowed else "own"),
        ]
        for band in batch.bands
    ]
    return table(headers, rows)


def _say_what_to_do(batch: "Batch", members: "Sequence[BatchMember]") -> None:
    """The verdicts, and what the runs themselves say with what to do about it."""
    from calib.use.answers.next_steps import next_step
    from calib.use.bands.triage import TriageVerdict, by_word, said_of_runs

    told = [TriageVerdict(band.verdict or "alone", band.why or "") for band in batch.bands]  # type: ignore[arg-type]
    print("\nWhat to do with each:")
    for word, why, bands in by_word([band.id for band in batch.bands], told):
        print(wrap(f"{word}: {', '.join(bands)}{f' ({why})' if why else ''}", None, "  ", "    "))
    said = said_of_runs(members)
    if said:
        print("What their runs say:")
    for finding, bands in said:
        named = "all" if len(bands) == len(members) > 1 else ", ".join(bands)
        first = f"{named}: {finding.text}{' (the first of them)' if len(bands) > 1 else ''}."
        print(wrap(f"{first} {next_step(finding.code)} [{finding.code}]".replace("  ", " "), None, "  - ", "    "))
