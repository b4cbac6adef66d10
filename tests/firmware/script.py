"""What a load cell feels in a test: force against time, what the converter makes of it, and what goes wrong when.

All of it is invented. Forces are plain functions of time, so that a test knows the true value at every moment. No
board is driven here.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import count, pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Force = Callable[[Array], Array]
"""Time since the start [s], shape (n,), to force [N], shape (n,)."""

EventKind = Literal["reset", "brown-out", "dead", "stuck", "saturation", "hang-up"]

FULL_SCALE = 8388607
SETTLE = 4  # conversions until the filter of a converter that was just switched on has settled
T_REF = 10.0  # the time after the stretch stopped that a held force is stated at [s]
ONSET = 0.05  # relaxation is taken from here on: a logarithm has no beginning [s]


@dataclass(frozen=True)
class Event:
    """Something going wrong.

    Args:
        at_s: When it begins. [s]
        kind: "reset" (the button) and "brown-out" start the board again; "dead" is a converter that answers no more,
            "stuck" one whose data wire lies at ground, "saturation" a cell beyond its range; "hang-up" is the cable
            pulled: the port vanishes, and the board starts again when it is back.
        for_s: How long it lasts; a reset takes no time. [s]
    """

    at_s: float
    kind: EventKind
    for_s: float = 0.0


@dataclass(frozen=True)
class Hold:
    """A stretch to a force and a wait there, in which the rubber relaxes: F = force (1 + b log10(t / T_REF)).

    Args:
        force: At T_REF after the stretch stopped. [N]
        ramp: Speed of the pull on the way there. [N/s]
        for_s: Wait after the stretch stopped. [s]
        b: Relative change of the force per decade of time; negative is relaxing.
    """

    force: float
    ramp: float = 60.0
    for_s: float = 16.0
    b: float = -0.03

    def at(self, since: Array) -> Array:
        """Force [N] at times since the stretch stopped [s]."""
        return self.force * (1 + self.b * np.log10(np.maximum(since, ONSET) / T_REF))


@dataclass(frozen=True)
class Held:
    """A hold put on the clock: the stretch stopped at `stopped_s`, and the hold ended at `ended_s`. [s]"""

    began_s: float
    stopped_s: float
    ended_s: float
    hold: Hold


@dataclass(frozen=True)
class Pull:
    """Holds one after the other, each ramped to from where the one before has got to; a Force with its truth.

    Args:
        holds: In turn.
        rest_s: With nothing on the cell, before the first. [s]
    """

    holds: Sequence[Hold]
    rest_s: float = 3.0

    def held(self) -> list[Held]:
        """When each hold began, stopped and ended."""
        found: list[Held] = []
        now, force = self.rest_s, 0.0
        for hold in self.holds:
            first = float(hold.at(np.array([0.0]))[0])
            stopped = now + abs(first - force) / hold.ramp
            found.append(Held(now, stopped, stopped + hold.for_s, hold))
            now, force = stopped + hold.for_s, float(hold.at(np.array([hold.for_s]))[0])
        return found

    def duration_s(self) -> float:
        """Until the end of the last hold. [s]"""
        return self.held()[-1].ended_s

    def __call__(self, at: Array) -> Array:
        """Force [N] at times [s]; after the last hold it goes on relaxing."""
        force = np.zeros_like(at)
        from_force = 0.0
        ends = [*self.held(), None]
        for one, after in pairwise(ends):
            assert one is not None
            begin = float(one.hold.at(np.array([0.0]))[0])
            ramp = (at >= one.began_s) & (at < one.stopped_s)
            way = (at[ramp] - one.began_s) / max(one.stopped_s - one.began_s, 1e-9)
            force[ramp] = from_force + (begin - from_force) * way
            held = (at >= one.stopped_s) & (at < (one.ended_s if after else np.inf))
            force[held] = one.hold.at(at[held] - one.stopped_s)
            from_force = float(one.hold.at(np.array([one.hold.for_s]))[0])
        return force


def by_hand(force: Force, seed: int, sway: float = 0.012, tremor: float = 0.003) -> Force:
    """A force held by hand: slow sway that hangs together over about a second, and tremor at 8 to 12 Hz.

    Args:
        force: What the arm means to hold.
        seed: Of the hand.
        sway: Standard deviation, relative to the force.
        tremor: The same of the tremor.

    Both are sums of sines with random phases, so that they are functions of time and not of the sample rate.
    """
    random = np.random.default_rng(seed)
    slow, slow_phase = random.uniform(0.1, 0.9, 12), random.uniform(0, 2 * np.pi, 12)
    quick, quick_phase = random.uniform(8.0, 12.0, 8), random.uniform(0, 2 * np.pi, 8)

    def _moving(at: Array) -> Array:
        swaying = np.sin(2 * np.pi * np.outer(at, slow) + slow_phase).sum(axis=1) * np.sqrt(2 / len(slow))
        shaking = np.sin(2 * np.pi * np.outer(at, quick) + quick_phase).sum(axis=1) * np.sqrt(2 / len(quick))
        moved: Array = force(at) * (1 + sway * swaying + tremor * shaking)
        return moved

    return _moving


@dataclass(frozen=True)
class Conversion:
    """One result of the converter: ready at `at_s`, `counts` of 24 bits."""

    at_s: float
    counts: int


@dataclass(frozen=True)
class Script:
    """A whole test: what the cell feels and what goes wrong.

    Args:
        force: On the cell.
        duration_s: Of the test. [s]
        events: In the order of their times, none within another.
        counts_per_newton: Of cell and converter; about that of 200 kg at 1 mV/V and gain 128. Negative is reversed.
        zero_counts: With nothing on the cell.
        noise_counts: Standard deviation of one conversion. [counts]
        clock_error: The converter's own oscillator is this much faster than it should be, relative.
        seed: Of the noise.
    """

    force: Force
    duration_s: float
    events: Sequence[Event] = ()
    counts_per_newton: float = 1097.0
    zero_counts: float = 84210.0
    noise_counts: float = 8.0
    clock_error: float = 0.0
    seed: int = 1

    def conversions(self, rate: float) -> Iterator[Conversion]:
        """Every result of the converter, at `rate` a second; none while it is dead."""
        at = np.arange(1, int(self.duration_s * rate) + 1) / (rate * (1 + self.clock_error))
        noise = self.noise_counts * np.random.default_rng(self.seed).standard_normal(len(at))
        counts = np.rint(self.zero_counts + self.counts_per_newton * self.force(at) + noise)
        for event in self.events:
            inside = (at >= event.at_s) & (at < event.at_s + event.for_s)
            if event.kind == "saturation":
                counts[inside] = FULL_SCALE
            elif event.kind in {"dead", "stuck", "hang-up"}:
                counts[inside] = np.nan
        clipped = np.clip(counts, -FULL_SCALE - 1, FULL_SCALE)
        yield from (Conversion(float(t), int(c)) for t, c in zip(at, clipped, strict=True) if not np.isnan(c))

    def at_rest(self, rate: float) -> Iterator[Conversion]:
        """Results with nothing on the cell, without end."""
        random = np.random.default_rng(self.seed)
        for i in count(1):
            yield Conversion(i / rate, round(self.zero_counts + self.noise_counts * random.standard_normal()))
