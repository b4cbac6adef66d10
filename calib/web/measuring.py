"""A recording under way on the page: one file, one state machine, one browser that writes, any number that watch.

What an entry means is decided in `acquire.recording.machine`, as at the terminal. An entry is acknowledged when its
rows are on the disk; its browser names it, so that one sent twice after a lost connection counts once.
"""

import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from calib.acquire.files.run_file import RunWriter, read_run
from calib.acquire.recording.machine import take, take_beside
from calib.acquire.recording.new_file import head_text
from calib.acquire.recording.state import Recording
from calib.acquire.recording.twice import ask_for_more
from calib.acquire.recording.typed_entry import clean
from calib.errors import BandcurveError, DataError, FileError
from calib.profile.store.own_files import own_files
from calib.records import Row, RunHead
from calib.safe_write import write_atomically
from calib.use.ask.until import Chooser, chooser_for
from calib.use.report.first_kilos import first_kilos
from calib.web.asking import recording_view
from calib.web.cell.capture import Capture
from calib.web.news import News

MOST_REMEMBERED = 200  # entries by name: a phone repeats its last one, not those of an hour ago
SET_ANEW_S = 60.0  # by so much more or less than has gone by, a clock was set anew
LONG_AGO_S = 3600.0  # after such a pause rubber has recovered
MOST_OPEN = 40  # recordings at once
MOST_LOOKED_AT = 20  # recordings offered to go on with
WHEN_DONE = frozenset({"undo", "strike", "change", "note"})  # what may be said of a recording that is done


def _steady() -> float:
    """A clock that nobody sets and that goes on while the computer sleeps. [s]"""
    kind = getattr(time, "CLOCK_BOOTTIME", getattr(time, "CLOCK_MONOTONIC", None))
    return time.monotonic() if kind is None else time.clock_gettime(kind)


@dataclass
class Sitting:
    """A recording that is open on the page."""

    path: Path
    state: Recording
    writer: RunWriter
    begun_s: float  # time of the recording when it was taken up here [s]
    clock: Callable[[], float] = time.time  # of the day
    steady: Callable[[], float] = _steady  # goes on whatever the day's clock is set to
    choose: Chooser | None = None  # of the next reading, where the plan is not fixed
    pen: str = ""  # the browser that writes
    version: int = field(default_factory=lambda: time.time_ns() // 1_000_000)  # grows, in a recording opened again too
    said: tuple[str, ...] = ()
    rings: int = 0  # signals given so far; the last one is of kind `ring`
    ring: int = 0
    capture: Capture | None = None  # of a load cell that takes the readings
    lock: threading.Lock = field(default_factory=threading.Lock)
    taken: "OrderedDict[str, None]" = field(default_factory=OrderedDict)

    def __post_init__(self) -> None:
        """Note where both clocks stand."""
        self._steady_s, self._ahead_s = self.steady(), self.clock() - self.steady()

    @classmethod
    def resume(
        cls, path: Path, clock: Callable[[], float] = time.time, steady: Callable[[], float] = _steady
    ) -> "Sitting":
        """Take up a recording where its file ends."""
        writer, run = RunWriter.resume(path)
        try:
            state = Recording.from_run(run)
            if not state.course.settings:
                raise DataError(
                    "holds neither a plan nor a reading to continue from", where=path.name, remedy="start a new one"
                )
            last = max((row.at_s or 0.0 for row in run.rows), default=0.0)
            begun_s = max(last, clock() - run.head.started.timestamp()) if run.head.started else last
            found = cls(path, state, writer, begun_s, clock, steady, choose=chooser_for(state))
            found.ask()
            if run.readings and begun_s - last > LONG_AGO_S and found.state.slot is not None:
                found.said = (*found.said, _long_ago(begun_s - last))
        except BaseException:
            writer.close()
            raise
        return found

    def ask(self) -> None:
        """Ask for the readings that no plan has; what is asked for is on the disk when this returns."""
        step = ask_for_more(self.state, self.choose)
        if step.written:
            self.writer.extend(step.written)
            self.state, self.said = step.state, step.say

    def enter(self, name: str, entry: str, held_s: float | None = None) -> None:
        """Take one entry; what it leads to is on the disk when this returns.

        Args:
            name: What the browser calls this entry; the same name again is the same entry.
            entry: As typed, or a word such as undo.
            held_s: How long the length was held; None for the planned time. [s]

        Raises:
            FileError: It could not be written; the recording stands as before.
        """
        text = clean(entry)
        if name in self.taken:
            return
        if self.capture is not None and self.capture.running:
            self.capture.take(text or "enter")
        elif self.state.slot is not None or text.partition(" ")[0] in WHEN_DONE:
            self._type(text, held_s)
        self.taken[name] = None
        while len(self.taken) > MOST_REMEMBERED:
            self.taken.popitem(last=False)
        self.version += 1

    def _type(self, text: str, held_s: float | None) -> None:
        slot = self.state.slot
        if self.at_cell and slot is not None and slot.kind != "flat" and text.partition(" ")[0] not in WHEN_DONE:
            raise DataError("a load cell takes these readings", remedy="connect it again")
        step = take(self.state, text, self.now(), held_s)
        asked = ask_for_more(step.state, self.choose)
        rows, state, said = (*step.written, *asked.written), asked.state, (*step.say, *asked.say)
        doubt = "" if state.pending else self._clock_set_anew()
        if doubt:
            noted = take_beside(state, Row(state.next_number, "note", at_s=round(self.now(), 1), note=doubt))
            rows, state, said = (*rows, *noted.written), noted.state, (*said, f"{doubt}.")
        if rows:
            self.writer.extend(rows)
        kilos = first_kilos(self.state, state)
        self.state, self.said = state, (*said, kilos) if kilos else said
        if doubt:
            self._ahead_s = self.clock() - self.steady()

    def _clock_set_anew(self) -> str:
        """What to say where the day's clock has gone on otherwise than time; "" where it has not."""
        by = self.clock() - self.steady() - self._ahead_s
        if abs(by) < SET_ANEW_S:
            return ""
        way = "forward" if by > 0 else "back"
        return f"This computer's clock was set {way} by {_span(by)}; the times of this recording go on as if it was not"

    def begin_again(self, head: RunHead) -> None:
        """Put another head on the disk in place of the one there; no reading was given yet.

        Raises:
            FileError: The file was changed meanwhile, or cannot be written.
        """
        self.writer.refuse_if_changed()
        self.writer.close()
        write_atomically(self.path, head_text(Recording(head)))
        self.writer, run = RunWriter.resume(self.path)
        self.state, self.begun_s, self._steady_s = Recording.from_run(run), 0.0, self.steady()
        self.version += 1

    def now(self) -> float:
        """Time since it began. [s]"""
        return self.begun_s + self.steady() - self._steady_s

    @property
    def at_cell(self) -> bool:
        """Whether its readings are a load cell's."""
        return "cell" in self.state.head.extensions

    def follow(self, state: Recording, said: tuple[str, ...] | None, ring: int) -> None:
        """Take over what a load cell has led to; its rows are on the disk."""
        self.state = state
        self.said = self.said if said is None else said
        if ring:
            self.rings, self.ring = self.rings + 1, ring
        self.version += 1

    def close(self) -> None:
        """Let the file go, and the load cell."""
        if self.capture is not None:
            self.capture.stop()
        self.writer.close()

    def take_pen(self, browser: str) -> None:
        """Let this browser write from now on; the others watch."""
        if self.pen != browser:
            self.pen = browser
            self.version += 1

    def seen_by(self, browser: str) -> dict[str, Any]:
        """All that a browser shows of it."""
        running = self.capture is not None and self.capture.running
        slot = self.state.slot
        return {
            "version": self.version,
            "writes": self.pen in ("", browser),
            "say": list(self.said),
            "rings": [self.rings, self.ring],
            "cell": running,
            "trouble": self.capture.trouble if self.capture is not None and running else "",
            "live": self.capture.live if self.capture is not None and running else {},
            "connect": self.at_cell and not running and slot is not None and slot.kind != "flat",
            **recording_view(self.state),
        }


def _span(seconds: float) -> str:
    """A length of time in its largest unit."""
    size, unit = next(((n, u) for n, u in ((86400, "day"), (3600, "hour")) if abs(seconds) >= n), (60, "minute"))
    count = round(abs(seconds) / size)
    return f"{count} {unit}{'s' if count != 1 else ''}"


def _long_ago(seconds: float) -> str:
    return (
        f"The last entry is {_span(seconds)} old by this computer's clock. Pull the band out three times "
        "before you go on, and look at the zero."
    )


def _changed(path: Path) -> float:
    """When a file was changed; one taken away this moment is the oldest."""
    try:
        return path.stat().st_mtime
    except OSError:
        return 0.0


@dataclass
class Bench:
    """The recordings that are open."""

    folder: Path
    open: dict[str, Sitting] = field(default_factory=dict)
    news: News = field(default_factory=News)
    taken: dict[str, "OrderedDict[str, None]"] = field(default_factory=dict)  # entries of those that were closed
    lock: threading.Lock = field(default_factory=threading.Lock)

    def names(self) -> list[str]:
        """Runs of the folder, newest first, as they are called on the page."""
        found = own_files(self.folder, "*.run.csv")
        found.sort(key=_changed, reverse=True)
        return [p.relative_to(self.folder).as_posix().removesuffix(".run.csv") for p in found]

    def unfinished(self) -> list[str]:
        """Of the newest recordings those where something is still to be measured, as they are called on the page."""
        return [name for name in self.names()[:MOST_LOOKED_AT] if self._is_open(name)]

    def _is_open(self, name: str) -> bool:
        try:
            return Recording.from_run(read_run(self.folder / f"{name}.run.csv")).is_open
        except BandcurveError:
            return False

    @contextmanager
    def sitting(self, name: str) -> Iterator[Sitting]:
        """One recording, to be used by one request at a time.

        Raises:
            DataError: There is no such run in the folder.
        """
        with self.lock:
            found = self.open.get(name)
            if found is None:
                if name not in self.names():
                    raise DataError(f"there is no recording {name[:60]!r} here", remedy="choose one from the list")
                idle = [n for n, s in self.open.items() if s.capture is None or not s.capture.running]
                if len(self.open) >= MOST_OPEN and idle:
                    self._forget(idle[0])  # resumed when asked for
                found = self.open[name] = Sitting.resume(self.folder / f"{name}.run.csv")
                found.taken = self.taken.pop(name, found.taken)
        with found.lock:
            before = found.version
            try:
                yield found
            except FileError:  # another program wrote to it, or the disk failed: read it anew next time
                with self.lock:
                    self._forget(name)
                raise
            finally:
                if found.version != before:
                    self.news.tell()

    def _forget(self, name: str) -> None:
        gone = self.open.pop(name, None)
        if gone is not None:
            self.taken[name] = gone.taken
            gone.close()
