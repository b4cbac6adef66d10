"""Continuous sweeps: turns found, both branches at many lengths, with a length on the line or a constant speed."""

from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib.acquire.cell.line_format import parse_format
from calib.acquire.files.run_file import read_run
from calib.acquire.files.stream_file import read_stream
from calib.acquire.points.sweep import legs_of, length_by_speed, points_of, turning_points
from calib.acquire.recording.course import many_lengths
from calib.acquire.recording.new_file import new_writer
from calib.acquire.recording.state import Recording
from calib.errors import DataError, UsageError
from calib.records import Array, RunHead
from calib.units import G_STANDARD
from calib.use.cell.at_cell import u_sensor_of
from calib.use.cell.cell_line import LineWanted, open_line, refuse_no_length
from calib.verbs.cell import port_sweep
from calib.verbs.cell.port_record import PortRecorder
from calib.verbs.cell.port_sweep import Sweep, SweepRecorder, parse_speed
from calib.verbs.fit import command as fit
from calib.verbs.talk.recorder import Pace, Recorder
from tests.verbs.cell.bench import Bench, band_force, head_for
from tests.verbs.cell.trials import type_flat

LOW, HIGH = 1.1, 1.85
CLOSING = 0.1  # of the span: the unloading branch leaves the loading branch over about this
OFFSET_MM = 37.0  # of the string sensor's zero


def pull_at(length: float, way: int) -> float:
    """The invented band while it is swept: the unloading branch leaves the loading branch at the top. [N]"""
    out = band_force(length, "loading")
    if way > 0:
        return out
    gone = 1 - np.exp(-(HIGH - length) / (HIGH - LOW) / CLOSING)
    return out - float(gone) * (out - band_force(length, "unloading"))


def swept(rate: float, speed: float, cycles: int = 2, noise: float = 0.02, seed: int = 1) -> tuple[Array, Array, Array]:
    """Times, forces and lengths of even sweeps between two rests."""
    t = np.arange(0, 6 + 2 * cycles * (HIGH - LOW) / speed + 6, 1 / rate)
    at = [place(x - 6.0, speed, cycles) for x in t]
    random = np.random.default_rng(seed)
    force = np.array([pull_at(*p) for p in at]) + noise * random.normal(size=len(t))
    return t, force, np.array([p[0] for p in at]) + 2e-4 * random.normal(size=len(t))


def place(since: float, speed: float, cycles: int) -> tuple[float, int]:
    """Length and way at a time since the sweeps began."""
    took = (HIGH - LOW) / speed
    if since < 0 or since > 2 * took * cycles:
        return LOW, 1
    phase = since % (2 * took)
    return (LOW + speed * phase, 1) if phase < took else (HIGH - speed * (phase - took), -1)


@pytest.mark.parametrize(("rate", "speed"), [(10.0, 0.02), (80.0, 0.05), (10.0, 0.1)])
def test_both_branches_are_read_at_many_lengths(rate: float, speed: float) -> None:
    t, force, length = swept(rate, speed)
    legs = legs_of(t, length)
    assert [(leg.branch, leg.cycle) for leg in legs] == [
        ("loading", 1),
        ("unloading", 1),
        ("loading", 2),
        ("unloading", 2),
    ]
    assert all(leg.rate == pytest.approx(speed, rel=0.02) for leg in legs)
    points = points_of(t, force, length, legs, np.linspace(1.14, 1.8, 24).tolist())
    assert len(points) == 4 * 24
    for point in points:
        truth = pull_at(point.length, 1 if point.branch == "loading" else -1)
        assert point.force == pytest.approx(truth, rel=0.003, abs=0.05)
        assert point.n >= 3


@pytest.mark.parametrize("lump_s", [0.016, 0.1])
def test_samples_that_a_port_delivers_in_lumps_have_a_rate(lump_s: float) -> None:
    t, _, length = swept(80.0, 0.05)
    legs = legs_of(np.ceil(t / lump_s) * lump_s, length)  # several samples at one time
    assert len(legs) == 4
    assert all(leg.rate == pytest.approx(0.05, rel=0.02) for leg in legs)


@pytest.mark.parametrize("speed", [0.02, 0.1])
def test_a_constant_speed_stands_in_for_the_length(speed: float) -> None:
    t, force, length = swept(10.0, speed)
    by_speed = length_by_speed(t, force, HIGH, speed)
    moving = (t > 6.5) & (t < t[-1] - 6.5)
    assert np.abs(by_speed - length)[moving].max() < 0.0015 + 0.02 * speed
    assert len(legs_of(t[moving], by_speed[moving])) == 4


def test_short_ways_are_no_legs_and_no_way_out_is_said() -> None:
    t = np.arange(0, 40, 0.1)
    wobble = np.where(t < 20, 1.2 + 0.01 * np.sin(t), 1.2 + 0.03 * (t - 20))
    assert [leg.branch for leg in legs_of(t, wobble)] == ["loading"]
    with pytest.raises(DataError, match="never increases"):
        legs_of(t, 2.0 - 0.01 * t)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.floats(-1e3, 1e3), min_size=2, max_size=60), st.floats(0.1, 100))
def test_turns_rise_in_time_and_alternate(values: list[float], least: float) -> None:
    turns = turning_points(np.array(values), least)
    assert turns == sorted(set(turns))
    assert turns[0] == 0
    steps = np.diff([values[i] for i in turns])
    inner = steps[1:] if len(steps) > 1 else steps
    assert all(a * b <= 0 for a, b in pairwise(inner))


@pytest.mark.parametrize("text", ["20", "mm/s", "20 kg/s", "0mm/s", "5m/s", "nan mm/s"])
def test_a_speed_that_is_none_is_wrong_usage(text: str) -> None:
    with pytest.raises(UsageError):
        parse_speed(text)


def test_a_speed_is_read() -> None:
    assert parse_speed("20 mm/s") == pytest.approx(0.02)
    assert parse_speed("1in/s") == pytest.approx(0.0254)


@dataclass
class SweepBench(Bench):
    """A bench that sweeps when told, with the length on the line or not."""

    with_length: bool = True
    begun_s: float = 1e9
    cycles: int = 2
    pace: float = 0.03  # m/s

    def _line(self) -> bytes:
        length, way = place(self.t - self.begun_s, self.pace, self.cycles)
        pull = pull_at(length, way) if self.t > self.begun_s - 3.0 and not self.over else 0.0
        shown = (pull + self._rng.normal() * 0.01) / G_STANDARD
        if not self.with_length:
            return b"%.3f kg\r\n" % shown
        return b"%d,%.3f kg,%.1f\r\n" % (1000 * self.t, shown, 1000 * length - OFFSET_MM)

    @property
    def over(self) -> bool:
        """Whether the band is back, and let go."""
        return self.t > self.begun_s + 2 * self.cycles * (HIGH - LOW) / self.pace + 3.0


def _head(cycles: int = 2) -> RunHead:
    head = head_for(cycles=cycles, dwell_s=0.0)
    settings = list(many_lengths((1.15, 1.8)))
    return replace(head, extensions={**head.extensions, "settings": settings, "cell": {"sweep": True}})


def _record(bench: SweepBench, folder: Path, sweep: Sweep, monkeypatch: pytest.MonkeyPatch) -> SweepRecorder:
    type_flat(monkeypatch)
    monkeypatch.setattr(port_sweep, "ask", lambda prompt, read: read(f"{1000 * LOW:.0f}"))
    form = parse_format("clock, value kg, length") if bench.with_length else None
    line = open_line(LineWanted("bench", format=form), None, opened=lambda name, setting: bench)
    state, path = Recording(_head()), folder / "T1.run.csv"
    base = Recorder(state, new_writer(path, state), path, Pace(True, clock=lambda: 1e9 + bench.t), 1e9)
    recorder = SweepRecorder.swept(
        PortRecorder.from_recorder(base, line, "strap", u_sensor_of(state.head, None)), sweep
    )
    pressed: list[float] = []

    def key(seconds: float) -> str:
        zeros = sum(r.kind == "zero" for r in recorder.state.rows)
        lost = sum(r.kind == "zero-lost" for r in recorder.state.rows)
        if bench._away_until:
            bench.begun_s = 1e9
        if zeros in (0, lost) and not bench._away_until and (not pressed or bench.t - pressed[-1] > 30):
            pressed.append(bench.t)
            return "\r"  # the zero
        if zeros == lost + 1 and bench.begun_s > 1e8 and not recorder.state.run.readings:
            bench.begun_s = bench.t + 6.0
        if bench.begun_s < 1e8 and bench.over and not recorder.state.run.readings and bench.t - pressed[-1] > 5:
            pressed.append(bench.t)
            return "\r"  # it is back
        return ""

    @port_sweep_keys
    def keys():  # type: ignore[no-untyped-def]
        yield key

    recorder.keys = keys
    recorder.record()
    recorder.writer.close()
    return recorder


def port_sweep_keys(function):  # type: ignore[no-untyped-def]
    """Keys of the simulated person as the recorder wants them."""
    from contextlib import contextmanager

    return contextmanager(function)


@pytest.mark.parametrize("with_length", [True, False])
def test_a_sweep_becomes_a_run_that_fits(
    with_length: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    sweep = Sweep() if with_length else Sweep(speed=0.03)
    bench = SweepBench(with_length=with_length)
    monkeypatch.setattr("tests.verbs.cell.test_sweep.HIGH", 1.8 if not with_length else HIGH)
    _record(bench, tmp_path, sweep, monkeypatch)
    run = read_run(tmp_path / "T1.run.csv")
    loading = [r for r in run.readings if r.branch == "loading"]
    assert len(loading) >= 2 * 22
    assert len(run.readings) >= 4 * 22
    for row in run.readings:
        truth = pull_at(row.length or 0.0, 1 if row.branch == "loading" else -1)
        assert row.force == pytest.approx(truth, rel=0.005, abs=0.1)
        assert row.dwell_s == 0.0
    rates = [r.note for r in run.rows if r.kind == "note" and r.note.startswith("sweep")]
    assert len(rates) == 4
    assert all("30" in note or "29." in note for note in rates)
    assert [r.kind for r in run.rows if r.kind in ("zero", "flat")] == ["zero", "zero", "flat"]
    if with_length:
        assert any(r.length is not None for r in read_stream(tmp_path / "T1.stream.csv"))
    capsys.readouterr()
    assert fit([tmp_path / "T1.run.csv"], out=tmp_path) == 0


def test_a_sweep_that_is_cut_is_begun_again_after_a_new_zero(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    recorder = _record(SweepBench(unplugs=((50.0, 4.0),)), tmp_path, Sweep(), monkeypatch)
    kinds = [(r.kind, r.about or r.note) for r in recorder.state.rows if r.kind in ("zero", "zero-lost")]
    assert kinds[0] == ("zero", "")
    assert kinds[1] == ("zero-lost", "the device is gone")
    assert kinds[2] == ("zero", "between")
    assert len(recorder.state.run.readings) >= 4 * 22


def test_a_line_without_a_length_needs_a_speed() -> None:
    form = parse_format("clock, value kg, length")
    with open_line(LineWanted("bench", format=form), None, opened=lambda name, setting: SweepBench()) as line:
        refuse_no_length(line)
    without = SweepBench(with_length=False)
    with (
        open_line(LineWanted("bench"), None, opened=lambda name, setting: without) as line,
        pytest.raises(DataError, match="--speed"),
    ):
        refuse_no_length(line)
