"""The board in plain Python: its lines are those the parser reads, and its port behaves like one."""

import time

import numpy as np
import pytest
import serial

from calib.acquire.cell.line_agreement import LineReader
from calib.acquire.cell.lines import Record
from tests.firmware.fake_board import FakeBoard, said
from tests.firmware.script import T_REF, Event, Hold, Pull, Script, by_hand


def _records(script: Script, rate: float) -> list[Record]:
    reader = LineReader()
    records = [record for piece in said(script, rate) if piece.data for record in reader.feed(piece.data, piece.at_s)]
    return records + reader.finish(script.duration_s)


def test_a_pull_has_the_stated_force_at_the_stated_time_after_it_stopped() -> None:
    pull = Pull([Hold(60.0), Hold(100.0, b=-0.05), Hold(40.0, b=0.02)])
    for held in pull.held():
        at = np.array([held.stopped_s + T_REF, held.stopped_s + T_REF / 10])
        assert pull(at) == pytest.approx([held.hold.force, held.hold.force * (1 - held.hold.b)])
    steps = np.abs(np.diff(pull(np.arange(0, pull.duration_s(), 0.001))))
    assert steps.max() < 0.25  # no jump anywhere: a ramp of 60 N/s goes 0.06 N in a millisecond


def test_a_hand_sways_as_much_as_asked_and_hangs_together_over_a_quarter_of_a_second() -> None:
    at = np.arange(0, 400, 0.0125)
    moving = by_hand(lambda t: np.full_like(t, 100.0), seed=3)(at) / 100 - 1
    assert moving.std() == pytest.approx(np.hypot(0.012, 0.003), rel=0.1)
    assert np.corrcoef(moving[:-20], moving[20:])[0, 1] > 0.5


@pytest.mark.parametrize("rate", [10, 80])
def test_its_lines_are_read_and_each_event_is_seen_as_what_it_is(rate: float) -> None:
    events = [Event(3, "reset"), Event(6, "dead", 2.5), Event(10, "saturation", 0.5), Event(12, "hang-up", 1)]
    records = _records(Script(Pull([Hold(50.0, for_s=10)]), 16, events), rate)
    kinds = {kind: [record for record in records if record.kind == kind] for kind in ("fault", "overload", "reset")}
    assert {record.raw.split(",")[3].split("*")[0] for record in kinds["fault"]} == {"no response"}
    assert len(kinds["overload"]) == round(0.5 * rate)
    assert [record.raw for record in kinds["reset"] if "started by" in record.raw] == [
        "# started by: reset button or opened port",
        "# started by: power",
    ]
    assert not [record for record in records if record.note == "no format found"]


@pytest.mark.terminal
def test_the_port_vanishes_with_the_cable_and_comes_back_under_its_name() -> None:
    script = Script(Pull([Hold(50.0)]), 60, [Event(0.5, "hang-up", 0.4)])  # longer than a busy computer takes
    with FakeBoard(script, 80, paced=True) as board:
        port = serial.Serial(board.port, timeout=0.2, exclusive=True)
        with pytest.raises((serial.SerialException, OSError)):
            while True:
                assert isinstance(port.read(port.in_waiting or 1), bytes)
        port.close()
        time.sleep(0.5)
        with serial.Serial(board.port, timeout=20, exclusive=True) as again:
            assert len(again.read(600)) == 600
        assert board.written_to == b""


@pytest.mark.terminal
def test_unpaced_nothing_is_lost() -> None:
    script = Script(Pull([Hold(50.0)]), 120)
    whole = b"".join(piece.data or b"" for piece in said(script, 80))
    with FakeBoard(script, 80, paced=False) as board, serial.Serial(board.port, timeout=60) as port:
        assert port.read(len(whole)) == whole
