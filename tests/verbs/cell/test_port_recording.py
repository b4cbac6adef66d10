"""What a recording at a load cell does: captures its plan, takes zeros, knows its plate, outlives cable and program."""

import os
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from calib.acquire.cell.lines import Record
from calib.acquire.cell.meter import Meter, noise_of, step_of
from calib.acquire.files.run_file import read_run
from calib.acquire.files.stream_file import StreamWriter, read_stream, stream_path
from calib.acquire.points.hands_free import Act, HandsFree
from calib.acquire.recording.state import Recording
from calib.errors import DataError, FileError
from calib.fit.curve.observations import observe, zero_at
from calib.records import Row, Run, ScaleInUse
from calib.scale import UNNAMED_CELL, Scale
from calib.units import G_STANDARD
from calib.use.cell.at_cell import grip_of, refuse_another_kind
from calib.verbs.cell import port_record as module
from calib.verbs.record import as_typed
from tests.verbs.cell.bench import COUNTS_PER_NEWTON, ZERO_COUNTS, Bench, band_force, head_for, recorder_at
from tests.verbs.cell.trials import killed, quick_head, run_through, type_flat, unplugged


@pytest.fixture(autouse=True)
def _flat(monkeypatch: pytest.MonkeyPatch) -> None:
    type_flat(monkeypatch)


def _cell() -> Scale:
    counts = {"zero_N": -ZERO_COUNTS / COUNTS_PER_NEWTON, "per_count_N": 1 / COUNTS_PER_NEWTON}
    fields = {"format": "bandcurve-scale/1", "id": "cell", "kind": "load-cell", "resolution_N": 0.001}
    return Scale.model_validate({**fields, "capacity_N": 1000.0, "counts": counts})


@pytest.mark.parametrize("rate", [10.0, 80.0])
def test_a_whole_plan_is_captured_and_is_within_three_per_mille(rate: float, tmp_path: Path) -> None:
    ended = run_through(Bench(rate=rate), tmp_path, head_for(check_load=True))
    kinds = [r.kind for r in ended.in_file]
    assert kinds == ["zero", "check-load", *["reading"] * 9, "zero", "check-load", "flat"]
    assert ended.worst_percent < 0.3
    for row in ended.in_file:
        if row.kind == "reading":
            assert row.dwell_s == 10.0
            assert row.n is not None and row.n > 50
            assert row.sd is not None
            assert row.relax_percent_per_decade == pytest.approx(-2.0 if row.branch == "unloading" else 2.0, abs=0.3)


@pytest.mark.parametrize("seed", range(4))
def test_everything_accepted_is_in_the_file_when_the_cable_is_pulled(seed: int, tmp_path: Path) -> None:
    ended = unplugged(seed, tmp_path)  # compares rows and file; 100 moments: python -m tests.campaigns.port_recording
    assert sum(r.kind == "reading" for r in ended.in_file) == 9
    assert ended.worst_percent < 0.3


@pytest.mark.parametrize("seed", range(2))
def test_everything_accepted_is_in_the_file_when_the_program_is_killed(seed: int, tmp_path: Path) -> None:
    ended = killed(seed, tmp_path)
    assert sum(r.kind == "reading" for r in ended.in_file) == 9
    assert ended.worst_percent < 0.3


def test_a_gap_is_written_down_and_a_new_zero_taken(tmp_path: Path) -> None:
    ended = run_through(Bench(unplugs=((40.0, 3.0),)), tmp_path, quick_head())
    gap = next(r for r in ended.in_file if r.kind == "zero-lost")
    after = ended.in_file[ended.in_file.index(gap) + 1]
    assert gap.note == "the device is gone"
    assert (after.kind, after.about) == ("zero", "between")


def test_counts_are_kept_and_become_newton_with_the_scales_line(tmp_path: Path) -> None:
    bench = Bench(unit="counts")
    recorder, _ = recorder_at(bench, tmp_path, head_for(), scale=_cell())
    recorder.record()
    readings = read_run(recorder.path).readings
    assert len(readings) == 9
    for row in readings:
        assert row.force == pytest.approx(band_force(row.length or 0.0, row.branch or "loading"), rel=3e-3)
        assert row.counts == pytest.approx(ZERO_COUNTS + COUNTS_PER_NEWTON * (row.force or 0.0), abs=1.0)


@pytest.mark.parametrize(("scale", "next_step"), [("hook", "check hook.scale.json"), (UNNAMED_CELL, "scale new CELL")])
def test_counts_without_a_check_are_recorded_and_not_fitted(
    scale: str, next_step: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    head = head_for(counts=True)
    recorder, _ = recorder_at(Bench(unit="counts"), tmp_path, replace(head, scale=ScaleInUse(scale, 0.0)))
    recorder.record()
    said = " ".join(capsys.readouterr().err.split())
    assert next_step in said
    assert ("scale new" in said) is (scale == UNNAMED_CELL)
    run = read_run(recorder.path)
    assert len(run.readings) == 9
    assert all(r.force is None and r.counts is not None for r in run.readings)
    with pytest.raises(DataError, match="bandcurve scale check"):
        observe([run])


def test_a_cell_that_is_the_other_way_round_is_said_and_nothing_is_taken(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    recorder, person = recorder_at(Bench(turned=True), tmp_path, quick_head())
    person.extra = lambda p: "q" if p.bench.t > 60 else ""
    recorder.record()
    assert "--reversed" in capsys.readouterr().err
    assert not recorder.state.run.readings


def test_with_reversed_its_numbers_are_turned(tmp_path: Path) -> None:
    recorder, _ = recorder_at(Bench(turned=True), tmp_path, quick_head(), turned=True)
    recorder.record()
    forces = [r.force for r in recorder.state.run.readings]
    assert forces == pytest.approx([band_force(x, "loading") for x in (1.25, 1.4, 1.6)], rel=3e-3)


def test_the_stream_holds_every_line_in_order(tmp_path: Path) -> None:
    bench = Bench(unplugs=((40.0, 3.0),))
    ended = run_through(bench, tmp_path, quick_head())
    rows = list(read_stream(tmp_path / "T1.stream.csv"))
    times = [r.at_s for r in rows]
    assert times == sorted(times)
    assert len(rows) == pytest.approx((ended.took_s - 5.0) * bench.rate, rel=0.05)
    assert {r.unit for r in rows} == {"kg"}
    assert any(r.value is None and "the device is gone" in r.status for r in rows)


def test_keys_take_again_skip_and_stop(tmp_path: Path) -> None:
    recorder, person = recorder_at(Bench(), tmp_path, head_for(closing=False))
    pressed: list[str] = []

    def keys(p: object) -> str:
        readings = len(recorder.state.run.readings)
        for wanted, at in (("r", 1), ("s", 2), ("q", 3)):
            if readings == at and wanted not in pressed:
                pressed.append(wanted)
                return wanted
        return ""

    person.extra = keys
    recorder.record()
    notes = [r.note for r in recorder.state.rows]
    skipped = [r.about for r in recorder.state.rows if r.kind == "skipped"]
    assert pressed == ["r", "s", "q"]
    assert any("undone" in note for note in notes)
    assert skipped == ["reading"]
    assert len(recorder.state.run.readings) == 3


def test_a_reading_that_cannot_be_is_questioned_and_another_hold_answers(tmp_path: Path) -> None:
    recorder, person = recorder_at(Bench(), tmp_path, head_for(cycles=2, closing=False))
    said: list[float] = []

    def wrong_place(p: object) -> str:
        slot = recorder.state.slot
        if (
            slot is not None
            and slot.cycle == 2
            and slot.setting == 1.25
            and recorder.state.pending is None
            and not said
        ):
            person.bench.go_to(band_force(1.6, "loading"))
            return " "
        if recorder.state.pending is not None:
            said.append(recorder.state.pending.force or 0.0)
        return ""

    person.extra = wrong_place
    recorder.record()
    assert said and said[0] == pytest.approx(band_force(1.6, "loading"), rel=0.01)
    again = [r.force for r in recorder.state.run.readings if r.cycle == 2 and r.length == 1.25]
    assert again[0] == pytest.approx(band_force(1.25, "loading"), rel=0.003)


def test_a_long_pause_far_from_the_forecast_is_dropped_when_it_goes_on_and_nothing_is_pressed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    recorder, person = recorder_at(Bench(), tmp_path, head_for(cycles=2, closing=False))
    paused_s, dropped, shown = 0.0, False, ""

    def pause(p: object) -> str:
        nonlocal paused_s, dropped, shown
        bench, slot = person.bench, recorder.state.slot
        shown += capsys.readouterr().err
        here = slot is not None and (slot.cycle, slot.setting, slot.branch) == (2, 1.6, "loading")
        if here and (not paused_s or bench.t - paused_s < 25.0):
            paused_s = paused_s or bench.t
            bench.go_to(band_force(1.5, "loading"))
            return " "  # keeps the person from going on
        dropped = dropped or (bool(paused_s) and recorder.state.pending is None and here)
        return ""

    person.extra = pause
    recorder.record()
    assert "It kept moving: that one is not taken." in shown + capsys.readouterr().err
    assert dropped
    assert not recorder.state.run.struck
    at = [r.force for r in recorder.state.run.readings if (r.cycle, r.length, r.branch) == (2, 1.6, "loading")]
    assert at == [pytest.approx(band_force(1.6, "loading"), rel=0.003)]


def test_the_forecast_is_that_of_the_readings_so_far_and_none_before_them() -> None:
    rows = (
        Row(1, "zero", force=2.0, at_s=0.0, n=50),
        *(
            Row(2 + i, cycle=1, branch="loading", length=x, force=2.0 + band_force(x, "loading"), at_s=60.0 + i, n=50)
            for i, x in enumerate((1.15, 1.25, 1.4))
        ),
    )
    assert HandsFree(Recording(head_for(), rows[:1]), Meter(step=0.01), "strap", lambda pull: 0.0).forecast is None
    work = HandsFree(Recording(head_for(), rows), Meter(step=0.01), "strap", lambda pull: 0.0, same_line=True)
    assert work.state.slot is not None and work.state.slot.setting == 1.6
    assert work.forecast == pytest.approx(band_force(1.6, "loading"), rel=0.06)
    counts = HandsFree(Recording(head_for(counts=True), rows), Meter(in_counts=True), "strap", lambda pull: 0.0)
    assert counts.forecast is None


def test_a_length_come_to_from_the_wrong_side_is_not_taken(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    recorder, person = recorder_at(Bench(), tmp_path, quick_head())
    said, fixed = "", False

    def too_far(p: object) -> str:
        nonlocal said, fixed
        said += capsys.readouterr().err
        slot, bench = recorder.state.slot, person.bench
        if slot is None or slot.setting != 1.4 or fixed:
            return ""
        far = bench._target == band_force(1.6, "loading") and bench.t - bench._since > 5.0
        bench.go_to(band_force(1.4 if far or bench._from > 100 else 1.6, "loading"))
        if "longer side" in said:
            bench.go_to(0.0)
            person._loose_s, fixed = bench.t, True
        return " "

    person.extra = too_far
    recorder.record()
    assert fixed
    forces = [r.force for r in recorder.state.run.readings]
    assert forces == pytest.approx([band_force(x, "loading") for x in (1.25, 1.4, 1.6)], rel=3e-3)


def test_the_zero_is_said_to_move_while_the_cell_warms_up(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run_through(Bench(drift_n_per_s=0.004), tmp_path, quick_head())
    assert "warming up" in capsys.readouterr().err
    other = tmp_path / "other"
    other.mkdir()
    run_through(Bench(), other, quick_head())
    assert "warming up" not in capsys.readouterr().err


def test_zeros_are_not_followed_across_a_loss(tmp_path: Path) -> None:
    rows = (
        Row(1, "zero", force=0.0, at_s=0.0),
        Row(2, cycle=1, branch="loading", length=1.3, force=50.0, at_s=100.0),
        Row(3, "zero-lost", at_s=150.0, note="the device is gone"),
        Row(4, "zero", force=30.0, at_s=200.0, about="between"),
        Row(5, cycle=1, branch="loading", length=1.4, force=90.0, at_s=300.0),
        Row(6, "zero", force=32.0, at_s=400.0),
    )
    run = Run("made", head_for(), rows)
    zero, drift = zero_at(run, run.readings)
    assert zero.tolist() == pytest.approx([0.0, 31.0])
    assert drift == pytest.approx(2.0)


def _held_at(work: HandsFree, newton: float, begin_s: float, for_s: float = 16.0) -> list[Act]:
    kg = newton / 9.80665
    records = [Record(begin_s + i / 10, "reading", "", value=kg, unit="kg") for i in range(int(10 * for_s))]
    return [act for record in records if (act := work.feed(record, record.at_s)) != Act()]


@pytest.mark.parametrize("meant", [False, True])
def test_a_zero_under_pull_after_a_break_is_questioned_before_it_is_taken(meant: bool) -> None:
    rows = (Row(1, "zero", force=0.0, at_s=0.0), Row(2, cycle=1, branch="loading", length=1.15, force=34.0, at_s=60.0))
    work = HandsFree(Recording(head_for(), rows), Meter(step=0.01), "strap", lambda pull: 0.0)
    assert work.want == "zero"
    work.key("\r", 100.0)
    said = _held_at(work, 75.0, 100.0)
    assert "the zero before was 0 kg: is the band still pulling" in "".join(said[-1].say)
    assert not any(act.rows for act in said)
    work.key("\r", 120.0)
    taken = _held_at(work, 75.0 if meant else 0.1, 120.0)
    assert [row.kind for act in taken for row in act.rows] == ["zero"]
    assert work.want == "reading" and work.zero == pytest.approx(75.0 if meant else 0.1)


def test_r_takes_back_a_zero_between_and_not_the_reading_before_it() -> None:
    rows = (Row(1, "zero", force=0.0, at_s=0.0), Row(2, cycle=1, branch="loading", length=1.15, force=34.0, at_s=60.0))
    work = HandsFree(Recording(head_for(), rows), Meter(step=0.01), "strap", lambda pull: 0.0)
    work.key("\r", 100.0)
    _held_at(work, 0.5, 100.0)
    assert work.want == "reading" and work.zero == pytest.approx(0.5)
    struck = work.key("r", 120.0)
    assert [(row.about, row.note) for row in struck.rows] == [("3", "undone")]
    assert work.want == "zero" and work.zero == 0.0
    assert [row.number for row in work.state.run.readings] == [2]


def test_an_overload_is_said_once_and_is_no_point() -> None:
    work = HandsFree(Recording(head_for()), Meter(step=0.01), "strap", lambda pull: 0.0)
    acts = [work.feed(Record(t / 10, "overload", "OL"), t / 10) for t in range(5)]
    assert sum(bool(a.say) for a in acts) == 1
    assert work.key("x", 1.0) == Act()
    assert "A zero comes first" in work.key("s", 1.0).say[0]
    assert not any(a.rows for a in acts)


def test_one_broken_read_is_no_matter_and_a_row_of_faults_is_said_once() -> None:
    work = HandsFree(Recording(head_for()), Meter(step=0.01), "strap", lambda pull: 0.0)
    good, bad = Record(0.0, "reading", "", value=1.0, unit="kg"), Record(0.0, "fault", "bridge not found")
    said = [work.feed(r, t / 10).say for t, r in enumerate([good, bad, good, bad, bad, good, bad, bad, bad, bad])]
    assert [bool(s) for s in said] == [False] * 8 + [True, False]
    assert "bridge not found" in said[8][0]


def test_a_meter_never_changes_kind() -> None:
    in_kg, counted = Record(0.0, "reading", "", value=1.0, unit="kg"), Record(0.0, "reading", "", counts=1000.0)
    assert Meter().value(in_kg) == pytest.approx(9.80665)
    assert Meter().value(counted) is None
    assert Meter(in_counts=True).value(in_kg) is None
    assert Meter(in_counts=True, reversed=True).value(counted) == -1000.0
    line = Meter(per_count=-0.001, zero=5.0)
    assert line.value(counted) == pytest.approx(4.0)
    assert line.counts(4.0) == pytest.approx(1000.0)
    assert line.value(Record(0.0, "overload", "OL")) is None


def test_step_and_noise_of_a_line() -> None:
    random = np.random.default_rng(1)
    moving = [5.0 * i + 0.2 * random.normal() for i in range(400)]
    assert noise_of(moving) == pytest.approx(0.2, rel=0.15)
    read = [Record(0.0, "reading", "0.0", counts=0.0, step=0.1), Record(0.1, "reading", "0.00", counts=0.0, step=0.01)]
    assert step_of(read) == 0.01
    assert noise_of([]) == 0.0


def test_a_stream_goes_on_in_its_file_and_refuses_another_unit(tmp_path: Path) -> None:
    path = stream_path(tmp_path / "B.run.csv")
    assert path.name == "B.stream.csv"
    record = Record(0.0, "reading", "1.5 kg", value=1.5, unit="kg", stable=True)
    for at in (1.0, 2.0):
        with StreamWriter(path, "kg") as stream:
            stream.append(at, record)
            stream.append(at, replace(record, kind="fault", value=None, note="a, b"))
    path.write_bytes(path.read_bytes() + b"3.0,1.")
    rows = list(read_stream(path))
    assert [(r.at_s, r.value, r.status) for r in rows] == [
        (1.0, 1.5, "stable"),
        (1.0, None, "fault: a; b"),
        (2.0, 1.5, "stable"),
        (2.0, None, "fault: a; b"),
    ]
    with pytest.raises(FileError, match="another kind"):
        StreamWriter(path, None)
    path.write_text("at_s,indication_kg,status\nx,y,z\n")
    with pytest.raises(DataError, match=r"B\.stream\.csv:2"):
        list(read_stream(path))


@pytest.mark.parametrize("half", ["3.0,1.", "3.000,45"])
def test_half_a_row_of_a_full_disk_makes_no_number_with_the_next(half: str, tmp_path: Path) -> None:
    path = tmp_path / "B.stream.csv"
    record = Record(0.0, "reading", "1.5 kg", value=1.5, unit="kg", stable=True)
    with StreamWriter(path, "kg") as stream:
        stream.append(1.0, record)
    path.write_bytes(path.read_bytes() + half.encode())
    with StreamWriter(path, "kg") as stream:
        stream.append(4.0, record)
    assert [(r.at_s, r.value) for r in read_stream(path)] == [(1.0, 1.5), (4.0, 1.5)]


def test_half_a_header_of_a_full_disk_is_written_again(tmp_path: Path) -> None:
    path = tmp_path / "B.stream.csv"
    path.write_text("at_s,indic")
    with StreamWriter(path, "kg") as stream:
        stream.append(1.0, Record(0.0, "reading", "1.5 kg", value=1.5, unit="kg"))
    assert [(r.at_s, r.value) for r in read_stream(path)] == [(1.0, 1.5)]
    path.write_text("mine")
    with pytest.raises(FileError, match="another kind"):
        StreamWriter(path, "kg")
    assert path.read_text() == "mine"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a disk that is always full is known to Linux only")
def test_a_full_disk_is_said_once_and_the_stream_is_left(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    recorder, _ = recorder_at(Bench(), tmp_path, head_for())
    capsys.readouterr()
    with StreamWriter(tmp_path / "T1.stream.csv", "kg") as stream:
        full = os.open("/dev/full", os.O_WRONLY)
        os.dup2(full, stream._descriptor)
        os.close(full)
        for i in range(5):
            recorder.keep_line(stream, 0.1 * i, Record(0.1 * i, "reading", "1 kg", value=1.0, unit="kg"))
    said = " ".join(capsys.readouterr().err.split())
    assert said.count("The stream is no longer stored") == 1
    assert "the disk is full" in said


def test_a_run_in_newton_does_not_go_on_in_counts(tmp_path: Path) -> None:
    bench = Bench(unit="counts")
    recorder, person = recorder_at(bench, tmp_path, head_for(closing=False), scale=_cell())
    person.extra = lambda p: "q" if recorder.state.run.readings else ""
    recorder.record()
    without, _ = recorder_at(bench, tmp_path, head_for(), resume=recorder.path)
    with pytest.raises(DataError, match="--scale"):
        refuse_another_kind(without.state, without.path, without.line, by_sweeps=False)
    again, _ = recorder_at(bench, tmp_path, head_for(), scale=_cell(), resume=recorder.path)
    refuse_another_kind(again.state, again.path, again.line, by_sweeps=False)


def test_silence_is_shown_instead_of_the_newest_value(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    recorder, _ = recorder_at(Bench(), tmp_path, head_for())
    work = HandsFree(recorder.state, recorder.line.meter, "strap", lambda pull: 0.0)
    work.feed(Record(0.0, "reading", "", value=1.0, unit="kg"), 0.0)
    for since, shown in ((1.0, "1 kg"), (30.0, "no reading for 30 s: power, cable")):
        capsys.readouterr()
        recorder.heard_s, recorder.drawn_s = recorder.line.listening.now() - since, -1.0
        recorder._draw(work, 0.0)
        assert shown in capsys.readouterr().err


def test_a_run_goes_on_in_the_way_it_was_begun(tmp_path: Path) -> None:
    for folder in ("held", "swept", "turned"):
        (tmp_path / folder).mkdir()
    held, _ = recorder_at(Bench(), tmp_path / "held", head_for())
    refuse_another_kind(held.state, held.path, held.line, by_sweeps=False)
    with pytest.raises(DataError, match="held lengths; leave --sweep and --speed out"):
        refuse_another_kind(held.state, held.path, held.line, by_sweeps=True)
    cell = {"grip": "hand", "sweep": True}
    head = replace(head_for(), extensions=head_for().extensions | {"cell": cell})
    swept, _ = recorder_at(Bench(), tmp_path / "swept", head)
    assert grip_of(swept.state.head, "strap") == "hand"
    with pytest.raises(DataError, match="by sweeps; give --sweep or --speed"):
        refuse_another_kind(swept.state, swept.path, swept.line, by_sweeps=False)
    turned, _ = recorder_at(Bench(turned=True), tmp_path / "turned", head_for(), turned=True)
    with pytest.raises(DataError, match="was recorded reversed; leave --reversed out"):
        refuse_another_kind(turned.state, turned.path, turned.line, by_sweeps=False)


def test_options_are_given_again_as_they_were_typed() -> None:
    options = {"--port": "/dev/a b", "--hand": True, "--baud": None, "--reversed": False, "--column": 2}
    assert as_typed(options) == " --port '/dev/a b' --hand --column 2"


def test_a_unit_changed_at_the_scale_is_said_and_converted_and_one_left_out_is_not_taken() -> None:
    rows = (Row(1, "zero", force=0.0, at_s=0.0),)
    work = HandsFree(Recording(head_for(), rows), Meter(step=0.01), "strap", lambda pull: 0.0, same_line=True)
    kilos = Record(0.0, "reading", "", value=10.0, unit="kg")
    pounds = Record(0.1, "reading", "", value=22.0462, unit="lb")
    assert work.feed(kilos, 0.0) == Act()
    said = work.feed(pounds, 0.1).say
    assert said == ("  The line is in lb now, in kg before: it is converted, and the hold starts again.",)
    assert work.feed(pounds, 0.2) == Act()
    assert work.value == pytest.approx(98.0665, rel=1e-5)
    act = work.feed(Record(0.3, "reading", "", counts=22.05), 0.3)
    assert "nothing is taken until it is set back" in act.say[0]
    assert work.value == pytest.approx(98.0665, rel=1e-5)


@dataclass
class _Turning(Bench):
    """A line that says which way the force goes: 8.5 kg T, and from one moment on 3.4 kg C."""

    def _line(self) -> bytes:
        felt = self.force() / G_STANDARD
        return b"%.3f kg T\r\n" % felt if self.t < 60.0 else b"%.3f kg C\r\n" % (0.4 * felt)


def test_a_question_that_comes_up_under_way_is_shown_and_nothing_is_recorded_meanwhile(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = _Turning()
    recorder, person = recorder_at(bench, tmp_path, quick_head())
    shown: list[str] = []
    monkeypatch.setattr(recorder.panel, "show", lambda rows: shown.append(rows[0]))
    monkeypatch.setattr(module, "REDRAW", -1.0)
    person.extra = lambda p: "q" if p.bench.t > 90.0 else ""
    recorder.record()
    assert any("not read: the lines have other words or signs" in row for row in shown)
    assert all((row.at_s or 0.0) < 61.0 for row in recorder.state.run.readings)
