"""A check of a rig in words and as a document. Nothing is worked out or printed here."""

from calib.units import SHOWN
from calib.use.report.rig_words import UNIT, WORDS, Unit
from calib.use.rig.rig_check import Learned
from calib.use.rig.rig_file import Check
from calib.use.rig.statics import WAYS, Answer

HEADERS = ("bar at", "expected", "+-", "shown", "+-", "apart")


def check_rows(learned: Learned, check: Check, unit: Unit) -> list[tuple[str, ...]]:
    """One line a height: the bands' pull as expected and as shown, each with its 95 % limits."""
    shown = SHOWN[unit]
    found = []
    for n, height in enumerate(check.heights):
        values = (learned.expected[n], 2 * learned.u_expected[n], learned.shown[n], 2 * learned.u_shown[n],
                  learned.shown[n] - learned.expected[n])  # fmt: skip
        found.append((f"{shown.tape(height)} {shown.length}", *(shown.pull(float(v), 1) for v in values)))
    return found


def verdict(learned: Learned) -> str:
    """Whether profile and rig agree, one sentence."""
    if learned.agrees:
        return "Profile and rig agree: what was read lies within what both allow for."
    return "Profile and rig do not agree: what was read lies further off than both allow for (95 %)."


def lessons(learned: Learned, before: Answer, unit: Unit) -> list[str]:
    """What the readings say of slack lengths, gripping and level, one line each."""
    shown = SHOWN[unit]
    found = []
    for i, u in learned.u_slack.items():
        was, now = (one.band[i].slack_length for one in (before.rig, learned.rig))
        text = f"{shown.tape(now or 0.0)} {shown.length} +- {shown.tape(2 * u)}"
        found.append(f"slack length of band[{i}]: {text} ({'estimated' if was is None else shown.tape(was)} before)")
    if learned.grip:
        share, u = learned.grip
        found.append(f"of the way from slipping to gripping round its fittings: {share:.2f} +- {2 * u:.2f}")
    level, u = learned.level
    found.append(f"the bands' own pull: {100 * level:+.1f} % +- {200 * u:.1f} % against their profiles")
    return found


def load_rows(before: Answer, after: Answer, unit: Unit) -> list[tuple[str, ...]]:
    """Load at bottom, middle and top, each way, before and after the check."""
    scale, shown = UNIT[unit], SHOWN[unit]
    found = []
    for way in (way for way in WAYS if way in after.ways):
        for at in (0, len(after.heights) // 2, len(after.heights) - 1):
            cells = [
                f"{value[at] / scale:.1f}"
                for answer in (before, after)
                for value in (answer.ways[way].load.value, answer.ways[way].load.u95)
            ]
            found.append((WORDS[way], f"{shown.tape(after.heights[at])} {shown.length}", *cells))
    return found


LOAD_HEADERS = ("way", "bar at", "load before", "+- mean", "load now", "+- mean")
