"""A load cell, an invented band and somebody who does what is asked, as a source of bytes in a time of its own."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from math import copysign, log10
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np

from calib.acquire.cell.baud import Setting
from calib.acquire.cell.port import Arrival
from calib.acquire.files.run_file import RunWriter
from calib.acquire.points.held import Grip
from calib.acquire.recording.course import Course, extensions_of
from calib.acquire.recording.new_file import new_writer
from calib.acquire.recording.state import Recording
from calib.records import Band, BranchName, CheckLoad, LengthSetup, Procedure, RunHead, ScaleInUse
from calib.scale import Scale
from calib.units import G_STANDARD
from calib.use.cell.at_cell import u_sensor_of
from calib.use.cell.cell_line import LineWanted, open_line
from calib.verbs.cell.port_record import PortRecorder
from calib.verbs.talk.recorder import Pace, Recorder

LENGTHS = (1.15, 1.25, 1.4, 1.6, 1.8)
FLAT = 1.029
COUNTS_PER_NEWTON, ZERO_COUNTS = 1097.0, 84210.0
LONGEST_S = 1500.0
LOOSE_S = 2.0  # a person waits so long before pressing Enter


def band_force(length: float, branch: BranchName) -> float:
    """Pull of the invented band 10 s after the stretch stopped. [N]"""
    stretch = length / FLAT
    return (1.0 if branch == "loading" else 0.9) * 75.0 * (stretch - stretch**-2) * (1 + 0.5 / stretch)


@dataclass
class Bench:
    """World and port.

    Args:
        rate: Lines a second.
        unit: "kg", or "counts" as the reference firmware prints them.
        unplugs: When the cable is pulled, and for how long. [s]
        tares: Whether the board shows zero for whatever hangs on it when it starts.
        relaxing: Relative change per decade.
        turned: Whether the cell is the other way round.
    """

    rate: float = 10.0
    unit: str = "kg"
    unplugs: tuple[tuple[float, float], ...] = ()
    tares: bool = False
    relaxing: float = 0.02
    turned: bool = False
    drift_n_per_s: float = 0.0
    seed: int = 1
    speed: float = 40.0  # N/s
    name: str = "bench"
    has_baud: bool = False
    warning: str = ""
    t: float = 0.0
    _from: float = 0.0
    _target: float = 0.0
    _since: float = 0.0
    _offset: float = 0.0
    _away_until: float = 0.0
    _started_s: float = 0.0
    _left: list[tuple[float, float]] = field(default_factory=list)
    _closed: bool = False

    def __post_init__(self) -> None:
        self._rng = np.random.default_rng(self.seed)
        self._left = sorted(self.unplugs)
        self._banner = b""

    # The world

    def go_to(self, force: float) -> None:
        """Pull to another force; it stands there at t_ref. [N]"""
        if force != self._target:
            self._from, self._target, self._since = self.force(), force, self.t

    def force(self) -> float:
        """On the cell now. [N]"""
        top = self._held(0.0)
        took = abs(top - self._from) / self.speed
        since = self.t - self._since
        if since < took:
            return self._from + copysign(self.speed * since, top - self._from)
        return self._held(since - took)

    def _held(self, since: float) -> float:
        way = 1 if self._target >= self._from else -1
        return self._target * (1 - way * self.relaxing * log10((since + 0.2) / 10.2))

    # The port

    def read(self, wait_s: float) -> Arrival | None:
        """One line, or news of the cable."""
        self.t += 1 / self.rate if wait_s > 0 else 0.0
        assert self.t < LONGEST_S, "nobody gets to the end"
        if wait_s <= 0:
            return None
        if self._away_until:
            if self.t < self._away_until:
                return None
            self._away_until, self._started_s = 0.0, self.t
            self._offset = self.force() if self.tares else 0.0
            self._banner = b"# load cell\r\n# started by: power\r\n"
            return Arrival(self.t, "back", note=self.name)
        if self._left and self.t >= self._left[0][0]:
            self._away_until = self.t + self._left.pop(0)[1]
            return Arrival(self.t, "gap", note="the device is gone")
        banner, self._banner = self._banner, b""
        return Arrival(self.t, "data", banner + self._line())

    def _line(self) -> bytes:
        felt = self.force() - self._offset + self.drift_n_per_s * self.t + self._rng.normal() * 0.01
        felt *= -1 if self.turned else 1
        if self.unit == "counts":
            counts = round(ZERO_COUNTS + COUNTS_PER_NEWTON * felt)
            return b"%d,%d,ok\r\n" % (round(1000 * (self.t - self._started_s)), counts)
        return b"%.3f kg\r\n" % (felt / G_STANDARD)

    def shared_with(self) -> str:
        """Nobody else."""
        return ""

    def now(self) -> float:
        """Time of the bench. [s]"""
        return self.t

    def set_line(self, setting: Setting) -> None:
        """It has no speed."""

    def close(self) -> None:
        """Let it go."""
        self._closed = True

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()


@dataclass
class Person:
    """Does what is asked, and lets the band go slack after a pulled cable."""

    bench: Bench
    recorder: PortRecorder | None = None
    extra: Callable[["Person"], str] | None = None  # further keys
    _pressed_s: float = -100.0
    _seen_away: bool = False
    _zeros: int = 0
    _loose_s: float = -100.0

    def key(self, seconds: float) -> str:
        """What is pressed now."""
        assert self.recorder is not None
        state, bench = self.recorder.state, self.bench
        zeros = sum(r.kind == "zero" for r in state.rows)
        if bench._away_until:
            self._seen_away, self._zeros = True, zeros
        if zeros > self._zeros:
            self._seen_away = False
        slot = state.slot
        want = "zero" if self._seen_away or slot is None else slot.kind
        if extra := (self.extra(self) if self.extra else ""):
            return extra
        if want == "zero":
            bench.go_to(0.0)
            loose = bench.force() == 0.0 and bench.t - bench._since > LOOSE_S + 5.0
            if loose and not bench._away_until and bench.t - self._pressed_s > 25.0:
                self._pressed_s = bench.t
                return "\r"
        elif want == "check-load" and state.head.check_load:
            bench.go_to(state.head.check_load.mass * G_STANDARD)
        elif slot is not None and slot.setting is not None and slot.branch is not None:
            goal = band_force(slot.setting, slot.branch)
            if slot.branch == "loading" and bench._target > goal + 1e-9:  # off with the plate, or a new cycle
                bench.go_to(0.0)
                self._loose_s = bench.t
            elif (
                slot.branch == "unloading" and bench._target < goal - 1e-9
            ):  # the unloading branch was cut: out again first
                bench.go_to(band_force(max(LENGTHS), "loading"))
            elif slot.branch == "unloading" and bench.t - bench._since < 8.0 and bench._target > bench._from:
                pass  # still while loading, or there a moment
            elif bench.t - self._loose_s > 5.0 or bench._target > 0:
                bench.go_to(goal)
        return ""


def head_for(
    *, cycles: int = 1, dwell_s: float = 10.0, check_load: bool = False, closing: bool = True, counts: bool = False
) -> RunHead:
    """An invented run's head, its plan in it."""
    course = Course(LENGTHS, cycles, dwell_s=dwell_s, closing=closing, capacity=1000.0)
    return RunHead(
        Band("T1", FLAT, thickness=0.0045, width=0.03),
        LengthSetup("half-path"),
        ScaleInUse("cell", 0.0 if counts else 0.001 * G_STANDARD),
        Procedure(dwell_s=dwell_s, temperature=20.0),
        check_load=CheckLoad("P1", 5.0) if check_load else None,
        started=datetime.now(UTC).replace(microsecond=0),
        extensions=extensions_of(course) | {"cell": {"grip": "strap"}},
    )


def recorder_at(
    bench: Bench,
    folder: Path,
    head: RunHead,
    *,
    scale: Scale | None = None,
    grip: Grip = "strap",
    turned: bool = False,
    resume: Path | None = None,
) -> tuple[PortRecorder, Person]:
    """A recorder at the bench with a person at its keys; with `resume` a run goes on."""
    line = open_line(LineWanted("bench", reversed=turned), scale, opened=lambda name, setting: bench)
    person = Person(bench)
    if resume:
        writer, run = RunWriter.resume(resume)
        state, path = Recording.from_run(run), resume
    else:
        state, path = Recording(head), folder / "T1.run.csv"
        writer = new_writer(path, state)
    pace = Pace(True, clock=lambda: 1e9 + bench.t)
    base = Recorder(state, writer, path, pace, 1e9 - 1000.0 * bool(resume))
    recorder = PortRecorder.from_recorder(base, line, grip, u_sensor_of(state.head, scale))
    person.recorder = recorder

    @contextmanager
    def keys() -> Iterator[Callable[[float], str]]:
        yield lambda seconds: person.key(seconds)

    recorder.keys = keys
    return recorder, person
