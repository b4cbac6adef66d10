"""What a hold was: from blocks of force to the point, with what was not seen in its u. When a hold is one: `held`.

Where a strap, pins or a stand fix the length the force is fitted as F = a + b log10(t / t_ref), which gives F at t_ref
and the relaxation; a hand sways too much for that, and there the mean about t_ref is taken.
"""

from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import pairwise
from math import hypot, isfinite, log, sqrt
from statistics import median

import numpy as np

from calib.acquire.points import hold_fit
from calib.acquire.points.hold_fit import SEEN_S, Corner, batch_u, corner, fit, kink_rest, line, sound
from calib.acquire.points.hold_rules import Grip, HeldPoint, HoldRules
from calib.frozen import dataclass
from calib.records import Array

BLOCK_S = 0.25  # samples are averaged over this before anything is judged
LOOK = 8  # blocks that must stand still before a dwell begins
SILENT_S = 0.8  # without a sample, and three times its usual distance, is a silence
SILENCES = 8  # kept
LONGEST_S = 30.0  # before the end of a silence a stretch may have stopped
BEFORE: dict[Grip, int] = {"strap": 6, "hand": 12, "weight": 6}  # blocks of the motion that the stop is found from
BATCHES = hold_fit.BATCHES
T_95 = {2: 4.303, 5: 2.571}  # Student's t, 95 % two-sided: any table
Z_95 = 1.960
TOO_FAR = 20.0  # so many times better told by a motion back, the stretch went too far and came back
U_STOP = {"strap": 0.3, "hand": 1.0, "weight": 1.0}  # s; how well the stop is found, from the trials
U_LAG = 0.6  # share of a filter's time constant by which it may be wrong
HAND_DECADE = 0.02  # of the force: relaxing of 1 to 3 % a decade is common (docs/method.md, 1)
SWAY_DOF = 3  # readings' worth of belief in the sway of a hand, beside the two of three batches
STOOD = 0.03  # share of the force by which a hold's first second may lie off its next ones
CORNER_S = 2.0
FASTER, JUST_BEFORE_S = 10.0, 4.0  # times what goes on in a hold the motion before it is, so long before the stop
LONG_S = 8.0  # of motion and tail a filter in the device is told from


@dataclass(frozen=True)
class Block:
    """The samples of a quarter of a second as one."""

    t: float  # mean time [s]
    force: float
    n: int


class HoldEvidence:
    """Blocks and silences of a stretch and its hold, and what they tell; what it keeps does not grow."""

    def __init__(self, rules: HoldRules, zero: float, way: int, drift: float, lag: float | None) -> None:
        """Begin; arguments as of `HoldWatch`."""
        self.rules, self.zero, self.way, self.drift, self.lag = rules, zero, way, drift, lag
        most = 3 * LOOK + max(BEFORE.values()) + int(rules.patience * rules.t_ref / BLOCK_S) + 1
        self.blocks: deque[Block] = deque(maxlen=most)
        self.silences: deque[tuple[float, float]] = deque(maxlen=SILENCES)
        self.steps: deque[float] = deque(maxlen=15)
        self._keyed, self._blur = False, 0.0

    def forget(self) -> None:
        """What comes next has nothing to do with what was seen."""
        self.blocks.clear()
        self.silences.clear()

    def follow(self, other: "HoldEvidence") -> None:
        """What another saw last is where the next motion begins."""
        self.blocks.extend(list(other.blocks)[-LOOK:])
        self.steps.extend(other.steps)

    @property
    def usual_step(self) -> float:
        """Between two samples. [s]"""
        return median(self.steps) if self.steps else 0.0

    def allow(self, force: float, share: float) -> float:
        """A share of a force above zero, and no less than the floor."""
        return max(self.rules.floor, share * abs(force - self.zero))

    def _silence_at(self, guess: float) -> tuple[float, float] | None:
        """The silence in which, or just behind which, a stretch seems to have stopped."""
        near = [one for one in self.silences if one[1] - 0.5 <= guess <= one[1] + SEEN_S]
        return max(near, key=lambda one: one[1] - one[0], default=None)

    def point(self, guess: float, *, keyed: bool = False) -> HeldPoint:
        """The point as the blocks so far tell it; with n = 0 where they are too few."""
        self._keyed, self._blur = keyed, 0.0
        silence = None if keyed else self._silence_at(guess)
        if silence is None:
            return self._seen(guess)
        if self._stood_before(silence):
            return self._seen(silence[0] - BLOCK_S)
        if self.rules.grip == "strap":
            return self._stopped_unseen(silence)
        middle = 0.5 * (max(silence[0], silence[1] - self.rules.t_ref) + silence[1])
        return self._evaluate(middle, 0.0, (silence[1] - silence[0]) / sqrt(12))

    def _seen(self, guess: float) -> HeldPoint:
        """The point of a stop that was seen, or said by key."""
        stop, lag = (guess, self.lag or 0.0) if self._keyed else self._find_stop(guess)
        return replace(self._evaluate(stop, lag), keyed=self._keyed)

    def _stood_before(self, silence: tuple[float, float]) -> bool:
        """Whether the force stood before a silence, and as after it: then the stretch had stopped before."""
        before = [b for b in self.blocks if silence[0] - 3 * BLOCK_S <= b.t <= silence[0]]
        after = [b for b in self.blocks if b.t > silence[0]][: LOOK // 2]
        if len(before) < 2 or not after:
            return False
        level = median(b.force for b in after)
        near = max(self.rules.floor, STOOD * abs(level - self.zero))
        return all(abs(b.force - level) < near for b in before)

    def _stopped_unseen(self, silence: tuple[float, float]) -> HeldPoint:
        """A hold whose stretch stopped while nothing came."""
        rules = self.rules
        blocks = [b for b in self.blocks if b.t >= silence[1] - 1e-6]
        if len(blocks) < 2 * BATCHES or len(self._kept(blocks, silence[1])[0]) < 2 * BATCHES:
            return self._none(silence[1])
        t, f = self._kept(blocks, silence[1])
        begin = max(silence[0], silence[1] - LONGEST_S)
        stop, force, u_unseen = hold_fit.stop_in_silence(t, f, (begin, silence[1]), rules.t_ref, rules.floor / 20)
        there = self._relaxed(stop, t, f, 0.0)
        return replace(there, force=force, u=hypot(there.u, u_unseen), unseen_s=silence[1] - silence[0])

    def _find_stop(self, guess: float) -> tuple[float, float]:
        """Where the motion, carried on as a line, meets the held force, carried back; and the device's lag."""
        t, f = self._kept(self._since_motion(guess), guess)
        last = max(1, int(np.searchsorted(t, guess + 2 * BLOCK_S)) - 1)
        lag = self.lag or 0.0
        if self.rules.grip != "hand" and self.lag != 0.0:
            jump = hold_fit.lag_of_jump(t, f, self.rules.floor, float(t[-1]) - LOOK * BLOCK_S, self.lag)
            if jump is not None and not self._creeps_on(t, f, jump):
                self._blur = 0.0
                return jump.stop_s, jump.tau
        found = self._stop_after(t, f, last, BEFORE[self.rules.grip] + int(3 * lag / BLOCK_S), guess)
        if self.lag is None and self.rules.grip != "hand" and not found.went_back:
            found = self._with_lag(t, f, last, found)
        self._blur = found.blur
        return found.stop_s, found.tau

    def _since_motion(self, guess: float) -> list[Block]:
        """Blocks behind the last silence in which the force changed: across it no motion is a line."""
        begin = float("-inf")
        for silence in self.silences:
            if silence[1] + SEEN_S < guess:
                begin = silence[1]
        return [b for b in self.blocks if b.t >= begin - 1e-6]

    def _stop_after(self, t: Array, f: Array, last: int, blocks: int, guess: float) -> Corner:
        """The stop by so many blocks of motion, `guess` where they hold none."""
        begin, way, relaxing = self._motion(f, last, blocks)
        t, f, last = t[begin:], f[begin:], last - begin
        latest, lag = float(t[-1]) - LOOK * BLOCK_S, self.lag or 0.0
        if t[0] + BLOCK_S >= latest or not self._moves(f, last):
            return Corner(guess, lag, 0.0)  # the line began, or came back, while the length was held
        found = corner(t, f, latest, relaxing, lag)
        if self._creeps_on(t, f, found):
            return corner(t, f, latest, relaxing)
        far = int(np.argmax(way * f[: last + 1]))
        if self.rules.grip != "strap" or lag or t[far] + BLOCK_S >= latest:
            return found
        back = corner(t[far:], f[far:], latest, None)
        alone = kink_rest(t[far:], f[far:], found.stop_s, None)
        return replace(back, went_back=True) if TOO_FAR * back.rest < alone else found

    def _with_lag(self, t: Array, f: Array, last: int, plain: Corner) -> Corner:
        """The same, where a filter in the device tells the hold better."""
        begin, _, relaxing = self._motion(f, last, int(LONG_S / BLOCK_S))
        latest = float(t[-1]) - LOOK * BLOCK_S
        if t[begin] + BLOCK_S >= latest or not self._moves(f[begin:], last - begin):
            return plain
        found = hold_fit.lag_of(t[begin:], f[begin:], plain, float(t[last]), latest, relaxing)
        return plain if self._creeps_on(t, f, found) else found

    def _creeps_on(self, t: Array, f: Array, found: Corner) -> bool:
        """Whether what is held goes on along the way, nearly as fast as before: then no filter is told from its end.

        An even pull behind a filter is an even pull still, and with its end free a fit finds any filter in it.
        """
        held = t >= 0.5 * (found.stop_s + t[-1])
        if not found.tau or held.sum() < BATCHES:
            return False
        slope = line(t[held], f[held])[1]
        begin, end = found.stop_s - JUST_BEFORE_S, min(found.stop_s + 3 * found.tau, float(t[-1]))
        first, after = np.searchsorted(t, (begin, end))
        motion = float(f[after] - f[first]) / float(t[after] - t[first])
        return FASTER * slope * (self.way or np.sign(motion)) > abs(motion)

    def _moves(self, f: Array, last: int) -> bool:
        """Whether the first block lies off what is held from `last` on."""
        sd = float(f[last + (len(f) - last) // 2 :].std())
        return abs(float(np.median(f[last:])) - float(f[0])) >= max(self.rules.floor, 2 * sd)

    def _motion(self, f: Array, last: int, blocks: int) -> tuple[int, float, float | None]:
        """First block of the motion that ends about `last`, at most so many before it; its way; relaxing after it."""
        first, level = max(0, last - blocks), float(np.median(f[last:]))
        way = float(np.sign(level - f[first : last + 1].mean()))
        begin = first + int(np.argmin(way * f[first : last + 1]))  # an earlier hold is left out
        return begin, way, None if self.rules.grip == "strap" else -way * self._relaxing(level)

    def _kept(self, blocks: Iterable[Block], at: float) -> tuple[Array, Array]:
        """Blocks as arrays, without wild ones and without what the zero moves after a time."""
        t, f = arrays(blocks)
        good = sound(f, self.rules.floor)
        good |= t < at + CORNER_S  # a motion and its end are no row of wild blocks
        return t[good], f[good] - self.drift * (t[good] - at)

    def _window(self, stop: float) -> list[Block]:
        begin, end = (stop + share * self.rules.t_ref for share in self.rules.window)
        return [b for b in self.blocks if begin <= b.t <= end]

    def _evaluate(self, stop: float, lag: float, u_stop_s: float = 0.0) -> HeldPoint:
        """The point for a stop; with n = 0 where its window holds too little."""
        window = self._window(stop)
        if len(window) < BATCHES or len(self._kept(window, stop)[0]) < BATCHES:
            return self._none(stop)
        point = self._in_window(window, stop, lag, u_stop_s)
        return replace(point, unseen_s=self._unseen(stop), lag_s=lag)

    def _none(self, stop: float) -> HeldPoint:
        """Too little was seen for a point."""
        return HeldPoint(stop, stop + self.rules.t_ref, 0.0, 0.0, 0, 0.0)

    def _unseen(self, stop: float) -> float:
        """Silences from the stop to the end of the window. [s]"""
        end = stop + self.rules.window[1] * self.rules.t_ref
        times = [stop, *(b.t for b in self.blocks if stop <= b.t <= end), end]
        silent = max(SILENT_S, 3 * self.usual_step)
        return sum(b - a for a, b in pairwise(times) if b - a > silent)

    def _in_window(self, window: Sequence[Block], stop: float, lag: float, u_stop_s: float) -> HeldPoint:
        rules = self.rules
        at = stop + rules.t_ref
        t, f = self._kept(window, at - rules.t_ref)
        f = f + self.drift * rules.t_ref
        if rules.grip == "strap":
            return self._relaxed(stop, t, f, lag)
        n, mean = sum(b.n for b in window), float(f.mean())
        size = abs(mean - self.zero)
        seen = (SWAY_DOF * (rules.sway * size) ** 2 + (BATCHES - 1) * batch_u(f) ** 2) / (SWAY_DOF + BATCHES - 1)
        u = hypot(T_95[SWAY_DOF + BATCHES - 1] / Z_95 * sqrt(seen), self._u_stop(mean, u_stop_s))
        trend = line(*arrays(b for b in self.blocks if b.t - stop >= 0.25 * rules.t_ref))[1] - self.drift
        return HeldPoint(stop, at, mean, u, n, float(f.std()), trend)

    def _relaxed(self, stop: float, t: Array, f: Array, lag: float) -> HeldPoint:
        """The force at t_ref of a hold whose length is fixed."""
        rules = self.rules
        inside = (t >= stop + rules.window[0] * rules.t_ref) & (t <= stop + rules.window[1] * rules.t_ref)
        if inside.sum() >= 2 * BATCHES:
            t, f = t[inside], f[inside]
        found = hold_fit.relaxed(t, f, stop, rules.t_ref, lag)
        x = np.log10(np.maximum(t - stop, BLOCK_S) / rules.t_ref)
        u_mean = T_95[BATCHES - 1] / Z_95 * batch_u(found.rest)
        u_b = u_mean * sqrt(len(x) / float(np.sum((x - x.mean()) ** 2)))
        later = np.log10(np.maximum(t - stop - U_STOP["strap"], BLOCK_S) / rules.t_ref)
        u_b = hypot(u_b, fit(later, f)[1] - fit(x, f)[1])  # a stop found too late makes the fall look less steep
        share = 100 / ((found.force - self.zero) or 1e-12)
        per_s = found.decade / log(10) / rules.t_ref
        u_stop = hypot(U_STOP["strap"], U_LAG * lag, self._blur, self._hole_at(stop) / 2)
        u = hypot(u_mean, per_s * u_stop, self._u_hole(stop, found.rest))
        n = sum(b.n for b in self.blocks if t[0] <= b.t <= t[-1])
        sd, at = float(found.rest.std()), stop + rules.t_ref
        return HeldPoint(stop, at, found.force, u, n, sd, per_s, found.decade * share, u_b * abs(share), lag_s=lag)

    def _hole_at(self, stop: float) -> float:
        """The longest time about the stop from which nothing came. [s]"""
        near = [b.t for b in self.blocks if abs(b.t - stop) < 2.0]
        return max((b - a for a, b in pairwise(near) if b - a > 2 * BLOCK_S), default=0.0)

    def _u_hole(self, stop: float, rest: Array) -> float:
        """What a hole in the hold hides: the scatter of a block, by the share of the time that was not seen."""
        return float(rest.std()) * min(1.0, self._unseen(stop) / (self.rules.window[1] * self.rules.t_ref))

    def _relaxing(self, force: float) -> float:
        """What a hand sways too much to show, and is believed: size of a decade's change; weights do not relax."""
        return HAND_DECADE * abs(force - self.zero) if self.rules.grip == "hand" else 0.0

    def _u_stop(self, force: float, u_stop_s: float = 0.0) -> float:
        """What the force changes in the time by which the stop may be wrong."""
        return self._relaxing(force) / log(10) * hypot(U_STOP["hand"], u_stop_s) / self.rules.t_ref

    def stands(self, trend: float, force: float) -> bool:
        """Whether a trend can be that of a held length."""
        rules, size = self.rules, abs(force - self.zero)
        if rules.grip == "strap":
            decade = trend * log(10) * rules.t_ref
            relaxing, going_on = self.allow(force, 0.10), self.allow(force, 0.015)
            along = decade * self.way if self.way else 0.0
            return abs(decade) <= relaxing and along <= going_on and abs(trend) <= rules.steady
        least = 0.4 * rules.steady if isfinite(rules.steady) else 0.0
        trend += self.way * self._relaxing(force) / log(10) / rules.t_ref  # less what relaxing alone does
        return abs(trend) <= min(max(least, rules.floor / rules.t_ref, 0.006 * size), rules.steady)


def arrays(blocks: Iterable[Block]) -> tuple[Array, Array]:
    """Times and forces of blocks."""
    both = np.array([(b.t, b.force) for b in blocks])
    return both[:, 0], both[:, 1]
