"""`bandcurve plan`: the lengths worth measuring, on the screen or as a form to fill in by pen."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from calib.errors import DataError, UsageError
from calib.frozen import dataclass
from calib.half_path import LENGTH_KINDS
from calib.verbs.talk.recording_options import OverOption, OverStretchOption
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.quantities import paper_size

if TYPE_CHECKING:
    from calib.acquire.recording.plan import Geometry, Holes, Plan
    from calib.records import Band, LengthSetup
    from calib.use.answers.gear import PlanAnswer, PlannedSetting
    from calib.use.report.sheet import Form, Paper

TAPE_STEP = {"in": 0.25 * 0.0254, "ft": 0.25 * 0.0254}  # [m] what a tape is easily set to; else half a centimetre


def command(
    band: Annotated[str, typer.Argument(metavar="BAND", help="Name of the band: letters, digits, . _ -")],
    flat: Annotated[str | None, typer.Option("--flat", metavar="LENGTH", help="Flat length, 1029mm.")] = None,
    width: Annotated[str | None, typer.Option("--width", metavar="LENGTH", help="Width, 30mm.")] = None,
    thickness: Annotated[
        str | None, typer.Option("--thickness", metavar="LENGTH", help="Thickness of all layers, 4.5mm.")
    ] = None,
    capacity: Annotated[
        str | None, typer.Option("--capacity", metavar="FORCE", help="Capacity of the scale, 50kg.")
    ] = None,
    scale: Annotated[
        Path | None,
        typer.Option("--scale", metavar="FILE", help="The scale's file, for its capacity and whether it locks."),
    ] = None,
    to: Annotated[str | None, typer.Option("--to", metavar="LENGTH", help="Longest length, by the tape.")] = None,
    count: Annotated[int, typer.Option("--count", min=3, max=16, help="How many lengths.")] = 8,
    cycles: Annotated[int, typer.Option("--cycles", min=1, max=4, help="Number of cycles, out and back.")] = 2,
    holes: Annotated[
        str | None, typer.Option("--holes", metavar="PITCH", help="Set lengths by rack holes: their pitch, 50mm.")
    ] = None,
    first_hole: Annotated[int, typer.Option("--first-hole", min=0, max=9999, help="Hole the fixed pin sits in.")] = 0,
    kind: Annotated[
        str | None, typer.Option("--kind", help="Where the tape is held: band-inner, band-outer, centres, half-path.")
    ] = None,
    fittings: Annotated[
        str, typer.Option("--fittings", metavar="D,D", help="Diameters of the two pins or hooks, mm.")
    ] = "12,12",
    strands: Annotated[int, typer.Option("--strands", min=1, max=2, help="2 for a loop, 1 for a single strand.")] = 2,
    loads: Annotated[
        str | None, typer.Option("--loads", metavar="LIST", help="Plates to hang instead: '2.5kg 5kg 10kg'.")
    ] = None,
    until: Annotated[
        str | None,
        typer.Option("--until", metavar="U", help="Plan only the readings needed to know the pull this well, '2%'."),
    ] = None,
    over: OverOption = None,
    over_stretch: OverStretchOption = False,
    form: Annotated[
        Path | None, typer.Option("--form", metavar="FILE.pdf", help="Draw a form to fill in by pen.")
    ] = None,
    paper: Annotated[str, typer.Option("--paper", help="a4 or letter.")] = "a4",
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")] = False,
) -> int:
    """Plan the lengths to measure: closer together where the pull changes fastest, within the limits of band and scale.

    \b
    Examples:
      bandcurve plan B07 --flat 1029mm
      bandcurve plan B07 --flat 1029mm --width 30mm --thickness 4.5mm --capacity 50kg --form B07-form.pdf
      bandcurve plan B07 --flat 40.5in --holes 50mm --first-hole 4
      bandcurve plan B07 --flat 1029mm --until 3% --over 1.2m..1.8m --scale hook.scale.json
      bandcurve plan B07 --loads '2.5kg 5kg 10kg 15kg 20kg' --form B07-form.pdf
    """
    size = paper_size(paper)
    _one_of("--kind", kind or "centres", LENGTH_KINDS)
    given = _band(band, flat, width, thickness, strands, loads)
    unit = _unit_of(flat)
    most, locks = _scale(scale, capacity)
    if loads is not None:
        planned = _hung(given, loads, over_stretch)
        sheet = _Planned(given, planned, None, None, None, unit, _unit_of(loads.split()[-1], "kg"), cycles, True)
    else:
        setup, rack = _setup(kind, fittings, holes, first_hole)
        planned = _lengths(given, setup, rack, most, to, count, unit, over_stretch)
        force_unit = _unit_of(capacity, "lb" if unit in ("in", "ft") else "kg")
        sheet = _Planned(given, planned, _geometry(given, setup), rack, setup, unit, force_unit, cycles, not locks)
    if until is not None or over is not None:
        return _until(sheet, until, over, to, scale, form, as_json)
    if form is not None:
        _draw(sheet, form, size)
    _tell(sheet, form, as_json)
    return 0


def _until(
    sheet: "_Planned",
    until: str | None,
    over: str | None,
    to: str | None,
    scale: Path | None,
    form: Path | None,
    as_json: bool,
) -> int:
    from calib.acquire.recording.course import Course
    from calib.use.ask.until import per_cent, until_head
    from calib.verbs.talk.plan_until import run_to_plan, tell
    from calib.verbs.terminal.quantities import range_in_si

    if until is None:
        raise UsageError("--over needs --until", remedy="for example --until 3% --over 1.2m..1.8m")
    if form is not None or sheet.setup is None:
        option = "--form" if form is not None else "--loads"
        raise UsageError(f"--until cannot be used with {option}", remedy="leave one of them out")
    wanted = until_head(per_cent(until), range_in_si(over, "--over") if over is not None else None)
    unit = sheet.unit if sheet.holes is None else "mm"
    course = Course(sheet.plan.lengths, way_back=sheet.way_back, length_unit=unit, holes=sheet.holes, asked=())
    run = run_to_plan(sheet.band, sheet.setup, scale, course, wanted)
    named = "" if sheet.holes else f" {sheet.unit}"
    again = f"bandcurve record {sheet.band.id} --flat {_flat(sheet)} --until {until.strip()}".replace(" %", "%")
    again += f" --over {over}" if over is not None else ""
    again += f" --to {to}" if to is not None else ""
    again += _holes_option(sheet) + (f" --scale {scale}" if scale is not None else "")
    tell(run, course, lambda length: f"{sheet.setting_text(length)}{named}", again, as_json=as_json)
    return 0


def _holes_option(planned: "_Planned") -> str:
    if planned.holes is None:
        return ""
    return f" --holes {planned.holes.pitch * 1000:g}mm --first-hole {planned.holes.first}"


@dataclass(frozen=True)
class _Planned:
    """A plan with all that is needed to say it."""

    band: "Band"
    plan: "Plan"
    geometry: "Geometry | None"  # None for hung loads
    holes: "Holes | None"
    setup: "LengthSetup | None"
    unit: str
    force_unit: str
    cycles: int
    way_back: bool

    def setting_text(self, setting: float) -> str:
        """A setting as the user reads it off: a length, a hole, a load."""
        from calib.units import LENGTH, MASS

        if self.geometry is None:
            return f"{setting / MASS[self.force_unit]:.5g}"
        if self.holes is not None:
            return f"hole {self.holes.number(setting)}"
        return f"{round(setting / LENGTH[self.unit], 2):g}"


def _one_of(option: str, value: str, allowed: tuple[str, ...]) -> None:
    if value not in allowed:
        raise UsageError(f"{option} {value[:40]!r} is not known", remedy=f"use one of {', '.join(allowed)}")


def _unit_of(text: str | None, default: str = "mm") -> str:
    """The unit a value was given in."""
    letters = "".join(c for c in text or "" if c.isalpha())
    return letters or default


def _length(text: str | None, option: str) -> float | None:
    from calib.verbs.terminal.quantities import option_in_si

    return None if text is None else option_in_si(text, option, "length")


def _band(
    name: str, flat: str | None, width: str | None, thickness: str | None, strands: int, loads: str | None
) -> "Band":
    from calib.identity import check_id
    from calib.records import Band

    check_id(name)
    length = _length(flat, "--flat")
    if length is None:
        if loads is None:
            raise UsageError("the flat length is needed", where="--flat", remedy="for example --flat 1029mm")
        length = 1.0  # ignored for hung loads
    if not 0.05 <= length <= 5:
        raise DataError(
            f"a band {length * 1000:.4g} mm long cannot be measured",
            where="--flat",
            remedy="50 mm to 5 m; is the unit right?",
        )
    section = (_length(width, "--width"), _length(thickness, "--thickness"))
    for value, option in zip(section, ("--width", "--thickness"), strict=True):
        if value is not None and not 0.0003 <= value <= 0.3:
            raise DataError(
                f"{value * 1000:.4g} mm is not a plausible band thickness", where=option, remedy="is the unit right?"
            )
    return Band(name, length, width=section[0], thickness=section[1], strands=1 if strands == 1 else 2)


def _scale(path: Path | None, capacity: str | None) -> tuple[float | None, bool]:
    """What the scale takes [N], and whether it locks."""
    from calib.scale import load_scale
    from calib.verbs.terminal.quantities import option_in_si

    scale = load_scale(path) if path else None
    most = option_in_si(capacity, "--capacity", "force") if capacity else scale.capacity_N if scale else None
    return most, scale is not None and scale.locks != "no"


def _setup(kind: str | None, fittings: str, holes: str | None, first: int) -> tuple["LengthSetup", "Holes | None"]:
    from calib.acquire.recording.plan import Holes
    from calib.records import LengthSetup
    from calib.verbs.terminal.quantities import lengths_in_si

    diameters = lengths_in_si(fittings, "--fittings", "mm", 2)
    pitch = _length(holes, "--holes")
    if pitch is None:
        chosen: Any = kind or "band-inner"
        return LengthSetup(chosen, () if chosen == "half-path" else diameters), None
    if kind not in (None, "centres"):
        raise UsageError(
            f"--kind {kind} cannot be used with --holes", remedy="holes are measured between centres: leave out --kind"
        )
    if not 0.01 <= pitch <= 0.5:
        raise DataError(f"holes {pitch * 1000:.4g} mm apart", where="--holes", remedy="give their pitch, 10 to 500 mm")
    return LengthSetup("centres", diameters), Holes(pitch, first)


def _geometry(band: "Band", setup: "LengthSetup") -> "Geometry":
    from calib.acquire.recording.plan import geometry_of

    return geometry_of(band, setup)


def _lengths(
    band: "Band",
    setup: "LengthSetup",
    holes: "Holes | None",
    capacity: float | None,
    to: str | None,
    count: int,
    unit: str,
    over: bool,
) -> "Plan":
    from calib.acquire.recording.plan import PlanLimits, plan_lengths, with_top

    limits = PlanLimits(capacity=capacity, allow_over=over)
    top = _length(to, "--to")
    if top is not None:
        limits = with_top(limits, _geometry(band, setup), top)
    return plan_lengths(band, setup, limits, count, holes, TAPE_STEP.get(unit, 0.005))


def _hung(band: "Band", loads: str, over: bool) -> "Plan":
    from calib.acquire.files.typed import listed
    from calib.acquire.recording.plan import PlanLimits, plan_loads
    from calib.verbs.terminal.quantities import option_in_si

    parts = listed(loads)
    if not parts or len(parts) > 16:
        raise UsageError(f"--loads names {len(parts)} loads", remedy="give 3 to 16, for example '2.5kg 5kg 10kg'")
    unit = _unit_of(parts[-1], "kg")
    masses = [option_in_si(part, "--loads", "mass", unit) for part in parts]
    return plan_loads(band, masses, PlanLimits(allow_over=over))


def _draw(planned: _Planned, path: Path, paper: "Paper") -> None:
    from calib.safe_write import write_new
    from calib.use.report.sheet import form_pdf

    if path.suffix.lower() != ".pdf":
        raise UsageError(f"--form {path.name[:60]!r} is not a PDF", remedy="name it like B07-form.pdf")
    write_new(path, form_pdf(_form(planned), paper))


def _form(planned: _Planned) -> "Form":
    from calib.units import LENGTH
    from calib.use.report.sheet import Form

    small = "in" if planned.unit in ("in", "ft") else "mm"

    def known(value: float | None, unit: str) -> str:
        return "" if value is None else f"{value / LENGTH[unit]:.4g} {unit}"

    hung = planned.geometry is None
    if planned.holes is not None:
        named = f"pins at {planned.holes.first} and"
    else:
        named = f"load, {planned.force_unit}" if hung else f"length, {planned.unit}"
    band = planned.band
    return Form(
        band=band.id,
        settings=tuple(planned.setting_text(x) for x in planned.plan.lengths),
        setting_name=named,
        reading_name=f"length, {planned.unit}" if hung else f"shown, {planned.force_unit}",
        cycles=planned.cycles,
        way_back=planned.way_back,
        dwell_s=10.0,
        flat="" if hung else known(band.flat_length, planned.unit),
        thickness=known(band.thickness, small),
        width=known(band.width, small),
        remarks=planned.plan.said,
        command=f"Then type in the readings: {_record_command(planned)}",
        zero=not hung,
    )


def _record_command(planned: _Planned) -> str:
    """What to type to record this plan."""
    settings = [planned.setting_text(x).removeprefix("hole ") for x in planned.plan.lengths]
    parts = [f"bandcurve record {planned.band.id} --from-form"]
    if planned.geometry is None:
        parts.append(f"--method hung-weight --loads '{' '.join(settings)}'")
    else:
        parts.append(f"--flat {_flat(planned)} --lengths '{' '.join(settings)}'{_holes_option(planned)}")
    if planned.cycles != 2:
        parts.append(f"--cycles {planned.cycles}")
    return " ".join(parts)


def _flat(planned: _Planned) -> str:
    from calib.units import LENGTH

    return f"{round(planned.band.flat_length / LENGTH[planned.unit], 4):g}{planned.unit}"


def _tell(planned: _Planned, form: Path | None, as_json: bool) -> None:
    settings = planned.plan.lengths
    if as_json:
        from calib.verbs.terminal.answer import give

        give(_plan_answer(planned, form), None, as_json=True)
        return
    print(f"Plan for band {planned.band.id}: {planned.cycles} x {'out and back' if planned.way_back else 'out only'}")
    for x in settings:
        if planned.geometry is None:
            print(f"  {planned.setting_text(x):>8} {planned.force_unit}")
            continue
        place = (
            f"{planned.setting_text(x):>8}"
            if planned.holes is None
            else f"{planned.setting_text(x):>8} ({x * 1000:.0f} mm)"
        )
        unit = f" {planned.unit}" if planned.holes is None else ""
        print(f"  {place}{unit}   {planned.geometry.stretch(x):.2f} times the flat length{_expected(planned, x)}")
    for remark in planned.plan.said:
        print(f"  note: {remark}")
    print(f"Form: {form}. Next:" if form else "Next:")
    command = _record_command(planned)
    print(f"  {command if form else command.replace(' --from-form', '')}")


def _expected(planned: _Planned, length: float) -> str:
    """The pull to be expected, where the band's section is known."""
    from calib.units import FORCE

    force = _expected_force(planned, length)
    return "" if force is None else f", some {force / FORCE[planned.force_unit]:.2g} {planned.force_unit}"


def _expected_force(planned: _Planned, length: float) -> float | None:
    from calib.acquire.recording.plan import neo_hooke, section_stiffness

    stiffness = section_stiffness(planned.band)
    if stiffness is None or planned.geometry is None:
        return None
    return stiffness * neo_hooke(planned.geometry.stretch(length))


def _plan_answer(planned: _Planned, form: Path | None) -> "PlanAnswer":
    from calib.use.answers.gear import PlanAnswer

    return PlanAnswer(
        band=planned.band.id,
        method="hung-weight" if planned.geometry is None else "scale-in-line",
        tape_kind=planned.setup.kind if planned.setup else None,
        settings=tuple(_setting(planned, x) for x in planned.plan.lengths),
        cycles=planned.cycles,
        way_back=planned.way_back,
        notes=tuple(planned.plan.said),
        form=str(form) if form else None,
        next=_record_command(planned),
    )


def _setting(planned: _Planned, x: float) -> "PlannedSetting":
    from calib.use.answers.gear import PlannedSetting

    if planned.geometry is None:
        return PlannedSetting(None, x, None, None, None)
    hole = planned.holes.number(x) if planned.holes else None
    stretch = round(planned.geometry.stretch(x), 4)
    return PlannedSetting(round(x, 6), None, stretch, hole, _expected_force(planned, x))
