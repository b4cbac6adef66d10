"""A program at the far end of a pseudo-terminal: what it prints is read until it asks something. Linux and macOS."""

import os
import pty
import re
import select
import signal
import sys
import time
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).parents[2]
_ANSI = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]|\x07")
PATIENCE = 60.0  # s; a prompt that takes longer is a hang, on a loaded machine too
TAIL = 2000  # characters of what was printed last, where a prompt ends


class Terminal:
    """One run of `bandcurve` in a terminal of its own."""

    def __init__(self, arguments: Sequence[str], folder: Path, term: str = "dumb", columns: int = 200) -> None:
        pid, fd = pty.fork()
        if pid == 0:
            os.chdir(folder)
            for ignored_in_background in (signal.SIGINT, signal.SIGHUP):
                signal.signal(ignored_in_background, signal.SIG_DFL)
            plain = {"TERM": term, "COLUMNS": str(columns), "INPUTRC": os.devnull, "PYTHONPATH": str(ROOT)}
            environment = {**os.environ, **plain}
            os.execve(sys.executable, [sys.executable, "-m", "calib", *arguments], environment)
        self.pid, self.fd = pid, fd
        self.text = ""  # everything printed since the last line was sent
        self.all_text = ""
        self.status: int | None = None

    def read_some(self, seconds: float) -> bool:
        """Take in what is there; False when the program has closed its end or nothing came in time."""
        if not select.select([self.fd], [], [], seconds)[0]:
            return False
        try:
            data = os.read(self.fd, 65536)
        except OSError:
            return False
        if not data:
            return False
        new = _ANSI.sub("", data.decode("utf-8", "replace")).replace("\r\n", "\n")
        self.text += new
        self.all_text += new
        return True

    def until(self, patterns: Sequence[re.Pattern[str]]) -> int | None:
        """Index of the pattern that what was printed ends in; None where the program ended instead."""
        end = time.monotonic() + PATIENCE
        while time.monotonic() < end:
            for i, pattern in enumerate(patterns):
                if pattern.search(self.text[-TAIL:]):
                    return i
            if not self.read_some(0.5) and self.ended():
                while self.read_some(0):
                    pass
                return None
        raise AssertionError(f"no prompt within {PATIENCE} s after:\n{self.all_text[-1500:]}")

    def send(self, line: str) -> None:
        """Type a line and Enter."""
        self.text = ""
        data = (line + "\r").encode("utf-8", "surrogateescape")
        while data:
            data = data[os.write(self.fd, data[:512]) :]
            if len(data) > 0:
                self.read_some(0)

    def press(self, key: bytes) -> None:
        """Press one key, no Enter."""
        self.text = ""
        os.write(self.fd, key)

    def interrupt(self, key: bytes = b"\x03") -> None:
        """Press Ctrl-C (or Ctrl-D) like a person, when nothing moves any more, and again where it was lost.

        Python loses the signal in the instant when its line editor takes over.
        """
        for _ in range(5):
            end = time.monotonic() + 2
            while self.read_some(0.3) and time.monotonic() < end:
                pass
            if self.ended():
                return
            os.write(self.fd, key)
            end = time.monotonic() + 5
            while time.monotonic() < end and not self.ended():
                self.read_some(0.05)

    def ended(self) -> bool:
        """Whether the program is gone."""
        if self.status is None:
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            if pid:
                self.status = os.waitstatus_to_exitcode(status)
        return self.status is not None

    def wait(self) -> int:
        """Let it end by itself."""
        end = time.monotonic() + PATIENCE
        while not self.ended():
            assert time.monotonic() < end, f"did not end:\n{self.all_text[-1500:]}"
            if self.fd >= 0:
                self.read_some(0.05)
            else:
                time.sleep(0.01)
        while self.fd >= 0 and self.read_some(0):
            pass
        assert self.status is not None
        return self.status

    def hang_up(self) -> None:
        """Close the terminal window."""
        os.close(self.fd)
        self.fd = -1

    def kill(self) -> None:
        """The program is gone at once."""
        if not self.ended():
            os.kill(self.pid, signal.SIGKILL)
        self.wait()

    def close(self) -> None:
        """Leave nothing behind."""
        self.kill()
        if self.fd >= 0:
            os.close(self.fd)
            self.fd = -1
