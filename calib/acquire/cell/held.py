"""Samples of force in, held points out: sees that the stretch has stopped, runs the dwell, takes the value at its end.

No port, no clock and no file: times come with the samples. docs/held_points.md has the trials behind the numbers.

Rubber goes on relaxing, so a held point is the force at a stated time after the stretch stopped. Where a strap, pins or
a stand fix the length the force is fitted as F = a + b log10(t / t_ref), which gives F at t_ref and the relaxation; a
hand sways too much for that, and there the mean about t_ref is taken. Forces are in any one unit.
"""

from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import hypot, isfinite, log, sqrt
from statistics import median
from typing import Literal

import numpy as np

from calib.records import Array

Grip = Literal["strap", "hand", "weight"]

BLOCK_S = 0.25  # samples are averaged over this before anything is judged
LOOK = 8  # blocks that must stand still before a dwell begins
CAME = 0.15  # share of the force from which on a change is a motion from a side, not relaxing or setting it finely
FINE_S = 0.1  # the stop is found to this
AGAIN_S = 1.0  # so often a hold that could not be taken at its time is looked at again
LOST_S = 1.5  # no sample for so long is a gap
BEFORE: dict[Grip, int] = {"strap": 6, "hand": 12, "weight": 6}  # blocks of the motion that the stop is found from
MANY = 6  # samples in a block whose median is nearly as good as their mean, and takes no notice of wild ones
OFF = 3  # blocks in a row off the held force are a move; one or two are a knock
BATCHES = 3
T_95 = {2: 4.303, 5: 2.571}  # Student's t, 95 % two-sided: any table
Z_95 = 1.960
TOO_FAR = 20.0  # so many times better told by a motion back, the stretch went too far and came back
SMEAR = 0.2  # s; relaxing begins while the motion still ends, so log t is taken from a little later
U_STOP = {"strap": 0.3, "hand": 1.0, "weight": 1.0}  # s; how well the stop is found, from the trials
HAND_DECADE = 0.02  # of the force: relaxing of 1 to 3 % a decade is common (docs/method.md, 1)
SWAY_DOF = 3  # readings' worth of belief in the sway of a hand, beside the two of three batches


@dataclass(frozen=True)
class HoldRules:
    """How still is still. A share is of the force above zero; "along" is the way the stretch went, else it relaxes.

    Args:
        grip: What fixes the length.
        t_ref: Time after the stop at which the force is stated. [s]
        window: What is evaluated, in t_ref.
        patience: When a trend is taken for a motion at last, in t_ref.
        spread: Largest scatter about a line over the first look. [share]
        slope: Largest change over the first look. [share/s]
        off: How far off the force so far a move is. [share]
        sway: Of a mean over the window, k = 1, believed before it is seen. [share]
        steady: Largest change along the way while held: above it a slow pull goes on. [force/s]
        floor: Noise and steps of the line: no change up to here is a motion. [force]
    """

    grip: Grip
    t_ref: float
    window: tuple[float, float]
    patience: float
    spread: float
    slope: float
    off: float
    sway: float
    steady: float
    floor: float

    @classmethod
    def strap(cls, t_ref: float = 10.0, floor: float = 0.1, newton: float = 1.0) -> "HoldRules":
        """The length is fixed by a strap, pins or a stand. `newton` is one newton in the unit of the force."""
        return cls("strap", t_ref, (0.5, 1.5), 2.5, 0.015, 0.015, 0.02, 0.0, 2.5 * newton, floor)

    @classmethod
    def hand(cls, t_ref: float = 6.0, floor: float = 0.1, newton: float = 1.0) -> "HoldRules":
        """The length is held by hand, which sways by about a per cent."""
        return cls("hand", t_ref, (2 / 3, 4 / 3), 3.0, 0.03, 0.02, 0.06, 0.006, 1.25 * newton, floor)

    @classmethod
    def weight(cls, t_ref: float = 4.0, floor: float = 0.1, newton: float = 1.0) -> "HoldRules":
        """Nothing, or a known weight, hangs on the cell; it may swing a little."""
        return cls("weight", t_ref, (0.5, 1.5), 3.0, 0.01, 0.005, 0.02, 0.0001, 0.5 * newton, floor)


@dataclass(frozen=True)
class HeldPoint:
    """The force at a stated time after the stretch stopped."""

    stopped_s: float  # when the stretch stopped
    at_s: float  # the time the force is stated for
    force: float
    u: float  # of the mean or the fit by itself; 1.96 of it hold 95 %
    n: int
    sd: float  # of blocks of a quarter of a second about the fit
    per_s: float = 0.0  # how fast it changes with time
    percent_per_decade: float | None = None  # change with a decade of time; falling is negative
    u_percent: float | None = None
    keyed: bool = False  # the stop was said by key

    @property
    def dwell_s(self) -> float:
        """Time from the stop to the time the force is stated for. [s]"""
        return self.at_s - self.stopped_s

    def total_u(self, resolution: float, u_sensor: float, u_zero: float) -> float:
        """Standard uncertainty with one step of the line, the sensor and the zero, all in the unit of the force."""
        return sqrt(self.u**2 + resolution**2 / 12 + u_sensor**2 + u_zero**2)


@dataclass(frozen=True)
class Event:
    """What the samples led to: the stretch stopped, moved off again, a point is there, or samples are missing."""

    kind: Literal["stopped", "moved", "held", "gap"]
    at_s: float
    point: HeldPoint | None = None


@dataclass(frozen=True)
class _Block:
    """The samples of a quarter of a second as one."""

    t: float  # mean time [s]
    force: float
    n: int


class HoldWatch:
    """Watches a stream of force for holds; what it keeps does not grow.

    A hold that was taken is not taken again: the force has to move off first, or `again` has to be called. `came` is
    the way of the last motion that was more than relaxing: 1 up, -1 down, 0 none was seen.
    """

    def __init__(self, rules: HoldRules, zero: float = 0.0, way: int = 0) -> None:
        """Begin.

        Args:
            rules: How still is still.
            zero: What is shown with nothing pulling.
            way: Where the force goes next: 1 up, -1 down, 0 not known.
        """
        self.rules, self.zero, self.way = rules, zero, way
        most = LOOK + max(BEFORE.values()) + int(rules.patience * rules.t_ref / BLOCK_S) + 1
        self._blocks: deque[_Block] = deque(maxlen=most)
        self._raw: deque[tuple[float, float]] = deque(maxlen=3)
        self._open: list[tuple[float, float]] = []
        self._last: float | None = None
        self.came, self._far = 0, 0.0
        self.again()

    def again(self) -> None:
        """Forget what was seen: the next hold counts, even where the force has not moved."""
        self._blocks.clear()
        self._raw.clear()
        self._open = []
        self._taken: float | None = None
        self._look()

    def leave(self, force: float) -> None:
        """Say that a hold at this force was taken: the force has to move off first."""
        self.again()
        self._taken = force

    def _look(self) -> None:
        self._stop: float | None = None
        self._keyed = False
        self._off = 0
        self._again_s = float("-inf")

    @property
    def taken(self) -> bool:
        """Whether what is held now was taken already."""
        return self._taken is not None

    @property
    def ready_s(self) -> float | None:
        """About when the point will be there, None while the stretch moves."""
        return None if self._stop is None else self._stop + self.rules.window[1] * self.rules.t_ref

    def set_now(self, at_s: float) -> None:
        """The length is set now, by key: the dwell runs from here, and no slow trend is taken for a motion."""
        self._taken = None
        self._look()
        self._stop, self._keyed = at_s, True

    def feed(self, at_s: float, force: float) -> list[Event]:
        """Take one sample, later than the one before."""
        events: list[Event] = []
        if self._last is not None and not 0 <= at_s - self._last <= LOST_S:
            self.again()
            events.append(Event("gap", at_s))
        self._last = at_s
        self._raw.append((at_s, force))
        middle, level = (median(column) for column in zip(*self._raw, strict=True))
        if self._open and middle - self._open[0][0] >= BLOCK_S - 1e-6:
            events += self._close(at_s)
        self._open.append((middle, level))
        return events

    def _close(self, at_s: float) -> list[Event]:
        n = len(self._open)
        forces = [force for _, force in self._open]
        force = median(forces) if n >= MANY else sum(forces) / n
        block = _Block(sum(t for t, _ in self._open) / n, force, n)
        self._open = []
        if not self._blocks:
            self.came, self._far = 0, block.force
        self._blocks.append(block)
        self._follow(block.force)
        if self._taken is not None:
            return self._leaving(block, self._taken)
        if self._stop is None:
            return self._looking()
        return self._holding(block, at_s, self._stop)

    def _allow(self, force: float, share: float) -> float:
        return max(self.rules.floor, share * abs(force - self.zero))

    def _leaving(self, block: _Block, taken: float) -> list[Event]:
        self._off = self._off + 1 if abs(block.force - taken) > self._allow(taken, self.rules.off) else 0
        if self._off < OFF:
            return []
        self._taken, self._off = None, 0
        return [Event("moved", block.t)]

    def _looking(self) -> list[Event]:
        if len(self._blocks) < LOOK:
            return []
        t, f = _arrays(list(self._blocks)[-LOOK:])
        level, slope, sd = _line(t, f)
        if sd > self._allow(level, self.rules.spread) or abs(slope) > self._allow(level, self.rules.slope):
            return []
        if self.rules.grip == "strap" and self.way * slope > min(self._allow(level, 0.004), self.rules.steady):
            return []  # rubber that is held relaxes; it does not go on
        self._stop = float(t[0]) - BLOCK_S / 2
        return [Event("stopped", self._blocks[-1].t)]

    def _holding(self, block: _Block, at_s: float, guess: float) -> list[Event]:
        rules = self.rules
        since = at_s - guess
        recent = [b.force for b in list(self._blocks)[-2 * LOOK :] if b.t >= guess + min(0.5, since / 2)]
        level = median(recent or [block.force])
        off = abs(block.force - level) > self._allow(level, rules.off)
        if rules.grip == "strap":  # rubber that is held does not go on by itself
            off = off or self.way * (block.force - level) > self._allow(level, 0.25 * rules.off)
        self._off = self._off + 1 if off else 0
        if self._off >= OFF and not self._keyed:
            return self._moved(at_s)
        if since < rules.window[1] * rules.t_ref or at_s < self._again_s:
            return []
        self._again_s = at_s + AGAIN_S
        stop = guess if self._keyed else self._find_stop(guess)
        if at_s - stop < rules.window[1] * rules.t_ref:
            self._again_s = min(self._again_s, stop + rules.window[1] * rules.t_ref)
            return []  # what the clock was started at was still the stretch
        window = self._window(stop)
        if len(window) < BATCHES:  # a line too slow for so short a dwell
            return self._moved(at_s)
        point = replace(self._evaluate(stop, window), keyed=self._keyed)
        if not self._keyed and not self._stands(point.per_s, point.force):
            return [] if since < rules.patience * rules.t_ref else self._moved(at_s)
        self._look()
        self._taken = block.force
        return [Event("held", at_s, point)]

    def _moved(self, at_s: float) -> list[Event]:
        self._look()
        return [Event("moved", at_s)]

    def _find_stop(self, guess: float) -> float:
        """Where the motion, carried on as a line, meets the held force, carried back."""
        t, f = _arrays(self._blocks)
        last = max(1, int(np.searchsorted(t, guess + 2 * BLOCK_S)) - 1)
        first = max(0, last - BEFORE[self.rules.grip])
        half = last + (len(f) - last) // 2
        level, sd = float(np.median(f[last:])), float(f[half:].std())
        way = np.sign(level - f[first : last + 1].mean())
        begin = first + int(np.argmin(way * f[first : last + 1]))  # an earlier hold is left out
        t, f = t[begin:], f[begin:]
        latest = float(t[-1]) - LOOK * BLOCK_S
        if t[0] + BLOCK_S >= latest or abs(level - f[0]) < max(self.rules.floor, 2 * sd):
            return guess  # no motion was seen: the line began, or came back, while the length was held
        if self.rules.grip != "strap":
            return _kink(t, f, latest, -way * self._relaxing(level))[0]
        stop, _ = _kink(t, f, latest, None)
        far = int(np.argmax(way * f[: last - begin + 1]))
        if t[far] + BLOCK_S >= latest:
            return stop
        back, rest = _kink(t[far:], f[far:], latest, None)
        return back if TOO_FAR * rest < _kink_rest(t[far:], f[far:], stop, None) else stop

    def _follow(self, force: float) -> None:
        """Keep the way of the last motion that was more than relaxing."""
        if self.came and self.came * (force - self._far) >= 0:
            self._far = force
        elif abs(force - self._far) > self._allow(self._far if self.came else force, CAME):
            self.came, self._far = (1 if force > self._far else -1), force

    def _window(self, stop: float) -> list[_Block]:
        begin, end = (stop + share * self.rules.t_ref for share in self.rules.window)
        return [b for b in self._blocks if begin <= b.t <= end]

    def _evaluate(self, stop: float, window: Sequence[_Block]) -> HeldPoint:
        rules = self.rules
        t, f = _arrays(window)
        n, at = sum(b.n for b in window), stop + rules.t_ref
        if rules.grip == "strap":
            x = np.log10((t - stop) / rules.t_ref)
            a, b, rest = _fit(x, f)
            u_mean = T_95[BATCHES - 1] / Z_95 * _batch_u(rest)
            u_b = u_mean * sqrt(len(x) / float(np.sum((x - x.mean()) ** 2)))
            later = np.log10((t - stop - U_STOP["strap"]) / rules.t_ref)
            u_b = hypot(u_b, _fit(later, f)[1] - b)  # a stop found too late makes the fall look less steep
            share = 100 / ((a - self.zero) or 1e-12)
            u = hypot(u_mean, b / log(10) * U_STOP["strap"] / rules.t_ref)
            per_s = b / log(10) / rules.t_ref
            return HeldPoint(stop, at, a, u, n, float(rest.std()), per_s, b * share, u_b * abs(share))
        mean = float(f.mean())
        size = abs(mean - self.zero)
        seen = (SWAY_DOF * (rules.sway * size) ** 2 + (BATCHES - 1) * _batch_u(f) ** 2) / (SWAY_DOF + BATCHES - 1)
        u = hypot(T_95[SWAY_DOF + BATCHES - 1] / Z_95 * sqrt(seen), self._u_stop(mean))
        trend = _line(*_arrays(b for b in self._blocks if b.t - stop >= 0.25 * rules.t_ref))[1]
        return HeldPoint(stop, at, mean, u, n, float(f.std()), trend)

    def _relaxing(self, force: float) -> float:
        """What a hand sways too much to show, and is believed: size of a decade's change; weights do not relax."""
        return HAND_DECADE * abs(force - self.zero) if self.rules.grip == "hand" else 0.0

    def _u_stop(self, force: float) -> float:
        """What the force changes in the time by which the stop may be wrong."""
        return self._relaxing(force) / log(10) * U_STOP["hand"] / self.rules.t_ref

    def _stands(self, trend: float, force: float) -> bool:
        """Whether a trend can be that of a held length."""
        rules, size = self.rules, abs(force - self.zero)
        if rules.grip == "strap":
            decade = trend * log(10) * rules.t_ref
            relaxing, going_on = self._allow(force, 0.10), self._allow(force, 0.015)
            along = decade * self.way if self.way else 0.0
            return abs(decade) <= relaxing and along <= going_on and abs(trend) <= rules.steady
        least = 0.4 * rules.steady if isfinite(rules.steady) else 0.0
        trend += self.way * self._relaxing(force) / log(10) / rules.t_ref  # less what relaxing alone does
        return abs(trend) <= min(max(least, rules.floor / rules.t_ref, 0.006 * size), rules.steady)


def _arrays(blocks: Iterable[_Block]) -> tuple[Array, Array]:
    both = np.array([(b.t, b.force) for b in blocks])
    return both[:, 0], both[:, 1]


def _line(t: Array, f: Array) -> tuple[float, float, float]:
    """Mean, slope, and standard deviation about the line."""
    x = t - t.mean()
    slope = float(x @ f / (x @ x))
    rest = f - f.mean() - slope * x
    return float(f.mean()), slope, sqrt(float(rest @ rest) / max(len(f) - 2, 1))


def _fit(x: Array, f: Array) -> tuple[float, float, Array]:
    """Value at x = 0, slope, and what the line leaves."""
    mean, slope, _ = _line(x, f)
    return mean - slope * float(x.mean()), slope, f - mean - slope * (x - x.mean())


def _kink(t: Array, f: Array, latest: float, relaxing: float | None) -> tuple[float, float]:
    """When a straight motion ended, before `latest`, and what that leaves of the blocks."""

    def best(tries: Array) -> tuple[float, float]:
        rests = [_kink_rest(t, f, at, relaxing) for at in tries]
        return float(tries[int(np.argmin(rests))]), min(rests)

    near = best(np.arange(t[0] + FINE_S, latest, 4 * FINE_S))[0]
    return best(np.arange(max(near - 3 * FINE_S, t[0] + FINE_S), min(near + 4 * FINE_S, latest), FINE_S))


def _kink_rest(t: Array, f: Array, at: float, relaxing: float | None) -> float:
    """What a straight motion up to a time, and relaxing after it, leave of the blocks: sum of squares.

    Relaxing is in force per decade; None where the blocks themselves can tell.
    """
    since = t - at
    columns = [np.ones(len(t)), np.minimum(since, 0)]
    decades = np.log10(np.maximum(since, 0) + SMEAR)
    if relaxing is None:
        columns.append(decades)
    else:
        f = f - relaxing * decades
    both = np.column_stack(columns)
    rest = f - both @ np.linalg.lstsq(both, f, rcond=None)[0]
    return float(rest @ rest)


def _batch_u(values: Array) -> float:
    """Standard error of a mean from the means of three batches: neighbours in a window are alike, batches less so."""
    means = np.array([part.mean() for part in np.array_split(values, BATCHES)])
    return float(means.std(ddof=1)) / sqrt(BATCHES)
