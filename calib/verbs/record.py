"""`bandcurve record`: from an unopened band to kilos, led by questions; everything accepted is on disk at once."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from calib.errors import UsageError
from calib.frozen import dataclass
from calib.verbs.talk.recording_options import (
    CELL,
    COURSE,
    AskOption,
    BaudOption,
    CapacityOption,
    ColumnOption,
    FirstHoleOption,
    FittingsOption,
    FlatOption,
    FormatOption,
    HolesOption,
    HookOption,
    KindOption,
    LatitudeOption,
    LengthsOption,
    LoadsOption,
    LocksOption,
    MassOption,
    MethodOption,
    OverOption,
    OverStretchOption,
    PatternOption,
    PlateOption,
    PlatesOption,
    ResolutionOption,
    ScaleOption,
    SectionOption,
    TemperatureOption,
    TopOption,
    UntilOption,
)
from calib.verbs.terminal import typer_later as typer

if TYPE_CHECKING:
    from collections.abc import Callable

    from calib.scale import Scale
    from calib.use.ask.given import Given
    from calib.verbs.cell.port_record import PortRecorder
    from calib.verbs.talk.recorder import Pace


def command(
    band: Annotated[str | None, typer.Argument(metavar="BAND", help="A name for the band, e.g. B07.")] = None,
    quick: Annotated[
        bool, typer.Option("--quick", help="Four lengths, pulled twice: first kilos in two minutes, all in four.")
    ] = False,
    resume: Annotated[
        Path | None, typer.Option("--resume", metavar="FILE", help="Continue an unfinished recording.")
    ] = None,
    out: Annotated[Path, typer.Option("--out", "-o", metavar="DIR", help="Folder for run and profile.")] = Path(),
    from_form: Annotated[bool, typer.Option("--from-form", help="Type in a paper form.")] = False,
    no_fit: Annotated[bool, typer.Option("--no-fit", help="Record only; fit later.")] = False,
    method: MethodOption = None,
    scale: ScaleOption = None,
    capacity: CapacityOption = None,
    resolution: ResolutionOption = None,
    locks: LocksOption = None,
    kind: KindOption = None,
    fittings: FittingsOption = None,
    plates: PlatesOption = None,
    hook: HookOption = None,
    plate: PlateOption = None,
    flat: FlatOption = None,
    section: SectionOption = None,
    mass: MassOption = None,
    temperature: TemperatureOption = None,
    latitude: LatitudeOption = None,
    lengths: LengthsOption = None,
    loads: LoadsOption = None,
    holes: HolesOption = None,
    first_hole: FirstHoleOption = 0,
    to: TopOption = None,
    over_stretch: OverStretchOption = False,
    cycles: Annotated[
        int | None,
        typer.Option("--cycles", metavar="N", help="Cycles, out and back (2).", min=1, max=20, rich_help_panel=COURSE),
    ] = None,
    dwell: Annotated[
        float | None,
        typer.Option(
            "--dwell",
            metavar="S",
            help="Seconds to hold a length (10).",
            min=0,
            max=600,
            rich_help_panel=COURSE,
        ),
    ] = None,
    move_time: Annotated[
        float,
        typer.Option(
            "--move-time", metavar="S", help="Seconds to set the next length.", min=0, max=600, rich_help_panel=COURSE
        ),
    ] = 10.0,
    until: UntilOption = None,
    over: OverOption = None,
    port: Annotated[
        str | None,
        typer.Option(
            "--port", metavar="PORT", help="Port of a load cell that takes the readings.", rich_help_panel=CELL
        ),
    ] = None,
    hand: Annotated[
        bool,
        typer.Option("--hand", help="You hold the length by hand, not with a strap or pins.", rich_help_panel=CELL),
    ] = False,
    turned: Annotated[
        bool, typer.Option("--reversed", help="The cell's numbers fall as the band pulls.", rich_help_panel=CELL)
    ] = False,
    sweep: Annotated[
        bool,
        typer.Option("--sweep", help="Pull evenly out and back; the line sends the length too.", rich_help_panel=CELL),
    ] = False,
    speed: Annotated[
        str | None,
        typer.Option(
            "--speed",
            metavar="V",
            help="With --sweep: a constant speed in place of sent lengths, '20mm/s'.",
            rich_help_panel=CELL,
        ),
    ] = None,
    length_unit: Annotated[
        str,
        typer.Option(
            "--length-unit", help="With --sweep: unit of the length: mm, cm, m, in, ft.", rich_help_panel=CELL
        ),
    ] = "mm",
    read_length: Annotated[
        bool,
        typer.Option(
            "--read-length",
            help="With --port: the line sends the length; calibrated at two marks.",
            rich_help_panel=CELL,
        ),
    ] = False,
    length_port: Annotated[
        str | None,
        typer.Option(
            "--length-port", metavar="PORT", help="The same, from a sensor on its own port.", rich_help_panel=CELL
        ),
    ] = None,
    baud: BaudOption = None,
    column: ColumnOption = None,
    line_format: FormatOption = None,
    pattern: PatternOption = None,
    asking: AskOption = None,
    no_countdown: Annotated[bool, typer.Option("--no-countdown", hidden=True)] = False,
) -> int:
    """Measure a band, led step by step, and get its pull in kilos.

    You need to prepare nothing: you are asked whatever no option says, with ? for help and back for the question
    before. Stop when you like (Ctrl-C): every reading is in the file already.

    \b
    Examples:
      bandcurve record B07 --quick
      bandcurve record B07 --scale hook.scale.json
      bandcurve record B07 --method hung-weight --loads '5 10 20 30 40'
      bandcurve record B07 --port /dev/ttyUSB0 --scale cell.scale.json
      bandcurve record B07 --until 3% --over 1.2m..1.8m
      bandcurve record --resume B07.run.csv
    """
    from calib.use.ask.given import Given, answered
    from calib.verbs.talk.record_session import begun, resumed, session
    from calib.verbs.talk.recorder import Pace
    from calib.verbs.terminal.live import can_wait
    from calib.verbs.terminal.prompts import prepare

    prepare()
    pace = Pace(can_wait() and not (no_countdown or from_form), move_time)
    if resume is not None and port is None:
        return session(lambda: resumed(resume, pace), fit=not no_fit)
    gear = {"way": method, "max": capacity, "step": resolution, "locks": locks, "plates": plates, "hook": hook}
    tape = {"tape": kind, "pins": fittings, "pitch": holes, "first_hole": first_hole or None}
    of_band = {"flat": flat, "section": section, "mass": mass, "plate": plate}
    place = {"temperature": temperature, "latitude": latitude, "lengths": lengths, "loads": loads}
    given = Given(
        band=band or "",
        quick=quick,
        scale=_scale(scale),
        scale_file=str(scale.resolve()) if scale else None,
        answers=answered({**gear, **tape, **of_band, **place}),
        top=to,
        cycles=cycles,
        dwell_s=dwell,
        form=from_form,
        over_stretch=over_stretch,
        until=_until(until, over, {"--quick": quick, "--from-form": from_form, "--loads": loads, "--port": port}),
    )
    given.talk()  # an option that cannot be read is said before anything is asked
    if given.until is not None and given.hung:
        raise UsageError("--until needs set lengths", remedy="leave it out, or measure with a scale")
    cell = _Cell(
        *(port, scale, baud, column, line_format, pattern, asking),
        *(hand, turned, sweep, speed, length_unit, read_length, length_port),
    )
    if port is not None:
        return _at_port(port, cell, given, out, resume, pace, fit=not no_fit)
    cell.refuse_without_port()
    return session(lambda: begun(given, out, pace), fit=not no_fit)


@dataclass(frozen=True)
class _Cell:
    """What the options say of a load cell and of what is done at it, as they were typed."""

    port: str | None
    scale: Path | None
    baud: str | None
    column: int | None
    line_format: str | None
    pattern: str | None
    asking: str | None
    hand: bool
    turned: bool
    sweep: bool
    speed: str | None
    length_unit: str
    read_length: bool
    length_port: str | None

    def again(self) -> str:
        """The options to be given again when the recording is taken up."""
        line = {"--port": self.port, "--scale": self.scale, "--baud": self.baud, "--column": self.column}
        course = {"--hand": self.hand, "--reversed": self.turned, "--sweep": self.sweep, "--speed": self.speed}
        unit = {"--length-unit": self.length_unit if self.length_unit != "mm" else None}
        sensor = {"--read-length": self.read_length, "--length-port": self.length_port}
        return as_typed({**line, **self._of_lines(), **course, **unit, **sensor})

    def _of_lines(self) -> dict[str, object]:
        return {"--format": self.line_format, "--pattern": self.pattern, "--ask": self.asking}

    def refuse_without_port(self) -> None:
        """Refuse an option that says nothing where no port is named."""
        course = {"--sweep": self.sweep, "--speed": self.speed, "--hand": self.hand, "--reversed": self.turned}
        line = {"--baud": self.baud, "--column": self.column, **self._of_lines()}
        sensor = {"--read-length": self.read_length, "--length-port": self.length_port}
        for option, value in {**course, **line, **sensor}.items():
            if value:
                raise UsageError(f"{option} needs --port", remedy="name the load cell's port, or leave it out")


def _at_port(port: str, cell: _Cell, given: "Given", out: Path, resume: Path | None, pace: "Pace", *, fit: bool) -> int:
    """Record at a load cell, by holds or by sweeps."""
    from calib.use.cell.cell_line import LineWanted
    from calib.verbs.cell.port_record import record_at_port
    from calib.verbs.cell.readings_csv import asked_of
    from calib.verbs.listen import chosen_of, setting_of

    chosen = chosen_of(cell.column, cell.line_format, cell.pattern)
    swept = _swept(cell.speed, cell.length_unit) if cell.sweep or cell.speed else None
    if swept is not None and (cell.read_length or cell.length_port):
        raise UsageError("--read-length and --length-port are for held lengths", remedy="leave --sweep and --speed out")
    return record_at_port(
        given,
        LineWanted(
            *(port, setting_of(cell.baud), chosen.column, chosen.format, cell.turned),
            ask=asked_of(cell.asking, port, cell.baud),
        ),
        "hand" if cell.hand else "strap",
        out,
        resume,
        pace,
        options=cell.again(),
        swept=swept,
        needs_length=(cell.sweep and cell.speed is None) or cell.read_length,
        length_port=cell.length_port or ("" if cell.read_length else None),
        fit=fit,
    )


def as_typed(options: dict[str, object]) -> str:
    """Options as they are typed; what was not given is left out."""
    from shlex import quote

    given = {name: value for name, value in options.items() if value}
    return "".join(f" {name}" if value is True else f" {name} {quote(str(value))}" for name, value in given.items())


def _swept(speed: str | None, unit: str) -> "Callable[[PortRecorder], PortRecorder]":
    from calib.units import LENGTH
    from calib.verbs.cell.port_sweep import Sweep, SweepRecorder, parse_speed

    if unit not in LENGTH:
        raise UsageError(f"--length-unit {unit[:20]!r} is not known", remedy=f"use one of {', '.join(LENGTH)}")
    how = Sweep(parse_speed(speed) if speed else None, unit)
    return lambda recorder: SweepRecorder.swept(recorder, how)


def _until(until: str | None, over: str | None, others: dict[str, object]) -> dict[str, object] | None:
    from calib.use.ask.until import per_cent, until_head
    from calib.verbs.terminal.quantities import range_in_si

    if until is None:
        if over is not None:
            raise UsageError("--over needs --until", remedy="for example --until 3% --over 1.2m..1.8m")
        return None
    for option, value in others.items():
        if value:
            raise UsageError(f"--until cannot be used with {option}", remedy="leave one of them out")
    return until_head(per_cent(until), range_in_si(over, "--over") if over is not None else None)


def _scale(path: Path | None) -> "Scale | None":
    from calib.scale import load_scale

    return load_scale(path) if path else None
