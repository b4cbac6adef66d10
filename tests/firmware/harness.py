"""The reference firmware on an emulated board, its serial line on a pseudo-terminal or a TCP port.

Both the firmware and the program that emulates the board around it are built here, once a test run. Where what that
needs is missing, `skip_without_emulator` says what.
"""

import atexit
import json
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory, mkdtemp
from types import TracebackType
from typing import Literal

import pytest

from tests.firmware.script import Script

HERE = Path(__file__).parent
NOTES = HERE.parents[1] / "firmware_notes"
PROGRAMS = {"avr-gcc": "gcc-avr", "gcc": "gcc", "make": "make", "pkg-config": "pkg-config"}
FILES = {
    "/usr/lib/avr/include/avr/io.h": "avr-libc",
    "/usr/include/simavr/sim_avr.h": "libsimavr-dev",
    "/usr/include/libelf.h": "libelf-dev",
}
TAIL_S = 0.05  # the board runs on for so long after the last conversion: a line takes 4 ms


@dataclass(frozen=True)
class Report:
    """What the emulated board counted.

    Args:
        conversions: The converter made.
        read: With exactly 25 pulses.
        missed: Not read before the next one came.
        broken: Read with another number of pulses, or cut into by the next one.
        switched_off: Clock pulses longer than 60 us.
        longest_pulse_us: Of the others. [us]
        shortest_pulse_cycles: Of the others. [1/16 us]
        said: Bytes on the line that somebody could take.
        lost: Bytes that nobody took.
        written_to: Bytes that came from the other side.
        starts: Of the firmware.
    """

    conversions: int
    read: int
    missed: int
    broken: int
    switched_off: int
    longest_pulse_us: int
    shortest_pulse_cycles: int
    said: int
    lost: int
    written_to: int
    starts: int


def missing() -> list[str]:
    """The Debian packages that are not there."""
    without = [package for program, package in PROGRAMS.items() if shutil.which(program) is None]
    return without + [package for file, package in FILES.items() if not Path(file).is_file()]


def skip_without_emulator() -> None:
    """Skip the test that asks, saying which packages are missing."""
    if missing():
        pytest.skip(f"the emulated board needs the Debian packages {' '.join(missing())}")


@cache
def _built() -> tuple[Path, Path]:
    """Firmware and host program, built in a folder of this test run."""
    skip_without_emulator()
    folder = Path(mkdtemp(prefix="emulated-board"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    _run(["make", "-s", "-C", str(NOTES / "avr"), f"OUT={folder}"])
    flags = _run(["pkg-config", "--cflags", "--libs", "simavr"]).split()
    strict = ["-O2", "-std=gnu11", "-Wall", "-Wextra", "-Werror"]
    host = folder / "emulated_board"
    _run(["gcc", *strict, "-o", str(host), str(HERE / "emulated_board.c"), *flags, "-lelf"])
    return folder / "load_cell.elf", host


def _run(command: list[str]) -> str:
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout


_EDGES = {"dead": (None, "power"), "stuck": ("stuck", "free"), "hang-up": ("unplug", "plug")}


def _lines(script: Script, rate: float) -> Iterator[tuple[float, str]]:
    for conversion in script.conversions(rate):
        yield conversion.at_s, str(conversion.counts)
    for event in script.events:
        if event.kind in {"reset", "brown-out"}:
            yield event.at_s, event.kind
        begin, end = _EDGES.get(event.kind, (None, None))
        if begin:
            yield event.at_s, begin
        if end:
            yield event.at_s + event.for_s, end
    yield script.duration_s + TAIL_S, "end"


def _write(script: Script, rate: float, path: Path) -> None:
    lines = sorted(_lines(script, rate), key=lambda line: line[0])
    path.write_text("".join(f"{round(at * 1e6)} {what}\n" for at, what in lines))


def _report(path: Path) -> Report:
    document = json.loads(path.read_text())
    return Report(**{field.name: document[field.name] for field in fields(Report)})


def said_by_firmware(script: Script, rate: float) -> tuple[bytes, Report]:
    """Everything the firmware says to a script, as fast as it can be had; the same each time."""
    firmware, host = _built()
    with TemporaryDirectory(prefix="board") as folder:
        played, report = Path(folder) / "script", Path(folder) / "report"
        _write(script, rate, played)
        done = subprocess.run([host, firmware, played, "-", "unpaced", "steady", report], capture_output=True)
        assert done.returncode == 0, done.stderr
        return done.stdout, _report(report)


class EmulatedBoard:
    """A running board; `port` is what a program opens, and stays the same when the cable is pulled.

    Time begins when somebody opens the port. Paced, it runs in real time, and what nobody listens to is lost, as with
    a real board; otherwise as fast as it is read, and nothing is lost.
    """

    def __init__(self, script: Script, rate: float, where: Literal["pty", "tcp"], pace: str, opening: str) -> None:
        firmware, host = _built()
        self._folder = TemporaryDirectory(prefix="board")
        folder = Path(self._folder.name)
        self._at = folder / "report"
        _write(script, rate, folder / "script")
        if where == "pty":
            self.port = str(folder / "port")
            line = f"pty:{self.port}"
        else:
            number = _free_tcp_port()
            self.port = f"socket://127.0.0.1:{number}"
            line = f"tcp:{number}"
        command = [str(host), str(firmware), str(folder / "script"), line, pace, opening, str(self._at)]
        self._process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        assert self._process.stdout
        assert self._process.stdout.readline() == b"ready\n", self._process.communicate()[1]

    @property
    def pid(self) -> int:
        """Of the process that is the board."""
        return self._process.pid

    def finished(self, within_s: float = 10.0) -> bool:
        """Wait until the script has been played; False when it has not within the time."""
        until = time.monotonic() + within_s
        while not self._at.exists() and time.monotonic() < until:
            time.sleep(0.01)
        return self._at.exists()

    def stop(self) -> Report:
        """Pull the cable for good, and say what was counted."""
        self._process.send_signal(signal.SIGTERM)
        _, error = self._process.communicate(timeout=10)
        assert self._process.returncode == 0, error
        report = _report(self._at)
        self._folder.cleanup()
        return report

    def __enter__(self) -> "EmulatedBoard":
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        if self._process.poll() is None:
            self._process.kill()
            self._process.communicate()
        self._folder.cleanup()


def _free_tcp_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        number: int = one.getsockname()[1]
        return number


def start(
    script: Script,
    rate: float,
    *,
    paced: bool,
    where: Literal["pty", "tcp"] = "pty",
    resets_when_opened: bool = False,
) -> EmulatedBoard:
    """Start a board and give it when its port can be opened.

    Args:
        script: What the cell feels, and what goes wrong.
        rate: Of the converter, conversions a second; nominally 10 or 80. [1/s]
        paced: In real time, or as fast as it is read.
        where: The serial line comes out: a pseudo-terminal, or TCP for `socket://`.
        resets_when_opened: As most boards with a USB converter do; only where paced.
    """
    pace, opening = "paced" if paced else "unpaced", "resets" if resets_when_opened else "steady"
    return EmulatedBoard(script, rate, where, pace, opening)
