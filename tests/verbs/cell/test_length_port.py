"""A length sensor on a port of its own: read, pulled out, plugged in again, started anew under way."""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from calib.acquire.cell.baud import Setting
from calib.acquire.cell.line_format import Chosen
from calib.acquire.cell.listening import Listening
from calib.acquire.cell.port import Arrival
from calib.acquire.files.run_file import read_run
from calib.closing import Closing
from calib.errors import DataError
from calib.records import Run, RunHead
from calib.verbs.cell import length_line as module
from calib.verbs.cell.length_line import LengthLine, length_line
from calib.verbs.cell.port_record import PortRecorder
from tests.verbs.cell.bench import FLAT, LENGTHS, Bench, Person, band_force, recorder_at
from tests.verbs.cell.trials import quick_head, type_flat

STEP_MM = 0.2
AWAY_S = 25.0
CUT_S = (40.0, 41.5, 44.0, 50.0, 61.5)


@dataclass
class SensorPort(Closing):
    """A wire that unrolls beside the bench, in the bench's time; it counts from wherever it was switched on.

    Args:
        bench: Whose band it lies along.
        rate: Lines a second.
        unplugs: When it is pulled out, and for how long. [s]
        forgets: Whether it counts from nought when it is plugged in again.
        jumps: From when on it counts another number more. [s], [mm]
        off: By which the person sets lengths too long. [m]
    """

    bench: Bench
    rate: float = 20.0
    unplugs: tuple[tuple[float, float], ...] = ()
    forgets: bool = False
    jumps: tuple[float, float] = (1e9, 0.0)
    off: float = 0.004
    mark: float = FLAT
    name: str = "sensor"
    has_baud: bool = False
    warning: str = ""
    _next_s: float = 0.0
    _from_mm: float = 0.0
    _news: deque[Arrival] = field(default_factory=deque)
    _left: list[tuple[float, float]] = field(default_factory=list)
    _back_s: float = 0.0

    def __post_init__(self) -> None:
        self._left = sorted(self.unplugs)

    def length(self) -> float:
        """Where the person holds the band now. [m]"""
        places = {band_force(x, "loading"): x + self.off for x in LENGTHS}
        return places.get(self.bench._target, self.mark)

    def read(self, wait_s: float) -> Arrival | None:
        """What has come until now."""
        if wait_s > 0:
            self.bench.t += wait_s
        now = self.bench.t
        if self._back_s:
            if now < self._back_s:
                return None
            self._back_s, self._next_s = 0.0, now
            self._from_mm = 1000 * self.length() if self.forgets else self._from_mm
            return Arrival(now, "back", note=self.name)
        if self._left and now >= self._left[0][0]:
            self._back_s = now + self._left.pop(0)[1]
            return Arrival(now, "gap", note="the device is gone")
        lines = b""
        while self._next_s <= now:
            self._next_s += 1 / self.rate
            shown = 1000 * self.length() - self._from_mm + (self.jumps[1] if now >= self.jumps[0] else 0.0)
            lines += b"wire %.1f mm\r\n" % (round(shown / STEP_MM) * STEP_MM)
        return Arrival(now, "data", lines) if lines else None

    def shared_with(self) -> str:
        """Nobody else."""
        return ""

    def now(self) -> float:
        """The bench's time. [s]"""
        return self.bench.t

    def set_line(self, setting: Setting) -> None:
        """It has no speed."""

    def close(self) -> None:
        """Nothing to let go."""


@pytest.fixture(autouse=True)
def _flat(monkeypatch: pytest.MonkeyPatch) -> None:
    type_flat(monkeypatch)


def _at(
    sensor: SensorPort, folder: Path, monkeypatch: pytest.MonkeyPatch, head: RunHead | None = None
) -> tuple[PortRecorder, Person]:
    """A recorder at the bench with the sensor tied to the tape."""
    recorder, person = recorder_at(sensor.bench, folder, head or quick_head())
    recorder.length_line = LengthLine(Listening(sensor, Chosen(quantity="length")), own=True)
    taped: Iterator[float] = iter((1.25, 1.6))

    def ask(prompt: str, read: object) -> float:
        sensor.mark = next(taped)
        return sensor.mark

    monkeypatch.setattr(module, "ask", ask)
    return recorder, person


def _all_true(run: Run) -> None:
    """Every length is one that was set: none of a sensor that was away or counts from another place."""
    for row in run.readings:
        assert min(abs((row.length or 0.0) - true) for true in (1.254, 1.404, 1.604)) < 5e-4


def test_lengths_of_a_second_port_are_recorded_as_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    recorder, _ = _at(SensorPort(Bench()), tmp_path, monkeypatch)
    recorder.record()
    run = read_run(recorder.path)
    assert [r.length for r in run.readings] == pytest.approx([1.254, 1.404, 1.604], abs=5e-4)
    assert any("length read by a sensor: it counts in mm" in r.note for r in run.rows)
    assert "interrupted" not in capsys.readouterr().err


def test_the_sensor_s_port_is_opened_as_a_length_and_let_go(monkeypatch: pytest.MonkeyPatch) -> None:
    sensor = SensorPort(Bench())
    closed: list[bool] = []
    monkeypatch.setattr(module, "open_source", lambda name: sensor)
    monkeypatch.setattr(sensor, "close", lambda: closed.append(True))
    with length_line("sensor", Listening(sensor.bench)) as line:
        assert line.own
        seen = [line.number(r) for _ in range(30) for r in line.listening.poll(0.1)]
        assert seen[-1] == pytest.approx(1000 * FLAT, abs=STEP_MM)
    assert closed == [True]


def test_a_sensor_that_never_sends_is_said_at_the_first_mark(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    recorder, _ = _at(SensorPort(Bench(), rate=1e-9), tmp_path, monkeypatch)
    recorder.length_line.listening.source._next_s = 1e9  # type: ignore[union-attr]
    with pytest.raises(DataError, match="the length sensor says nothing"):
        recorder.record()


@pytest.mark.parametrize("cut_s", CUT_S)
def test_a_sensor_pulled_out_in_the_middle_is_said_and_no_length_is_made_up(
    cut_s: float, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    sensor = SensorPort(Bench(), unplugs=((cut_s, AWAY_S),))
    recorder, _ = _at(sensor, tmp_path, monkeypatch)
    recorder.record()
    run, words = read_run(recorder.path), capsys.readouterr().err
    assert words.count("The length sensor's line was interrupted") == 1
    _all_true(run)
    assert len(run.readings) == 3


@pytest.mark.parametrize("jump_mm", [-1000.0, 60.0, 400.0])
def test_a_sensor_that_jumps_far_gives_no_reading(
    jump_mm: float, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    sensor = SensorPort(Bench(), jumps=(45.0, jump_mm))
    recorder, person = _at(sensor, tmp_path, monkeypatch)
    person.extra = lambda p: "q" if p.bench.t > 120.0 else ""
    recorder.record()
    assert "Not taken: the sensor reads" in capsys.readouterr().err
    _all_true(read_run(recorder.path))


def test_a_sensor_that_counts_from_nought_when_it_is_back_gives_no_reading(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    sensor = SensorPort(Bench(), unplugs=((45.0, 3.0),), forgets=True)
    recorder, person = _at(sensor, tmp_path, monkeypatch)
    person.extra = lambda p: "q" if p.bench.t > 120.0 else ""
    recorder.record()
    words = capsys.readouterr().err
    assert "Check a length against the tape" in words
    assert "Not taken: the sensor reads" in words
    _all_true(read_run(recorder.path))


def test_a_jump_within_a_hold_widens_the_length_and_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    first = SensorPort(Bench())
    recorder, _ = _at(first, tmp_path, monkeypatch)
    recorder.record()
    at = read_run(recorder.path).readings[1].at_s or 0.0
    capsys.readouterr()
    again = tmp_path / "again"
    again.mkdir()
    recorder, _ = _at(SensorPort(Bench(), jumps=(at - 3.0, 12.0)), again, monkeypatch)
    recorder.record()
    assert "; it moved by 12 mm while held" in capsys.readouterr().err
