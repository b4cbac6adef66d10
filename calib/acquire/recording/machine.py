"""A recording as a state machine: typed lines and times in, rows and sentences out. Nothing is printed or written here.

The state is that of `recording_state`; words instead of a reading are those of `recording_words`.
Every row it returns is meant to be on disk before the next line is asked for.
"""

from collections.abc import Sequence
from dataclasses import replace

from calib.acquire.files.run_events import INSTEAD, KEPT
from calib.acquire.recording.course import PIECES
from calib.acquire.recording.entry_check import Judge
from calib.acquire.recording.plan import shorter
from calib.acquire.recording.state import Recording, Step, tenths, with_rows
from calib.acquire.recording.typed_commands import WORDS, sentence, unreadable
from calib.acquire.recording.typed_entry import Typed, clean, number_in_unit, read_entry
from calib.errors import DataError
from calib.records import Row, Run
from calib.units import INCH, LENGTH

SPAN_TO_GO_BY = 0.1  # of stretch, between the readings that decide about lengths further out
FEWEST = {True: 3, False: 5}  # lengths left of a plan before a shorter one is made; True for a quick look
KEEP = frozenset({"keep", "k", "y", "yes"})
CHANGEABLE = frozenset({"reading", "zero", "flat", "check-load"})
AGAIN = "Right after all? Type k. Wrong? Type the correct number."


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
    if word.lower() == "change":
        return _change(state, rest.strip())
    command = WORDS.get(word.lower())
    if command is not None:
        return command(replace(state, pending=None), rest.strip(), at_s)
    try:
        row, typed = _row(state, text, at_s, dwell_s)
    except DataError as error:
        return Step(state, say=(sentence(error),))
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
        refused = unreadable(state, row)
        return Step(state, say=(refused,)) if refused else take_beside(replace(state, pending=None), row)
    return _judged(replace(state, pending=None), row, Typed(text, row.force))


def take_beside(state: Recording, row: Row) -> Step:
    """Take a row that fills no slot: a gap, or a zero in between."""
    return Step(with_rows(state, (row,)), (row,))


def _reminder(state: Recording) -> tuple[str, ...]:
    """What to say to an empty line."""
    if state.pending is not None:
        return (AGAIN,)
    if state.slot is not None and state.slot.kind == "zero":
        return ("Type the number the scale shows, even if it is 0; or skip.",)
    return ()


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
    row = Row(state.next_number, slot.kind, slot.cycle, slot.branch, at_s=tenths(at_s))
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
        row = replace(row, length=typed.value, mass=setting, pieces=_pieces(state, setting))
    else:
        row = replace(row, length=setting, force=typed.value)
    if row.length is not None and row.length <= 0:
        raise DataError("a length is above zero", remedy="read the tape again")
    hook = state.head.loads.hook_mass if state.head.loads else 0.0
    if row.mass is not None and row.mass + hook <= 0:
        raise DataError("a load is above zero", remedy="type the load behind the @")
    return row, typed


def _change(state: Recording, rest: str) -> Step:
    """Another value for something read before: the old row is struck, and nothing else moves.

    It keeps the old row's time, by which its zero is found; so it must be of the same stretch between lost zeros.
    """
    number, _, text = rest.partition(" ")
    old = next((r for r in state.rows if f"{r.number}" == number and r.number not in state.run.struck), None)
    if old is None or old.kind not in CHANGEABLE or not text.strip():
        return Step(state, say=("Give the row and its correct value: change 7 16.35. 'rows' lists them.",))
    if old.n is not None or any(r.kind == "zero-lost" and r.number > old.number for r in state.rows):
        return Step(state, say=(f"Row {number} cannot be changed, only struck and measured again: again {number}.",))
    reads_length = old.kind == "flat" or (state.hung and old.kind == "reading")
    try:
        typed = read_entry(text, state.course, reads_length=reads_length, may_set=False)
    except DataError as error:
        return Step(state, say=(sentence(error),))
    row = replace(old, number=state.next_number, about=f"{INSTEAD}{number}", line=0)
    row = replace(row, length=typed.value) if reads_length else replace(row, force=typed.value)
    others = Run("recording", state.head, tuple(r for r in state.rows if r is not old))
    doubt = Judge(others, state.course).doubt(row, typed)
    if doubt is None or (state.pending is not None and _same(state.pending, row)):
        return _accept(replace(state, pending=None), row)
    return Step(replace(state, pending=row), say=(doubt, f"Right after all? Type k. Wrong? Type: change {number} ..."))


def _pieces(state: Recording, load: float | None) -> tuple[str, ...]:
    """Names of the plates a load is made of, where somebody named them; a load of one's own is made of none."""
    named = state.head.extensions.get(PIECES)
    found = named.get(f"{load:.6g}") if isinstance(named, dict) and load is not None else None
    known = state.head.loads.pieces if state.head.loads else ()
    return tuple(found) if isinstance(found, list) and set(found) <= set(known) else ()


def _judged(state: Recording, row: Row, typed: Typed) -> Step:
    doubt = Judge(state.run, state.course).doubt(row, typed)
    if doubt is None:
        return _accept(state, row)
    kept = replace(row, about=KEPT)
    return Step(replace(state, pending=kept), say=(doubt, AGAIN))


def _accept(state: Recording, row: Row) -> Step:
    refused = unreadable(state, row)
    if refused:
        return Step(state, say=(refused,))
    if row.about.startswith(INSTEAD):
        old = row.about.removeprefix(INSTEAD)
        rows = (row, Row(row.number + 1, "strike", note="changed", about=old))
        return Step(with_rows(state, rows), rows, (f"Row {old} is changed; the old value stays in the file.",))
    after = with_rows(state, (row,))
    if row.about == KEPT:  # little is concluded from a doubtful reading, but the first tells where a plan leads
        judge = Judge(after.run, after.course)
        only = (
            len(judge.standing_readings) == 1
            and row.kind == "reading"
            and row.branch == "loading"
            and row.length is not None
        )
        doubted = only and judge.passes(judge.geometry.stretch(row.length or 0.0), judge.pull(row) or 0.0)
        return _shorter(after, row, ()) if doubted else Step(after, (row,))
    cut = _beyond_limit(after, row)
    if not cut:
        return Step(after, (row,))
    left = len(state.course.settings) - len(cut)
    if row.cycle == 1 and left < FEWEST[not state.course.closing]:
        return _shorter(after, row, cut)
    lengths = ", ".join(number_in_unit(r.length or 0.0, state.course.length_unit, LENGTH) for r in cut)
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
        ahead = cut or _left_out(row, [x for x in course.settings if x > above + 1e-9])
        say = (
            f"{judge.limit_words()} Type undo if this was a slip; otherwise stop and start again with shorter lengths."
        )
        return Step(with_rows(after, ahead), (row, *ahead), (say,))
    lengths = (*done, *new)
    about = " ".join(f"{x:.6g}" for x in lengths)
    plan = Row(row.number + 1, "planned", row.cycle, row.branch, at_s=row.at_s, about=about)
    words = ", ".join(number_in_unit(x, course.length_unit, LENGTH) for x in new)
    say = f"{judge.limit_words()} A shorter plan, from the first readings: {words} {course.length_unit}."
    return Step(with_rows(after, (plan,)), (row, plan), (say,))


def _beyond_limit(state: Recording, row: Row) -> tuple[Row, ...]:
    """Rows for the longer lengths that would overload the scale or lift its anchor."""
    if row.kind != "reading" or row.branch != "loading" or state.hung or row.length is None:
        return ()
    ahead = [s for s in state.slots[state.index :] if s.cycle == row.cycle and s.branch == "loading"]
    judge = Judge(state.run, state.course)
    lengths = [s.setting for s in ahead if s.setting is not None]
    stretches = [k.stretch for k in judge.standing_readings if k.branch == "loading"]
    if not lengths or (max(stretches) - min(stretches) < SPAN_TO_GO_BY and not judge.too_much(lengths[0])):
        return ()  # a millimetre of flat length bends the first few; the next length is safe, and tells more
    return _left_out(row, [x for x in lengths if judge.too_much(x)])


def _left_out(row: Row, lengths: Sequence[float]) -> tuple[Row, ...]:
    """Rows behind a reading for lengths that are not measured in this recording."""
    note = "pull would pass the limit"
    return tuple(
        Row(row.number + 1 + i, "left-out", row.cycle, row.branch, length, at_s=row.at_s, note=note)
        for i, length in enumerate(lengths)
    )
