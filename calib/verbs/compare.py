"""`bandcurve compare`: the same band on two days."""

from functools import partial
from pathlib import Path
from typing import Annotated

from calib.assumptions import SERIES, assuming
from calib.errors import DataError, UsageError
from calib.units import Shown
from calib.use.bands.calibrate import SERIES as SERIES_ENDING
from calib.verbs.talk.series_talk import read_series
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.answer import FULL_HELP, give
from calib.verbs.terminal.assume_option import AssumeOption, assumed_of
from calib.verbs.terminal.band_argument import FolderOption, say_doubts
from calib.verbs.terminal.quantities import UNIT_HELP, range_in_si, shown_in


def command(
    old: Annotated[
        str,
        typer.Argument(metavar="BAND|OLD", help="A band's name; or its earlier profile, or a series with a reference."),
    ],
    new: Annotated[str | None, typer.Argument(metavar="[NEW]", help="The later profile or series.")] = None,
    over: Annotated[
        str | None,
        typer.Option(metavar="A..B", help="Working half-path lengths, for example 1.2m..1.6m; default: all tested."),
    ] = None,
    assume: AssumeOption = None,
    folder: FolderOption = Path(),
    figure: Annotated[
        Path | None,
        typer.Option("--figure", "-f", metavar="FILE", help="Also draw it, in a new .png, .svg or .pdf file."),
    ] = None,
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP)] = "kg",
    full: Annotated[bool, typer.Option("--full", help=FULL_HELP)] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")] = False,
) -> int:
    """Say whether a band has changed between two calibrations; for a name alone, between its first and its newest.

    It compares the average loading pull over the working lengths: the ratio of new to old, with a 95 % interval.

    \b
    Examples:
      bandcurve compare B07
      bandcurve compare B07.profile.json B07.2027-03-05.profile.json
      bandcurve compare B07.profile.json B07.2027-03-05.profile.json --over 1.2m..1.6m --json
      bandcurve compare B07 --figure B07-change.svg
      bandcurve compare B07+REF.2026.series.csv B07+REF.2027.series.csv
    """
    shown = shown_in(unit)
    wanted = range_in_si(over, "--over") if over is not None else None
    if figure is not None:
        from calib.verbs.terminal.drawing import check_figure

        check_figure(figure)
    endings = {name.endswith(SERIES_ENDING) for name in (old, new or old)}
    if True in endings:
        if new is None:
            raise UsageError("one series has nothing to compare with", remedy="give an earlier and a later one")
        if endings == {True, False}:
            raise UsageError("a series cannot be compared with a profile", remedy="give two profiles, or two series")
        if figure is not None:
            raise UsageError("--figure is for two profiles", remedy="leave it out, or give profiles")
        with assuming(assumed_of(assume or [], SERIES)):
            return _by_tape(Path(old), Path(new), shown, as_json)
    if assume:
        raise UsageError("--assume is for two series", remedy="leave it out")
    from calib.use.bands.compare import compare, compare_answer
    from calib.use.bands.lookup import find, first_and_newest
    from calib.use.report.pair_views import compare_view

    was, now = first_and_newest(old, folder) if new is None else (find(old, folder), find(new, folder))
    if was.profile == now.profile or was.is_same_calibration(now):
        what = f"{was.path.name} and {now.path.name} are one calibration"
        raise DataError(what, remedy="give an earlier and a later one")
    beside = [f for f in now.findings if f.code not in ("older-profile", "outlying-band")]
    answer = compare_answer(was.profile, now.profile, compare(was.profile, now.profile, wanted), beside)
    if figure is not None:
        from calib.use.paper.answer_figures import compare_figure
        from calib.verbs.terminal.drawing import save_figure

        save_figure(figure, partial(compare_figure, answer, shown))
    say_doubts(beside)
    give(answer, compare_view(answer, shown), as_json=as_json, full=full)
    return 0


def _by_tape(old: Path, new: Path, shown: Shown, as_json: bool) -> int:
    """One band against a reference kept in a drawer, on two days, without any scale."""
    from calib.use.bands.series import change_answer, change_of
    from calib.use.report.pair_views import changed_by_tape_view

    answer = change_answer(change_of(read_series(old), read_series(new)))
    give(answer, changed_by_tape_view(answer, shown), as_json=as_json)
    return 0
