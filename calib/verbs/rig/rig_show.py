"""`bandcurve rig FILE`: what calibrated bands put on a bar at each height, going up and coming down."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

import typer

from calib.errors import UsageError
from calib.verbs.terminal.quantities import UNIT_HELP, shown_in

if TYPE_CHECKING:
    from calib.profile.document import Profile
    from calib.use.report.rig_words import Unit
    from calib.use.rig.lifters import Lifter
    from calib.use.rig.statics import Answer


def command(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A rig, NAME.rig.toml; docs/rig.md says what is in it.")],
    figure: Annotated[
        Path | None, typer.Option(metavar="F", help="Draw load against height into a new .png, .svg or .pdf.")
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
      bandcurve rig squat.rig.toml --lifters "Ana 92cm 138cm, Bo 1.0m 1.5m"
      bandcurve rig squat.rig.toml --json
    """
    from calib.verbs.rig.rig_files import worked_out
    from calib.verbs.terminal.drawing import figure_kind

    shown = cast("Unit", shown_in(unit).force)
    kind = figure_kind(figure) if figure is not None else None
    if lifters is not None:
        if figure is not None:
            raise UsageError("--figure draws one lifter", remedy="leave out --lifters or --figure")
        _for_lifters(file, lifters, extrapolate, shown, as_json)
        return 0
    answer, profiles = worked_out(file, extrapolate=extrapolate, unit="kg" if as_json else shown)
    if figure is not None and kind is not None:
        from calib.safe_write import write_new
        from calib.use.report.rig_figures import draw_rig

        write_new(figure, draw_rig(answer, kind, shown))
    _say(answer, profiles, shown, as_json)
    return 0


def _for_lifters(file: Path, lifters: str, extrapolate: bool, unit: "Unit", as_json: bool) -> None:
    from calib.use.report.lifters_words import HEADERS, doubts, lifters_json, lifters_rows
    from calib.use.rig.lifters import under_rig
    from calib.verbs.rig.rig_files import named, read_profiles, read_rig
    from calib.verbs.terminal.plain_text import table, wrap

    people = _lifters(lifters)
    rig = read_rig(file)
    profiles = read_profiles(rig, file)
    with named(file):
        found = under_rig(rig, profiles, people, extrapolate=extrapolate, unit="kg" if as_json else unit)
    if as_json:
        print(json.dumps(lifters_json(found)))
        return
    print(f"Load on the bar in {unit}; the limits are the widest along each lift.")
    print(table(HEADERS, lifters_rows(found, unit)))
    for lifted in found:
        for text in doubts(lifted):
            print(wrap(f"{text}.", None, "  - ", "    "))
    print(wrap(f"For what may go wrong, ask for one lifter: bandcurve rig {file}."))


def _lifters(text: str) -> "tuple[Lifter, ...]":
    from calib.strict_json import read_capped
    from calib.use.rig.lifters import CAP_BYTES, parse_list, parse_table

    if not text.strip():
        raise UsageError("--lifters is empty", remedy='write "Ana 92cm 138cm, ..." or name a table')
    path = Path(text)
    if " " in text.strip() and path.suffix != ".csv":
        return parse_list(text)
    return parse_table(read_capped(path, CAP_BYTES), path.name)


def _say(answer: "Answer", profiles: "list[Profile]", unit: "Unit", as_json: bool) -> None:
    from calib.use.report.rig_words import HEADERS, UNIT, WORDS, notes, rig_json, rows
    from calib.verbs.terminal.plain_text import findings_text, heading, table, wrap

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
