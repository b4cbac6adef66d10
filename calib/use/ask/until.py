"""Readings chosen one by one until an uncertainty is reached: which is next, in words, and when it is enough.

What helps most is worked out in fit/curve/next_reading.py; the choice is a row of the file, so it can be resumed.
"""

import math
import re
from collections.abc import Callable, Collection, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any, TypeGuard

from calib.acquire.recording.course import UNTIL, Course, Slot, geometry
from calib.acquire.recording.entry_check import Judge
from calib.acquire.recording.state import Recording
from calib.errors import DataError, UsageError
from calib.records import Row, Run, RunHead
from calib.units import INCH
from calib.use.ask.gear import gear_of

if TYPE_CHECKING:
    from calib.fit.curve.next_reading import Aim

PLACES = 7  # lengths to choose from over the working lengths
SPOTS = 5  # lengths at which the pull is to be known, ends among them
MOST_READINGS = 60
LEAST_PLACES = 3
LOWEST, HIGHEST = 0.1, 30.0  # per cent that may be wanted

Chooser = Callable[[Recording], tuple[Row, str]]


def per_cent(text: str, option: str = "--until") -> float:
    """Read a relative uncertainty like 2%. [1]

    Raises:
        UsageError: It is none, or out of range.
    """
    found = re.fullmatch(r"\s*(\d+(?:[.,]\d+)?)\s*%\s*", text)
    if not found:
        raise UsageError(f"{option} {text[:20]!r} is not per cent", remedy=f"for example {option} 2%")
    value = float(found[1].replace(",", "."))
    if not LOWEST <= value <= HIGHEST:
        raise UsageError(f"{option} {text[:20]!r} is out of range", remedy=f"{LOWEST:g}% to {HIGHEST:g}%")
    return value / 100


def until_head(wanted: float, over: tuple[float, float] | None) -> dict[str, Any]:
    """What the head of a run keeps of it."""
    return {"U": wanted} | ({"over_m": list(over)} if over else {})


def chooser_for(state: Recording) -> Chooser | None:
    """Who chooses the next reading of a recording; None where its plan is fixed.

    Raises:
        DataError: What the head keeps of it is not an aim; somebody wrote it by hand.
    """
    if state.course.asked is None:
        return None
    _aim_of_head(state.head)
    return choose


def choose(state: Recording) -> tuple[Row, str]:
    """The row that asks for the next reading or says that it is enough, and what to say."""
    from calib.fit.curve.next_reading import ENOUGH_OF_BEST, outlook, stated

    run = Run("recording", state.head, state.rows)
    try:
        aim = aim_of(run, state.course, without=_skipped(run))
        first = _first(run, aim, state.course)
    except DataError as error:
        if not state.course.asked:
            raise
        return state.closing("there is no length left to read"), f"Nothing more can be asked for: {error.what}."
    if first is not None:
        return state.asking(first), ""
    ahead = outlook(run, aim)
    try:
        now = stated(run, aim)
    except DataError:  # it cannot be fitted yet, so it cannot be enough
        now = max(ahead.relative, math.nextafter(aim.relative, 1.0))
    if now <= aim.relative:
        return state.closing(f"U {100 * now:.2f} %"), f"Done: {_known(now, aim, state)}."
    if len(run.readings) >= MOST_READINGS or (ahead.best > aim.relative and now <= ENOUGH_OF_BEST * ahead.best):
        return state.closing(
            f"U {100 * now:.2f} %, no better"
        ), f"{_known_sentence(now, aim, state)} {hindered(ahead.best, ahead.hindrance)}"
    why = hindered(ahead.best, ahead.hindrance) if ahead.best > aim.relative else ""
    said = " ".join(filter(None, (_known_sentence(now, aim, state), why, "Next reading, the one that helps most:")))
    return state.asking(Slot("reading", ahead.next.cycle, ahead.next.branch, ahead.next.length)), said


def _first(run: Run, aim: "Aim", course: Course) -> Slot | None:
    """One of the first readings, that any curve needs; another place where one of them was skipped."""
    from calib.fit.curve.next_reading import LEAST_LENGTHS, first_readings

    gap = 0.5 * min(b - a for a, b in pairwise(aim.places))
    taken = [r.length or 0.0 for r in run.readings if r.branch == "loading"]
    lengths = [x for i, x in enumerate(taken) if all(abs(x - y) > gap for y in taken[:i])]
    asked = [slot.setting or 0.0 for slot in course.asked or ()]
    if len(lengths) >= LEAST_LENGTHS and len(asked) >= LEAST_LENGTHS:
        return None
    last = run.readings[-1] if run.readings else None
    at = last.length or 0.0 if last and last.branch == "loading" else 0.0 if last is None else math.inf
    others = sorted(aim.places, key=lambda x: (x <= at, -x))
    for length in (*(reading.length for reading in first_readings(aim)), *others):
        if all(abs(length - x) > gap for x in (*taken, *asked)):
            cycle = (last.cycle or 1) if last else 1
            return Slot("reading", cycle if length > at else cycle + 1, "loading", length)
    return None


def _skipped(run: Run) -> frozenset[float]:
    """Places that were asked for and skipped: they are not asked for again. [m] as taped"""
    skipped: set[float] = set()
    asked: float | None = None
    for row in run.rows:
        if row.number in run.struck:
            continue
        if row.kind == "chosen":
            asked = row.mass if row.length is None else row.length
        elif row.kind == "skipped" and row.about == "reading" and asked is not None:
            skipped.add(asked)
    return frozenset(skipped)


def aim_of(run: Run, course: Course, without: Collection[float] = ()) -> "Aim":
    """What is wanted, and where readings may be taken: within the plan, and what the scale takes.

    Args:
        run: With the readings so far.
        course: The same.
        without: Places that cannot be set. [m] as taped

    Raises:
        DataError: Fewer than three places are left.
    """
    from calib.fit.curve.next_reading import Aim, places_over

    wanted, over = _aim_of_head(run.head)
    first, last = span(course.settings, geometry(run.head).offset, over)
    by_tape = 0.25 * INCH if course.length_unit == "in" else 0.005
    step = course.holes.pitch if course.holes else by_tape
    judge = Judge(run, course)
    places = places_over(run, (first, last), PLACES, step)
    places = tuple(x for x in places if all(abs(x - y) > 1e-6 for y in without))
    places = tuple(x for x in places if not run.readings or not judge.too_much(x))
    if len(places) < LEAST_PLACES:
        raise DataError(
            f"fewer than three places to read at between {first:.3f} and {last:.3f} m (half-path)",
            where="--over",
            remedy="choose working lengths within the plan, a wider range, or a scale with more capacity",
        )
    spots = tuple(first + (last - first) * i / (SPOTS - 1) for i in range(SPOTS))
    return Aim(0.5 * (first + last), wanted, places, course.way_back, spots)


def _aim_of_head(head: RunHead) -> tuple[float, list[float] | None]:
    """What the head of a run keeps: the relative uncertainty wanted, and the working lengths. [1], [m] half-path"""
    told = head.extensions[UNTIL]
    wanted, over = (told.get("U"), told.get("over_m")) if isinstance(told, dict) else (None, None)
    pair = over if isinstance(over, list) and len(over) == 2 and all(map(_positive, over)) else None
    if not _positive(wanted) or wanted >= 1 or (over is not None and pair is None):
        raise DataError(f"{UNTIL} = {str(told)[:40]} is not an aim", remedy="start a new run with --until")
    return float(wanted), pair


def _positive(value: object) -> TypeGuard[float]:
    return isinstance(value, int | float) and not isinstance(value, bool) and 0 < value < math.inf


def span(lengths: Sequence[float], offset: float, over: Sequence[float] | None) -> tuple[float, float]:
    """Half-path lengths between which readings are chosen: the working lengths, as far as the plan has them. [m]

    Args:
        lengths: Of the plan, as taped, rising. [m]
        offset: From taped to half-path. [m]
        over: Working lengths, half-path; None for those of the plan but the first. [m]

    Raises:
        DataError: They lie outside the plan.
    """
    low, top = lengths[0] + offset, lengths[-1] + offset
    first, last = over or (lengths[min(1, len(lengths) - 2)] + offset, top)
    if min(last, top) <= max(first, low):
        raise DataError(
            f"{first:g} to {last:g} m (half-path) lies outside the planned lengths, {low:.2f} to {top:.2f} m",
            where="--over",
            remedy="name working lengths within them, or plan longer ones with --to",
        )
    return max(first, low), min(last, top)


def _known(now: float, aim: "Aim", state: Recording) -> str:
    """How well the pull is known, and where."""
    gear, offset = gear_of(state.head), geometry(state.head).offset
    first, last = (gear.length_text(round((x - offset) / 0.001) * 0.001) for x in (aim.spots[0], aim.spots[-1]))
    return f"the pull is known to {100 * now:.1f} % everywhere from {first} to {last} on the tape"


def _known_sentence(now: float, aim: "Aim", state: Recording) -> str:
    known = _known(now, aim, state)
    return f"{known[:1].upper()}{known[1:]}; {100 * aim.relative:g} % wanted."


def half_path_words(length: float, course: Course) -> str:
    """A half-path length in the unit the tape is in."""
    return f"{length / INCH:.1f} in (half-path)" if course.length_unit == "in" else f"{length:.2f} m (half-path)"


def hindered(best: float, hindrance: str) -> str:
    """What keeps the uncertainty up, and what would fix it.

    Args:
        best: Relative 95 % half-width that no number of readings betters.
        hindrance: From the outlook.
    """
    remedy = {
        "the scale gain": "check the scale with known loads",
        "the known loads": "use better known loads",
        "the zero": "zero the scale again, or use a finer one",
        "the length offset": "measure the pins, tape more carefully, or name working lengths further out",
        "the flat length": "measure the flat length again, more carefully",
    }.get(hindrance, "better gear is needed")
    return f"No number of readings gets below {100 * best:.1f} %: {hindrance} limits it; {remedy}."
