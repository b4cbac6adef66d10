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
from calib.acquire.recording.course import Slot, geometry
from calib.acquire.recording.machine import take
from calib.acquire.recording.state import Recording
from calib.acquire.recording.typed_commands import row_words
from calib.acquire.recording.typed_entry import clean, place_words, shown
from calib.errors import BandcurveError, DataError, FileError
from calib.records import Row
from calib.units import FORCE, G_STANDARD, LENGTH

MOST_REMEMBERED = 200  # entries by name: a phone repeats its last one, not those of an hour ago
MOST_OPEN = 40  # recordings at once
MOST_LOOKED_AT = 20  # recordings offered to go on with
MOVE_S = 10.0  # to set the next length, as at the terminal


@dataclass
class Sitting:
    """A recording that is open on the page."""

    path: Path
    state: Recording
    writer: RunWriter
    started: float  # [s] of the day's clock
    clock: Callable[[], float] = time.time
    pen: str = ""  # the browser that writes
    version: int = 0  # raised whenever something changed
    said: tuple[str, ...] = ()
    lock: threading.Lock = field(default_factory=threading.Lock)
    taken: "OrderedDict[str, None]" = field(default_factory=OrderedDict)

    @classmethod
    def resume(cls, path: Path, clock: Callable[[], float] = time.time) -> "Sitting":
        """Take up a recording where its file ends."""
        writer, run = RunWriter.resume(path)
        state = Recording.of(run)
        if not state.course.settings:
            writer.close()
            raise DataError("holds no plan and no reading to go on from", where=path.name, remedy="begin a new one")
        last = max((row.at_s or 0.0 for row in run.rows), default=0.0)
        started = min(run.head.started.timestamp(), clock() - last) if run.head.started else clock() - last
        return cls(path, state, writer, started, clock)

    def enter(self, name: str, entry: str, held_s: float | None = None) -> None:
        """Take one entry; what it leads to is on the disk when this returns.

        Args:
            name: What the browser calls this entry; the same name again is the same entry.
            entry: As typed, or a word such as undo.
            held_s: How long the length was held; None for the planned time. [s]

        Raises:
            FileError: It could not be written; the recording stands as before.
        """
        if name in self.taken or self.state.slot is None:
            return
        step = take(self.state, clean(entry), max(0.0, self.clock() - self.started), held_s)
        if step.written:
            self.writer.extend(step.written)
        self.state, self.said = step.state, step.say
        self.taken[name] = None
        while len(self.taken) > MOST_REMEMBERED:
            self.taken.popitem(last=False)
        self.version += 1

    def take_pen(self, browser: str) -> None:
        """Let this browser write from now on; the others watch."""
        if self.pen != browser:
            self.pen = browser
            self.version += 1

    def seen_by(self, browser: str) -> dict[str, Any]:
        """All that a browser shows of it."""
        state, slot = self.state, self.state.slot
        return {
            "version": self.version,
            "band": state.head.band.id,
            "writes": self.pen in ("", browser),
            "done": slot is None,
            "asks": None if slot is None else asked(state, slot),
            "question": bool(state.pending),
            "say": list(self.said),
            "rows": [_row(state, row) for row in state.rows if row.kind != "strike"],
            "points": [_point(row) for row in state.run.readings if row.length is not None],
            "span": [min(state.course.settings), max(state.course.settings)],
        }


def _row(state: Recording, row: Row) -> dict[str, Any]:
    words = row_words(state, row).removesuffix("  (struck)").split(maxsplit=1)[1]
    return {"number": row.number, "words": words, "struck": row.number in state.run.struck}


def _point(row: Row) -> dict[str, Any]:
    pull = (row.mass or 0.0) * G_STANDARD if row.force is None else row.force
    return {"length": row.length, "kilos": round(pull / G_STANDARD, 4), "branch": row.branch}


def asked(state: Recording, slot: Slot) -> dict[str, Any]:
    """What comes next: words and figures as a page shows them, large and small."""
    course, reading = state.course, slot.kind == "reading"
    readings = [i for i, s in enumerate(state.slots) if s.kind == "reading"]
    reads_length = slot.kind == "flat" or (state.hung and reading)
    label = f"Tape reads, {course.length_unit}" if reads_length else f"Scale reads, {course.force_unit}"
    place = ""
    if reading and slot.setting is not None:
        place = place_words(slot.setting, course, LENGTH)
        if state.hung:
            place = f"{shown(slot.setting * G_STANDARD, course.force_unit, FORCE)} {course.force_unit}"
    return {
        "kind": slot.kind,
        "task": _task(state, slot),
        "place": place,
        "aside": _aside(state, slot),
        "label": label,
        "cycle": slot.cycle,
        "number": readings.index(state.index) + 1 if reading else None,
        "of": len(readings),
        "hold_s": course.dwell_s if reading else 0.0,
        "move_s": MOVE_S if reading else 0.0,
    }


def _task(state: Recording, slot: Slot) -> str:
    if slot.kind == "zero":
        return "Band slack. Read the scale" if slot.closing else "Band slack. Zero the scale, then read it"
    if slot.kind == "check-load":
        return "Hang the known plate alone"
    if slot.kind == "flat":
        return "Lay the band flat and measure it again"
    if state.hung:
        return "Hang this" if slot.branch == "loading" else "Take plates off, down to this"
    return "Set this length" if slot.branch == "loading" else "Come back to this length"


def _aside(state: Recording, slot: Slot) -> str:
    if slot.kind == "zero" and slot.closing:
        return "As at the start. Do not zero the scale."
    if slot.kind == "flat":
        return "End to end, without pulling. Skip it if you cannot."
    if slot.kind != "reading" or slot.setting is None or state.hung:
        return ""
    side = "shorter" if slot.branch == "loading" else "longer"
    return f"{geometry(state.head).stretch(slot.setting):.2f} times the flat length. Come to it from the {side} side."


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
    lock: threading.Lock = field(default_factory=threading.Lock)

    def names(self) -> list[str]:
        """Runs of the folder, newest first, as they are called on the page."""
        found = [p for p in self.folder.rglob("*.run.csv") if p.is_file() and not p.name.startswith(".")]
        found.sort(key=_changed, reverse=True)
        return [p.relative_to(self.folder).as_posix().removesuffix(".run.csv") for p in found]

    def unfinished(self) -> list[str]:
        """Of the newest recordings those where something is still to be measured, as they are called on the page."""
        return [name for name in self.names()[:MOST_LOOKED_AT] if self._is_open(name)]

    def _is_open(self, name: str) -> bool:
        try:
            state = Recording.of(read_run(self.folder / f"{name}.run.csv"))
            return bool(state.course.settings) and state.slot is not None
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
                if len(self.open) >= MOST_OPEN:
                    self.open.pop(next(iter(self.open))).writer.close()  # resumed when asked for
                found = self.open[name] = Sitting.resume(self.folder / f"{name}.run.csv")
        with found.lock:
            try:
                yield found
            except FileError:
                self._close(name)  # another program wrote to it, or the disk failed: read it anew next time
                raise

    def _close(self, name: str) -> None:
        with self.lock:
            gone = self.open.pop(name, None)
        if gone is not None:
            gone.writer.close()
