"""A board in plain Python on a pseudo-terminal: it prints what the reference firmware prints, and needs no emulator.

What it says is a pure function of the script (`said`); `FakeBoard` plays that on a port. The emulated board beside it
runs the firmware itself.
"""

import contextlib
import os
import select
import threading
import time
import tty
from binascii import crc_hqx
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import takewhile
from math import ceil
from pathlib import Path
from tempfile import TemporaryDirectory
from types import TracebackType

from tests.firmware.script import FULL_SCALE, SETTLE, Conversion, Event, Script

BANNER = (
    b"# bandcurve load cell, firmware 2\r\n# board: made up in Python\r\n# started by: %s\r\n"
    b"# ms,sequence,counts,status*crc\r\n"
)
BOOT_S = 0.02  # from the start to the end of the banner: conversions until then go by
WAIT_S = 1.0  # without a conversion until the firmware says so

_STARTED_BY = {"reset": b"reset button or opened port", "brown-out": b"brown-out", "hang-up": b"power"}


@dataclass(frozen=True)
class Said:
    """What the port does at a moment: bytes, or None where the cable is out until the next piece."""

    at_s: float
    data: bytes | None


def said(script: Script, rate: float, cue: threading.Event | None = None) -> Iterator[Said]:
    """Everything the board says, with the moment it says it; nothing is on the cell until the cue."""
    sequence = 0
    for piece in _unnumbered(script, rate, cue):
        if piece.data is None or piece.data.startswith(b"#"):
            sequence = 0
            yield piece
            continue
        clock, rest = piece.data.rstrip().split(b",", 1)
        body = b"%s,%d,%s" % (clock, sequence, rest)
        sequence += 1
        yield Said(piece.at_s, b"%s*%04X\r\n" % (body, crc_hqx(body, 0xFFFF)))


def _unnumbered(script: Script, rate: float, cue: threading.Event | None) -> Iterator[Said]:
    yield Said(0.0, BANNER % b"power")
    booted, settling, last, deaf = 0.0, SETTLE, 0.0, BOOT_S
    rest = takewhile(lambda _: cue is not None and not cue.is_set(), script.at_rest(rate))
    begun = 0.0
    for conversion in rest:
        begun = last = conversion.at_s
        yield Said(last, _line(last, conversion.counts, settling > 0))
        settling = max(settling - 1, 0)
    events = [replace(event, at_s=begun + event.at_s) for event in script.events]
    for conversion in (Conversion(begun + c.at_s, c.counts) for c in script.conversions(rate)):
        while events and events[0].at_s < conversion.at_s:
            event = events.pop(0)
            yield from _unanswered(last, event.at_s, booted)
            last = event.at_s
            if event.kind in _STARTED_BY:
                booted = event.at_s + event.for_s
                yield from _started_again(event, booted)
                last, deaf = booted, booted + BOOT_S
            elif event.kind == "stuck":
                beats = ceil(event.for_s / WAIT_S)
                for i in range(beats):
                    yield Said(last + i * WAIT_S, b"%d,,wiring fault\r\n" % round(1000 * (last + i * WAIT_S - booted)))
                last = deaf = last + beats * WAIT_S
            if event.kind != "saturation":
                settling = SETTLE
        if conversion.at_s < deaf:
            continue
        missing = list(_unanswered(last, conversion.at_s, booted))
        yield from missing
        settling = SETTLE if missing else settling
        last = conversion.at_s
        yield Said(conversion.at_s, _line(conversion.at_s - booted, conversion.counts, settling > 0))
        settling = max(settling - 1, 0)
    yield from _unanswered(last, begun + script.duration_s, booted)


def _started_again(event: Event, booted: float) -> Iterator[Said]:
    if event.kind == "hang-up":
        yield Said(event.at_s, None)
    yield Said(booted, BANNER % _STARTED_BY[event.kind])


def _unanswered(last: float, until: float, booted: float) -> Iterator[Said]:
    """A line for every whole second without a conversion."""
    for i in range(1, int((until - last) / WAIT_S) + 1):
        at = last + i * WAIT_S
        if at < until:
            yield Said(at, b"%d,,no response\r\n" % round(1000 * (at - booted)))


def _line(clock_s: float, counts: int, settling: bool) -> bytes:
    full = counts >= FULL_SCALE or counts <= -FULL_SCALE - 1
    status = b"saturated" if full else b"settling" if settling else b"ok"
    return b"%d,%d,%s\r\n" % (round(1000 * clock_s), counts, status)


class FakeBoard:
    """Plays a script on a pseudo-terminal that `port` names; the name stays when the cable is pulled.

    Time begins when somebody opens the port. Paced, it runs in real time, and what nobody listens to is lost, as with
    a real board; otherwise as fast as it is read, and nothing is lost. `line` is what the wire makes of the bytes.
    With a `cue` nothing is on the cell until it is set, and the script begins then.
    `written_to` is what was written to the board.
    """

    def __init__(
        self,
        script: Script,
        rate: float,
        *,
        paced: bool,
        line: Callable[[bytes], bytes] = bytes,
        cue: threading.Event | None = None,
    ) -> None:
        self._folder = TemporaryDirectory(prefix="board")
        self.port = str(Path(self._folder.name) / "port")
        self.written_to = b""
        self.finished = threading.Event()
        self._pieces, self._paced, self._line = said(script, rate, cue), paced, line
        self._leave = threading.Event()
        self._master = self._plug_in()
        self._thread = threading.Thread(target=self._play, daemon=True)
        self._thread.start()

    def __enter__(self) -> "FakeBoard":
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.stop()

    def stop(self) -> None:
        """Pull the cable for good."""
        self._leave.set()
        self._thread.join(5)
        self._pull_out()
        self._folder.cleanup()

    def _plug_in(self) -> int:
        master, slave = os.openpty()
        tty.setraw(slave)
        os.set_blocking(master, False)
        Path(self.port).symlink_to(os.ttyname(slave))
        os.close(slave)  # from here on the master reports a hang-up until somebody opens the port
        return master

    def _pull_out(self) -> None:
        Path(self.port).unlink(missing_ok=True)
        with contextlib.suppress(OSError):
            os.close(self._master)

    def _listened_to(self) -> bool:
        poll = select.poll()
        poll.register(self._master, select.POLLIN)
        return not any(what & select.POLLHUP for _, what in poll.poll(0))

    def _play(self) -> None:
        while not self._listened_to() and not self._leave.wait(0.005):
            pass
        begun = time.monotonic()
        out = False
        for piece in self._pieces:
            if self._paced and self._leave.wait(max(0.0, begun + piece.at_s - time.monotonic())):
                return
            if piece.data is None:
                self._pull_out()
                out = True
                continue
            if out:
                self._master, out = self._plug_in(), False
            self._say(self._line(piece.data))
            if self._leave.is_set():
                return
        self.finished.set()

    def _say(self, data: bytes) -> None:
        while data and not self._leave.is_set():
            if self._paced and not self._listened_to():
                return
            with contextlib.suppress(BlockingIOError, OSError):
                self.written_to += os.read(self._master, 4096)
            try:
                data = data[os.write(self._master, data) :]
            except BlockingIOError:
                if self._paced:
                    return  # a board does not wait either
                self._leave.wait(0.001)
