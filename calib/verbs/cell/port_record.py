"""`bandcurve record --port`: the plan captured by itself at a load cell; what to do next is shown, a bell says taken.

`calib.acquire.points.held` decides when a point is there, `hands_free` beside it what follows.
"""

import os
import shutil
import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path

from calib.acquire.cell.lines import Record
from calib.acquire.files.stream_file import StreamWriter, stream_path
from calib.acquire.points.hands_free import HELP, Act, HandsFree
from calib.acquire.points.held import Grip
from calib.acquire.points.length_sensor import LengthTrace
from calib.acquire.recording.machine import take_beside
from calib.errors import DataError, FileError, UsageError
from calib.records import Row
from calib.scale import UNNAMED_CELL, Scale
from calib.units import FORCE, LENGTH
from calib.use.ask.given import Given
from calib.use.ask.readers import positive_force
from calib.use.cell.at_cell import grip_of, refuse_another_kind, u_sensor_of, unit_of, with_line, without_file
from calib.use.cell.cell_line import CellLine, LineWanted, open_line, refuse_no_length
from calib.use.cell.doing import screen_now
from calib.verbs.cell.length_line import LengthLine, length_line, number_of_length
from calib.verbs.talk.record_session import begun, resumed, session
from calib.verbs.talk.recorder import Pace, Recorder
from calib.verbs.terminal import keyboard, live
from calib.verbs.terminal.big_text import HIGH, big_value
from calib.verbs.terminal.live_plot import PlotPlace, Strip, beside, by_length
from calib.verbs.terminal.panel import Panel, has_room
from calib.verbs.terminal.prompts import ask, at_terminal, draw_prompt, say

WAIT = 0.1  # s of one wait for bytes
REDRAW = 0.2  # s
MOST_HALF, MOST_HIGH = 60, 14  # columns of one plot, and rows of both
BESIDE_PLOTS = 16  # rows for the large value, the status, and what was said last
BLOCK = "#" if os.environ.get("NO_COLOR") else "\N{FULL BLOCK}"
LEAST_DWELL_S = 2.0
Keys = Callable[[], AbstractContextManager[Callable[[float], str]]]


def record_at_port(
    given: Given,
    wanted: LineWanted,
    grip: Grip,
    out: Path,
    resume: Path | None,
    pace: Pace,
    *,
    options: str,
    swept: "Callable[[PortRecorder], PortRecorder] | None" = None,
    needs_length: bool = False,
    length_port: str | None = None,
    fit: bool,
) -> int:
    """Record a band at a load cell, from the first question to its curve.

    Args:
        given: What the options said.
        wanted: The line.
        grip: What fixes the length.
        out: Folder for the run.
        resume: A run to go on with.
        pace: Its clock.
        options: To be given again when the recording is taken up.
        swept: Makes it a recording by continuous sweeps.
        needs_length: The line has to carry the length too.
        length_port: Where a length sensor is read: "" is the load cell's own line, None is no sensor.
        fit: Whether to fit in the end.

    Returns:
        Exit status.
    """
    if given.hung:
        raise UsageError("hung plates need no load cell", remedy="leave --port out, or measure with the cell in line")
    if swept is None and given.dwell_s is not None and given.dwell_s < LEAST_DWELL_S:
        what = f"--dwell {given.dwell_s:g} is too short to see whether it holds still"
        raise UsageError(what, remedy=f"use {LEAST_DWELL_S:g} or more; 10 is usual")
    if not at_terminal():
        raise UsageError("--port needs a terminal: the zero is taken at a key", remedy="run it in a terminal window")
    with open_line(wanted, given.scale, say=say) as line:
        if needs_length:
            refuse_no_length(line)
        scale = given.scale or _scale_of(line, resume)

        def begin() -> Recorder:
            if resume is not None:
                recorder = resumed(resume, pace, at_port=True)
                recorder.resume_options = options
                refuse_another_kind(recorder.state, recorder.path, line, by_sweeps=swept is not None)
                held_by = grip_of(recorder.state.head, grip)
            else:
                held_by = grip
                recorder = begun(with_line(given, line, scale, grip, by_sweeps=swept is not None), out, pace, options)
            u_sensor = u_sensor_of(recorder.state.head, None if line.meter.in_counts else scale)
            made = PortRecorder.from_recorder(recorder, line, held_by, u_sensor)
            made.length_line = None if length_port is None else length_line(length_port, line.listening)
            return swept(made) if swept else made

        return session(begin, fit=fit and not line.meter.in_counts)


def _scale_of(line: CellLine, resume: Path | None) -> Scale | None:
    """A scale that has no file: what the line tells, and how much it takes."""
    if resume is not None:
        return None
    if line.meter.in_counts:
        say(
            "  No scale file says what one count is. Readings are stored in counts and can be fitted "
            "after a check of the cell."
        )
    say("  Without a check the cell is assumed good to 1 %; 'bandcurve scale check' does better.")
    unit = unit_of(line)
    return without_file(line, ask(f"Capacity of the cell, {unit}: ", positive_force(unit)))


@dataclass
class PortRecorder(Recorder):
    """A recording at a load cell."""

    line: CellLine = field(kw_only=True)
    grip: Grip = field(kw_only=True)
    u_sensor: Callable[[float], float] = field(kw_only=True)
    length_line: LengthLine | None = field(kw_only=True, default=None)
    keys: Keys = field(kw_only=True, default=keyboard.keys)
    drawn_s: float = -1.0
    panel: Panel = field(kw_only=True, default_factory=Panel)
    strip: Strip = field(kw_only=True, default_factory=Strip)
    sensor_away: bool = False  # the length sensor's own line is interrupted, which was said
    heard_s: float = 0.0  # when the newest reading came, by the line's time

    @classmethod
    def from_recorder(
        cls, base: Recorder, line: CellLine, grip: Grip, u_sensor: Callable[[float], float]
    ) -> "PortRecorder":
        """The same recording, at a load cell."""
        return cls(
            base.state,
            base.writer,
            base.path,
            base.pace,
            base.started,
            resume_options=base.resume_options,
            port=line.listening.source.name,
            line=line,
            grip=grip,
            u_sensor=u_sensor,
        )

    def record(self) -> None:
        """Capture until everything is measured; the flat length at the end is typed.

        Raises:
            EndOfInputError: The terminal is gone; everything accepted is on disk.
        """
        lengths = self.tied_lengths()
        offset = self.begin_line()
        say("", *HELP)
        on_line = self.length_line is not None and not self.length_line.own
        with StreamWriter(stream_path(self.path), self.line.unit, with_length=on_line) as stream:
            work = HandsFree(self.state, self.line.meter, self.grip, self.u_sensor)
            work.lengths = lengths
            self.capture(work, stream, offset)
        self.finish()

    def tied_lengths(self) -> LengthTrace | None:
        """The length sensor tied to the tape at two marks, which is written down; None where there is none."""
        if self.length_line is None:
            return None
        course, setup = self.state.course, self.state.head.length
        sensor = self.length_line.tie(course.settings, course.length_unit, setup.u_reading)
        note = f"note: length read by a sensor: {sensor.described()}"
        step = take_beside(self.state, Row(self.state.next_number, "gap", at_s=round(self.now() or 0.0, 1), note=note))
        self.state = step.state
        self.keep(step.written)
        return LengthTrace(sensor)

    def begin_line(self) -> float:
        """Start at the newest line; gives the run's time less the line's. [s]"""
        self.explained = True
        self.line.skip()
        self.heard_s = self.line.listening.now()
        return (self.now() or 0.0) - self.line.listening.now()

    def capture(
        self, work: HandsFree, stream: StreamWriter, offset: float, until: tuple[str, ...] = ("", "flat")
    ) -> None:
        """Go on until one of these is wanted next; every row is on disk before the next line is read.

        Raises:
            DataError: The line ended.
        """
        wanted = ""
        while work.want not in until:
            if wanted != self._place(work):
                wanted = self._place(work)
                self._say_next(work)
            act = self._until_something(work, stream, offset)
            self.state = work.state
            self.panel.clear()
            self.keep(act.rows)
            say(*act.say)
            draw_prompt(live.BELL * act.ring)
            if self.line.listening.ended:
                raise DataError("the line ended before the recording", where=self.line.listening.source.name)

    def finish(self) -> None:
        """What is typed at the end, and what to do with counts."""
        super().record()
        if self.line.meter.in_counts:
            used = self.state.head.scale
            has_file = used is not None and used.id != UNNAMED_CELL
            cell = used.id if used and has_file else "CELL"
            say("", "Recorded in counts. For kilos, check the cell with known loads and fit with its file:")
            if not has_file:
                say("  bandcurve scale new CELL --kind load-cell --resolution 0.005kg --capacity 100kg")
            say(f"  bandcurve scale check {cell}.scale.json --port {self.port}")
            say(f"  bandcurve fit {self.path} --scale {cell}.scale.json")

    def _place(self, work: HandsFree) -> str:
        return f"{work.want} {work.state.index}"

    def _say_next(self, work: HandsFree) -> None:
        slot = work.state.slot
        self.state = work.state
        if work.want == "zero":
            say("", *work.zero_words())
        elif work.want == "check-load" and self.state.head.check_load is not None:
            say("", f"Hang the known plate alone ({work.words_of_load()}); it is detected.")
        elif slot is not None:
            self.announce(slot)
            self.last_index = self.state.index

    def _until_something(self, work: HandsFree, stream: StreamWriter, offset: float) -> Act:
        """Go along with the line until there is something to write, say or ring."""
        listening = self.line.listening
        with self.keys() as key:
            while True:
                act = Act()
                for record in listening.poll(WAIT):
                    self.keep_line(stream, record.at_s + offset, record)
                    self.heard_s = record.at_s if record.kind == "reading" else self.heard_s
                    act = act.followed_by(work.feed(record, record.at_s + offset))
                    self._remember(work, record)
                    self._read_length(work, self.length_line, record, record.at_s + offset)
                act = act.followed_by(self._poll_length(work, offset))
                pressed = key(0.0)
                if pressed:
                    act = act.followed_by(work.key(pressed, listening.now() + offset))
                if act != Act() or listening.ended:
                    return act
                self._draw(work, offset)

    def _poll_length(self, work: HandsFree, offset: float) -> Act:
        """Take what a length sensor on a port of its own has sent; its time is that of its arrival."""
        act = Act()
        if self.length_line is not None and self.length_line.own:
            for record in self.length_line.listening.poll(0.0):
                self._read_length(work, self.length_line, record, self.line.listening.now() + offset, own=True)
                act = act.followed_by(self._sensor_lost(record))
        return act

    def _sensor_lost(self, record: Record) -> Act:
        """What is said where the sensor's own line was interrupted, once each time: it may count from another place."""
        known = self.sensor_away
        self.sensor_away = record.kind == "reset" or (known and number_of_length(record) is None)
        if known or not self.sensor_away:
            return Act()
        check = "Check a length against the tape before you go on"
        return Act(
            say=(f"  The length sensor's line was interrupted. {check}; if it is off, q and record again.",), ring=2
        )

    @staticmethod
    def _read_length(
        work: HandsFree, length_line: LengthLine | None, record: Record, at_s: float, *, own: bool = False
    ) -> None:
        if length_line is None or work.lengths is None or length_line.own != own:
            return
        number = length_line.number(record)
        if number is not None:
            work.lengths.add(at_s, number)

    def _remember(self, work: HandsFree, record: Record) -> None:
        """Keep a reading for the plot, in the unit of the recording."""
        if record.kind == "reading" and work.value is not None:
            unit = 1.0 if self.line.meter.in_counts else FORCE[work.state.course.force_unit]
            self.strip.add(record.at_s, work.value / unit)

    def keep_line(self, stream: StreamWriter, at_s: float, record: Record) -> None:
        """Keep a line of the stream; where the disk refuses, the points go on without it."""
        try:
            stream.append(at_s, record)
        except FileError as error:
            self.panel.clear()
            say(f"  The stream is no longer stored: {error}.")
            stream.close()

    def _draw(self, work: HandsFree, offset: float) -> None:
        now = time.monotonic()
        if now - self.drawn_s < REDRAW:
            return
        self.drawn_s = now
        now_shown = screen_now(work, self.line.listening, offset, self.heard_s)
        if not now_shown.value:
            self.panel.show([f"  {now_shown.doing}"])
            return
        value, doing = now_shown.value, now_shown.doing
        status = f"  {value:>14}   {doing}"
        self.panel.show([status, *self._pictures(work, value)] if has_room() else [status])

    def _pictures(self, work: HandsFree, value: str) -> list[str]:
        """The pull large, against time, and against length; as large as the terminal has room for."""
        size = shutil.get_terminal_size((80, 24))
        half, high = min(size.columns // 2, MOST_HALF), min(size.lines - BESIDE_PLOTS, MOST_HIGH)
        course, unit = work.state.course, work.state.course.length_unit
        force_unit = "counts" if self.line.meter.in_counts else course.force_unit
        scale = 1.0 if self.line.meter.in_counts else FORCE[course.force_unit]
        places = 0 if self.line.meter.in_counts else 1
        strip = self.strip if work.pull is None else self.strip.above_zero(work.zero / scale, work.sign)
        left = strip.rows(half - 2, high, places, from_zero=work.pull is not None)
        settings = course.settings or (1.0,)
        ends = (min(settings) / LENGTH[unit], max(settings) / LENGTH[unit])
        right = by_length(self._marks(work, scale), ends, half - 2, high, unit)
        names = beside([f"{force_unit}, newest at the right"], [f"{force_unit} by length: o out, x back, + now"], half)
        large = big_value(value.removesuffix(" counts"), 2 * half - 2, HIGH, BLOCK)
        return ["", *large, *names, *beside(left, right, half)]

    def _marks(self, work: HandsFree, scale: float) -> list[PlotPlace]:
        """Readings so far and the pull of this moment, against length."""
        marks, unit = [], LENGTH[work.state.course.length_unit]
        for row in work.state.run.readings:
            force = row.counts if self.line.meter.in_counts else row.force
            if row.length is not None and force is not None:
                pull = work.sign * (force - work.zero) / scale
                marks.append(PlotPlace(row.length / unit, pull, "o" if row.branch == "loading" else "x"))
        slot = work.state.slot
        if slot is not None and slot.setting is not None and work.pull is not None:
            read = work.lengths.newest() if work.lengths else None
            marks.append(PlotPlace((read or slot.setting) / unit, max(work.pull, 0.0) / scale, "+"))
        return marks
