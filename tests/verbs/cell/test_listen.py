"""`bandcurve listen`, run as a user would: on a captured file, on a pseudo-terminal, in a pipe."""

import json
import os
import re
import select
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from calib.acquire.cell.baud import Setting
from calib.acquire.cell.lines import Record
from calib.acquire.cell.listening import Listening
from calib.acquire.cell.port import ByteSource, PortFound, open_source
from calib.scale import Scale
from calib.units import G_STANDARD
from calib.use.cell.cell_line import LineWanted, open_line
from calib.use.cell.line_news import LineNews
from calib.use.cell.reading_line import line_schema
from calib.verbs.app import run
from calib.verbs.cell.listen_screen import Screen
from calib.verbs.cell.listen_words import ports_text
from calib.verbs.terminal.big_text import HIGH
from tests.acquire.cell.cable import Cable
from tests.acquire.cell.kinds import BANNER, KINDS, LineOfAKind
from tests.acquire.cell.uart import on_the_wire
from tests.verbs.pseudo_terminal import Terminal

STEADY = b"".join(b"%.3f kg\r\n" % (4.87 + 0.001 * (i * 7 % 5)) for i in range(15))
TWO_VALUES = next(kind for kind in KINDS if kind.name == "two-values")


@pytest.fixture
def cable(tmp_path: Path) -> Iterator[Cable]:
    cable = Cable(tmp_path / "cell")
    yield cable
    cable.pull()


def _capture(tmp_path: Path, data: bytes) -> str:
    path = tmp_path / "capture.txt"
    path.write_bytes(data)
    return str(path)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_every_kind_of_line_is_one_json_object_a_record(
    kind: LineOfAKind, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    column = ["--column", str(kind.column)] if kind.column else []
    assert run(["listen", _capture(tmp_path, kind.stream()), "--rate", "fast", "--json", *column]) == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert run(["schema", "line"]) == 0
    schema = Draft202012Validator(json.loads(capsys.readouterr().out))
    assert not [error.message for line in lines for error in schema.iter_errors(line)]
    assert {"format", "at_s", "kind", "stable", "raw"} <= lines[0].keys() <= line_schema()["properties"].keys()
    assert list(schema.iter_errors({**lines[0], "kind": "reading", "value": 1.0, "unit": "kg", "counts": 1.0}))
    readings = [line for line in lines if line["kind"] == "reading"]
    assert len(readings) >= 44  # the first line of all may be a half
    assert {line["kind"] for line in lines} <= {"reading", "unknown"}
    assert all(set(line) >= {"at_s", "kind", "stable", "raw"} for line in lines)
    last = readings[-1]
    assert (last["value"] if kind.unit else last["counts"]) == pytest.approx(kind.value(44))
    assert (last.get("unit"), last["stable"]) == (kind.unit, kind.stable)


def test_what_it_printed_replays_with_the_same_times(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["listen", _capture(tmp_path, KINDS[3].stream()), "--rate", "fast", "--json"]) == 0
    first = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    again = tmp_path / "again.jsonl"
    again.write_text("\n".join(map(json.dumps, first)) + "\n")
    assert run(["listen", str(again), "--rate", "fast", "--json"]) == 0
    assert [json.loads(line) for line in capsys.readouterr().out.splitlines()] == first


@pytest.mark.parametrize("wide", [80, 100, 120])
@pytest.mark.parametrize("high", [24, 25, 30, 40])
def test_the_screen_keeps_its_foot_whatever_has_to_be_wrapped(
    wide: int, high: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(shutil, "get_terminal_size", lambda fallback=(80, 24): os.terminal_size((wide, high)))
    pulled = b"".join(b"ST,GS,%+08.3fkg\r\n" % (0.231 * i) for i in range(60))
    with open_source(_capture(tmp_path, pulled), None, rate="fast") as source:
        listening = Listening(source)
        screen = Screen(listening, lambda record: record)
        while not listening.ended:
            for record in listening.poll(0.1):
                screen._take(record)
        screen._draw()
    shown = capsys.readouterr().out.rpartition("\x1b[H")[2].partition("\x1b[J")[0].split("\r\n")
    rows = [row.replace("\x1b[K", "") for row in shown]
    assert len(rows) < high
    assert rows[-1] == "q ends"
    assert any("-30 s" in row for row in rows)
    assert sum("\N{FULL BLOCK}" in row for row in rows) >= HIGH
    assert all(len(row) < wide for row in rows)


def test_a_failing_stream_ends_with_one_line_that_says_why(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    faults = b"".join(b"%.2f kg\r\n" % (4 + i * 7 % 5 / 100) for i in range(20)) + b"".join(
        b"left %.1f right %.1f\r\n" % (12 + i * 7 % 5 / 10, 14 + i * 11 % 7 / 10) for i in range(200)
    )
    for name in (_capture(tmp_path, faults), str(tmp_path / "none.txt")):
        assert run(["listen", name, "--rate", "fast", "--json"]) == 1
        told = capsys.readouterr()
        lines = [json.loads(line) for line in told.out.splitlines()]
        assert [line["format"] for line in lines[:-1]] == ["bandcurve-line/1"] * (len(lines) - 1)
        assert lines[-1]["format"] == "bandcurve-answer/1"
        assert lines[-1]["error"]["what"] in told.err
    assert run(["listen", _capture(tmp_path, faults[:-2000]), "--rate", "fast", "--json", "--column", "1x"]) == 2
    assert "error" in json.loads(capsys.readouterr().out)


def test_a_question_ends_it_with_the_option_that_answers(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["listen", _capture(tmp_path, TWO_VALUES.stream()), "--rate", "fast"]) == 1
    said = capsys.readouterr().err
    assert re.search(r"bandcurve: .*capture.txt: more than one column .* 1 .* 2 .*--column", said.replace("\n", " "))


def test_a_file_without_a_reading_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["listen", _capture(tmp_path, b"hello\nworld\n" * 10), "--rate", "fast"]) == 1
    assert "no reading" in capsys.readouterr().err


@pytest.mark.parametrize(
    "data, said",
    [
        (b"12.3 kg\n", "too few lines arrived to tell what they mean: 1; about ten"),
        (b"".join(b"%d,8388607\n" % (100 * i) for i in range(60)), "only: full-scale code of the converter"),
        (b"".join(b"%d,1e400 kg,ok\n" % (100 * i) for i in range(20)), "only: 1900,1e400 kg,ok"),
        (b"".join(b"%d,%d,ok\n" % (100 * i, 10**30) for i in range(20)), f"only: 1900,{10**30},ok"),
    ],
)
def test_why_a_file_is_without_a_reading_is_said(
    data: bytes, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["listen", _capture(tmp_path, data), "--rate", "fast"]) == 1
    assert said in " ".join(capsys.readouterr().err.split())


@pytest.mark.parametrize(
    "options",
    [["--baud", "fast"], ["--baud", "9600-6O2"], ["--rate", "0"], ["--format", "stones"], ["--column", "0"],
     ["--column", "1", "--format", "value kg"], ["--for", "-1"], ["--keep"]],
)  # fmt: skip
def test_an_option_that_cannot_be_read_is_wrong_usage(options: list[str], tmp_path: Path) -> None:
    assert run(["listen", _capture(tmp_path, STEADY), *options]) == 2


def test_ports_are_listed_without_a_name(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["listen", "--json"]) == 0
    assert isinstance(json.loads(capsys.readouterr().out)["ports"], list)
    assert run(["listen"]) == 0
    assert capsys.readouterr().out


def test_a_second_reader_is_blamed_before_the_supply(cable: Cable) -> None:
    with open_source(str(cable.link)) as source:
        listening = Listening(source)
        talk = LineNews(listening)
        for at_s in (1.0, 2.0, 3.0):
            talk.figures.add(Record(at_s, "reading", "1", counts=1.0))
            talk.figures.add(Record(at_s + 0.5, "reset", ""))
        assert "supply" in talk.trouble()
        listening.last_gap = "another program (cat) reads from the port too"
        assert "(cat) reads from the port too; close that program" in talk.trouble()


def test_the_format_found_is_kept_in_the_scale_s_file_and_used_again(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "cell.scale.json"
    scale = {"format": "bandcurve-scale/1", "id": "cell", "kind": "load-cell", "resolution_N": 0.05}
    counts = {"zero_N": 1.0, "per_count_N": -0.002}
    file.write_text(json.dumps(scale | {"counts": counts, "extensions": {"line": {"reversed": True}}}))
    kept = ["--scale", str(file), "--rate", "fast", "--json"]
    assert run(["listen", _capture(tmp_path, TWO_VALUES.stream()), *kept, "--column", "1", "--keep"]) == 0
    line = json.loads(file.read_text())["extensions"]["line"]
    assert line["said"] == "column 1 is the force, column 2 not used, in counts (the line names no unit)"
    assert line["reversed"]
    capsys.readouterr()
    assert run(["listen", _capture(tmp_path, TWO_VALUES.stream()), *kept]) == 0  # nothing is asked any more
    last = json.loads(capsys.readouterr().out.splitlines()[-1])
    assert last["counts"] == pytest.approx(round(TWO_VALUES.value(44), 1))
    assert last["force_N"] == pytest.approx(1.0 - 0.002 * last["counts"])


@pytest.mark.parametrize("form", ["x", {"roles": ["value", "value"]}, {"roles": ["value"], "unit": "stone"}, {}])
def test_a_spoilt_format_in_a_scale_s_file_is_said_with_its_place(
    form: object, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "cell.scale.json"
    scale = {"format": "bandcurve-scale/1", "id": "cell", "kind": "load-cell", "resolution_N": 0.05}
    file.write_text(json.dumps(scale | {"extensions": {"line": {"format": form}}}))
    assert run(["listen", _capture(tmp_path, STEADY), "--scale", str(file)]) == 1
    assert "scale cell: extensions.line.format: is not a line format" in capsys.readouterr().err


def test_a_wrong_speed_that_was_given_is_said(tmp_path: Path) -> None:
    garbage = on_the_wire(KINDS[3].stream(200), Setting(9600), Setting(38400))
    (tmp_path / "cell").write_bytes(garbage)
    with open_source(str(tmp_path / "cell"), rate="fast") as source:
        source.has_baud = True  # played as if from a port
        listening = Listening(source, setting=Setting(38400))
        talk = LineNews(listening)
        while not listening.ended:
            for record in listening.poll(0.0):
                talk.figures.add(record)
    assert talk.trouble() == "What comes at 38400 8N1 is not text: leave out --baud to let the speed be found."


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (b"# no response\n", "Many lines are faults: no response. Check converter, cell and wires"),
        (b"4.8\x00~\n", "a wrong speed or format (--baud, --format)"),
    ],
)
def test_many_lines_that_are_no_readings_are_said_with_their_cause(
    line: bytes, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A board that names its fault is read right: another speed would not correct it."""
    steady = b"".join(b"%d,%d,ok\n" % (100 * i, 8421 + i % 3) for i in range(40))
    mixed = b"".join(b"%d,%d,ok\n" % (4000 + 100 * i, 8421 + i % 3) + (line if i % 2 else b"") for i in range(150))
    assert run(["listen", _capture(tmp_path, steady + mixed), "--rate", "fast"]) == 0
    told = re.sub(r"\s+", " ", capsys.readouterr().err)
    assert said in told
    assert told.count("Many lines are") == 1


def test_a_format_that_no_line_fits_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = _capture(tmp_path, TWO_VALUES.stream())
    assert run(["listen", file, "--rate", "fast", "--format", "clock, value kg, other"]) == 1
    assert "No line fits the format given" in capsys.readouterr().err


def test_ports_are_listed_with_all_that_is_known() -> None:
    plain = PortFound("/dev/ttyS0")
    board = PortFound("/dev/ttyUSB0", "USB Serial", 0x1234, 0x00AB, "A7", "1-2", "Invented Works", "/dev/by-id/a7")
    refused = PortFound("/dev/ttyUSB1", vid=1, pid=2, trouble="no permission: group dialout")
    text = ports_text((plain, board, refused))
    for wanted in ("USB Serial, Invented Works", "1234:00ab", "A7", "/dev/by-id/a7", "no permission: group dialout"):
        assert wanted in text
    assert text.endswith("Next:\n  bandcurve listen /dev/ttyUSB0")
    assert "data, not only power" in ports_text(())


@pytest.mark.terminal
def test_a_closed_pipe_ends_it_quietly(cable: Cable) -> None:
    command = [sys.executable, "-m", "calib", "listen", str(cable.link), "--json", "--for", "20"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as program:
        assert program.stdout is not None
        assert program.stderr is not None
        end = time.monotonic() + 20
        while program.poll() is None and time.monotonic() < end:
            cable.send(STEADY)
            if not program.stdout.closed and select.select([program.stdout], [], [], 0.05)[0]:
                program.stdout.close()
            time.sleep(0.05)
        assert program.poll() == 0, program.stderr.read()
        assert "Traceback" not in program.stderr.read()


@pytest.mark.terminal
def test_the_screen_shows_the_value_and_q_ends_it(cable: Cable, tmp_path: Path) -> None:
    terminal = Terminal(["listen", str(cable.link)], tmp_path)
    try:
        _shown(terminal, cable, "4.87", STEADY)
        terminal.press(b"q")
        assert terminal.wait() == 0
        assert "one number a line, in kg" in terminal.all_text
        assert "Heard:" in terminal.all_text
        assert cable.received() == b""
    finally:
        terminal.close()


def _shown(terminal: Terminal, cable: Cable, wanted: str, data: bytes = b"") -> None:
    """Send until something is on the screen that was not there before."""
    begin, end = len(terminal.all_text), time.monotonic() + 20
    while wanted not in terminal.all_text[begin:]:
        assert time.monotonic() < end, terminal.all_text[begin:]
        if data:
            cable.send(data)
        terminal.read_some(0.1)


@pytest.mark.terminal
def test_a_pulled_plug_and_a_board_that_starts_again_and_again_are_said(cable: Cable, tmp_path: Path) -> None:
    terminal = Terminal(["listen", str(cable.link)], tmp_path)
    try:
        _shown(terminal, cable, "4.87", STEADY)
        cable.pull()
        _shown(terminal, cable, "GONE")
        cable.plug()
        _shown(terminal, cable, "4.87", STEADY)
        for _ in range(3):
            cable.send(BANNER + STEADY)
            _shown(terminal, cable, "4.87")
        terminal.press(b"q")
        assert terminal.wait() == 0
        assert "keeps restarting" in terminal.all_text
    finally:
        terminal.close()


@pytest.mark.parametrize(
    ("line", "scale_step", "step_n"),
    [("ST,GS,+0000.00kg", None, 0.01), ("ST,GS,+0000.0kg", None, 0.1), ("ST,GS,+0000.00kg", 0.49, 0.05)],
)
def test_a_scale_that_rests_at_nought_shows_its_step_in_its_places(
    line: str, scale_step: float | None, step_n: float, tmp_path: Path
) -> None:
    """What the scale's file says of its resolution wins over the places that are printed."""
    capture = _capture(tmp_path, (line + "\r\n").encode() * 60)
    scale = Scale(format="bandcurve-scale/1", id="cell", kind="load-cell", resolution_N=scale_step or 0.0)

    def opened(name: str, setting: Setting | None) -> ByteSource:
        return open_source(name, setting, rate="fast")

    with open_line(LineWanted(capture), scale, opened) as cell:
        assert cell.meter.step == pytest.approx(step_n * G_STANDARD, rel=1e-2)


def test_what_a_pull_would_tell_is_waited_for(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rest, pulled = b"=00.0000\r\n" * 60, b"".join(f"={f'{0.37 * i:07.2f}'[::-1]}\r\n".encode() for i in range(60))
    assert run(["listen", _capture(tmp_path, rest + pulled), "--rate", "fast", "--json"]) == 0
    told = capsys.readouterr()
    assert "pull on it to tell" in " ".join(told.err.split())
    assert json.loads(told.out.splitlines()[-1])["counts"] == pytest.approx(0.37 * 59)
    assert run(["listen", _capture(tmp_path, rest), "--rate", "fast"]) == 1


def test_a_pattern_is_kept_in_the_scale_s_file_and_used_again(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "cell.scale.json"
    file.write_text(json.dumps({"format": "bandcurve-scale/1", "id": "cell", "kind": "load-cell", "resolution_N": 0.0}))
    kept = ["--scale", str(file), "--rate", "fast", "--json"]
    pattern = ["--pattern", "left: {number} ; right: {value kg}"]
    assert run(["listen", _capture(tmp_path, TWO_VALUES.stream()), *kept, *pattern, "--keep"]) == 0
    first = capsys.readouterr().out
    assert run(["listen", _capture(tmp_path, TWO_VALUES.stream()), *kept]) == 0
    assert capsys.readouterr().out == first
    assert json.loads(first.splitlines()[-1])["unit"] == "kg"


@pytest.mark.parametrize("setting", ["2400-7O1", "2400-7E1"])
def test_seven_bits_with_either_parity_are_told_from_the_bytes(setting: str, tmp_path: Path) -> None:
    odd = setting.endswith("7O1")
    data = bytes(b | (0x80 if (b.bit_count() % 2 == 1) != odd else 0) for b in STEADY * 3)
    (tmp_path / "cell").write_bytes(data)
    with open_source(str(tmp_path / "cell"), rate="fast") as source:
        listening = Listening(source)
        readings = [r for _ in range(400) for r in listening.poll(0.0) if r.kind == "reading"]
    assert len(readings) >= 40
    assert {r.unit for r in readings} == {"kg"}
    assert listening.search.setting.framing == setting[-3:]
