"""`bandcurve fit`: runs in, one profile a band out, and in words what was found."""

import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from calib.assumptions import FIT, assuming
from calib.errors import BandcurveError, DataError, UsageError, fault, printable
from calib.frozen import dataclass
from calib.units import Shown
from calib.use.answers.bands import FitAnswer, FittedBand
from calib.use.answers.parts import Failure
from calib.verbs.talk.series_talk import told_by
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.answer import FULL_HELP, give
from calib.verbs.terminal.assume_option import AssumeOption, assumed_of
from calib.verbs.terminal.many import workers
from calib.verbs.terminal.plain_text import complaint
from calib.verbs.terminal.quantities import UNIT_HELP, shown_in

if TYPE_CHECKING:
    from calib.profile.document import Profile
    from calib.records import Correction, Run
    from calib.scale import Scale

Group = list[tuple[Path, "Run"]]  # the runs of one band


def command(
    runs: Annotated[list[Path], typer.Argument(metavar="RUN...", help="Recorded runs, NAME.run.csv.")],
    out: Annotated[Path, typer.Option("--out", "-o", metavar="DIR", help="Folder for the profiles.")] = Path(),
    scale: Annotated[
        Path | None, typer.Option("--scale", metavar="FILE", help="Use the latest check of this scale file.")
    ] = None,
    leave_out: Annotated[
        list[str] | None,
        typer.Option("--leave-out", metavar="ROW", help="Leave out a reading: its row number, or FILE:ROW."),
    ] = None,
    series: Annotated[
        list[Path] | None,
        typer.Option("--series", metavar="FILE", help="A band measured hooked to another; --with names the other."),
    ] = None,
    with_: Annotated[
        list[Path] | None, typer.Option("--with", metavar="PROFILE", help="Profile of the other band of a series.")
    ] = None,
    assume: AssumeOption = None,
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP)] = "kg",
    full: Annotated[bool, typer.Option("--full", help=FULL_HELP)] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Print only failures.")] = False,
    jobs: Annotated[int, typer.Option("--jobs", min=1, max=64, help="Parallel processes, for many bands.")] = 2,
) -> int:
    """Fit the tension curve of one or more recorded runs.

    Runs of one band are combined. Each band's curve is written to ID.profile.json; an unusable file does
    not stop the others.

    \b
    Examples:
      bandcurve fit B07.run.csv --out profiles
      bandcurve fit *.run.csv --out profiles --json
      bandcurve fit B07.run.csv --leave-out 23
      bandcurve fit B07.run.csv --assume between_day_gain=2% --assume box.toml
      bandcurve fit B07.run.csv --series B07+REF.series.csv --with REF.profile.json
    """
    if Path("-") in runs:
        raise UsageError(
            "-: fit reads files, since a profile names the runs it was fitted from",
            remedy="save the run first, for example as B07.run.csv",
        )
    shown = shown_in(unit)
    assumed = assumed_of(assume or [], FIT)
    told = told_by(series or [], with_ or [])
    checked, correction, extra = _checked(scale) if scale else (None, None, [])
    read, failed = _read(runs, checked)
    dropped = _dropped(leave_out or [], [run for _, run in read])
    work = partial(
        _done, _Work(out, correction, tuple(extra), dropped, told, None if as_json or quiet else shown, full, assumed)
    )
    groups = _by_band(read)
    said_at_terminal = not (as_json or quiet) and sys.stdout.isatty()  # what is said tells how far it has got
    saved: list[FitDone] = []
    with workers(len(groups), 1 if told else jobs) as each:
        outcomes = each("" if quiet or said_at_terminal else "fitting", work, groups, _failed)
        for group, outcome in zip(groups, outcomes, strict=True):
            if isinstance(outcome, str):
                failed.append(Failure(", ".join(str(p) for p, _ in group), outcome))
                continue
            saved.append(outcome)
            if outcome.said:
                print(outcome.said)
    if as_json:
        give(
            FitAnswer(
                band=saved[0].band.band if len(saved) == 1 else None,
                day=saved[0].band.day if len(saved) == 1 else None,
                profiles=tuple(done.band for done in saved),
                failed=tuple(failed),
            ),
            None,
            as_json=True,
        )
    for failure in failed:
        print(complaint(failure.error), file=sys.stderr)
    return 1 if failed else 0


def _read(paths: Sequence[Path], scale: "Scale | None" = None) -> tuple[list[tuple[Path, "Run"]], list[Failure]]:
    from calib.acquire.files.run_file import read_run

    read: list[tuple[Path, Run]] = []
    failed: list[Failure] = []
    for path in paths:
        try:
            run = read_run(path)
            twin = next((other for other, before in read if before.sha256 == run.sha256), None)
            if twin is not None:
                raise DataError(f"holds the same readings as {twin}", where=str(path), remedy="give each run once")
            if scale is not None:
                _refuse_other_scale(scale, run)
                run = _in_newton(run, scale)
            read.append((path, run))
        except BandcurveError as error:
            failed.append(Failure(str(path), str(error)))
        except Exception as error:  # a defect, and the other files are not to pay for it
            failed.append(Failure(str(path), f"{path}: {fault(error)}"))
    return read, failed


def _checked(path: Path) -> tuple["Scale", "Correction", list[tuple[str, str]]]:
    """A scale, its latest check, and its file's name and hash for the profile's record."""
    from hashlib import sha256

    from calib.safe_read import read_capped
    from calib.scale import CAP_BYTES, load_scale

    scale = load_scale(path)
    check = scale.in_use().correction
    if check is None:
        raise DataError("this scale was never checked", where=str(path), remedy=f"bandcurve scale check {path}")
    return scale, check, [(path.name, sha256(read_capped(path, CAP_BYTES)).hexdigest())]


def _in_newton(run: "Run", scale: "Scale") -> "Run":
    """A run in counts, with what the scale's file says of a count."""
    from calib.fit.curve.observations import with_newton

    counts = scale.counts
    return run if counts is None else with_newton(run, counts.force, abs(counts.per_count_N))


def _refuse_other_scale(checked: "Scale", run: "Run") -> None:
    """A check says nothing of another scale than the one it was made on."""
    from calib.scale import UNNAMED_CELL

    used = run.head.scale
    if run.head.procedure.method == "hung-weight":
        raise DataError("uses known weights and no scale", where=run.name, remedy="fit it without --scale")
    if used is not None and used.id not in (checked.id, UNNAMED_CELL):
        raise DataError(
            f"was read on the scale {used.id!r}, but the check is of {checked.id!r}",
            where=run.name,
            remedy=f"give the file of {used.id!r} with --scale, or fit this run without it",
        )


def _dropped(rows: Sequence[str], runs: Sequence["Run"]) -> set[tuple[str, int]]:
    """Rows to leave out, as (run name, row number)."""
    out: set[tuple[str, int]] = set()
    for given in rows:
        name, _, number = given.rpartition(":")
        matching = [r for r in runs if r.name == name] if name else list(runs)
        if not number.isdigit():
            raise UsageError(f"--leave-out {given}: not a row number", remedy="give ROW or FILE:ROW, for example 23")
        if len(matching) != 1:
            example = f", for example {runs[0].name}:{number}" if runs else ""
            raise UsageError(f"--leave-out {given}: several runs or none have it", remedy=f"name one{example}")
        if int(number) not in {row.number for row in matching[0].readings}:
            raise UsageError(f"--leave-out {given}: {matching[0].name} has no such reading")
        out.add((matching[0].name, int(number)))
    return out


def _by_band(read: Sequence[tuple[Path, "Run"]]) -> list[Group]:
    bands: dict[str, list[tuple[Path, Run]]] = {}
    for path, run in read:
        bands.setdefault(run.head.band.id, []).append((path, run))
    return list(bands.values())


@dataclass(frozen=True)
class _Work:
    """What is done with every band alike."""

    out: Path
    correction: "Correction | None"
    extra: tuple[tuple[str, str], ...]
    dropped: set[tuple[str, int]]
    told: Callable[["Profile"], "Profile"] | None
    shown: Shown | None  # None says nothing
    full: bool
    assumed: dict[str, float]  # changed, by name; another process has to be told


@dataclass(frozen=True)
class FitDone:
    """A fitted band: the profile is written, and of it only what is still to be said is kept."""

    band: FittedBand
    said: str


def _failed(group: Group, sentence: str) -> FitDone | str:
    return f"{group[0][0]}: {sentence}"


def _done(work: _Work, group: Group) -> FitDone | str:
    """Fit one band here or in another process; an error in words."""
    from calib.use.bands.calibrate import fit_and_save
    from calib.use.bands.curve_answer import fitted_band

    try:
        with assuming(work.assumed):
            fit, profile, path = fit_and_save(group, work.out, work.correction, work.extra, work.dropped, work.told)
    except BandcurveError as error:
        return str(error)
    band = fitted_band(profile, str(path), sum(p.used for p in fit.points))
    return FitDone(band, _fit_words(band, profile, work.shown, work.full) if work.shown else "")


def _fit_words(band: FittedBand, profile: "Profile", shown: Shown, full: bool) -> str:
    from calib.use.bands.curve_answer import curve_answer, table_lengths
    from calib.use.report.as_text import text_of
    from calib.use.report.curve_views import curve_view, fitted_view
    from calib.use.report.document import check
    from calib.use.report.view import Section
    from calib.verbs.terminal.plain_text import columns

    sections: tuple[Section, ...] = ()
    if full:
        sections = curve_view(curve_answer(profile, table_lengths(profile, shown)), shown).sections
    check(FitAnswer(profiles=(band,), failed=()))
    unit = "" if shown.force == "kg" else f" --unit {shown.force}"
    after = (f"Next: bandcurve show {printable(band.file)}{unit}",)
    return text_of(replace(fitted_view(band, shown, sections), after=after), columns(), full=full)
