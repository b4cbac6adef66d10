"""Samples of force in, held points out: sees that the stretch has stopped, runs the dwell, takes the value at its end.

No port, no clock and no file: times come with the samples. docs/held_points.md has the trials behind the numbers.

Rubber goes on relaxing, so a held point is the force at a stated time after the stretch stopped. Where a strap, pins or
a stand fix the length the force is fitted as F = a + b log10(t / t_ref), which gives F at t_ref and the relaxation; a
hand sways too much for that, and there the mean about t_ref is taken. Forces are in any one unit.

What was not seen is never made up. A silence is no motion and no rest: where the force is the same behind it the hold
goes on, with a larger u; where it is not, the stretch stopped somewhere within it, and u says so.
"""

from collections import deque
from statistics import median

from calib.acquire.points.hold_fit import line, sound
from calib.acquire.points.hold_point import BLOCK_S, LOOK, SILENT_S, Block, HoldEvidence, arrays
from calib.acquire.points.hold_rules import Event, Grip, HeldPoint, HoldRules, Refusal

__all__ = ["Event", "Grip", "HeldPoint", "HoldRules", "HoldWatch"]

CAME = 0.15  # share of the force from which on a change is a motion from a side, not relaxing or setting it finely
AGAIN_S = 1.0  # so often a hold that could not be taken at its time is looked at again
LOST_S = 4.0  # a longer silence is a gap: a hold before it does not go on
HOLED = 3.0  # a look of blocks with silences between may last so many times as long as one without
MANY = 6  # samples in a block whose median is nearly as good as their mean, and takes no notice of wild ones
FOLLOWED = 5  # blocks whose median is followed for the way of a motion
OFF = 3  # blocks in a row off the held force are a move; one or two are a knock
CREEPS_S = 0.3  # of a motion so slow, beyond the look that shows it
LEVELS = (10, 16)  # blocks over which a force that sways may be level, so that it is no pull
LEVEL = 0.15  # share of the force by which it may sway and still be meant as held
SEEN_STRAP, SEEN_HAND = 0.003, 0.008  # share of the force a second from which on it is shown that it goes on
GOES_ON = 0.0015  # share of the force a second: held rubber does not go on like that
SEEN_GOING = 9  # blocks after the stop from which that is told


class HoldWatch:
    """Watches a stream of force for holds; what it keeps does not grow.

    A hold that was taken is not taken again: the force has to move off first, or `again` has to be called. `came` is
    the way of the last motion that was more than relaxing: 1 up, -1 down, 0 none was seen.
    """

    def __init__(
        self, rules: HoldRules, zero: float = 0.0, way: int = 0, *, drift: float = 0.0, lag: float | None = None
    ) -> None:
        """Begin.

        Args:
            rules: How still is still.
            zero: What is shown with nothing pulling.
            way: Where the force goes next: 1 up, -1 down, 0 not known.
            drift: By which the zero moves on. [force/s]
            lag: Time constant of the device's filter; None where it is to be told from each stop. [s]
        """
        self.rules, self.zero, self.way, self.drift = rules, zero, way, drift
        self._evidence = HoldEvidence(rules, zero, way, drift, lag)
        self._blocks, self._silences = self._evidence.blocks, self._evidence.silences
        self._raw: deque[tuple[float, float]] = deque(maxlen=3)
        self._open: list[tuple[float, float]] = []
        self._last: float | None = None
        self.came, self._far = 0, 0.0
        self.again()

    def again(self) -> None:
        """Forget what was seen: the next hold counts, even where the force has not moved."""
        self._evidence.forget()
        self._raw.clear()
        self._open = []
        self._taken: float | None = None
        self._level_since: float | None = None
        self._crept = False
        self._look()

    def leave(self, force: float, seen: "HoldWatch | None" = None) -> None:
        """Say that a hold at this force was taken: the force has to move off first.

        Args:
            force: What is held.
            seen: The watch that took it; what it saw last is where the next motion begins.
        """
        self.again()
        self._taken = force
        if seen is not None:
            self._evidence.follow(seen._evidence)
            self._last, self._far = seen._last, force

    def _look(self) -> None:
        self._stop: float | None = None
        self._keyed = self._refused = False
        self._off = 0
        self._again_s = float("-inf")

    @property
    def is_taken(self) -> bool:
        """Whether what is held now was taken already."""
        return self._taken is not None

    @property
    def refused(self) -> bool:
        """Whether what is held now is not taken by itself; why was said in an event."""
        return self._refused

    @property
    def ready_s(self) -> float | None:
        """About when the point will be there, None while the stretch moves."""
        return None if self._stop is None else self._stop + self.rules.window[1] * self.rules.t_ref

    @property
    def per_s(self) -> float:
        """By which the force goes on in a hold under way; 0 where that is hardly more than noise. [force/s]"""
        held = [b for b in self._blocks if self._stop is not None and b.t > self._stop][-LOOK:]
        if len(held) < LOOK:
            return 0.0
        slope = line(*arrays(held))[1] - self.drift
        least = (SEEN_HAND if self.rules.grip == "hand" else SEEN_STRAP) * abs(held[-1].force - self.zero)
        return slope if abs(slope) > max(least, self.rules.floor / (LOOK * BLOCK_S)) else 0.0

    def set_now(self, at_s: float) -> None:
        """The length is set now, by key: the dwell runs from here, and no slow trend is taken for a motion."""
        self._taken, self._crept = None, False
        self._look()
        self._stop, self._keyed = at_s, True

    def feed(self, at_s: float, force: float) -> list[Event]:
        """Take one sample, later than the one before."""
        events = [] if self._last is None else self._time_passed(at_s, self._last)
        self._last = at_s
        self._raw.append((at_s, force))
        middle, level = (median(column) for column in zip(*self._raw, strict=True))
        if self._open and middle - self._open[0][0] >= BLOCK_S - 1e-6:
            events += self._close(at_s)
        self._open.append((middle, level))
        return events

    def _time_passed(self, at_s: float, last: float) -> list[Event]:
        """Keep a silence; a long one, or a clock that runs back, ends what was seen."""
        took = at_s - last
        silent = max(SILENT_S, 3 * self._evidence.usual_step)
        if 0 <= took <= LOST_S:
            self._evidence.steps.append(took)
        if 0 <= took <= silent:
            return []
        if 0 <= took <= LOST_S:
            events = self._close(last) if self._open else []
            self._raw.clear()
            self._silences.append((last, at_s))
            return events
        keyed, taken, held = self._keyed, self._taken, self._stop is not None
        self.again()
        if took > 0:
            self._silences.append((last, at_s))
        self._taken = None if keyed else taken
        return [Event("gap", at_s, size=max(took, 0.0) if held else 0.0)]

    def _close(self, at_s: float) -> list[Event]:
        n = len(self._open)
        forces = [force for _, force in self._open]
        force = median(forces) if n >= MANY else sum(forces) / n
        block = Block(sum(t for t, _ in self._open) / n, force, n)
        self._open = []
        self._blocks.append(block)
        if len(self._blocks) >= FOLLOWED:  # a wild block or two are no way to come from
            self._follow(median(b.force for b in list(self._blocks)[-FOLLOWED:]), begin=len(self._blocks) == FOLLOWED)
        if self._taken is not None:
            return self._leaving(block, self._taken)
        if self._stop is None:
            return self._looking()
        return self._holding(block, at_s, self._stop)

    def _leaving(self, block: Block, taken: float) -> list[Event]:
        self._off = self._off + 1 if abs(block.force - taken) > self._evidence.allow(taken, self.rules.off) else 0
        if self._off < OFF:
            return []
        self._taken, self._off = None, 0
        return [Event("moved", block.t)]

    def _looking(self) -> list[Event]:
        newest = self._blocks[-1]
        blocks = list(self._blocks)[-LOOK:]
        if len(blocks) < LOOK or blocks[-1].t - blocks[0].t > HOLED * LOOK * max(BLOCK_S, self._evidence.usual_step):
            return []
        t, f = arrays(blocks)
        good = sound(f, self.rules.floor)
        good[: LOOK // 2] = True  # the end of a motion is no wild block
        level, slope, sd = line(t[good], f[good] - self.drift * t[good])
        if sd > self._evidence.allow(level, self.rules.spread):
            sways = any(self._is_level(blocks) for blocks in LEVELS)
            return self._refuse("sways", sd / (abs(level - self.zero) or 1.0)) if sways else []
        if abs(slope) > self._evidence.allow(level, self.rules.slope):
            self._level_since, self._crept = None, False
            return []
        if self.rules.grip == "strap" and self.way * slope > min(self._evidence.allow(level, 0.004), self.rules.steady):
            self._level_since = newest.t if self._level_since is None else self._level_since
            lasts = newest.t - self._level_since > CREEPS_S  # a pull may end slowly
            return self._refuse("creeps", slope) if lasts else []  # rubber that is held relaxes; it does not go on
        self._stop, self._refused, self._level_since = float(t[0]) - BLOCK_S / 2, False, None
        return [Event("stopped", newest.t)]

    def _refuse(self, why: Refusal, size: float) -> list[Event]:
        """Say once why a force does not count as held."""
        said, self._refused = self._refused, True
        return [] if said else [Event("refused", self._blocks[-1].t, why=why, size=size)]

    def _is_level(self, size: int) -> bool:
        """Whether the force sways about one level, so that it is no pull that goes on."""
        blocks = list(self._blocks)[-size:]
        if len(blocks) < size:
            return False
        t, f = arrays(blocks)
        level, slope, sd = line(t, f)
        return abs(slope) * (t[-1] - t[0]) < sd and sd < LEVEL * abs(level - self.zero)

    def _holding(self, block: Block, at_s: float, guess: float) -> list[Event]:
        rules = self.rules
        since = at_s - guess
        recent = [b.force for b in list(self._blocks)[-2 * LOOK :] if b.t >= guess + min(0.5, since / 2)]
        level = median(recent or [block.force])
        off = abs(block.force - level) > self._evidence.allow(level, rules.off)
        if rules.grip == "strap":  # rubber that is held does not go on by itself
            off = off or self.way * (block.force - level) > self._evidence.allow(level, 0.25 * rules.off)
        self._off = self._off + 1 if off else 0
        if self._off >= OFF and not self._keyed:
            return self._crept_off() + self._moved(at_s)
        if self._goes_on(guess):
            return self._refuse("creeps", self._newest_slope())
        if since < rules.window[1] * rules.t_ref or at_s < self._again_s:
            return []
        self._again_s = at_s + AGAIN_S
        return self._due(block, at_s, guess)

    def _newest_slope(self) -> float:
        return line(*arrays(list(self._blocks)[-LOOK:]))[1] - self.drift

    def _goes_on(self, guess: float) -> bool:
        """Whether a strap gives: a force that goes on along the way a little after the stop, told once."""
        if self.rules.grip != "strap" or self._keyed or sum(b.t > guess for b in self._blocks) != SEEN_GOING:
            return False
        size = abs(self._blocks[-1].force - self.zero)
        return self.way * self._newest_slope() > max(GOES_ON * size, self.rules.floor / (LOOK * BLOCK_S))

    def _crept_off(self) -> list[Event]:
        """Why a hold is over that was left so slowly that nobody pulled: said once, until something moves."""
        slope, level = self._newest_slope(), self._blocks[-1].force
        if self._crept or abs(slope) > self._evidence.allow(level, self.rules.slope):
            return []
        self._crept = True
        return [] if self._refused else [Event("refused", self._blocks[-1].t, why="creeps", size=slope)]

    def _due(self, block: Block, at_s: float, guess: float) -> list[Event]:
        """Take the point, or say why not."""
        rules = self.rules
        point = self._evidence.point(guess, keyed=self._keyed)
        wait = point.stopped_s + rules.window[1] * rules.t_ref
        if at_s < wait:
            self._again_s = min(self._again_s, wait)
            slope = self._newest_slope()  # what the clock was started at was still the stretch, or it slips
            late = at_s - guess >= rules.patience * rules.t_ref  # it never comes to its end
            slips = rules.grip == "strap" and (late or not self._evidence.stands(slope, block.force))
            return self._refuse("creeps", slope) if slips else []
        if not point.n:  # a line too slow for so short a dwell
            return [Event("refused", at_s, why="slow line"), *self._moved(at_s)]
        if not self._keyed and not self._evidence.stands(point.per_s, point.force):
            if at_s - guess >= rules.patience * rules.t_ref:
                return self._moved(at_s)
            return self._refuse("creeps", point.per_s)
        self._look()
        self._taken = block.force
        return [Event("held", at_s, point)]

    def _moved(self, at_s: float) -> list[Event]:
        self._look()
        return [Event("moved", at_s)]

    def _follow(self, force: float, *, begin: bool) -> None:
        """Keep the way of the last motion that was more than relaxing."""
        if begin:
            self.came, self._far = 0, force
        elif self.came and self.came * (force - self._far) >= 0:
            self._far = force
        elif abs(force - self._far) > self._evidence.allow(self._far if self.came else force, CAME):
            self.came, self._far = (1 if force > self._far else -1), force
