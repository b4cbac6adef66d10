"""`bandcurve scale`: a scale's file, and its checks with known loads."""

import json
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from calib.errors import UsageError
from calib.verbs.talk.recording_options import AskOption, BaudOption, ColumnOption, FormatOption, PatternOption
from calib.verbs.terminal import typer_later as typer

if TYPE_CHECKING:
    from calib.fit.gear.scale_check import ScaleCheck
    from calib.scale import Scale
    from calib.use.cell.cell_line import LineWanted
    from calib.verbs.cell.port_check import Checked
    from calib.verbs.scale.scale_hung import Draft, Stated


app = typer.Typer(
    add_completion=False,
    rich_markup_mode=None,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="""Store what is known about a scale, and check it with known loads.

\b
Examples:
  bandcurve scale new garage-hook --resolution 0.05kg --capacity 50kg
  bandcurve scale check garage-hook.scale.json
  bandcurve scale check garage-hook.scale.json --from plates.csv --loads-kind weighed
  bandcurve scale show garage-hook.scale.json
""",
)

FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="The scale's file, NAME.scale.json.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")]


@app.command("new")
def new(
    name: Annotated[str, typer.Argument(metavar="NAME", help="What to call the scale.")],
    resolution: Annotated[str | None, typer.Option("--resolution", help="One step of the display: 0.05kg.")] = None,
    capacity: Annotated[str | None, typer.Option("--capacity", help="Its capacity: 50kg.")] = None,
    kind: Annotated[str, typer.Option("--kind", help="hanging-scale, platform-scale or load-cell.")] = "hanging-scale",
    locks: Annotated[
        str | None, typer.Option("--locks", help="Does the display lock: no, peak, or steady (after a second or so).")
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", "-o", help="Folder for the file.")] = None,
    as_json: JsonOption = False,
) -> int:
    """Make the file of a scale: two or three questions, or options.

    \b
    Examples:
      bandcurve scale new garage-hook
      bandcurve scale new cell-3 --kind load-cell --resolution 0.005kg --capacity 100kg --locks no
    """
    from calib.safe_write import new_folder, write_new
    from calib.verbs.scale.scale_new import file_of, new_scale

    path = file_of(name, out)
    scale = new_scale(name, kind, resolution, capacity, locks)
    with new_folder(path.parent):
        write_new(path, scale.to_json())
    _tell_scale(scale, path, as_json, _check_step(scale, path))
    return 0


def _check_step(scale: "Scale", file: Path) -> str:
    return f"  bandcurve scale check {file}{' --port PORT' if scale.kind == 'load-cell' else ''}"


@app.command("show")
def show(file: FileArgument, as_json: JsonOption = False) -> int:
    """Say what is known of a scale.

    \b
    Example:
      bandcurve scale show garage-hook.scale.json
    """
    from calib.scale import load_scale

    scale = load_scale(file)
    step = f"  bandcurve fit RUN --scale {file}" if scale.checks else _check_step(scale, file)
    _tell_scale(scale, file, as_json, step)
    return 0


@app.command("check")
def check(
    file: FileArgument,
    table: Annotated[
        Path | None,
        typer.Option(
            "--from",
            metavar="CSV",
            help="Columns known_<unit>, shown_<unit>, branch. With --port: a broken-off check.",
        ),
    ] = None,
    loads_kind: Annotated[
        str | None, typer.Option("--loads-kind", help="plates, calibrated, weighed, water or stated.")
    ] = None,
    loads: Annotated[
        str | None, typer.Option("--loads", help="Name of this set of loads, plates-1; or its file, X.plates.json.")
    ] = None,
    u_common: Annotated[
        str | None, typer.Option("--u-common", help="Standard uncertainty of the whole set together: 0.1%.")
    ] = None,
    u_each: Annotated[
        str | None, typer.Option("--u-each", help="Standard uncertainty of one piece by itself: 0.2% or 5g.")
    ] = None,
    on: Annotated[str | None, typer.Option("--date", help="Day of the check, 2026-03-01; today if not given.")] = None,
    latitude: Annotated[
        float | None, typer.Option("--latitude", min=-90, max=90, help="Degrees, south below zero.")
    ] = None,
    altitude: Annotated[float | None, typer.Option("--altitude", min=-500, max=9000, help="Metres.")] = None,
    temperature: Annotated[
        float | None,
        typer.Option("--temperature", min=-59, max=99, help="Of the air, or of the water if water hangs. [C]"),
    ] = None,
    unit: Annotated[str | None, typer.Option("--unit", help="What the display shows: kg, lb or N.")] = None,
    any_gain: Annotated[
        bool, typer.Option("--any-gain", help="Accept it even if the scale shows far more or less than the loads.")
    ] = False,
    port: Annotated[
        str | None,
        typer.Option("--port", metavar="PORT", help="A load cell's port: hang a load and the value is taken."),
    ] = None,
    turned: Annotated[bool, typer.Option("--reversed", help="With --port: keep the sign of a reversed cell.")] = False,
    baud: BaudOption = None,
    column: ColumnOption = None,
    line_format: FormatOption = None,
    pattern: PatternOption = None,
    asking: AskOption = None,
    as_json: JsonOption = False,
) -> int:
    """Check a scale with known loads, up and down, and keep the correction in its file.

    \b
    Examples:
      bandcurve scale check garage-hook.scale.json
      bandcurve scale check garage-hook.scale.json --from plates.csv --loads-kind plates --loads plates-1
      bandcurve scale check garage-hook.scale.json --from hung.csv --loads plates-3fa2c1.plates.json
      bandcurve scale check garage-hook.scale.json --from plates.csv --u-common 0.1% --u-each 5g
      bandcurve scale check cell.scale.json --port /dev/ttyUSB0
    """
    from calib.scale import load_scale, update_scale
    from calib.use.scales.check_part import check_part
    from calib.use.scales.checked import fit_check, refuse_far_off, with_check
    from calib.verbs.scale.scale_hung import Draft, Stated, from_keyboard, from_table, with_pieces
    from calib.verbs.terminal.quantities import day_gone_by

    scale = before = load_scale(file)
    day = (day_gone_by(on, "--date") if on else date.today()).isoformat()
    shown_unit = _shown_unit(unit, scale)
    stated = Stated(loads_kind, loads, u_common, u_each, temperature)
    draft = Draft.beside(file, scale.id)
    creep = None
    if port is not None:
        line = _line_of(port, baud, column, line_format, pattern, asking)
        checked = _at_line(scale, line, stated, draft, (latitude, altitude), turned, table)
        hung, scale, creep = checked.hung, checked.scale, checked.creep
    else:
        hung = from_table(table, stated) if table else from_keyboard(scale, shown_unit, stated, draft)
    if stated.plates:
        hung = with_pieces(hung, stated.plates)
    result = fit_check(hung, scale, day, (latitude, altitude))
    refuse_far_off(result, any_gain, str(table or port or "typed"))
    check = check_part(result, day, (latitude, altitude), temperature, creep)
    kept = update_scale(file, lambda now: with_check(now.with_changes(before, scale), check))
    name = kept.checks[-1].id
    if table is None or port is not None:
        draft.path.unlink(missing_ok=True)
    _tell_check(result, f"{scale.id}/{name}", file, shown_unit, as_json)
    return 0


def _line_of(
    port: str, baud: str | None, column: int | None, line_format: str | None, pattern: str | None, asking: str | None
) -> "LineWanted":
    """What the options say of a load cell's line."""
    from calib.use.cell.cell_line import LineWanted
    from calib.verbs.cell.readings_csv import asked_of
    from calib.verbs.listen import chosen_of, setting_of

    chosen = chosen_of(column, line_format, pattern)
    return LineWanted(port, setting_of(baud), chosen.column, chosen.format, ask=asked_of(asking, port, baud))


def _at_line(
    scale: "Scale",
    line: "LineWanted",
    stated: "Stated",
    draft: "Draft",
    place: tuple[float | None, float | None],
    turned: bool,
    resume: Path | None,
) -> "Checked":
    """The loads, hung one after the other at a load cell's line."""
    from calib.gravity import local_gravity
    from calib.use.cell.cell_line import open_line
    from calib.verbs.cell.port_check import check_at_line
    from calib.verbs.scale.scale_hung import loads_of
    from calib.verbs.terminal.prompts import prepare, say

    prepare()
    with open_line(line, scale, say=say) as opened:
        loads = loads_of(stated)
        g = local_gravity(*place)[0]
        return check_at_line(opened, scale, loads, draft, g, may_turn=turned, resume=resume)


def _shown_unit(given: str | None, scale: "Scale") -> str:
    from calib.units import FORCE

    unit = given or scale.shown_unit or "kg"
    if unit not in FORCE:
        raise UsageError(f"--unit {unit[:20]!r} is not a unit of force", remedy=f"use one of {', '.join(FORCE)}")
    return unit


def _tell_scale(scale: "Scale", path: Path, as_json: bool, step: str) -> None:
    from calib.verbs.scale.scale_text import scale_text

    if as_json:
        from calib.use.answers.gear import ScaleAnswer
        from calib.verbs.terminal.answer import give

        give(ScaleAnswer(file=str(path), scale=json.loads(scale.to_json())), None, as_json=True)
        return
    print(scale_text(scale, _shown_unit(None, scale)))
    print(f"In {path}. Next:\n{step}")


def _tell_check(result: "ScaleCheck", name: str, file: Path, unit: str, as_json: bool) -> None:
    from calib.verbs.scale.scale_text import check_answer, check_text

    if as_json:
        from calib.verbs.terminal.answer import give

        give(check_answer(result, name, str(file)), None, as_json=True)
        return
    print(f"Scale check {name}")
    print(check_text(result, unit))
    print(f"Kept in {file}. Next:")
    print(f"  bandcurve fit RUN --scale {file}")
