"""`bandcurve record --port --sweep`: the band is pulled evenly out and back, and read at many lengths under way.

The length comes from the line, or from a constant speed (`--speed`); `calib.acquire.points.sweep` does the cutting.
"""

import time
from dataclasses import field, replace

import numpy as np

from calib.acquire.files.stream_file import StreamWriter, stream_path
from calib.acquire.files.typed import parse_length
from calib.acquire.points.hands_free import HandsFree
from calib.acquire.points.point_rows import swept_row
from calib.acquire.points.sweep import UNEVEN, Leg, SweepPoint, legs_of, length_by_speed, points_of
from calib.acquire.recording.machine import take_beside
from calib.acquire.recording.typed_entry import number_in_unit
from calib.errors import DataError, UsageError
from calib.frozen import dataclass
from calib.records import Row
from calib.units import LENGTH
from calib.use.cell.cell_line import no_reading
from calib.verbs.cell.port_record import WAIT, PortRecorder
from calib.verbs.terminal import live
from calib.verbs.terminal.prompts import ask, draw_prompt, say, sentence

LOOK_S = 1.0  # the line's own length is averaged over this when the tape is read
MOST_SAMPLES = 500_000  # an hour and a half at 92 a second
REDRAW = 0.2  # s


@dataclass(frozen=True)
class Sweep:
    """How lengths are known: by a constant speed, or from the line in a unit."""

    speed: float | None = None  # [m/s]
    unit: str = "mm"  # of the line's own length


def parse_speed(text: str) -> float:
    """A speed like 20mm/s. [m/s]

    Raises:
        UsageError: It is none.
    """
    bare = text.strip().replace(" ", "")
    try:
        if not bare.endswith("/s"):
            raise DataError("a speed ends in /s")
        speed = parse_length(bare.removesuffix("/s"), "mm")
    except DataError as error:
        raise UsageError(f"--speed {text[:20]!r}: {error.what}", remedy="for example --speed 20mm/s") from None
    if not 0.0005 <= speed <= 1.0:
        raise UsageError(f"--speed {text[:20]!r} is not between 0.5 and 1000 mm/s", remedy="for example 20mm/s")
    return speed


@dataclass
class _Samples:
    """What came during a sweep."""

    t: list[float] = field(default_factory=list)
    value: list[float] = field(default_factory=list)
    length: list[float] = field(default_factory=list)  # the line's own, in its unit


@dataclass
class SweepRecorder(PortRecorder):
    """A recording by continuous sweeps."""

    sweep: Sweep = field(kw_only=True)

    @classmethod
    def swept(cls, base: PortRecorder, sweep: Sweep) -> "SweepRecorder":
        """The same recording, swept."""
        return cls(**vars(base), sweep=sweep)

    def record(self) -> None:
        """Zero, sweeps, zero; the flat length at the end is typed.

        Raises:
            DataError: The line ended.
        """
        offset = self.begin_line()
        with StreamWriter(stream_path(self.path), self.line.unit, with_length=self.sweep.speed is None) as stream:
            work = HandsFree(self.state, self.line.meter, self.grip, self.u_sensor)
            self.capture(work, stream, offset, until=("", "flat", "reading"))
            while work.want == "reading":
                self._sweeps(work, stream, offset)
                self.state = replace(self.state, stopped=True) if self.state.run.readings else self.state
                same = not any(r.kind == "zero-lost" for r in self.state.rows[-1:])
                work = HandsFree(self.state, self.line.meter, self.grip, self.u_sensor, same_line=same)
                self.capture(work, stream, offset, until=("", "flat", "reading"))
        self.finish()

    def _sweeps(self, work: HandsFree, stream: StreamWriter, offset: float) -> None:
        """One go at all cycles; rows are written when it has ended well."""
        course = self.state.course
        low, top = (f"{number_in_unit(x, course.length_unit, LENGTH)} {course.length_unit}" for x in self._ends())
        shift = self._tape() if self.sweep.speed is None else 0.0
        times = "once" if course.cycles == 1 else f"{course.cycles} times"
        say("", f"Pull evenly from below {low} out to {top} and back, {times}; then press Enter.")
        if self.sweep.speed is not None:
            say(f"It has to turn at {top} at once, at {1000 * self.sweep.speed:g} mm/s both ways.")
        samples, broken = self._listen(work, stream, offset)
        if broken:
            self._lost(broken)
            return
        try:
            legs, points = self._cut(work, samples, shift)
        except DataError as error:
            say(f"  {sentence(error)}", "  All samples are in the stream. Once more:")
            return
        self._write(work, legs, points)

    def _ends(self) -> tuple[float, float]:
        settings = self.state.course.settings
        return min(settings), max(settings)

    def _tape(self) -> float:
        """What has to be added to the line's length to have that of the tape. [m]"""
        unit = self.state.course.length_unit
        taped = ask(f"The tape reads now, {unit}: ", lambda text: parse_length(text, unit))
        self.line.skip()
        seen: list[float] = []
        begun = self.line.listening.now()
        while self.line.listening.now() - begun < LOOK_S or not seen:
            seen += [r.length for r in self.line.listening.poll(WAIT) if r.length is not None]
            if self.line.listening.ended:
                raise DataError("the line ended", where=self.line.listening.source.name)
        return taped - float(np.median(seen)) * LENGTH[self.sweep.unit]

    def _listen(self, work: HandsFree, stream: StreamWriter, offset: float) -> tuple[_Samples, str]:
        """All samples until Enter; and why they broke off, if they did."""
        samples, listening = _Samples(), self.line.listening
        self.line.skip()
        with self.keys() as key:
            while key(0.0) not in ("\r", "\n") and len(samples.t) < MOST_SAMPLES:
                for record in listening.poll(WAIT):
                    self.keep_line(stream, record.at_s + offset, record)
                    self.heard_s = record.at_s if record.kind == "reading" else self.heard_s
                    value = self.line.meter.value(record)
                    if record.kind == "reset":
                        return samples, record.note or "the board started again"
                    if value is None or (self.sweep.speed is None and record.length is None):
                        continue
                    samples.t.append(record.at_s + offset)
                    samples.value.append(value)
                    samples.length.append(record.length or 0.0)
                if listening.ended:
                    return samples, "the line ended"
                self._draw_sweep(work, samples)
        live.show("")
        return samples, ""

    def _draw_sweep(self, work: HandsFree, samples: _Samples) -> None:
        now = time.monotonic()
        if samples.t and now - self.drawn_s > REDRAW:
            self.drawn_s = now
            zero, silence = work.zero, no_reading(self.line.listening.now() - self.heard_s)
            live.show(silence or f"  {work.value_text(samples.value[-1] - zero):>14}   Enter when it is back")

    def _lost(self, why: str) -> None:
        """The sweep broke off: a gap, and a new zero before the next."""
        lost = Row(self.state.next_number, "zero-lost", at_s=round(self.now() or 0.0, 1), note=why)
        step = take_beside(self.state, lost)
        self.state = step.state
        live.show("")
        self.keep(step.written)
        draw_prompt(2 * live.BELL)
        say(f"{why[:1].upper()}{why[1:]}. The sweep is begun again after a new zero; its samples are in the stream.")

    def _cut(self, work: HandsFree, samples: _Samples, shift: float) -> tuple[list[Leg], list[SweepPoint]]:
        t, value = np.array(samples.t), np.array(samples.value)
        if len(t) < 10:
            raise DataError("there are too few samples", remedy="press Enter only once the band is back")
        if self.sweep.speed is None:
            length = np.array(samples.length) * LENGTH[self.sweep.unit] + shift
        else:
            pull = (value - work.zero) * work.sign
            length = length_by_speed(t, pull, self._ends()[1], self.sweep.speed)
        legs = legs_of(t, length)
        points = points_of(t, value, length, legs, self.state.course.settings)
        if len({p.length for p in points if p.branch == "loading"}) < 3:
            raise DataError("fewer than three of the planned lengths were passed", remedy="pull further out")
        return legs, points

    def _write(self, work: HandsFree, legs: list[Leg], points: list[SweepPoint]) -> None:
        for leg in legs:
            way = "out" if leg.branch == "loading" else "back"
            rate = f"{1000 * leg.rate:.3g} mm/s"
            mine = [p for p in points if (p.branch, p.cycle) == (leg.branch, leg.cycle)]
            note = f"sweep {way} at {rate}"
            gap = Row(
                self.state.next_number, "note", leg.cycle, leg.branch, at_s=round(mine[0].at_s, 1) if mine else None
            )
            self._take(replace(gap, note=note))
            for point in mine:
                work.state = self.state
                self._take(swept_row(point, work.state.next_number, work.meter))
            uneven = f", uneven by {100 * leg.unevenness:.0f} %" if leg.unevenness > UNEVEN else ""
            say(f"  Cycle {leg.cycle} {way}: {len(mine)} lengths at {rate}{uneven}.")
        draw_prompt(live.BELL)

    def _take(self, row: Row) -> None:
        step = take_beside(self.state, row)
        self.state = step.state
        self.keep(step.written)
