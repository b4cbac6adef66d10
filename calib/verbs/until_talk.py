"""Readings chosen one by one until an uncertainty is reached: which is next, in words, and when it is enough.

What helps most is worked out in fit/next_reading.py; the choice is a row of the file, so a recording can be resumed.
"""

import re
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from calib.acquire.course import ASKED, UNTIL, Course, Slot
from calib.acquire.judge import Judge
from calib.acquire.recording import Recording
from calib.errors import DataError, UsageError
from calib.records import Row, Run
from calib.units import INCH

if TYPE_CHECKING:
    from calib.fit.next_reading import Aim

PLACES = 7  # lengths to choose from over the working lengths
MOST_READINGS = 60
LEAST_PLACES = 3
LOWEST, HIGHEST = 0.1, 30.0  # per cent that may be wanted

Chooser = Callable[[Recording], tuple[Row, str]]


def per_cent(text: str, option: str = "--until") -> float:
    """Read a relative uncertainty like 2%. [1]

    Raises:
        UsageError: It is none, or out of reason.
    """
    found = re.fullmatch(r"\s*(\d+(?:[.,]\d+)?)\s*%\s*", text)
    if not found:
        raise UsageError(f"{option} {text[:20]!r} is not per cent", remedy=f"for example {option} 2%")
    value = float(found[1].replace(",", "."))
    if not LOWEST <= value <= HIGHEST:
        raise UsageError(f"{option} {text[:20]!r} is out of reason", remedy=f"{LOWEST:g}% to {HIGHEST:g}%")
    return value / 100


def kept(wanted: float, over: tuple[float, float] | None) -> dict[str, Any]:
    """What the head of a run keeps of it."""
    return {"U": wanted} | ({"over_m": list(over)} if over else {})


def chooser_for(state: Recording) -> Chooser | None:
    """Who chooses the next reading of a recording; None where its plan is fixed."""
    return choose if state.course.asked is not None else None


def choose(state: Recording) -> tuple[Row, str]:
    """The row that asks for the next reading or says that it is enough, and what to say."""
    from calib.fit.next_reading import ENOUGH_OF_BEST, first_readings, outlook, stated

    run = Run("recording", state.head, state.rows)
    aim = aim_of(run, state.course)
    taken = [r.length or 0.0 for r in run.readings if r.branch == "loading"]
    asked = sum(r.note.startswith(ASKED) for r in state.rows)  # one of the first may be skipped
    for reading in first_readings(aim):
        if asked < len(first_readings(aim)) and all(abs(reading.length - x) > 0.5 * _gap(aim) for x in taken):
            return state.asking(Slot("reading", reading.cycle, reading.branch, reading.length)), ""
    ahead = outlook(run, aim)
    try:
        now = stated(run, aim)
    except DataError:
        now = ahead.relative
    if now <= aim.relative:
        return state.closing(f"U {100 * now:.2f} %"), f"{_now(now, aim)} That is what was wanted."
    if len(run.readings) >= MOST_READINGS or (ahead.best > aim.relative and now <= ENOUGH_OF_BEST * ahead.best):
        return state.closing(
            f"U {100 * now:.2f} %, no better"
        ), f"{_now(now, aim)} {hindered(ahead.best, ahead.hindrance)}"
    said = f"{_now(now, aim)} {hindered(ahead.best, ahead.hindrance) if ahead.best > aim.relative else ''}".strip()
    slot = Slot("reading", ahead.next.cycle, ahead.next.branch, ahead.next.length)
    return state.asking(slot), f"{said} Next, what tells most:"


def aim_of(run: Run, course: Course) -> "Aim":
    """What is wanted, and where readings may be taken: within the plan, and what the scale takes.

    Raises:
        DataError: Fewer than three places are left.
    """
    from calib.acquire.course import geometry
    from calib.fit.next_reading import Aim, places_over

    told = run.head.extensions[UNTIL]
    offset = geometry(run.head).offset
    lengths = course.settings
    default = lengths[min(1, len(lengths) - 2)] + offset, lengths[-1] + offset
    over = told.get("over_m") or default
    first, last = max(float(over[0]), lengths[0] + offset), min(float(over[1]), lengths[-1] + offset)
    by_tape = 0.25 * INCH if course.length_unit == "in" else 0.005
    step = course.holes.pitch if course.holes else by_tape
    if last <= first:
        planned = f"{lengths[0] + offset:.2f} to {lengths[-1] + offset:.2f} m"
        raise DataError(
            f"{over[0]:g} to {over[1]:g} m (half-path) lies outside the planned lengths, {planned}",
            where="--over",
            remedy="name working lengths within them, or plan longer ones with --to",
        )
    judge = Judge(run, course)
    places = places_over(run, (first, last), PLACES, step)
    places = tuple(x for x in places if not run.readings or not judge.too_much(x))
    if len(places) < LEAST_PLACES:
        raise DataError(
            f"fewer than three places to read at between {first:.3f} and {last:.3f} m (half-path)",
            where="--over",
            remedy="name working lengths within the plan, wider ones, or a scale that takes more",
        )
    return Aim(0.5 * (first + last), float(told["U"]), places, course.way_back)


def _gap(aim: "Aim") -> float:
    return min(b - a for a, b in zip(aim.places, aim.places[1:], strict=False))


def _now(now: float, aim: "Aim") -> str:
    return f"U {100 * now:.1f} % at {aim.length:.2f} m (half-path); {100 * aim.relative:g} % wanted."


def hindered(best: float, hindrance: str) -> str:
    """What keeps the uncertainty up, and what would mend it.

    Args:
        best: Relative 95 % half-width that no number of readings betters.
        hindrance: From the outlook.
    """
    remedy = {
        "the scale gain": "check the scale with known loads",
        "the known loads": "use better known loads",
        "the zero": "zero the scale again, or use a finer one",
        "the flat length": "tape the flat length again, more carefully",
    }.get(hindrance, "better gear is needed")
    return f"No number of readings gets below {100 * best:.1f} %: {hindrance} does not allow it; {remedy}."
