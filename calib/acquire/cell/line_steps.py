"""What goes on evenly in a stream, and what is out of it: a clock or counter of lines, a size that is always the same.

What deviates alone is torn; what deviates three times in a row is a change.
"""

import re
from collections import deque
from collections.abc import Sequence
from itertools import pairwise
from statistics import median

_WRAPS = (2.0**8, 2.0**16, 2.0**32)
_CLOCK_S = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "\u00b5s": 1e-6, "min": 60.0}
_CLOCK_NAMED = {
    "ms": 1e-3,
    "millis": 1e-3,
    "us": 1e-6,
    "micros": 1e-6,
    "s": 1.0,
    "sec": 1.0,
    "seconds": 1.0,
    "secs": 1.0,
}

MISSED = 20  # lines in a row that a clock is out of step, until it is taken as it is
CHANGED = 3  # lines in a row that deviate alike: a change, not torn
JUMP = 20  # usual steps that a clock may leave out; back by more, and on from there, it began again
STAR_LINES = 40  # of each kind, of which the steps are compared
STAR_TELLS = 5.0  # times larger steps on one side tell what a star means
ENOUGH_ALIKE = 8  # lines from which on a size is the usual one


class Counter:
    """A clock or a counter of lines: its steps, what is out of step, and where it begins again."""

    def __init__(self) -> None:
        self.total = 0.0
        self._last: float | None = None
        self._suspect: float | None = None
        self._usual = 0.0
        self._missed = 0  # lines in a row that are out of step
        self._agreeing = 0  # lines in a row that go on from a suspect

    def take(self, value: float, skipped: int = 0) -> str:
        """Say of the next value "on", "torn" or "began": anew, and gone on from there; `skipped` lines had none."""
        if self._last is None:
            self._last, self.total = value, value
            return "on"
        step = value - self._last
        if step < 0:
            step = unwrapped(step)
        if 0 <= step <= (JUMP + skipped) * self._usual or (not self._usual and step >= 0):
            return self._go_on(value, step)
        suspect, self._suspect = self._suspect, value
        self._missed += 1
        follows = suspect is not None and 0 <= unwrapped(value - suspect) <= 1.5 * self._usual
        if suspect is None or (not follows and self._missed < MISSED):
            self._agreeing = 0
            return "torn"
        self._agreeing += 1
        if self._agreeing < CHANGED - 1 and self._missed < MISSED:
            return "torn"
        began = suspect < self._last - JUMP * self._usual
        self.total = value if began else self.total + step
        self._last, self._suspect, self._missed = value, None, 0
        return "began" if began else "on"

    def _go_on(self, value: float, step: float) -> str:
        self._last, self._suspect, self._missed = value, None, 0
        self.total += step
        if step:
            self._usual = step if not self._usual else self._usual + 0.2 * (min(step, 3 * self._usual) - self._usual)
        return "on"


class Usual:
    """A size that is always the same in a stream; what deviates alone is noticed, what lasts is learnt."""

    def __init__(self) -> None:
        self.fixed = False
        self.size = -1  # -1: none seen yet
        self._same = self._other = 0
        self._varies = False

    def learn(self, size: int) -> None:
        """Say what is usual."""
        self.size, self._same, self.fixed = size, ENOUGH_ALIKE, True

    def usual(self, size: int) -> bool:
        """Whether a size is the usual one, or sizes vary."""
        if self._varies:
            return True
        if size == self.size:
            self._same, self._other = self._same + 1, 0
            self.fixed = self._same >= ENOUGH_ALIKE
            return True
        if self.fixed and self._other + 1 < CHANGED:
            self._other += 1
            return False
        self._varies = self.size >= 0 and not self.fixed
        self.size, self._same, self._other, self.fixed = size, 1, 0, False
        return True


class Star:
    """What a star beside a number means, told once the load has moved: the number goes on with it, or without it."""

    def __init__(self) -> None:
        self._steps: dict[bool, deque[float]] = {True: deque(maxlen=STAR_LINES), False: deque(maxlen=STAR_LINES)}
        self._last: float | None = None
        self._stands: bool | None = None  # whether a star says that it stands; None until it is told

    def take(self, value: float, *, starred: bool) -> bool | None:
        """Whether the load stands at the next line; None while that cannot be told."""
        if self._stands is None:
            if self._last is not None:
                self._steps[starred].append(abs(value - self._last))
            self._last = value
            self._tell()
        return None if self._stands is None else starred == self._stands

    def _tell(self) -> None:
        if min(len(steps) for steps in self._steps.values()) < ENOUGH_ALIKE:
            return
        with_star, without = (median(self._steps[starred]) for starred in (True, False))
        if max(with_star, without) > STAR_TELLS * min(with_star, without):
            self._stands = with_star < without


def is_clock(values: Sequence[float]) -> bool:
    """Whether numbers rise by near-constant steps; a clock of 16 or 32 bits may wrap.

    >>> is_clock([32600, 32700, -32736, -32635])
    True
    """
    steps = [unwrapped(b - a) for a, b in pairwise(values)]
    middle = median(steps) if steps else 0
    if middle <= 0 or min(steps) <= 0:
        return False
    near = sum(abs(step - middle) <= 0.5 * middle for step in steps)
    return near >= 0.8 * len(steps)


def is_sequence(values: Sequence[float]) -> bool:
    """Whether numbers count lines: up by one, now and then by more; at 8, 16 or 32 bits they begin again.

    >>> is_sequence([253, 254, 255, 0, 1, 2])
    True
    """
    steps = [unwrapped(b - a) for a, b in pairwise(values)]
    return len(steps) > 1 and min(steps) >= 1 and sum(step == 1 for step in steps) >= 0.8 * len(steps)


def unwrapped(step: float) -> float:
    """A step of a clock or counter, with a wrap at 8, 16 or 32 bits taken out."""
    for wrap in _WRAPS:
        if -wrap <= step < -0.9 * wrap:
            return step + wrap
    return step


def clock_unit(column: str, unit: str | None, step: float, took_s: float | None) -> float:
    """Seconds of one unit of a clock.

    Args:
        column: Its name.
        unit: Behind it.
        step: From line to line.
        took_s: What a line took as it came, where that is known. [s]
    """
    if unit in _CLOCK_S:
        return _CLOCK_S[unit]
    for word in re.findall(r"[^\W\d_]+", column.lower()):
        if word in _CLOCK_NAMED:
            return _CLOCK_NAMED[word]
    if took_s:
        return min((1.0, 1e-3, 1e-6), key=lambda s: max(step * s / took_s, took_s / (step * s)))
    if step < 5:
        return 1.0
    return 1e-3 if step <= 5000 else 1e-6
