"""`bandcurve rig FILE`: what calibrated bands put on a bar at each height, going up and coming down."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

import typer

from calib.errors import UsageError

if TYPE_CHECKING:
    from calib.profile.document import Profile
    from calib.use.rig_words import Unit
    from calib.use.statics import Answer

_UNITS = ("kg", "lb")


def command(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A rig, NAME.rig.toml; docs/rig.md says what is in it.")],
    figure: Annotated[
        Path | None, typer.Option(metavar="F", help="Draw load against height into a new .png, .svg or .pdf.")
    ] = None,
    unit: Annotated[str, typer.Option(metavar="UNIT", help="kg or lb, for the words and the figure.")] = "kg",
    extrapolate: Annotated[
        bool, typer.Option("--extrapolate", help="Go beyond the tested lengths, marked, with wider limits.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of words.")] = False,
) -> int:
    """Say what the bands of a rig put on the bar, left and right, going up and coming down.

    Profiles are looked for beside the rig file. Beyond the tested lengths it refuses, unless asked.

    \b
    Examples:
      bandcurve rig squat.rig.toml
      bandcurve rig squat.rig.toml --unit lb --figure squat.pdf
      bandcurve rig squat.rig.toml --json
    """
    from calib.verbs.drawing import figure_kind
    from calib.verbs.rig_files import worked_out

    if unit not in _UNITS:
        raise UsageError(f"--unit {unit[:40]!r} is not known", remedy="use kg or lb")
    kind = figure_kind(figure) if figure is not None else None
    answer, profiles = worked_out(file, extrapolate=extrapolate)
    if figure is not None and kind is not None:
        from calib.safe_write import write_new
        from calib.use.rig_figures import draw_rig

        write_new(figure, draw_rig(answer, kind, cast("Unit", unit)))
    _say(answer, profiles, cast("Unit", unit), as_json)
    return 0


def _say(answer: "Answer", profiles: "list[Profile]", unit: "Unit", as_json: bool) -> None:
    from calib.use.rig_words import HEADERS, UNIT, WORDS, notes, rig_json, rows
    from calib.verbs.plain_text import findings_text, heading, table, wrap

    if as_json:
        print(json.dumps(rig_json(answer)))
        return
    print(f"Bar and plates {answer.rig.weight_kg / UNIT[unit]:.1f} {unit}")
    for i, (band, profile) in enumerate(zip(answer.rig.band, profiles, strict=True)):
        print(f"  band[{i}]  {band.side:<5}  {profile.band.id}, {band.arrangement}, from {band.source}")
    for way in answer.ways:
        print(f"\n{heading(WORDS[way].capitalize())}")
        print(table(HEADERS, rows(answer, way, unit)))
    print()
    for note in notes(answer, unit):
        print(wrap(note))
    print()
    print(findings_text(answer.findings))
    print(
        wrap("These are reminders, not a safety plan: the rules of your place and the people qualified there decide.")
    )
