"""A length sensor at held points: tied to the tape at two marks, read while held, questioned where it is far off."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from calib.acquire.cell.line_format import parse_format
from calib.acquire.files.run_file import read_run
from calib.acquire.points.length_sensor import LengthSensor, LengthTrace, Mark, tied
from calib.errors import DataError
from calib.units import G_STANDARD
from calib.use.cell.cell_line import LineWanted, open_line
from calib.verbs.cell import length_line as module
from calib.verbs.cell.length_line import LengthLine
from calib.verbs.cell.port_record import PortRecorder
from tests.verbs.cell.bench import FLAT, LENGTHS, Bench, band_force, recorder_at
from tests.verbs.cell.trials import quick_head, type_flat

LONG = 1.01  # the sensor counts 1 % too many


@pytest.fixture(autouse=True)
def _flat(monkeypatch: pytest.MonkeyPatch) -> None:
    type_flat(monkeypatch)


def _sensor() -> LengthSensor:
    return tied(Mark(1165.0, 0.2, 1.15), Mark(1821.5, 0.2, 1.8), 0.002)


def test_between_the_marks_its_u_is_that_of_the_tape_and_beyond_them_it_grows() -> None:
    sensor = _sensor()
    assert sensor.length(1165.0) == pytest.approx(1.15)
    assert sensor.length(1493.25) == pytest.approx(1.475)
    assert sensor.u(1165.0) == pytest.approx(0.002, rel=0.02)
    assert sensor.u(1493.25) == pytest.approx(0.002 / np.sqrt(2), rel=0.02)
    assert sensor.u(2478.0) > 0.004
    assert "it counts in mm, +1.00 % off" in sensor.described()


def test_draws_of_the_two_marks_lie_within_its_u() -> None:
    rng, hits = np.random.default_rng(1), 0
    for _ in range(400):
        marks = [Mark(1000 * x * LONG, 0.1, x + rng.normal() * 0.002) for x in (1.15, 1.8)]
        sensor = tied(marks[0], marks[1], 0.002)
        hits += abs(sensor.length(1400 * LONG) - 1.4) < 1.96 * sensor.u(1400 * LONG)
    assert 0.95 - 4 * np.sqrt(0.95 * 0.05 / 400) < hits / 400 <= 1.0


@pytest.mark.parametrize("marks", [(1.15, 1.2, 1165.0, 1220.0), (1.15, 1.8, 1165.0, 1165.5)])
def test_marks_that_tell_nothing_are_refused(marks: tuple[float, float, float, float]) -> None:
    with pytest.raises(DataError):
        tied(Mark(marks[2], 0.2, marks[0]), Mark(marks[3], 0.2, marks[1]), 0.002)


def test_a_length_that_creeps_says_so_and_is_less_sure() -> None:
    trace = LengthTrace(_sensor())
    for i in range(100):
        trace.add(i / 10, 1493.25 + i / 10)
    held = trace.held(0.0, 10.0)
    assert held is not None and held.crept == pytest.approx(0.0066, rel=0.1)
    assert held.u > _sensor().u(1493.25) + 0.001
    assert trace.held(20.0, 30.0) is None


@dataclass
class _WithLength(Bench):
    """A line of clock, weight and length; a person who sets it a little off."""

    off: float = 0.004

    def _line(self) -> bytes:
        places = {band_force(x, "loading"): x + self.off for x in LENGTHS}
        length = places.get(self._target, self.mark)
        felt = self.force() + self._rng.normal() * 0.01
        return b"%d,%.3f kg,%.1f\r\n" % (1000 * self.t, felt / G_STANDARD, 1000 * LONG * length + 3.0)

    mark: float = FLAT


def _recorded(bench: _WithLength, folder: Path, monkeypatch: pytest.MonkeyPatch) -> PortRecorder:
    recorder, _ = recorder_at(bench, folder, quick_head())
    recorder.line.close()
    wanted = LineWanted("bench", format=parse_format("clock, value kg, length"))
    recorder.line = open_line(wanted, None, opened=lambda name, setting: bench)
    recorder.length_line = LengthLine(recorder.line.listening, own=False)
    taped = iter((1.25, 1.6))

    def ask(prompt: str, read: object) -> float:
        bench.mark = next(taped)
        return bench.mark

    monkeypatch.setattr(module, "ask", ask)
    recorder.record()
    return recorder


def test_the_length_that_was_read_is_recorded_not_the_one_that_was_planned(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    recorder = _recorded(_WithLength(), tmp_path, monkeypatch)
    run = read_run(recorder.path)
    assert [r.length for r in run.readings] == pytest.approx([1.254, 1.404, 1.604], abs=5e-4)
    assert any("length read by a sensor" in r.note for r in run.rows)
    assert "Length read: u 2." in capsys.readouterr().err


def test_a_length_far_from_the_plan_is_not_taken_and_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    bench = _WithLength(off=0.15)
    said = ""

    def moved(p: object) -> str:
        nonlocal said
        said += capsys.readouterr().err
        if "Not taken: the sensor reads" in said:
            bench.off = 0.0
            return "q"
        return ""

    recorder, person = recorder_at(bench, tmp_path, quick_head())
    person.extra = moved
    recorder.length_line = LengthLine(recorder.line.listening, own=False)
    recorder.line = open_line(
        LineWanted("bench", format=parse_format("clock, value kg, length")), None, opened=lambda name, setting: bench
    )
    recorder.length_line = LengthLine(recorder.line.listening, own=False)
    taped = iter((1.25, 1.6))

    def ask(prompt: str, read: object) -> float:
        bench.mark = next(taped)
        return bench.mark

    monkeypatch.setattr(module, "ask", ask)
    recorder.record()
    assert "the sensor reads 1400 mm, 1250 mm is planned" in said
    assert not recorder.state.run.readings
