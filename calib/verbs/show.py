"""`bandcurve show`: a profile or a run in plain words, with a small plot, and as a figure where asked for."""

import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

from calib.errors import BandcurveError, FileError, printable
from calib.units import Shown
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.answer import FULL_HELP, give
from calib.verbs.terminal.band_argument import FolderOption, say_doubts
from calib.verbs.terminal.given_profile import STANDARD, GivenProfile, given_profile
from calib.verbs.terminal.quantities import UNIT_HELP, shown_in

if TYPE_CHECKING:
    from calib.profile.document import Profile
    from calib.records import Fit, Run


def command(
    what: Annotated[
        str,
        typer.Argument(metavar="BAND|RUN", help="A band's name, a profile B07.profile.json, or a run NAME.run.csv."),
    ],
    figure: Annotated[
        Path | None,
        typer.Option("--figure", "-f", metavar="FILE", help="Also draw it, in a new .png, .svg or .pdf file."),
    ] = None,
    budget: Annotated[
        Path | None,
        typer.Option("--budget", metavar="FILE", help="Draw its uncertainty budget, in a new .png, .svg or .pdf file."),
    ] = None,
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP)] = "kg",
    folder: FolderOption = Path(),
    full: Annotated[bool, typer.Option("--full", help=FULL_HELP)] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")] = False,
) -> int:
    """Show a profile or a run: table, small plot, warnings and, if you ask, a figure file.

    \b
    Examples:
      bandcurve show B07
      bandcurve show B07.profile.json --figure B07.pdf
      bandcurve show B07 --budget B07-budget.pdf
      bandcurve show B07.run.csv
    """
    shown = shown_in(unit)
    for path in filter(None, (figure, budget)):
        from calib.verbs.terminal.drawing import check_figure

        check_figure(path)
    how = _ShowOptions(figure, shown, full, as_json, budget)
    if what != STANDARD and _is_file(what) and not _is_profile(Path(what)):
        return _show_run(Path(what), how)
    return _show_profile(given_profile(what, folder), how)


class _ShowOptions(NamedTuple):
    """What to make of it."""

    figure: Path | None
    shown: Shown
    full: bool
    as_json: bool
    budget: Path | None = None


def _is_file(what: str) -> bool:
    from calib.profile.store.cards import is_path

    return is_path(what)


def _is_profile(path: Path) -> bool:
    """By the name, and where that says nothing by the first sign in the file."""
    if path.suffix.lower() in (".json", ".csv"):
        return path.suffix.lower() == ".json"
    from calib.safe_read import read_capped

    try:
        return read_capped(path, 200).removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"{")
    except FileError:
        return False  # the reader of runs says what is wrong with it


def _show_profile(given: GivenProfile, how: _ShowOptions) -> int:
    from calib.use.bands.curve_answer import curve_answer, table_lengths
    from calib.use.report.curve_views import curve_view

    profile, path, beside = given
    if how.figure is not None:
        from calib.verbs.terminal.drawing import points_behind, write_figure

        points = points_behind(profile, path)
        write_figure(profile, points or (), how.figure, how.shown)
        if points is None:
            _talk("The runs behind this profile are not beside it, so the figure shows only the curve.")
        _talk(f"Figure written to {printable(how.figure)}.")
    figure = str(how.figure) if how.figure else None
    answer = curve_answer(profile, table_lengths(profile, how.shown), file=str(path), figure=figure, beside=beside)
    if how.budget is not None:
        from calib.use.paper.answer_figures import budget_figure
        from calib.verbs.terminal.drawing import save_figure

        save_figure(how.budget, partial(budget_figure, profile.band.id, answer.budget))
    picture = _picture(profile, how)
    say_doubts(beside)
    give(answer, curve_view(answer, how.shown, picture), as_json=how.as_json, full=how.full)
    return 0


def _picture(profile: "Profile", how: _ShowOptions) -> str:
    """A small plot, where it will be shown."""
    if not how.full or how.as_json:
        return ""
    from calib.verbs.terminal.drawing import profile_plot
    from calib.verbs.terminal.plain_text import columns

    return profile_plot(profile, min(columns(), 80), how.shown)


def _show_run(path: Path, how: _ShowOptions) -> int:
    from calib.acquire.files.run_file import read_run
    from calib.use.bands.curve_answer import run_answer
    from calib.use.report.curve_views import run_view
    from calib.verbs.terminal.drawing import run_plot
    from calib.verbs.terminal.plain_text import columns
    from calib.verbs.terminal.run_text import head_lines

    run = read_run(path)
    fit, refusal = _fitted(run)
    if how.figure is not None:
        _draw_run(path, how.figure, how.shown, fit, refusal)
    figure = str(how.figure) if how.figure else None
    findings = run.findings if fit is None else fit.findings
    answer = run_answer(run, str(path), findings, str(refusal) if refusal else None, figure)
    lines = head_lines(run, how.shown) if how.full else head_lines(run, how.shown)[:2]
    picture = (run_plot(run, min(columns(), 80), how.shown) or "") if how.full else ""
    give(answer, run_view(answer, how.shown, lines, picture), as_json=how.as_json, full=how.full)
    return 0


def _draw_run(path: Path, figure: Path, shown: Shown, fit: "Fit | None", refusal: BandcurveError | None) -> None:
    if fit is None:
        raise refusal or FileError("cannot be fitted", where=str(path))
    from calib.profile.build import profile_of
    from calib.verbs.overview import version_text
    from calib.verbs.terminal.drawing import write_figure

    write_figure(profile_of(fit, version_text().strip()), fit.points, figure, shown)
    _talk(f"Figure written to {printable(figure)}.")


def _fitted(run: "Run") -> tuple["Fit | None", BandcurveError | None]:
    """The fit of a run, or why there is none: a run may be shown before it is whole."""
    from calib.fit.curve.estimate import fit_runs

    try:
        return fit_runs([run]), None
    except BandcurveError as error:
        return None, error


def _talk(sentence: str) -> None:
    print(sentence, file=sys.stderr)
