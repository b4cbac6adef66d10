"""The words that may be typed instead of a reading: undo, skip, note, strike, zero, rows, stop.

Each takes a recording and gives the step that follows. Nothing is printed here.
"""

from collections.abc import Callable
from dataclasses import replace

from calib.acquire.files.run_checks import check_readable
from calib.acquire.files.run_events import BETWEEN
from calib.acquire.recording import course as courses
from calib.acquire.recording.state import Recording, Step, tenths, with_rows
from calib.acquire.recording.typed_entry import number_in_unit, read_entry
from calib.errors import DataError
from calib.records import Row
from calib.units import FORCE, LENGTH

HELP_OWN_LENGTH = "  16.35 @ 1290    the reading, at a length of your choice"
HELP_OWN_LOAD = "  1290 @ 12.5     the reading, with a load of your choice"
HELP = (
    "Type the number and press Enter. A comma is a decimal point; a unit may follow: 36.1 lb",
    HELP_OWN_LENGTH,
    "  undo, back      undo the last entry and ask again",
    "  skip            leave this one out",
    "  note TEXT       write a remark in the file",
    "  strike 7 TEXT   strike row 7, with the reason",
    "  change 7 16.35  row 7 should have been 16.35",
    "  again 7 TEXT    strike row 7 and measure it again at the end",
    "  zero 0.05       scale reading with the band slack, at any time",
    "  rows            list the last rows, with their numbers",
    "  stop            no more readings: finish",
    "  Enter alone     restart the hold",
)


def sentence(error: DataError) -> str:
    """What an error says, as a sentence of the talk."""
    text = str(error)
    return text[:1].upper() + text[1:] + "."


def unreadable(state: Recording, row: Row) -> str:
    """Why a row would make the file one that no reader takes, as a sentence; "" where it would not."""
    try:
        check_readable(replace(state.run, rows=(row,), force_unit=state.course.force_unit))
    except DataError as error:
        return sentence(DataError(error.what, remedy=error.remedy))
    return ""


def _help(state: Recording, rest: str, at_s: float | None) -> Step:
    own = HELP_OWN_LOAD if state.hung else HELP_OWN_LENGTH.replace("1290", _own_example(state))
    return Step(state, say=tuple(own if line == HELP_OWN_LENGTH else line for line in HELP))


def _own_example(state: Recording) -> str:
    """A length as this recording takes it, as wide as the one of the general help."""
    if state.course.holes is not None:
        return "14  "
    return {"mm": "1290", "cm": "129 ", "in": "50.8", "m": "1.29"}.get(state.course.length_unit, "1290")


def _undo(state: Recording, rest: str, at_s: float | None) -> Step:
    filled = state.place.filled
    if not filled:
        return Step(state, say=("Nothing to undo yet.",))
    number = filled[-1][0]
    trailing = [
        r.number
        for r in state.rows
        if r.number > number and r.kind in ("left-out", "planned", "chosen", "enough") and not r.about.isdecimal()
        if r.number not in state.run.struck
    ]
    strikes = tuple(
        Row(state.next_number + i, "strike", at_s=tenths(at_s), note=courses.UNDONE, about=f"{n}")
        for i, n in enumerate([number, *trailing])
    )
    return Step(replace(with_rows(state, strikes), stopped=False), strikes, (f"Row {number} struck. Again:",))


def _skip(state: Recording, rest: str, at_s: float | None) -> Step:
    slot = state.slot
    assert slot is not None
    row = Row(state.next_number, "skipped", slot.cycle, slot.branch, at_s=tenths(at_s), note=rest, about=str(slot.kind))
    return Step(with_rows(state, (row,)), (row,), ("Skipped.",))


def _note(state: Recording, rest: str, at_s: float | None) -> Step:
    if not rest:
        return Step(state, say=("Write the remark after the word: note strap slipped a little.",))
    row = Row(state.next_number, "note", at_s=tenths(at_s), note=rest)
    return Step(with_rows(state, (row,)), (row,), ("Noted.",))


def _strike(state: Recording, rest: str, at_s: float | None) -> Step:
    number, _, reason = rest.partition(" ")
    if not (number.isascii() and number.isdecimal() and reason.strip()):
        return Step(state, say=("Say which row and why: strike 7 strap slipped. 'rows' lists them.",))
    known = {r.number for r in state.rows if r.kind != "strike"} - set(state.run.struck)
    if int(number) not in known:
        return Step(state, say=(f"There is no row {number} to strike; 'rows' lists them.",))
    row = Row(state.next_number, "strike", at_s=tenths(at_s), note=reason.strip(), about=f"{int(number)}")
    return Step(
        with_rows(state, (row,)), (row,), (f"Row {int(number)} struck; it stays in the file, but does not count.",)
    )


def _again(state: Recording, rest: str, at_s: float | None) -> Step:
    """Strike a reading and ask for its place once more, behind the others."""
    number = rest.partition(" ")[0]
    old = next((r for r in state.run.readings if f"{r.number}" == number), None)
    if old is None:
        return Step(state, say=("Say which reading, and why: again 7 strap slipped. 'rows' lists them.",))
    if state.slot is None or state.slot.closing or state.stopped:
        return Step(state, say=("Everything is measured: the row can be struck, not measured again.",))
    if state.place.filled[-1][0] == old.number:  # then it comes next anyhow
        return _undo(state, "", at_s)
    struck = _strike(state, rest if " " in rest else f"{rest} to be measured again", at_s)
    length, mass = (None, old.mass) if state.hung else (old.length, None)
    row = Row(struck.state.next_number, "chosen", old.cycle, old.branch, length, mass=mass, about=number)
    said = f"Row {number} struck. You will be asked for it again after the others."
    return Step(with_rows(struck.state, (row,)), (*struck.written, row), (said,))


def _zero(state: Recording, rest: str, at_s: float | None) -> Step:
    if state.hung:
        return Step(state, say=("Hung weights need no zero.",))
    try:
        typed = read_entry(rest, state.course, reads_length=False, may_set=False)
    except DataError as error:
        return Step(state, say=(sentence(error),))
    row = Row(state.next_number, "zero", force=typed.value, at_s=tenths(at_s), about=BETWEEN)
    refused = unreadable(state, row)
    if refused:
        return Step(state, say=(refused,))
    return Step(with_rows(state, (row,)), (row,), ("Zero noted.",))


def _rows(state: Recording, rest: str, at_s: float | None) -> Step:
    done = [row for row in state.rows if row.kind != "chosen"]
    lines = [row_words(state, row) for row in done[-12:]]
    return Step(state, say=tuple(lines) or ("No rows yet.",))


def row_words(state: Recording, row: Row) -> str:
    """One row in words, in the units of the recording."""
    course = state.course
    parts = [f"{row.number:>4}  {row.kind}"]
    if row.branch:
        parts.append(f"cycle {row.cycle} {'out' if row.branch == 'loading' else 'back'}")
    if row.length is not None:
        parts.append(f"{number_in_unit(row.length, course.length_unit, LENGTH)} {course.length_unit}")
    if row.mass is not None:
        parts.append(f"{number_in_unit(row.mass * FORCE['kg'], course.force_unit, FORCE)} {course.force_unit}")
    if row.force is not None:
        parts.append(f"{number_in_unit(row.force, course.force_unit, FORCE)} {course.force_unit}")
    if row.about:
        parts.append(f"row {row.about}" if row.kind == "strike" else row.about)
    if row.note:
        parts.append(row.note)
    return "  ".join(parts) + ("  (struck)" if row.number in state.run.struck else "")


def _stop(state: Recording, rest: str, at_s: float | None) -> Step:
    return Step(replace(state, stopped=True), say=("No more readings.",))


WORDS: dict[str, Callable[[Recording, str, float | None], Step]] = {
    "help": _help,
    "h": _help,
    "?": _help,
    "undo": _undo,
    "u": _undo,
    "back": _undo,
    "skip": _skip,
    "s": _skip,
    "note": _note,
    "n": _note,
    "strike": _strike,
    "again": _again,
    "zero": _zero,
    "rows": _rows,
    "stop": _stop,
    "q": _stop,
    "quit": _stop,
}
