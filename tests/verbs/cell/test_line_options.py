"""A line that only its user can explain, a device that has to be asked, a length on a second port, the first value."""

import re
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from calib.acquire.cell.line_format import Chosen, LineFormat, parse_pattern
from calib.acquire.cell.listening import Listening
from calib.acquire.cell.port import open_source
from calib.errors import UsageError
from calib.scale import Scale
from calib.use.cell.kept_line import kept_format, with_line
from calib.verbs.app import run
from calib.verbs.cell.length_line import length_line
from calib.verbs.cell.readings_csv import asked_of
from tests.acquire.cell.cable import Cable
from tests.verbs.pseudo_terminal import Terminal

PATTERN = "{any}kg={value kg}"
ODD = "node 7 / raw {} / kg={:.2f}\r\n"  # without the pattern two numbers may be the force
SOON_S = 2.0
BOARDS = {
    "kilograms": lambda i: f"{12.3 + i % 3 / 100:.2f} kg\r\n",
    "counts": lambda i: f"{84210 + i % 3}\r\n",
    "clock and newton": lambda i: f"{100 * i},{120.4 + i % 3 / 10:.1f} N\r\n",
    "a frame": lambda i: f"\x02+{12.3 + i % 3 / 100:07.2f}kgG\x03",
    "a checksum": lambda i: _starred(f"P,{12.3 + i % 3 / 100:.2f},kg"),
}


def _starred(text: str) -> str:
    check = 0
    for byte in text.encode():
        check ^= byte
    return f"{text}*{check:02X}\r\n"


@contextmanager
def _printing(cable: Cable, line: Callable[[int], str], *, asked: bytes = b"") -> Iterator[list[float]]:
    """A board that prints ten lines a second, or one for each time it is asked; gives when it began."""
    ended, begun = threading.Event(), list[float]()

    def work() -> None:
        for i in range(100_000):
            while asked and not ended.is_set() and asked not in cable.received():
                ended.wait(0.02)
            if ended.wait(0.0 if asked else 0.1):
                return
            begun.append(time.monotonic())
            cable.send(line(i).encode())

    board = threading.Thread(target=work)
    board.start()
    try:
        yield begun
    finally:
        ended.set()
        board.join()
        cable.pull()


@pytest.mark.parametrize("name", BOARDS)
def test_the_first_value_comes_within_two_seconds_of_the_first_line(name: str, tmp_path: Path) -> None:
    cable = Cable(tmp_path / "cell")
    with _printing(cable, BOARDS[name]) as begun, open_source(str(cable.link)) as source:
        listening = Listening(source)
        while not any(record.kind == "reading" for record in listening.poll(0.05)):
            assert not begun or time.monotonic() - begun[0] < 5 * SOON_S, "no value comes"
        assert time.monotonic() - begun[0] <= SOON_S


def test_a_pattern_is_kept_in_the_scale_s_file_and_used_from_there(tmp_path: Path) -> None:
    fields = {"format": "bandcurve-scale/1", "id": "cell", "kind": "load-cell", "resolution_N": 0.01}
    kept = with_line(Scale.model_validate(fields), parse_pattern(PATTERN), None)
    form = kept_format(kept)
    assert form == parse_pattern(PATTERN)
    assert form is not None and LineFormat.from_document(form.document()) == form


def _until(terminal: Terminal, pattern: str) -> str:
    end = time.monotonic() + 60.0
    while time.monotonic() < end and not re.search(pattern, terminal.all_text):
        terminal.read_some(0.2)
    return terminal.all_text


@pytest.mark.parametrize("command", ["record", "check", "asked"])
def test_record_and_scale_check_take_a_pattern_and_a_question_for_the_device(command: str, tmp_path: Path) -> None:
    gear = ["--kind", "load-cell", "--resolution", "0.01kg", "--capacity", "100kg"]
    assert run(["scale", "new", "cell", *gear, "-o", str(tmp_path)]) == 0
    cable = Cable(tmp_path / "cell")
    options = ["--port", str(cable.link), "--baud", "115200", "--pattern", PATTERN]
    options += ["--ask", "R\\r"] if command == "asked" else []
    words = ["record", "T1", "--flat", "1029mm"] if command == "record" else ["scale", "check", "cell.scale.json"]
    asked = b"R\r" if command == "asked" else b""
    with _printing(cable, lambda i: ODD.format(302981 + i, 24.3 + i % 3 / 100), asked=asked):
        terminal = Terminal([*words, *options], tmp_path)
        said = _until(terminal, r"lines like '\{any\}kg=\{value kg\}', in kg; [\d.]+ readings a second")
        terminal.interrupt()
        terminal.wait()
    assert "lines like '{any}kg={value kg}', in kg" in said
    assert ("this WRITES 'R\\\\r'" in said.replace("\n", "")) is (command == "asked")


def test_what_is_asked_of_a_device_needs_its_speed_and_a_port() -> None:
    with pytest.raises(UsageError, match="--ask needs --baud"):
        asked_of("R", "/dev/ttyUSB0", None)
    for option in (["--ask", "R"], ["--pattern", PATTERN]):
        assert run(["record", "B07", *option]) == 2


@pytest.mark.parametrize("line", ["{:.1f} mm", "dist={:.1f} mm", "{:.1f}", '{{"length_mm": {:.1f}}}'])
def test_a_length_sensor_on_a_port_of_its_own_is_read_in_whatever_it_prints(line: str, tmp_path: Path) -> None:
    cell, cable = Cable(tmp_path / "cell"), Cable(tmp_path / "length")
    with _printing(cable, lambda i: line.format(1404.2 + i % 3 / 10) + "\r\n"), open_source(str(cell.link)) as source:
        with length_line(str(cable.link), Listening(source)) as sensor:
            seen: list[float] = []
            end = time.monotonic() + 20.0
            while len(seen) < 5 and time.monotonic() < end:
                seen += [n for r in sensor.listening.poll(0.05) if (n := sensor.number(r)) is not None]
        cell.pull()
    assert seen[:5] == pytest.approx([1404.3] * 5, abs=0.11)


def test_a_force_is_never_a_length() -> None:
    from calib.acquire.cell.line_agreement import LineReader

    reader = LineReader(Chosen(quantity="length"))
    lines = "".join(f"{24.3 + i % 3 / 100:.2f} kg {1404 + i % 3} mm\r\n" for i in range(30))
    readings = [record for record in reader.feed(lines.encode(), 0.0) if record.kind == "reading"]
    assert {record.counts for record in readings} == {1404.0, 1405.0, 1406.0}
