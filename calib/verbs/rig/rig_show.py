"""`bandcurve rig FILE`: what calibrated bands put on a bar at each height, going up and coming down."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

from calib.errors import UsageError
from calib.units import SHOWN
from calib.verbs.rig.rig_place import stand_in
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.answer import FULL_HELP, give
from calib.verbs.terminal.band_argument import say_doubtful
from calib.verbs.terminal.quantities import UNIT_HELP, shown_in

if TYPE_CHECKING:
    from calib.units import Unit
    from calib.use.rig.lifters import Lifted, Lifter


def command(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A rig, NAME.rig.toml; docs/rig.md says what is in it.")],
    figure: Annotated[
        Path | None, typer.Option(metavar="F", help="Also draw load against height, in a new .png, .svg or .pdf file.")
    ] = None,
    lifters: Annotated[
        str | None,
        typer.Option(
            metavar="LIST",
            help='"Ana 92cm 138cm, Bo 1.0m 1.5m" or a table lifter,bottom_mm,top_mm.',
        ),
    ] = None,
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP)] = "kg",
    extrapolate: Annotated[
        bool, typer.Option("--extrapolate", help="Go beyond the tested lengths (marked, with wider limits).")
    ] = False,
    full: Annotated[bool, typer.Option("--full", help=FULL_HELP)] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")] = False,
) -> int:
    """Say what a rig's bands put on the bar, left and right, going up and coming down.

    Profiles are looked for beside the rig file. It refuses lengths that were not tested, unless you ask for them.

    \b
    Examples:
      bandcurve rig squat.rig.toml
      bandcurve rig squat.rig.toml --unit lb --figure squat.pdf
      bandcurve rig squat.rig.toml --lifters "Ana 92cm 138cm, Bo 1.0m 1.5m"
      bandcurve rig squat.rig.toml --json
    """
    from calib.use.rig.rig_files import worked_out
    from calib.verbs.terminal.drawing import figure_kind

    shown = cast("Unit", shown_in(unit).force)
    stand_in(file)
    kind = figure_kind(figure) if figure is not None else None
    if lifters is not None:
        found = _for_lifters(file, lifters, extrapolate, shown, as_json)
        if figure is not None and kind is not None:
            from calib.safe_write import write_new
            from calib.use.report.rig_figures import draw_lifters

            write_new(figure, draw_lifters(found, kind, shown))
        return 0
    answer, profiles = worked_out(file, extrapolate=extrapolate, unit="kg" if as_json else shown)
    from calib.use.report.rig_views import rig_view
    from calib.use.rig.rig_answers import refuse_flying, rig_answer

    refuse_flying(answer, shown)
    told = rig_answer(answer, profiles)
    if figure is not None and kind is not None:
        from calib.safe_write import write_new
        from calib.use.report.rig_figures import draw_rig

        name = file.name.removesuffix(".toml").removesuffix(".rig")
        write_new(figure, draw_rig(told, name, kind, SHOWN[shown]))
    say_doubtful(told.findings)
    give(told, rig_view(told, SHOWN[shown]), as_json=as_json, full=full)
    return 0


def _for_lifters(file: Path, lifters: str, extrapolate: bool, unit: "Unit", as_json: bool) -> "list[Lifted]":
    from calib.use.report.rig_views import lifters_view
    from calib.use.rig.lifters import under_rig
    from calib.use.rig.rig_answers import lifters_answer
    from calib.use.rig.rig_files import bands_of, named, read_rig

    people = lifters_given(lifters)
    rig = read_rig(file)
    bands = bands_of(rig, file)
    profiles = [band.profile for band in bands]
    with named(file):
        found = under_rig(rig, profiles, people, extrapolate=extrapolate, unit="kg" if as_json else unit)
    beside = dict.fromkeys(finding for band in bands for finding in band.findings)
    answer = lifters_answer(found, profiles, "kg" if as_json else unit, beside)
    say_doubtful(answer.findings)
    give(answer, lifters_view(answer, SHOWN[unit], str(file)), as_json=as_json)
    return found


def lifters_given(text: str) -> "tuple[Lifter, ...]":
    """The lifters of the option: a list, or the name of a table."""
    from calib.safe_read import read_capped
    from calib.use.rig.lifters import CAP_BYTES, parse_list, parse_table

    if not text.strip():
        raise UsageError("--lifters is empty", remedy='write "Ana 92cm 138cm, ..." or name a table')
    path = Path(text)
    if " " in text.strip() and path.suffix != ".csv":
        return parse_list(text)
    return parse_table(read_capped(path, CAP_BYTES), path.name)
