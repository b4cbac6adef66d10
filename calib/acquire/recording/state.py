"""A recording so far: a head, its rows, and what follows from them alone, such as what comes next.

What a typed line does to it is said in `recording`, and for the words in `recording_words`.
"""

from dataclasses import replace
from functools import cached_property

from calib.acquire.recording import course as courses
from calib.acquire.recording.course import Course, CoursePlace, Slot
from calib.frozen import dataclass
from calib.records import Row, Run, RunHead


@dataclass(frozen=True)
class Recording:
    """A head and the rows so far; everything else follows from them."""

    head: RunHead
    rows: tuple[Row, ...] = ()
    pending: Row | None = None  # a reading that was questioned and waits for a word
    stopped: bool = False

    @classmethod
    def from_run(cls, run: Run) -> "Recording":
        """Take up a recording where its file ends."""
        return cls(run.head, run.rows)

    @cached_property
    def course(self) -> Course:
        """What is to be measured."""
        return courses.course_of(self.head, self.rows)

    @cached_property
    def slots(self) -> tuple[Slot, ...]:
        """Everything to be measured, in order."""
        return courses.slots_of(self.course, self.head)

    @cached_property
    def place(self) -> CoursePlace:
        """Where the rows have got to."""
        return courses.place_of(self.slots, self.head, self.rows)

    @cached_property
    def run(self) -> Run:
        """The rows as a run."""
        return Run("recording", self.head, self.rows)

    @property
    def index(self) -> int:
        """Of the slot that comes next."""
        at = self.place.index
        while self.stopped and at < len(self.slots) and not self.slots[at].closing:
            at += 1
        return at

    @property
    def slot(self) -> Slot | None:
        """What comes next; None when all is done."""
        return self.slots[self.index] if self.index < len(self.slots) else None

    @property
    def is_open(self) -> bool:
        """Whether something is still to be measured: a run with a plan that is not at its end."""
        return bool(self.course.settings) and self.slot is not None

    @property
    def asks_for_more(self) -> bool:
        """Whether the next reading is still to be chosen."""
        if self.course.asked is None or self.stopped or self.pending is not None or courses.is_enough(self.rows):
            return False
        return self.slot is None or self.slot.closing

    def asking(self, slot: Slot) -> Row:
        """The row that asks for one more reading."""
        setting = float(f"{slot.setting:.6g}")
        length, mass = (None, setting) if self.hung else (setting, None)
        return Row(self.next_number, "chosen", slot.cycle, slot.branch, length, mass=mass)

    def closing(self, why: str) -> Row:
        """The row that says that no more is needed."""
        return Row(self.next_number, "enough", note=why)

    @property
    def next_number(self) -> int:
        """Of the row that comes next."""
        return max((r.number for r in self.rows), default=0) + 1

    @property
    def hung(self) -> bool:
        """Whether loads are set and lengths are read."""
        return self.head.procedure.method == "hung-weight"


@dataclass(frozen=True)
class Step:
    """What one typed line led to."""

    state: Recording
    written: tuple[Row, ...] = ()
    say: tuple[str, ...] = ()
    wait_again: bool = False


def tenths(seconds: float | None) -> float | None:
    """A time as a row keeps it. [s]"""
    return None if seconds is None else round(seconds, 1)


def with_rows(state: Recording, rows: tuple[Row, ...]) -> Recording:
    """The recording with more rows."""
    return replace(state, rows=(*state.rows, *rows))
