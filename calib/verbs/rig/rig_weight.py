"""`bandcurve rig weight`: the straight weight that equals a rig at the bottom, at the top, or on average."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

import typer

from calib.errors import DataError
from calib.verbs.rig.solve_options import UNIT_HELP_ALSO, plates_option
from calib.verbs.terminal.quantities import shown_in

if TYPE_CHECKING:
    from calib.use.report.rig_words import Unit
    from calib.use.rig.plates import Loadings
    from calib.use.rig.rig_average import Of
    from calib.use.rig.rig_hold import Hold
    from calib.use.rig.rig_sum import Known
    from calib.use.rig.statics import Answer

_WORDS = {"bottom": "at the bottom", "top": "at the top", "average": "on average"}


def command(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A rig with its bands and plates.")],
    plates: Annotated[
        str | None,
        typer.Option(metavar="LIST", help="Plates that exist, such as 20x4,10x2: tells the nearest of them."),
    ] = None,
    extrapolate: Annotated[
        bool, typer.Option("--extrapolate", help="Go beyond the tested lengths, marked, with wider limits.")
    ] = False,
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP_ALSO)] = "kg",
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of words.")] = False,
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
    from calib.use.rig.plates import loadings
    from calib.use.rig.rig_average import OFS, load_of
    from calib.use.rig.rig_files import read_rig, worked_out
    from calib.use.rig.rig_hold import hold_number

    answer, profiles = worked_out(file, extrapolate=extrapolate, unit="kg" if as_json else shown)
    up = answer.up
    if up is None:
        raise DataError("its load going up cannot be told", where=file.name, remedy="measure the bands' way back")
    loads = {of: load_of(answer, up, of) for of in OFS}
    hold = hold_number(read_rig(file), profiles, extrapolate=extrapolate)
    made = loadings(owned) if owned else None
    if as_json:
        from calib.use.rig.rig_answers import weight_answer
        from calib.verbs.terminal.answer import give

        give(weight_answer(answer, loads, made, hold, profiles), None, as_json=True)
    else:
        _say(answer, loads, made, hold, shown)
    return 0


def _say(
    answer: "Answer", loads: "dict[Of, Known]", made: "Loadings | None", hold: "Hold | None", unit: "Unit"
) -> None:
    from calib.use.report.rig_words import UNIT
    from calib.use.report.solve_words import hold_text, plates_text
    from calib.verbs.terminal.plain_text import findings_text, table, wrap

    scale, bar = UNIT[unit], answer.rig.bar.mass
    headers = ["the same load", "straight weight", "+- mean", "+- next set"]
    rows = []
    for of, load in loads.items():
        row = [_WORDS[of], *(f"{float(v[0]) / scale:.1f}" for v in (load.value, load.u95, load.next_u95))]
        if made is not None:
            at = made.nearest(float(load.value[0]) - bar)
            row += [f"{(bar + float(made.totals[at])) / scale:.1f}", plates_text(made.a_side[at], unit)]
        rows.append(row)
    headers += ["nearest there is", "plates a side"] if made is not None else []
    print(wrap(f"Bar and plates {answer.rig.weight_kg / scale:.1f} {unit}, with bands, going up:"))
    print(table(headers, rows))
    print()
    print(wrap(f"All in {unit}, bar included. On average over the height: the same work going up. \"+- mean\" and "
               "\"+- next set\": 95 % limits."))  # fmt: skip
    print(wrap(hold_text(hold, unit)))
    print()
    print(findings_text(answer.findings))
    print(
        wrap("These are reminders, not a safety plan: the rules of your place and the people qualified there decide.")
    )
