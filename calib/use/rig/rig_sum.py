"""Pulls of several bands added up with their uncertainty: what they share adds with its sign, the rest as squares.

Where a source is one-sided or a band may be slack within its uncertainty, the limits are those of the distribution.
"""

from collections.abc import Iterable, Mapping, Sequence
from functools import cache, cached_property
from math import erf, exp, pi, sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calib.fit.gear.monte_carlo import symmetric_interval
from calib.frozen import dataclass
from calib.records import Array
from calib.use.rig.rig_curve import RigSource


@dataclass(frozen=True)
class RigPull:
    """One band at each height, one way; a pull from above counts as negative downward."""

    tension: Array  # [N] of both legs
    down: Array  # [N] on the bar as a whole, signed
    sideways: Array  # [N]
    fore: Array  # [N]
    angle: Array  # [rad] from the vertical
    stretch: Array  # half-path length / rest
    next_u: Array  # [N] what the next set adds to u
    sources: tuple[RigSource, ...]
    ratio: Array  # u95 / u of the profile
    slack: NDArray[np.bool_]  # true where there is no pull
    drawn: Mapping[int, Array]  # [N] draws of the pull at heights where a band may be slack within its uncertainty

    @cached_property
    def either_way(self) -> tuple[tuple[str, ...], Array]:
        """What shifts it either way, each key once: the keys, and the shifts, shape (keys, heights)."""
        merged: dict[str, Array] = {}
        for s in self.sources:
            if not s.one_sided:
                merged[s.key] = merged[s.key] + s.shift if s.key in merged else s.shift
        return tuple(merged), np.array([*merged.values()]).reshape(len(merged), len(self.down))


@dataclass(frozen=True)
class Known:
    """A pull with its uncertainty at each height."""

    value: Array
    u: Array
    low: Array  # 95 % limits of the mean
    high: Array
    next_u95: Array

    @property
    def u95(self) -> Array:
        """The farther of the two limits."""
        found: Array = np.maximum(self.high - self.value, self.value - self.low)
        return found


class WeightedPull(NamedTuple):
    """A band's pull and the share or sign it is added with."""

    pull: RigPull
    weight: float


def add(parts: Sequence[WeightedPull], count: int, relative: float = 0.0) -> Known:
    """Add pulls: sources with one key add with their signs, the rest as squares.

    Where the band may be slack within its uncertainty, or a source is one-sided, the limits are those of a Monte Carlo.
    """
    if not parts:
        none = np.zeros(count)
        return Known(none, none, none, none, none)
    value = _total([p.weight * p.pull.down for p in parts])
    large, small = _bounds(parts, count)
    spread = np.sqrt(_normal(parts, relative * value) + small**2 / 12)
    u = np.sqrt(spread**2 + large**2 / 12)
    added = np.sqrt(_total([(p.weight * p.pull.next_u) ** 2 for p in parts]))
    ratio = np.maximum.reduce([p.pull.ratio for p in parts])
    low, high = _limits(value, spread, large, ratio, small / 2)
    wide = _limits(value, np.hypot(spread, added), large, ratio, small / 2)
    next_u95 = np.maximum(wide[1] - value, value - wide[0])
    for at in parts[0].pull.drawn:
        drawn = _total([p.weight * p.pull.drawn[at] for p in parts])
        low[at], high[at] = symmetric_interval(drawn, 0.95)
        u[at] = drawn.std()
        next_u95[at] = max(next_u95[at], high[at] - value[at], value[at] - low[at])
    return Known(value, u, low, high, next_u95)


def _normal(parts: Sequence[WeightedPull], gravity: Array) -> Array:
    """Variance of what is off either way."""
    row = {"gravity": 0}
    for part in parts:
        for key in part.pull.either_way[0]:
            row.setdefault(key, len(row))
    merged = np.zeros((len(row), len(gravity)))
    merged[0] = gravity
    for part in parts:
        keys, shifts = part.pull.either_way
        merged[[row[key] for key in keys]] += part.weight * shifts
    found: Array = (merged**2).sum(axis=0)
    return found


def _bounds(parts: Sequence[WeightedPull], count: int) -> tuple[Array, Array]:
    """One-sided bounds, larger and smaller: added up they go together, in a difference each side has its own."""
    plus, minus = np.zeros(count), np.zeros(count)
    for part in parts:
        for s in part.pull.sources:
            if s.one_sided:
                side = plus if part.weight > 0 else minus
                side += part.weight * s.shift
    first = abs(plus) >= abs(minus)
    return np.where(first, plus, minus), np.where(first, minus, plus)


def _limits(value: Array, spread: Array, bounds: Array, ratio: Array, aside: Array) -> tuple[Array, Array]:
    """95 % limits of a value that is off by a normal about `aside` and by any share, from 0 to 1, of a bound.

    Where a bound is so wide that its near end lies outside them, they are drawn out to the value itself.
    """
    normal = spread * ratio / 1.959964
    whole = normal + abs(bounds)
    part = np.divide(abs(bounds), whole, out=np.zeros_like(whole), where=whole > 0)
    grid, halves = _half_widths()
    half, middle = whole * np.interp(part, grid, halves), value + aside + bounds / 2
    return np.minimum(middle - half, value), np.maximum(middle + half, value)


@cache
def _half_widths() -> tuple[Array, Array]:
    """Half-width of the 95 % interval of (1 - p) normal + p rectangular from 0 to 1, at shares p from 0 to 1."""
    grid = np.linspace(0.0, 1.0, 81)
    return grid, np.array([_half_width(float(p)) for p in grid])


def _half_width(part: float) -> float:
    """Solve the distribution of the sum, which is closed, by halving."""
    sd = 1 - part
    if part == 0.0 or sd == 0.0:
        return 1.959964 * sd + 0.475 * part

    def integral(z: float) -> float:
        return z * 0.5 * (1 + erf(z / sqrt(2))) + exp(-z * z / 2) / sqrt(2 * pi)

    low, high = 0.0, 3.0
    for _ in range(45):
        middle = (low + high) / 2
        below = sd / part * (integral((middle + part / 2) / sd) - integral((middle - part / 2) / sd))
        low, high = (middle, high) if below < 0.975 else (low, middle)
    return (low + high) / 2


def _total(values: Iterable[Array]) -> Array:
    found: Array = np.sum(list(values), axis=0)
    return found
