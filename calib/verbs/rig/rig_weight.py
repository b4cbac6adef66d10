"""`bandcurve rig weight`: the straight weight that equals a rig at the bottom, at the top, or on average."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

from calib.errors import DataError
from calib.units import SHOWN
from calib.verbs.rig.rig_place import stand_in
from calib.verbs.rig.solve_options import UNIT_HELP_ALSO, plates_option
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.answer import FULL_HELP, give
from calib.verbs.terminal.band_argument import say_doubtful
from calib.verbs.terminal.quantities import shown_in

if TYPE_CHECKING:
    from calib.units import Unit


def command(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A rig with its bands and plates.")],
    plates: Annotated[
        str | None,
        typer.Option(metavar="LIST", help="Plates you have, such as 20x4,10x2: also gives the nearest combination."),
    ] = None,
    extrapolate: Annotated[
        bool, typer.Option("--extrapolate", help="Go beyond the tested lengths (marked, with wider limits).")
    ] = False,
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP_ALSO)] = "kg",
    full: Annotated[bool, typer.Option("--full", help=FULL_HELP)] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")] = False,
) -> int:
    """Say which straight weight, without bands, puts the same load on the bar as a rig does.

    At the bottom, at the top, and on average over the lift (the same work going up). To have the same load with other
    bands or in another rack, see bandcurve rig solve --like FILE.

    \b
    Examples:
      bandcurve rig weight squat.rig.toml
      bandcurve rig weight squat.rig.toml --plates 20x6,10x2,5x2,2.5x2
    """
    shown = cast("Unit", shown_in(unit).force)
    owned = plates_option(plates, shown) if plates is not None else None
    from calib.use.report.solve_views import weight_view
    from calib.use.rig.plates import loadings
    from calib.use.rig.rig_answers import weight_answer
    from calib.use.rig.rig_average import OFS, load_of
    from calib.use.rig.rig_files import read_rig, worked_out
    from calib.use.rig.rig_hold import hold_number

    answer, profiles = worked_out(file, extrapolate=extrapolate, unit="kg" if as_json else shown)
    up = answer.up
    if up is None:
        raise DataError("its load going up is not known", where=file.name, remedy="measure the bands unloading")
    loads = {of: load_of(answer, up, of) for of in OFS}
    hold = hold_number(read_rig(file), profiles, extrapolate=extrapolate)
    made = loadings(owned) if owned else None
    told = weight_answer(answer, loads, made, hold, profiles)
    stand_in(file, owned, shown)
    say_doubtful(told.findings)
    give(told, weight_view(told, SHOWN[shown]), as_json=as_json, full=full)
    return 0
