"""A recording as a state machine: typed lines and times in, rows and sentences out. Nothing is printed or written here.

Every row it returns is meant to be on disk before the next line is asked for.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from calib.acquire import course as courses
from calib.acquire.course import Course, Place, Slot
from calib.acquire.judge import Judge
from calib.acquire.plan import shorter
from calib.acquire.run_checks import check_lengths
from calib.acquire.typed_entry import Typed, clean, read_entry, shown
from calib.errors import DataError
from calib.records import Row, Run, RunHead
from calib.units import FORCE, INCH, LENGTH

HELP_OWN_LENGTH = "  16.35 @ 1290    the reading, taken at a length of your own"
HELP_OWN_LOAD = "  1290 @ 12.5     the reading, taken with a load of your own"
HELP = (
    "Type what is asked and press Enter. A comma is a decimal point; a unit may follow: 36.1 lb",
    HELP_OWN_LENGTH,
    "  undo            strike the last entry and ask again",
    "  skip            leave this one out",
    "  note TEXT       write a remark into the file",
    "  strike 7 TEXT   strike row 7, with the reason",
    "  zero 0.05       what the scale shows slack, in between",
    "  rows            the last rows, with their numbers",
    "  stop            no more readings: go to the end",
    "  Enter alone     start the wait again",
)
SPAN_TO_GO_BY = 0.1  # of stretch, between the readings that decide about lengths further out
FEWEST = {True: 3, False: 5}  # lengths left of a plan before a shorter one is made; True for a quick look
KEEP = frozenset({"keep", "k", "y", "yes"})


@dataclass(frozen=True)
class Recording:
    """A head and the rows so far; everything else follows from them."""

    head: RunHead
    rows: tuple[Row, ...] = ()
    pending: Row | None = None  # a reading that was questioned and waits for a word
    stopped: bool = False

    @classmethod
    def of(cls, run: Run) -> "Recording":
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
    def place(self) -> Place:
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
    def asks_for_more(self) -> bool:
        """Whether the next reading is still to be chosen."""
        if self.course.asked is None or self.stopped or self.pending is not None or courses.is_enough(self.rows):
            return False
        return self.slot is None or self.slot.closing

    def asking(self, slot: Slot) -> Row:
        """The row that asks for one more reading."""
        note = f"{courses.ASKED}: {slot.cycle} {slot.branch} {slot.setting:.6g}"
        return Row(self.next_number, "gap", slot.cycle, slot.branch, note=note)

    def closing(self, why: str) -> Row:
        """The row that says that no more is needed."""
        return Row(self.next_number, "gap", note=f"{courses.ENOUGH}: {why}")

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


def take(state: Recording, line: str, at_s: float | None, dwell_s: float | None = None) -> Step:
    """Take one typed line.

    Args:
        state: The recording so far; something is still to be measured.
        line: As typed, whatever it is.
        at_s: Time since the start of the recording; None where nobody looked at a clock, as on paper. [s]
        dwell_s: How long the length was held before the reading; the planned time where None. [s]
    """
    text = clean(line)
    if not text:
        return Step(state, wait_again=True, say=_reminder(state))
    word, _, rest = text.partition(" ")
    if state.pending is not None and word.lower() in KEEP:
        return _keep(state)
    command = _COMMANDS.get(word.lower())
    if command is not None:
        return command(replace(state, pending=None), rest.strip(), at_s)
    try:
        row, typed = _row(state, text, at_s, dwell_s)
    except DataError as error:
        return Step(state, say=(_sentence(error),))
    if state.pending is not None and _same(state.pending, row):
        return _keep(state)
    return _judged(replace(state, pending=None), row, typed)


def take_row(state: Recording, row: Row, text: str) -> Step:
    """Take a row that was measured, not typed: judged like a typed one.

    Args:
        state: The recording so far.
        row: Complete, for what comes next; without a force, in bare counts, it is taken as it is.
        text: Its force in the user's unit.
    """
    if row.force is None:
        return Step(with_rows(replace(state, pending=None), (row,)), (row,))
    return _judged(replace(state, pending=None), row, Typed(text, row.force))


def take_beside(state: Recording, row: Row) -> Step:
    """Take a row that fills no slot: a gap, or a zero in between."""
    return Step(with_rows(state, (row,)), (row,))


def _tenths(seconds: float | None) -> float | None:
    return None if seconds is None else round(seconds, 1)


def _reminder(state: Recording) -> tuple[str, ...]:
    """What to say to an empty line."""
    if state.pending is not None:
        return (question_again(state),)
    if state.slot is not None and state.slot.kind == "zero":
        return ("Type the number the scale shows, even if it is 0; or skip.",)
    return ()


def question_again(state: Recording) -> str:
    """Remind of the open question."""
    return "Type it again if it is right (or: keep). Otherwise type what it should be."


def _sentence(error: DataError) -> str:
    text = str(error)
    return text[:1].upper() + text[1:] + "."


def _same(a: Row, b: Row) -> bool:
    return (a.force, a.length, a.mass) == (b.force, b.length, b.mass)


def _keep(state: Recording) -> Step:
    assert state.pending is not None
    return _accept(replace(state, pending=None), state.pending)


def _row(state: Recording, text: str, at_s: float | None, dwell_s: float | None) -> tuple[Row, Typed]:
    """The row that a typed entry would make."""
    slot, course = state.slot, state.course
    assert slot is not None
    reads_length = slot.kind == "flat" or (state.hung and slot.kind == "reading")
    typed = read_entry(text, course, reads_length=reads_length, may_set=slot.kind == "reading")
    row = Row(state.next_number, slot.kind, slot.cycle, slot.branch, at_s=_tenths(at_s))
    if slot.kind == "reading":
        held = course.dwell_s if dwell_s is None else min(dwell_s, course.dwell_s)
        row = replace(row, dwell_s=round(held, 1))
    if slot.kind == "check-load" and state.head.check_load is not None:
        row = replace(row, note=state.head.check_load.id)
    setting = slot.setting if typed.setting is None else typed.setting
    if slot.kind == "flat":
        row = replace(row, length=typed.value)
    elif slot.kind != "reading":
        row = replace(row, force=typed.value)
    elif state.hung:
        row = replace(row, length=typed.value, mass=setting)
    else:
        row = replace(row, length=setting, force=typed.value)
    if row.length is not None and row.length <= 0:
        raise DataError("a length is above zero", remedy="read the tape again")
    return row, typed


def _judged(state: Recording, row: Row, typed: Typed) -> Step:
    doubt = Judge(state.run, state.course).doubt(row, typed)
    if doubt is None:
        return _accept(state, row)
    kept = replace(row, note="; ".join(filter(None, (row.note, courses.KEPT))))
    return Step(replace(state, pending=kept), say=(doubt, question_again(state)))


def _accept(state: Recording, row: Row) -> Step:
    try:
        check_lengths(Run("recording", state.head, (row,)))
    except DataError as error:
        return Step(state, say=(_sentence(DataError(error.what, remedy=error.remedy)),))
    after = with_rows(state, (row,))
    if courses.KEPT in row.note:  # little is concluded from a doubtful reading, but the first tells where a plan leads
        judge = Judge(after.run, after.course)
        only = len(judge.known) == 1 and row.kind == "reading" and row.branch == "loading" and row.length is not None
        doubted = only and judge.passes(judge.geometry.stretch(row.length or 0.0), judge.pull(row) or 0.0)
        return _shorter(after, row, ()) if doubted else Step(after, (row,))
    cut = _beyond_limit(after, row)
    if not cut:
        return Step(after, (row,))
    left = len(state.course.settings) - len(cut)
    if row.cycle == 1 and left < FEWEST[not state.course.closing]:
        return _shorter(after, row, cut)
    lengths = ", ".join(shown(r.length or 0.0, state.course.length_unit, LENGTH) for r in cut)
    say = f"Left out from here on: {lengths} {state.course.length_unit}. {Judge(after.run, after.course).limit_words()}"
    return Step(with_rows(after, cut), (row, *cut), (say,))


def _shorter(after: Recording, row: Row, cut: tuple[Row, ...]) -> Step:
    """Go on with shorter lengths, from what the first readings show; where there is no room, say what to do."""
    course, judge = after.course, Judge(after.run, after.course)
    filled = next((i for n, i in after.place.filled if n == row.number), 0)
    at = after.slots[filled].setting or 0.0
    done = tuple(x for x in course.settings if x <= at + 1e-9)
    above, top = max(at, row.length or 0.0), judge.bearable_top(row)
    step = 0.25 * INCH if course.length_unit == "in" else 0.005
    new = shorter(above, top, len(course.settings) - len(done), judge.geometry, course.holes, step)
    if not new:
        ahead = cut or _left_out(after, row, [x for x in course.settings if x > above + 1e-9])
        say = f"{judge.limit_words()} Undo if this was a slip; else stop, and begin again with shorter lengths."
        return Step(with_rows(after, ahead), (row, *ahead), (say,))
    lengths = (*done, *new)
    note = f"{courses.PLANNED}: {' '.join(f'{x:.6g}' for x in lengths)}"
    plan = Row(row.number + 1, "gap", row.cycle, row.branch, at_s=row.at_s, note=note)
    words = ", ".join(shown(x, course.length_unit, LENGTH) for x in new)
    say = f"{judge.limit_words()} So a shorter plan, from what the first readings show: {words} {course.length_unit}."
    return Step(with_rows(after, (plan,)), (row, plan), (say,))


def with_rows(state: Recording, rows: tuple[Row, ...]) -> Recording:
    """The recording with more rows."""
    return replace(state, rows=(*state.rows, *rows))


def _beyond_limit(state: Recording, row: Row) -> tuple[Row, ...]:
    """Gap rows for the longer lengths that would overload the scale or lift its anchor."""
    if row.kind != "reading" or row.branch != "loading" or state.hung or row.length is None:
        return ()
    ahead = [s for s in state.slots[state.index :] if s.cycle == row.cycle and s.branch == "loading"]
    judge = Judge(state.run, state.course)
    lengths = [s.setting for s in ahead if s.setting is not None]
    stretches = [k.stretch for k in judge.known if k.branch == "loading"]
    if not lengths or (max(stretches) - min(stretches) < SPAN_TO_GO_BY and not judge.too_much(lengths[0])):
        return ()  # a millimetre of flat length bends the first few; the next length is safe, and tells more
    return _left_out(state, row, [x for x in lengths if judge.too_much(x)])


def _left_out(state: Recording, row: Row, lengths: Sequence[float]) -> tuple[Row, ...]:
    """Gap rows behind a reading for lengths that are not measured in this recording."""
    note = f"{courses.LEFT_OUT}: pull would pass the limit"
    return tuple(
        Row(row.number + 1 + i, "gap", row.cycle, row.branch, length, at_s=row.at_s, note=note)
        for i, length in enumerate(lengths)
    )


def _help(state: Recording, rest: str, at_s: float | None) -> Step:
    own = HELP_OWN_LOAD if state.hung else HELP_OWN_LENGTH
    return Step(state, say=tuple(own if line == HELP_OWN_LENGTH else line for line in HELP))


def _undo(state: Recording, rest: str, at_s: float | None) -> Step:
    filled = state.place.filled
    if not filled:
        return Step(state, say=("Nothing to undo yet.",))
    number = filled[-1][0]
    trailing = [
        r.number
        for r in state.rows
        if r.number > number
        and r.kind == "gap"
        and r.note.startswith((courses.LEFT_OUT, courses.PLANNED, courses.ASKED, courses.ENOUGH))
        if r.number not in state.run.struck
    ]
    strikes = tuple(
        Row(state.next_number + i, "strike", at_s=_tenths(at_s), note=f"row {n}: {courses.UNDONE}")
        for i, n in enumerate([number, *trailing])
    )
    return Step(replace(with_rows(state, strikes), stopped=False), strikes, (f"Row {number} struck. Again:",))


def _skip(state: Recording, rest: str, at_s: float | None) -> Step:
    slot = state.slot
    assert slot is not None
    reason = f": {rest}" if rest else ""
    note = f"{courses.SKIPPED} {slot.kind}{reason}"
    row = Row(state.next_number, "gap", slot.cycle, slot.branch, at_s=_tenths(at_s), note=note)
    return Step(with_rows(state, (row,)), (row,), ("Skipped.",))


def _note(state: Recording, rest: str, at_s: float | None) -> Step:
    if not rest:
        return Step(state, say=("Write the remark behind the word: note strap slipped a little.",))
    row = Row(state.next_number, "gap", at_s=_tenths(at_s), note=f"note: {rest}")
    return Step(with_rows(state, (row,)), (row,), ("Noted.",))


def _strike(state: Recording, rest: str, at_s: float | None) -> Step:
    number, _, reason = rest.partition(" ")
    if not (number.isascii() and number.isdecimal() and reason.strip()):
        return Step(state, say=("Say which row and why: strike 7 strap slipped. 'rows' lists them.",))
    known = {r.number for r in state.rows if r.kind != "strike"} - set(state.run.struck)
    if int(number) not in known:
        return Step(state, say=(f"There is no row {number} to strike; 'rows' lists them.",))
    row = Row(state.next_number, "strike", at_s=_tenths(at_s), note=f"row {int(number)}: {reason.strip()}")
    return Step(
        with_rows(state, (row,)), (row,), (f"Row {int(number)} struck; it stays in the file, but does not count.",)
    )


def _zero(state: Recording, rest: str, at_s: float | None) -> Step:
    if state.hung:
        return Step(state, say=("Hung weights need no zero.",))
    try:
        typed = read_entry(rest, state.course, reads_length=False, may_set=False)
    except DataError as error:
        return Step(state, say=(_sentence(error),))
    row = Row(state.next_number, "zero", force=typed.value, at_s=_tenths(at_s), note=courses.BETWEEN)
    return Step(with_rows(state, (row,)), (row,), ("Zero noted.",))


def _rows(state: Recording, rest: str, at_s: float | None) -> Step:
    lines = [row_words(state, row) for row in state.rows[-12:]]
    return Step(state, say=tuple(lines) or ("No rows yet.",))


def row_words(state: Recording, row: Row) -> str:
    """One row in words, in the units of the recording."""
    course = state.course
    parts = [f"{row.number:>4}  {row.kind}"]
    if row.branch:
        parts.append(f"cycle {row.cycle} {'out' if row.branch == 'loading' else 'back'}")
    if row.length is not None:
        parts.append(f"{shown(row.length, course.length_unit, LENGTH)} {course.length_unit}")
    if row.mass is not None:
        parts.append(f"{shown(row.mass * FORCE['kg'], course.force_unit, FORCE)} {course.force_unit}")
    if row.force is not None:
        parts.append(f"{shown(row.force, course.force_unit, FORCE)} {course.force_unit}")
    if row.note:
        parts.append(row.note)
    return "  ".join(parts) + ("  (struck)" if row.number in state.run.struck else "")


def _stop(state: Recording, rest: str, at_s: float | None) -> Step:
    return Step(replace(state, stopped=True), say=("No more readings.",))


_COMMANDS: dict[str, Callable[[Recording, str, float | None], Step]] = {
    "help": _help,
    "h": _help,
    "?": _help,
    "undo": _undo,
    "u": _undo,
    "skip": _skip,
    "s": _skip,
    "note": _note,
    "n": _note,
    "strike": _strike,
    "zero": _zero,
    "rows": _rows,
    "stop": _stop,
    "q": _stop,
    "quit": _stop,
}
