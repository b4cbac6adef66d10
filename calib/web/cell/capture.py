"""A recording whose points are taken at a load cell, by a thread that goes along with the line.

When a point is there, and what follows, is decided in `acquire/points`, as at the terminal. A point is told of when its
row is on the disk. Nothing is answered to a browser here.
"""

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from calib.acquire.cell.lines import Record
from calib.acquire.files.run_file import RunWriter
from calib.acquire.files.stream_file import StreamWriter
from calib.acquire.points.hands_free import Act, HandsFree
from calib.acquire.recording.state import Recording
from calib.errors import BandcurveError, FileError
from calib.units import FORCE
from calib.use.cell.cell_line import CellLine, no_reading
from calib.use.cell.doing import screen_now

WAIT = 0.05  # s of one wait for bytes
APART_S = 0.03  # between two values shown: 30 a second are more than an eye follows
GONE = "The load cell is gone: no reading arrives. Plug it in again; it goes on by itself."
SILENT = "No readings from the load cell. Check power, cable, and other programs on its port."
KEYS = {"enter": "\r", "keep": "k", "undo": "r", "skip": "s", "stop": "q", "zero": "z"}


@dataclass
class Capture:
    """The line of a recording, gone along with until all points are taken.

    Args:
        work: The recording at the cell.
        writer: Of the run's file.
        stream: Every line as it came.
        line: Understood.
        offset: Time of the recording less that of the line. [s]
        lock: Of the recording; held while its state changes.
        follow: Is given the recording, what to say of it (None: as before) and how often to ring; the lock is held.
        tell: Called when there is another value to show.
    """

    work: HandsFree
    writer: RunWriter
    stream: StreamWriter
    line: CellLine
    offset: float
    lock: threading.Lock
    follow: Callable[[Recording, tuple[str, ...] | None, int], None]
    tell: Callable[[], None]
    kept: Recording = field(init=False)  # so far as it is on the disk
    live: dict[str, Any] = field(default_factory=dict)
    ended: str = ""  # why it has ended
    trouble: str = ""  # what keeps the line from being read, said once more when it changes
    _heard_s: float = 0.0
    _shown_s: float = 0.0
    _place: tuple[str, int] = ("", -1)
    _leave: threading.Event = field(default_factory=threading.Event)
    _thread: threading.Thread | None = None

    def start(self) -> None:
        """Go along with the line from its newest reading on. The lock is held."""
        self.kept = self.work.state
        self.line.skip()
        self._heard_s = self.line.listening.now()
        self._keep(Act())
        self._thread = threading.Thread(target=self._go_along, name="load cell", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Go along no longer; twice does no harm."""
        self._leave.set()

    def join(self) -> None:
        """Wait until the line is left alone. The lock must not be held."""
        if self._thread is not None:
            self._thread.join(5)

    @property
    def running(self) -> bool:
        """Whether points are still taken."""
        return not self.ended and not self._leave.is_set() and self.work.want not in ("", "flat")

    def take(self, entry: str) -> None:
        """Take what a person says: a key by its name, or a typed line such as a row to be struck. The lock is held.

        Raises:
            FileError: It could not be written.
        """
        at_s = self.line.listening.now() + self.offset
        key = KEYS.get(entry)
        self._keep(self.work.key(key, at_s) if key else self.work.take_line(entry, at_s))

    def _go_along(self) -> None:
        try:
            while self.running:
                records = self.line.listening.poll(WAIT)
                with self.lock:
                    if self.running:
                        self._feed(records)
        except BandcurveError as error:
            self.ended = str(error)
        except Exception as error:  # a fault must not look like a silent line
            self.ended = f"bandcurve has a fault here ({type(error).__name__}); please report it"
        finally:
            self.stream.close()
            with self.lock:
                if self.ended:
                    self.follow(self.kept, (self.ended,), 2)
            self.tell()

    def _feed(self, records: list[Record]) -> None:
        act = Act()
        for record in records:
            at_s = record.at_s + self.offset
            self._keep_line(at_s, record)
            self._heard_s = record.at_s if record.kind == "reading" else self._heard_s
            act = act.followed_by(self.work.feed(record, at_s))
        self._keep(act)
        if self.line.listening.ended:
            self.ended = "the line ended before the recording"
        self._tell_of_trouble()
        now = time.monotonic()
        if records or now - self._shown_s > 0.5:
            self._show(now)

    def _tell_of_trouble(self) -> None:
        """Say when the device has gone or no reading arrives, and when that is over."""
        silent_s = self.line.listening.now() - self._heard_s
        trouble = GONE if self.line.listening.away else SILENT if no_reading(silent_s) else ""
        if trouble != self.trouble:
            self.trouble = trouble
            self.follow(self.work.state, None, 2 if trouble else 0)

    def _keep(self, act: Act) -> None:
        """Have what it led to on the disk, then say it."""
        if act.rows:
            self.writer.extend(act.rows)
        self.kept = self.work.state
        place = (self.work.want, self.work.state.index)
        if act == Act() and place == self._place:
            return
        say = tuple(text.strip() for text in act.say)
        if place != self._place and self.work.want == "zero":
            say = (*say, *self.work.zero_words())
        self._place = place
        self.follow(self.work.state, say or None, act.ring)

    def _keep_line(self, at_s: float, record: Record) -> None:
        """Keep a line of the stream; where the disk refuses, the points go on without it."""
        try:
            self.stream.append(at_s, record)
        except FileError as error:
            self.follow(self.work.state, (f"The stream is no longer stored: {error}.",), 0)
            self.stream.close()

    def _show(self, now: float) -> None:
        """The newest value for those who watch."""
        if now - self._shown_s < APART_S:
            return
        self._shown_s = now
        work, listening = self.work, self.line.listening
        seen = screen_now(work, listening, self.offset, self._heard_s)
        unit = 1.0 if self.line.meter.in_counts else FORCE[work.state.course.force_unit]
        pull = work.pull if work.pull is not None else work.value
        number = None if pull is None or not seen.value else round(pull / unit, 4)
        self.live = {"value": seen.value, "number": number, "doing": seen.doing, "at_s": round(listening.now(), 3)}
        self.tell()
