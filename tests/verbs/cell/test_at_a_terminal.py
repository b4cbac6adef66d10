"""One recording in a real pseudo-terminal, at a board on another: the first points, then Ctrl-C."""

import re
import time
from pathlib import Path
from threading import Event

import pytest

from calib.acquire.files.run_file import read_run
from calib.acquire.files.stream_file import read_stream
from tests.campaigns.run_through import answer
from tests.firmware.fake_board import FakeBoard
from tests.firmware.script import Hold, Pull, Script
from tests.verbs.pseudo_terminal import Terminal


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(__import__("os"), "openpty"), reason="needs pseudo-terminals")
def test_the_zero_and_a_reading_are_on_disk_when_ctrl_c_comes(tmp_path: Path) -> None:
    script, cue = Script(Pull((Hold(60.0, 60.0, 60.0, -0.02),), rest_s=0.5), 60.0), Event()
    with FakeBoard(script, 80.0, paced=True, cue=cue) as board:
        options = ["--flat", "1029mm", "--lengths", "1150 1250 1400", "--dwell", "2", "--quick"]
        terminal = Terminal(["record", "T1", "--port", board.port, *options], tmp_path)
        begun, pressed = time.monotonic(), False
        while "[2/6]" not in terminal.all_text and time.monotonic() - begun < 180:
            terminal.read_some(0.1)
            answer(terminal)
            if "then press Enter" in terminal.all_text and not pressed:
                terminal.press(b"\r")
                pressed = True
            if "[1/6]" in terminal.all_text:  # the zero is taken
                cue.set()
        terminal.interrupt()
        assert terminal.wait() == 130, terminal.all_text[-2000:]
        said = terminal.all_text
        written_to = board.written_to
    run = read_run(tmp_path / "T1.run.csv")
    kinds = [r.kind for r in run.rows]
    assert kinds[:2] == ["zero", "reading"], said[-2000:]
    assert run.readings[0].counts is not None
    assert run.readings[0].force is None
    net = (run.readings[0].counts - (run.rows[0].counts or 0.0)) / 1097.0
    assert net == pytest.approx(60.0 * (1 - 0.02 * -0.699), rel=0.003)  # 2 s after the stop: log10(2 / 10)
    assert re.search(r"--resume T1.run.csv --port \S+", said.replace("\n", " "))
    assert sum(1 for _ in read_stream(tmp_path / "T1.stream.csv")) > 500
    assert written_to == b""  # never a byte to the device
