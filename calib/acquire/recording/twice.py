"""A quick look reads every length twice: where the two do not agree, it is set once more, and two against one decide.

Three readings at three lengths have no redundancy: a slip of a fifth is a curve that rubber could have, and to blame
the reading that came last is wrong as often as right. So nobody is blamed at the time; the second pull shows that
something is wrong, the third reading shows what. Nothing is asked or written here.
"""

from collections.abc import Callable, Sequence

from calib.acquire.recording.course import Slot
from calib.acquire.recording.entry_check import Judge
from calib.acquire.recording.state import Recording, Step, with_rows
from calib.records import Row

AGREE = 0.06  # of the pull, between two readings at one length; honest ones differ by some 1.5 %, k = 1
AGREE_LENGTH = 0.02  # of the length, where loads are hung
STEPS = 3  # of the scale; a light band's first length is a few steps
SAME_LOAD = 0.02
MOST = 4  # readings at one length


def ask_for_more(state: Recording, choose: Callable[[Recording], tuple[Row, str]] | None) -> Step:
    """The recording with the readings asked for that no plan has: chosen one by one, or once more.

    Args:
        state: The recording so far.
        choose: Of the next reading, where the plan is not fixed.
    """
    rows: list[Row] = []
    say: list[str] = []
    if choose is not None and state.asks_for_more:
        row, words = choose(state)
        state = with_rows(state, (row,))
        rows.append(row)
        say += [words] if words else []
    again = set_once_more(state) if state.pending is None else None
    if again is not None:
        row = state.asking(again[0])
        state = with_rows(state, (row,))
        rows.append(row)
        say.append(again[1])
    return Step(state, tuple(rows), tuple(say))


def set_once_more(state: Recording) -> tuple[Slot, str] | None:
    """The length or load to be read again, and why; None where all readings agree or no more can be had of them.

    Args:
        state: A recording whose plan has been gone through.
    """
    if not state.head.extensions.get("quick") or state.slot is not None or state.stopped:
        return None
    for setting in state.course.settings:
        there = [row for row in state.run.readings if _is_at(state, row, setting)]
        if 2 <= len(there) < MOST and not _two_agree(state, there):
            cycle = max(row.cycle or 1 for row in state.run.readings)
            return Slot("reading", cycle, "loading", setting), _why(state, there)
    return None


def _is_at(state: Recording, row: Row, setting: float) -> bool:
    here = row.mass if state.hung else row.length
    near = SAME_LOAD * setting if state.hung else 1e-6  # plates that were weighed are not what their labels say
    return here is not None and abs(here - setting) < near and row.branch == "loading"


def _two_agree(state: Recording, rows: Sequence[Row]) -> bool:
    return any(_agree(state, a, b) for i, a in enumerate(rows) for b in rows[:i])


def _agree(state: Recording, a: Row, b: Row) -> bool:
    if state.hung:
        one, other = a.length or 0.0, b.length or 0.0
        return abs(one - other) <= AGREE_LENGTH * max(one, other)
    judge = Judge(state.run, state.course)
    one, other = judge.pull(a) or 0.0, judge.pull(b) or 0.0
    step = state.head.scale.resolution if state.head.scale else 0.0
    return abs(one - other) <= max(AGREE * max(one, other), STEPS * step)


def _why(state: Recording, rows: Sequence[Row]) -> str:
    judge = Judge(state.run, state.course)
    read = [judge.read_words(row) for row in rows]
    count = "two readings" if len(rows) == 2 else f"{len(rows)} readings"
    return f"The {count} there do not agree ({', '.join(read)}). Once more:"
