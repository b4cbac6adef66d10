"""What is still to be measured: the slots of a recording in order, and where its rows have got to.

The place in a recording follows from its rows alone, so a file that was cut off can be resumed. Nothing is asked here.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import field
from typing import Any

from calib.acquire.files.run_events import BETWEEN, INSTEAD
from calib.acquire.recording.plan import Geometry, Holes, geometry_of, section_stiffness
from calib.errors import DataError
from calib.frozen import dataclass
from calib.records import BranchName, Row, RowKind, RunHead
from calib.units import FORCE, LENGTH, MASS

SWEEP_LENGTHS = 24
PIECES = "pieces"  # in a head: load [kg] as text: names of the plates that make it
UNTIL = "until"  # in a head: readings are chosen one by one until an uncertainty is reached
MOST_SETTINGS, MOST_SETTING = 1000, 1e4  # how many, and how large [m] or [kg]
UNDONE = "undone"  # reason of a strike row written by undo


@dataclass(frozen=True)
class Course:
    """What one recording sets out to measure."""

    settings: tuple[float, ...]  # rising: lengths as taped [m], or hung masses [kg]
    cycles: int = 2
    way_back: bool = True
    dwell_s: float = 10.0
    length_unit: str = "mm"
    force_unit: str = "kg"  # of hung masses too
    closing: bool = True  # zero, check load and flat length at the end
    capacity: float | None = None  # [N]
    holes: Holes | None = None
    on_paper: bool = False  # measured already, and typed in from a form
    asked: "tuple[Slot, ...] | None" = None  # chosen one by one so far; None where the plan is fixed
    again: "tuple[Slot, ...]" = ()  # behind a fixed plan: readings to be taken once more


def many_lengths(settings: Sequence[float]) -> tuple[float, ...]:
    """What a continuous sweep is read at: lengths close together over the span of a plan. [m]"""
    low, high = min(settings), max(settings)
    return tuple(round(low + (high - low) * i / (SWEEP_LENGTHS - 1), 4) for i in range(SWEEP_LENGTHS))


def extensions_of(course: Course) -> dict[str, Any]:
    """The course as the run head's free space keeps it."""
    found: dict[str, Any] = {
        "settings": list(course.settings),
        "cycles": course.cycles,
        "way_back": course.way_back,
        "length_unit": course.length_unit,
        "force_unit": course.force_unit,
        "closing": course.closing,
    }
    if course.capacity is not None:
        found["capacity_N"] = course.capacity
    if course.on_paper:
        found["on_paper"] = True
    if course.holes is not None:
        found["hole_pitch_m"] = course.holes.pitch
        found["first_hole"] = course.holes.first
    return found


def course_of(head: RunHead, rows: Sequence[Row]) -> Course:
    """The course kept in a head; where there is none, the settings seen in the readings so far.

    Raises:
        DataError: What the head keeps is no course; somebody wrote it by hand.
    """
    kept = head.extensions
    settings = _replanned(rows) or _settings(kept)
    settings = settings or sorted(x for x in {_setting(r, head) for r in rows if r.kind == "reading"} if x)
    locks = head.scale.locks if head.scale else "no"
    pitch = _number(kept, "hole_pitch_m", 0.0, 1.0)
    forces = MASS if head.procedure.method == "hung-weight" else FORCE
    return Course(
        settings=tuple(settings),
        cycles=int(_number(kept, "cycles", 2, 100)),
        way_back=bool(kept.get("way_back", locks == "no")),
        dwell_s=head.procedure.dwell_s if head.procedure.dwell_s is not None else 10.0,
        length_unit=_unit(kept, "length_unit", "mm", LENGTH),
        force_unit=_unit(kept, "force_unit", "kg", forces),
        closing=bool(kept.get("closing", True)),
        capacity=_number(kept, "capacity_N", 0.0, 1e7) or None,
        holes=Holes(pitch, int(_number(kept, "first_hole", 0, 9999))) if pitch else None,
        on_paper=bool(kept.get("on_paper", False)),
        asked=tuple(_asked(rows)) if UNTIL in kept else None,
        again=() if UNTIL in kept else tuple(_asked(rows)),
    )


def _asked(rows: Sequence[Row]) -> Iterator["Slot"]:
    """The readings asked for one by one whose asking was not taken back."""
    struck = {_target(row) for row in rows if row.kind == "strike"}
    for row in rows:
        if row.kind == "chosen" and row.number not in struck:
            yield _slot_asked(row)


def _slot_asked(row: Row) -> "Slot":
    setting = row.mass if row.length is None else row.length
    if setting is None or not row.cycle or row.branch is None or not 0 < setting <= MOST_SETTING:
        what = f"row {row.number} asks for no reading that can be taken"
        raise DataError(what, remedy="give it cycle, branch and length, or start a new run")
    return Slot("reading", row.cycle, row.branch, setting)


def is_enough(rows: Sequence[Row]) -> bool:
    """Whether it was said that no more readings are needed."""
    struck = {_target(row) for row in rows if row.kind == "strike"}
    return any(r.kind == "enough" and r.number not in struck for r in rows)


def _settings(kept: Mapping[str, Any]) -> list[float]:
    found = kept.get("settings", [])
    if not isinstance(found, list) or len(found) > MOST_SETTINGS:
        raise _no_course("settings", found)
    return [_number({"settings": x}, "settings", 0, MOST_SETTING) for x in found]


def _number(kept: Mapping[str, Any], key: str, default: float, most: float) -> float:
    value = kept.get(key, default)
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= most:
        raise _no_course(key, value)
    return float(value)


def _unit(kept: Mapping[str, Any], key: str, default: str, units: Mapping[str, float]) -> str:
    value = kept.get(key, default)
    if not isinstance(value, str) or value not in units:
        raise _no_course(key, value)
    return value


def _no_course(key: str, value: object) -> DataError:
    return DataError(f"{key} = {str(value)[:30]} is not a valid recording plan", remedy="start a new run")


def _replanned(rows: Sequence[Row]) -> list[float]:
    """The lengths of the last plan made under way that was not struck; none where the first plan stands. [m]"""
    plans = {r.number: r.about for r in rows if r.kind == "planned"}
    for row in rows:
        if row.kind == "strike" and plans:
            plans.pop(_target(row), None)
    if not plans:
        return []
    try:
        found = [float(part) for part in plans[max(plans)].split()]
    except ValueError:
        return []  # somebody wrote that row by hand
    return found if all(0 < x <= MOST_SETTING for x in found) else []


def _target(strike: Row) -> int:
    return int(strike.about or 0)


def _setting(row: Row, head: RunHead) -> float | None:
    return row.mass if head.procedure.method == "hung-weight" else row.length


@dataclass(frozen=True)
class Slot:
    """One thing to be measured."""

    kind: RowKind
    cycle: int | None = None
    branch: BranchName | None = None
    setting: float | None = None  # [m] or [kg]
    closing: bool = False


def slots_of(course: Course, head: RunHead) -> tuple[Slot, ...]:
    """Everything to be measured, in order."""
    return (*_ends(head, closing=False), *_sweeps(course), *(_ends(head, closing=True) if course.closing else ()))


def _ends(head: RunHead, *, closing: bool) -> Iterator[Slot]:
    if head.procedure.method != "hung-weight":
        yield Slot("zero", closing=closing)
        if head.check_load is not None:
            yield Slot("check-load", closing=closing)
    if closing:
        yield Slot("flat", closing=True)


def _sweeps(course: Course) -> Iterator[Slot]:
    if course.asked is not None:
        yield from course.asked
        return
    for cycle in range(1, course.cycles + 1):
        for setting in course.settings:
            yield Slot("reading", cycle, "loading", setting)
        if course.way_back:
            for setting in course.settings[-2::-1]:
                yield Slot("reading", cycle, "unloading", setting)
    yield from course.again


@dataclass(frozen=True)
class CoursePlace:
    """Where a recording has got to."""

    index: int  # of the slot that comes next; the number of slots when all is done
    filled: tuple[tuple[int, int], ...] = ()  # (row number, slot index) of standing rows that filled a slot


@dataclass
class _Replay:
    """Goes through the rows once."""

    slots: tuple[Slot, ...]
    hung: bool
    index: int = 0
    filled: list[tuple[int, int]] = field(default_factory=list)
    left_out: dict[int, float] = field(default_factory=dict)  # row number: setting
    top: dict[int, float] = field(default_factory=dict)  # cycle: largest setting of the loading branch

    def take(self, row: Row) -> None:
        """Move on by one row."""
        if row.kind == "strike":
            self._strike(_target(row))
        elif row.kind == "left-out":
            self.left_out[row.number] = self._setting(row) or 0.0
        elif row.kind in ("reading", "zero", "flat", "check-load", "skipped"):
            self._fill(row)

    def _setting(self, row: Row) -> float | None:
        return row.mass if self.hung else row.length

    def _fill(self, row: Row) -> None:
        if row.cycle == 0 or (row.kind == "zero" and row.about == BETWEEN):
            return
        if row.about.startswith(INSTEAD):  # a changed row moves nothing
            self.filled = [(row.number if f"{n}" == row.about.removeprefix(INSTEAD) else n, i) for n, i in self.filled]
            return
        self.settle()
        wanted = row.about if row.kind == "skipped" else row.kind
        if self.index < len(self.slots) and self.slots[self.index].kind != wanted:
            later = [i for i, s in enumerate(self.slots) if i > self.index and s.kind == wanted]
            if not later:
                return
            self.index = later[0]
        self.filled.append((row.number, self.index))
        setting = self._setting(row)
        if row.kind == "reading" and row.branch == "loading" and row.cycle and setting is not None:
            self.top[row.cycle] = max(setting, self.top.get(row.cycle, 0.0))
        self.index += 1

    def _strike(self, number: int) -> None:
        self.left_out.pop(number, None)
        if self.filled and self.filled[-1][0] == number:
            self.index = self.filled.pop()[1]
        else:
            self.filled = [f for f in self.filled if f[0] != number]

    def settle(self) -> None:
        """Pass over lengths that were left out, and way-back lengths not below this cycle's largest."""
        while self.index < len(self.slots) and self._passed(self.slots[self.index]):
            self.index += 1

    def _passed(self, slot: Slot) -> bool:
        if slot.kind != "reading" or slot.setting is None:
            return False
        if any(abs(slot.setting - x) < 1e-9 for x in self.left_out.values()):
            return True
        top = self.top.get(slot.cycle or 0, float("inf"))
        return slot.branch == "unloading" and slot.setting > top - 1e-3


def place_of(slots: tuple[Slot, ...], head: RunHead, rows: Sequence[Row]) -> CoursePlace:
    """Where the rows have got to."""
    replay = _Replay(slots, head.procedure.method == "hung-weight")
    for row in rows:
        replay.take(row)
    replay.settle()
    return CoursePlace(replay.index, tuple(replay.filled))


def geometry(head: RunHead) -> Geometry:
    """From lengths as taped to stretch, for the band and gear of a head."""
    return geometry_of(head.band, head.length)


def stiffness(head: RunHead) -> float | None:
    """Expected level of the pull from the section, None where it is not known. [N]"""
    return section_stiffness(head.band)
