"""What `bandcurve listen` shows of each fault: `python -m tests.campaigns.board_faults`. Two minutes, in real time."""

import contextlib
import os
import pty
import re
import select
import subprocess
import sys
from functools import partial

from tests.firmware.fake_board import FakeBoard
from tests.firmware.faults import FAULTS, LASTS_S, SPEED, Fault
from tests.firmware.harness import start
from tests.firmware.wrong_speed import misread

RATE = 10
TERMINAL = {"COLUMNS": "80", "LINES": "24", "TERM": "xterm"}
_CODES = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")
_NEWS = re.compile(r"(?!last: -?\d|rate|q ends)[A-Za-z]")


def screens(fault: Fault) -> list[str]:
    """Every screen that `listen` draws while the fault plays, as plain text, and what it leaves behind."""
    if fault.read_at:
        line = partial(misread, sent=SPEED, read=fault.read_at)
        with FakeBoard(fault.script, RATE, paced=True, line=line) as fake:
            shown = _in_a_terminal(["listen", fake.port, "--baud", str(fault.read_at)])
    else:
        with start(fault.script, RATE, paced=True) as board:
            shown = _in_a_terminal(["listen", board.port])
    return [_CODES.sub("", one).replace("\r", "") for one in shown.split("\x1b[H")[1:]]


def _in_a_terminal(command: list[str]) -> str:
    master, slave = pty.openpty()
    whole = [sys.executable, "-m", "calib", *command, "--for", str(LASTS_S - 0.5)]
    program = subprocess.Popen(whole, stdin=slave, stdout=slave, stderr=slave, env=os.environ | TERMINAL)
    os.close(slave)
    text = b""
    with contextlib.suppress(OSError):  # the end of a pseudo-terminal
        while select.select([master], [], [], LASTS_S)[0]:
            text += os.read(master, 65536)
    program.kill()
    program.wait()
    os.close(master)
    return text.decode(errors="replace")


def main() -> None:
    """Print the last screen of each fault, and each different line that stood below the value before."""
    for fault in FAULTS:
        print(f"==== {fault.name}")
        shown = screens(fault)
        below = {line.strip(): None for screen in shown for line in screen.splitlines() if _NEWS.match(line.strip())}
        print("\n".join([*below, "---- in the end", shown[-1]]))


if __name__ == "__main__":
    main()
