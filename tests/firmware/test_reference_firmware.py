"""The reference firmware, compiled and run on an emulated board, says what the parser reads, and loses nothing.

The limits of the clock pulse are those of the data sheet of such a converter (Avia Semiconductor, HX711, page 5, table
under figure 2: PD_SCK high 0.2 to 50 us; figure 3: from 60 us on it powers down).
"""

import time
from collections import Counter

import numpy as np
import pytest
import serial

from calib.acquire.cell.line_agreement import LineReader
from calib.acquire.cell.lines import Record
from tests.firmware.fake_board import said
from tests.firmware.harness import said_by_firmware, start
from tests.firmware.script import SETTLE, Event, Hold, Pull, Script

pytestmark = pytest.mark.usefixtures("emulator")

PULL = Pull([Hold(50.0, for_s=6), Hold(90.0, for_s=6)], rest_s=1)
RATES = [10, 80]


def _records(data: bytes) -> list[Record]:
    reader = LineReader()
    return reader.feed(data, 0.0) + reader.finish(0.0)


def _of(records: list[Record], kind: str) -> list[Record]:
    return [record for record in records if record.kind == kind]


def _status(record: Record) -> tuple[str, str]:
    """Counts and status of a line, as it printed them."""
    _, _, counts, rest = record.raw.split(",")
    return counts, rest.split("*")[0]


def _texts(data: bytes) -> list[tuple[str, str]]:
    """Counts and status of each line that is no comment."""
    lines = [line for line in data.decode().split("\r\n") if line and not line.startswith("#")]
    return [(line.split(",")[2], line.split(",")[3].split("*")[0]) for line in lines]


@pytest.mark.parametrize(("rate", "per_newton"), [(10, 1097), (11.3, 1097), (80, 1097), (80, -1097), (92, 1097)])
def test_every_conversion_is_read_as_it_was_made_and_stamped_within_two_milliseconds(
    rate: float, per_newton: float
) -> None:
    script = Script(PULL, 14, counts_per_newton=per_newton)
    data, report = said_by_firmware(script, rate)
    made: dict[int, list[float]] = {}
    for conversion in script.conversions(rate):
        made.setdefault(conversion.counts, []).append(conversion.at_s)
    readings = _of(_records(data), "reading")
    assert len(readings) >= 14 * rate - SETTLE - 2
    for reading in readings:
        clock = int(reading.raw.split(",")[0]) / 1000
        assert reading.counts is not None
        assert min(abs(clock - at) for at in made[int(reading.counts)]) < 0.002
    assert (report.missed, report.broken, report.lost) == (0, 0, 0)
    assert (report.switched_off, report.starts) == (1, 1)
    assert report.longest_pulse_us <= 50
    assert report.shortest_pulse_cycles >= 0.2 * 16


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize(
    ("kind", "words"), [("reset", "reset button or opened port"), ("brown-out", "brown-out"), ("hang-up", "power")]
)
def test_a_board_that_starts_again_says_why_and_its_settling_is_no_reading(kind: str, words: str, rate: float) -> None:
    script = Script(PULL, 14, [Event(7.0333, kind, 1.0 if kind == "hang-up" else 0.0)])  # type: ignore[arg-type]
    records = _records(said_by_firmware(script, rate)[0])
    reset = _of(records, "reset")
    assert f"# started by: {words}" in {record.raw for record in reset}
    assert {conversion.counts for conversion in script.conversions(rate)} >= {r.counts for r in _of(records, "reading")}
    assert not _of(records, "fault") + _of(records, "overload")
    lost = 14 * rate - len(_of(records, "reading"))
    assert lost <= 4 * SETTLE + (1.1 if kind == "hang-up" else 0.1) * rate


@pytest.mark.parametrize("rate", RATES)
def test_a_dead_converter_is_a_fault_once_a_second_and_never_a_number(rate: float) -> None:
    script = Script(PULL, 14, [Event(6, "dead", 4.5)])
    records = _records(said_by_firmware(script, rate)[0])
    faults = _of(records, "fault")
    assert [_status(record) for record in faults] == [("", "no response")] * 4
    clocks = [int(record.raw.split(",")[0]) / 1000 for record in faults]
    assert clocks == pytest.approx([7, 8, 9, 10], abs=0.15)
    assert {conversion.counts for conversion in script.conversions(rate)} >= {r.counts for r in _of(records, "reading")}


@pytest.mark.parametrize("rate", RATES)
def test_a_data_wire_at_ground_is_a_wiring_fault_and_never_a_number(rate: float) -> None:
    script = Script(PULL, 14, [Event(6.03, "stuck", 2.5)])
    records = _records(said_by_firmware(script, rate)[0])
    assert {_status(record)[1] for record in _of(records, "fault")} == {"wiring fault"}
    assert len(_of(records, "fault")) == 3
    assert {conversion.counts for conversion in script.conversions(rate)} >= {r.counts for r in _of(records, "reading")}


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("force", [9000.0, -9000.0])
def test_a_cell_beyond_its_range_is_an_overload_and_never_a_number(force: float, rate: float) -> None:
    script = Script(lambda at: np.where((at > 5) & (at < 7), force, 50.0), 10)
    records = _records(said_by_firmware(script, rate)[0])
    overloads = _of(records, "overload")
    assert len(overloads) == pytest.approx(2 * rate, abs=1)
    assert {_status(record)[1] for record in overloads} == {"saturated"}
    assert {_status(record)[0] for record in overloads} == {"8388607" if force > 0 else "-8388608"}
    assert len(_of(records, "reading")) >= 8 * rate - SETTLE - 2


def test_the_same_script_gives_the_same_bytes_every_time() -> None:
    script = Script(PULL, 14, [Event(3, "reset"), Event(6, "dead", 2.5)])
    assert said_by_firmware(script, 80) == said_by_firmware(script, 80)


@pytest.mark.parametrize("rate", RATES)
def test_the_board_in_plain_python_says_the_same_counts_and_statuses(rate: float) -> None:
    events = [Event(3.0333, "reset"), Event(5.0333, "dead", 2.5), Event(8, "saturation", 0.5), Event(10, "hang-up", 1)]
    script = Script(PULL, 14, events)
    firmware = _texts(said_by_firmware(script, rate)[0])
    python = _texts(b"".join(piece.data or b"" for piece in said(script, rate)))
    assert Counter(status for _, status in firmware)["no response"] == 2
    assert [line for line in firmware if line[1] != "settling"] == [line for line in python if line[1] != "settling"]
    assert len(firmware) == pytest.approx(len(python), abs=3)  # a conversion during a start may be missed or not


@pytest.mark.terminal
@pytest.mark.parametrize("where", ["pty", "tcp"])
def test_a_port_gives_the_same_bytes_and_counts_what_is_written_to_the_board(where: str) -> None:
    script = Script(PULL, 14)
    data, _ = said_by_firmware(script, 80)
    with start(script, 80, paced=False, where=where) as board:  # type: ignore[arg-type]
        with serial.serial_for_url(board.port, timeout=5) as port:
            assert port.read(len(data)) == data
            assert board.finished()
        report = board.stop()
    assert (report.said, report.written_to, report.lost) == (len(data), 0, 0)
    with start(script, 80, paced=False) as board, serial.serial_for_url(board.port, timeout=5) as port:
        port.write(b"x\n")
        port.read(len(data))
        assert board.finished()
        assert board.stop().written_to == 2


@pytest.mark.terminal
def test_a_pulled_cable_ends_the_port_and_the_board_starts_again_when_it_is_back() -> None:
    with start(Script(PULL, 4, [Event(0.7, "hang-up", 0.3)]), 80, paced=True) as board:
        reader = LineReader()
        records = []
        port = serial.Serial(board.port, timeout=0.2, exclusive=True)
        begun = time.monotonic()
        with pytest.raises((serial.SerialException, OSError)):
            while time.monotonic() < begun + 3:
                records += reader.feed(port.read(port.in_waiting or 1), 0.0)
        assert time.monotonic() - begun == pytest.approx(0.7, abs=0.4)
        port.close()
        time.sleep(0.5)
        with serial.Serial(board.port, timeout=0.2, exclusive=True) as again:
            for _ in range(20):
                records += reader.feed(again.read(again.in_waiting or 20), 0.0)
        report = board.stop()
    assert [record for record in records if record.note == "settling after a restart"]
    assert report.starts == 2
    assert report.lost > 0  # what it said while nobody listened


@pytest.mark.terminal
def test_a_board_that_resets_when_its_port_is_opened_does_so_at_each_opening() -> None:
    with start(Script(PULL, 14), 80, paced=True, resets_when_opened=True) as board:
        for _ in range(2):
            with serial.Serial(board.port, timeout=1.0) as port:
                port.read(300)
            time.sleep(0.1)
        with serial.Serial(board.port, timeout=1.0) as port:
            assert b"# started by: reset button or opened port" in port.read(300)
        assert board.stop().starts == 3
