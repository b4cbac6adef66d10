"""Invented bands: a law of rubber, a section, and what real bands do beside it, loading and unloading.

Everything is a table on a fine grid of half-path lengths, so that a law may have any corner it likes.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import erf

from tests.campaigns.adversary.laws import TO_NEWTON, Array, Law

STEPS = 6000
DENSITY = 930.0  # of latex [kg/m3]; common practice, no source
Shape = Callable[[Array], Array]


@dataclass(frozen=True)
class Band:
    """Half-path lengths [m], the pull out and back there [N], and the section a calliper would find."""

    size: "Size"
    length: Array
    out: Array
    back: Array

    @property
    def rest(self) -> float:
        return self.size.rest

    @property
    def thickness(self) -> float:
        return self.size.thickness

    @property
    def width(self) -> float:
        return self.size.width

    @property
    def flat(self) -> float:
        """What a tape shows, end to end, flat: two legs that touch, a half circle at each end."""
        return self.rest + (2 - np.pi / 2) * self.thickness

    @property
    def mass(self) -> float:
        """Of latex, common practice, no source."""
        return 2 * self.rest * self.thickness * self.width * DENSITY

    @property
    def top(self) -> float:
        """The longest length it is meant to be pulled to [m]."""
        return self.size.rest * self.size.top_stretch

    def pull(self, branch: str, length: Array | float) -> Array:
        return np.asarray(np.interp(length, self.length, self.out if branch == "loading" else self.back))

    def length_at(self, branch: str, force: Array | float) -> Array:
        rising = np.maximum.accumulate(self.out if branch == "loading" else self.back)
        return np.asarray(np.interp(force, rising, self.length))


@dataclass(frozen=True)
class Size:
    """What a band is made to: length at rest [m], longest stretch, pull there [N], section [m]."""

    rest: float
    top_stretch: float
    peak: float
    thickness: float
    width: float


def draw_size(rng: np.random.Generator, peak_kg: tuple[float, float] = (9, 42), thickness: float | None = None) -> Size:
    peak = float(np.exp(rng.uniform(*np.log(peak_kg)))) * TO_NEWTON
    thick = float(rng.uniform(0.0040, 0.0050)) if thickness is None else thickness
    rest = float(rng.choice([0.6, 0.92, 1.03, 1.03, 1.03]) * rng.uniform(0.98, 1.02))
    return Size(rest, float(rng.uniform(1.8, 2.3)), peak, thick, peak / (2 * thick * 0.8e6))


def band_of(size: Size, stress: Shape, back: Callable[[Array, Array], Array]) -> Band:
    """A band of one size whose loading branch follows `stress(stretch)`; `back(length, out)` is unloading from the top.

    The table goes on beyond the top, while loading alone, for who pulls a little too far.
    """
    stretch = np.linspace(1, size.top_stretch, STEPS)
    beyond = np.linspace(size.top_stretch, size.top_stretch * 1.01, 50)[1:]
    scale = size.peak / float(stress(np.array(size.top_stretch)))
    out, more = stress(stretch) * scale, stress(beyond) * scale
    length = size.rest * stretch
    both_ways = (np.r_[out, more], np.r_[back(length, out), more])
    return Band(size, np.r_[length, size.rest * beyond], *both_ways)


def smooth_back(loss: float, power: float) -> Callable[[Array, Array], Array]:
    """Invented: a share of the pull lost that goes smoothly to nothing at the top."""

    def back(length: Array, out: Array) -> Array:
        way = (length - length[0]) / (length[-1] - length[0])
        return np.asarray(out * (1 - loss * (1 - way**power)))

    return back


def cornered_back(loss: float, over: float) -> Callable[[Array, Array], Array]:
    """Invented: from the top the pull falls within `over` of the way, then keeps its share, with a corner between."""

    def back(length: Array, out: Array) -> Array:
        left = (length[-1] - length) / (length[-1] - length[0])
        return np.asarray(out * (1 - loss * np.minimum(1, left / over)))

    return back


def damaged_back(strength: float, width: float) -> Callable[[Array, Array], Array]:
    """Softened by the most energy it held: Ogden & Roxburgh, Proc. R. Soc. A 455 (1999) 2861."""

    def back(length: Array, out: Array) -> Array:
        energy = np.r_[0, np.cumsum((out[1:] + out[:-1]) / 2 * np.diff(length))]
        return np.asarray(out * (1 - erf((energy[-1] - energy) / (width * energy[-1])) / strength))

    return back


def any_back(rng: np.random.Generator) -> Callable[[Array, Array], Array]:
    """One of the smooth unloading branches."""
    if rng.random() < 0.5:
        return smooth_back(float(rng.uniform(0.05, 0.16)), float(rng.uniform(1.5, 4)))
    return damaged_back(float(rng.uniform(6, 15)), float(rng.uniform(0.4, 1.0)))


def of_law(law: Law) -> Shape:
    return law.stress


def second_layer(law: Law, engages: float, share: float) -> Shape:
    """Invented: an outer layer that lay in waves is pulled straight at `engages` and pulls from there on."""
    return lambda x: law.stress(x) + share * np.where(x > engages, law.stress(np.maximum(x / engages, 1)), 0)


def curled(law: Law, lost: float, over: float) -> Shape:
    """Invented: a band that lay curled gives less at first, and all of it `over` later."""
    return lambda x: law.stress(x) * (1 - lost * np.exp(-(((x - 1) / over) ** 2)))


def two_plateaus(first: float, second_at: float, width: float) -> Shape:
    """Invented: it gives way, stiffens in mid-range, and gives way once more."""

    def stress(x: Array) -> Array:
        step = 1 / (1 + np.exp(-(x - second_at) / width)) - 1 / (1 + np.exp(-(1 - second_at) / width))
        return np.asarray(first * (1 - np.exp(-(x - 1) / 0.12)) + step * 0.5 + 0.25 * (x - 1))

    return stress


def upturn(law: Law, begins: float, strength: float) -> Shape:
    """Invented: from `begins` on it stiffens with the cube of what is beyond, as rubber does that is near its limit."""
    return lambda x: law.stress(x) * (1 + strength * np.maximum(x - begins, 0) ** 3)
