"""Ports, addresses and captured files as sources of bytes: a real pseudo-terminal, a real socket, a real file."""

import errno
import grp
import random
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from serial import SerialException

from calib.acquire.cell.baud import Setting
from calib.acquire.cell.lines import Record
from calib.acquire.cell.listening import Listening
from calib.acquire.cell.port import Arrival, ByteSource, PortFound, find_ports, open_source
from calib.errors import FileError, UsageError
from tests.acquire.cell.cable import Cable
from tests.acquire.cell.kinds import KINDS
from tests.acquire.cell.network_port import NetworkPort

pytestmark = [pytest.mark.terminal, pytest.mark.slow]
STEADY = b"".join(b"%.3f kg\r\n" % (4.87 + 0.001 * (i * 7 % 5)) for i in range(15))
AT_9600 = Setting(9600)


@pytest.fixture
def cable(tmp_path: Path) -> Iterator[Cable]:
    cable = Cable(tmp_path / "cell")
    yield cable
    cable.pull()


def _until(source: ByteSource, kind: str, seconds: float = 5.0) -> tuple[Arrival, bytes]:
    """Read until an arrival of a kind, and the bytes before it."""
    data, end = b"", time.monotonic() + seconds
    while time.monotonic() < end:
        arrival = source.read(0.05)
        if arrival is not None and arrival.kind == kind:
            return arrival, data + arrival.data
        data += arrival.data if arrival else b""
    raise AssertionError(f"no {kind} within {seconds} s")


def _records(listening: Listening, seconds: float) -> list[Record]:
    end = time.monotonic() + seconds
    records: list[Record] = []
    while time.monotonic() < end and not listening.ended:
        records += listening.poll(0.02)
    return records


def test_bytes_come_with_their_time_and_silence_gives_nothing(cable: Cable) -> None:
    with open_source(str(cable.link)) as source:
        assert source.read(0.0) is None
        assert source.read(0.1) is None
        cable.send(b"12.3\n")
        arrival, data = _until(source, "data")
        assert data == b"12.3\n"
        assert 0.1 <= arrival.at_s <= source.now()


def test_pulling_the_plug_is_a_gap_and_plugging_it_in_goes_on(cable: Cable) -> None:
    with open_source(str(cable.link)) as source:
        cable.send(b"1\n")
        _until(source, "data")
        cable.pull()
        gap, _ = _until(source, "gap")
        assert gap.note
        assert source.read(0.7) is None  # away, and said once
        cable.plug()
        back, _ = _until(source, "back")
        assert back.at_s - gap.at_s > 0.7
        cable.send(b"2\n")
        assert _until(source, "data")[1] == b"2\n"


def test_what_came_before_the_plug_was_pulled_is_not_lost(cable: Cable) -> None:
    with open_source(str(cable.link)) as source:
        cable.send(b"1\n2\n3\n")
        time.sleep(0.05)
        first = source.read(0.5)
        cable.pull()
        assert first is not None
        assert first.data + _until(source, "gap")[1] == b"1\n2\n3\n"


def test_a_restart_a_gap_and_a_new_zero_are_asked_for_and_readings_go_on(cable: Cable) -> None:
    with open_source(str(cable.link), AT_9600) as source:
        listening = Listening(source, setting=AT_9600)
        cable.send(STEADY + b"4.8")
        before = _records(listening, 0.3)
        cable.pull()
        between = _records(listening, 0.3)
        assert listening.away
        cable.plug()
        between += _records(listening, 1.0)
        cable.send(b"7 kg\r\n" + STEADY)
        after = _records(listening, 0.3)
    assert [r.kind for r in before].count("reading") == 14  # the first line may be a half
    assert [(r.kind, r.raw) for r in between[:2]] == [("torn", "4.8"), ("reset", "")]
    assert "new zero" in between[-1].note
    assert [r.kind for r in after] == ["torn"] + 4 * ["reset"] + 11 * ["reading"]


def test_the_plug_pulled_at_forty_random_moments_makes_no_number_nobody_sent(
    cable: Cable, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("calib.acquire.cell.port.RETRY", 0.01)
    chance = random.Random(4)
    sent, got = list[float](), list[float]()
    with open_source(str(cable.link), AT_9600) as source:
        listening = Listening(source, setting=AT_9600)
        for _ in range(40):
            numbers = [chance.randint(100_000, 999_999) for _ in range(20)]
            sent += map(float, numbers)
            data = "".join(f"{number}\r\n" for number in numbers).encode()
            cable.send(data[: chance.randint(0, len(data))])
            got += [r.counts or 0.0 for r in _records(listening, chance.uniform(0.0, 0.05))]
            cable.pull()
            got += [r.counts for r in _records(listening, 0.03) if r.counts is not None]
            cable.plug()
            while listening.away:
                listening.poll(0.01)
    got = [number for number in got if number]
    assert len(got) > 100
    places = [sent.index(number) for number in got]  # none that was not sent
    assert places == sorted(set(places))  # none twice, none out of order


def test_nothing_is_ever_written_to_the_device(cable: Cable) -> None:
    with open_source(str(cable.link)) as source:
        listening = Listening(source)
        cable.send(b"\xff\xfe\x81\x93" * 200)  # every speed is tried
        _records(listening, 0.5)
        cable.send(STEADY)
        _records(listening, 0.3)
        source.set_line(Setting(2400, "7E1"))
    assert cable.received() == b""


def test_a_plain_socket_is_a_port_without_a_speed() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        name = f"socket://127.0.0.1:{server.getsockname()[1]}"
        with open_source(name) as source:
            assert not source.has_baud
            far, _ = server.accept()
            far.sendall(STEADY)
            assert _until(source, "data")[1] == STEADY
            far.close()
            _until(source, "gap")
            again = _until(source, "back")
            assert again[0].kind == "back"


def test_a_captured_file_is_the_same_stream_with_its_own_times(tmp_path: Path) -> None:
    kind = next(kind for kind in KINDS if kind.name == "clock-and-value")
    (tmp_path / "capture.txt").write_bytes(kind.stream())
    with open_source(str(tmp_path / "capture.txt"), rate="fast") as source:
        listening = Listening(source)
        records = _records(listening, 5.0)
    readings = [record for record in records if record.kind == "reading"]
    assert len(readings) == 44
    assert readings[-1].at_s == pytest.approx(4.4)  # the sender's clock counts 100 ms a line
    assert [r.counts for r in readings] == pytest.approx([kind.value(i) for i in range(1, 45)])


def test_a_captured_file_in_real_time_waits(tmp_path: Path) -> None:
    (tmp_path / "capture.txt").write_bytes(b"1\n2\n3\n4\n")
    begun = time.monotonic()
    with open_source(str(tmp_path / "capture.txt"), rate=20.0) as source:
        _until(source, "end")
    assert 0.14 < time.monotonic() - begun < 0.5


def _port(name: str, serial: str | None, location: str) -> PortFound:
    return PortFound(name, vid=0x1234, pid=1, serial_number=serial, location=location)


@pytest.mark.parametrize("serial", ["A1", None], ids=["with a serial number", "without one"])
def test_a_device_is_found_again_by_what_it_is_not_by_its_name(tmp_path: Path, serial: str | None) -> None:
    first, second = Cable(tmp_path / "first"), Cable(tmp_path / "second")
    other_serial = "B2" if serial else None
    ports = [_port(str(first.link), serial, "1-1"), _port(str(second.link), other_serial, "1-2")]
    with open_source(str(first.link), ports=lambda: tuple(ports)) as source:
        first.pull()
        _until(source, "gap")
        ports[:] = [_port(str(second.link), other_serial, "1-2")]
        assert source.read(1.2) is None  # another device, though of the same kind
        third = Cable(tmp_path / "third")
        ports.append(_port(str(third.link), serial, "1-3"))
        assert _until(source, "back")[0].note == str(third.link)
        third.send(b"7\n")
        assert _until(source, "data")[1] == b"7\n"
    for cable in (second, third):
        cable.pull()


def test_ports_that_are_there_are_listed_without_opening_any() -> None:
    assert all(port.name for port in find_ports())


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("nonesuch", "no such port"),
        (".", "not a serial port"),
        ("/dev/null", "not a serial port"),
        ("socket://127.0.0.1:1", "nobody answers"),
        ("socket://127.0.0.1", "looks like socket"),
        ("", "no such port"),
        ("x" * 5000, "no such port|cannot be opened"),
    ],
)
def test_what_cannot_be_opened_is_said_in_a_sentence(name: str, said: str) -> None:
    with pytest.raises(FileError, match=said):
        open_source(name)


def test_a_port_one_may_not_use_names_the_group_to_join(cable: Cable, monkeypatch: pytest.MonkeyPatch) -> None:
    target = cable.link.resolve()
    target.chmod(0o660)
    group = grp.getgrgid(target.stat().st_gid).gr_name
    refused = SerialException(errno.EACCES, "could not open port")  # whoever runs the tests may be allowed everything

    def refuse(*_: object) -> None:
        raise refused

    monkeypatch.setattr("calib.acquire.cell.port._open", refuse)
    with pytest.raises(FileError, match=rf"not allowed.*group {group}"):
        open_source(str(cable.link))


_HOLD = "import serial, sys; p = serial.Serial(sys.argv[1], exclusive={}, timeout=0.2); print('open', flush=True);"


def test_a_port_another_program_holds_is_said_with_its_name(cable: Cable) -> None:
    code = _HOLD.format("True") + "sys.stdin.read()"
    command = [sys.executable, "-c", code, str(cable.link)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other:
        assert other.stdout is not None
        other.stdout.readline()
        with pytest.raises(FileError, match=rf"in use by .*process {other.pid}"):
            open_source(str(cable.link))
        other.communicate()


def test_a_second_reader_costs_lines_but_never_the_program(cable: Cable) -> None:
    code = _HOLD.format("None") + "\nwhile True: p.read(7)"
    command = [sys.executable, "-c", code, str(cable.link)]
    with open_source(str(cable.link), AT_9600) as source:
        listening = Listening(source, setting=AT_9600)
        cable.send(STEADY)
        _records(listening, 0.2)
        with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as thief:
            assert thief.stdout is not None
            thief.stdout.readline()
            records: list[Record] = []
            for _ in range(60):
                cable.send(STEADY[:50])
                time.sleep(0.01)
                records += listening.poll(0.02)
            assert str(thief.pid) in source.shared_with()
            thief.terminate()
        assert sum(record.kind == "reading" for record in records) < 60 * 5
        _records(listening, 1.2)
        cable.send(STEADY + STEADY)
        after = _records(listening, 0.3)
        assert not source.shared_with()
        assert sum(record.kind == "reading" for record in after) >= 20


def test_an_address_of_another_kind_is_wrong_usage() -> None:
    with pytest.raises(UsageError, match="socket://"):
        open_source("spy:///dev/ttyUSB0")


@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")
@pytest.mark.parametrize("sender", [Setting(9600), Setting(2400, "7E1")], ids=str)
def test_a_speed_is_found_over_the_network_without_a_byte_written_or_the_board_restarted(sender: Setting) -> None:
    with NetworkPort(sender, b"ST,GS,+  4.876kg\r\n") as far, open_source(far.name) as source:
        assert source.has_baud
        opened = len(far.control_lines)
        assert opened
        listening = Listening(source)
        records: list[Record] = []
        while listening.setting is None and source.now() < 20:
            records += listening.poll(0.05)
        while sum(record.kind == "reading" for record in records) < 12 and source.now() < 20:
            records += listening.poll(0.05)
        assert listening.setting == sender
        assert {(r.value, r.unit, r.stable) for r in records if r.kind == "reading"} == {(4.876, "kg", True)}
        assert len(far.settings) > 1
        assert far.control_lines[opened:] == []  # changing the speed does not touch the lines that restart a board
        assert all(state for _, state in far.control_lines)
    assert far.written == b""
