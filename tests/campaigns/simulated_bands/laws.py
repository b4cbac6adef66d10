"""How simulated bands pull: loading laws and unloading branches, none of them the fitter's. Gear is not known here.

A loading law is force as a function of stretch, drawn with its own parameters. Unloading is force as a function of
stretch and of the stretch where the cycle turned; it meets the loading law there.
"""

from collections.abc import Callable

import numpy as np
from scipy.special import erf

from calib.records import Array

Loading = Callable[[Array], Array]
Unloading = Callable[[Array, float], Array]
DrawLoading = Callable[[np.random.Generator, float], Loading]
DrawUnloading = Callable[[np.random.Generator, Loading], Unloading]


def _invariant(stretch: Array) -> Array:
    return stretch**2 + 2 / stretch - 3


def _neo_hookean(stretch: Array) -> Array:
    return stretch - stretch**-2


def extended_tube(rng: np.random.Generator, level: float) -> Loading:
    """Extended-tube model of Kaliske & Heinrich (Rubber Chem. Technol. 72 (1999) 602), chains of finite length."""
    crosslinks, constraints = rng.uniform(0.3, 0.5), rng.uniform(0.2, 0.4)
    exponent, limit = rng.uniform(0.1, 0.4), rng.uniform(0.06, 0.11) ** 2

    def force(stretch: Array) -> Array:
        room = 1 - limit * _invariant(stretch)
        chains = ((1 - limit) / room**2 - limit / room) * _neo_hookean(stretch)
        tube = (stretch ** (exponent / 2 - 1) - stretch ** (-exponent - 1)) * 2 / exponent
        return level * (crosslinks * chains + constraints * tube)

    return force


def ogden(rng: np.random.Generator, level: float) -> Loading:
    """Three terms of Ogden (Proc. R. Soc. Lond. A 326 (1972) 565)."""
    exponents = rng.uniform(1.1, 1.7), rng.uniform(4.2, 6.0), rng.uniform(-2.5, -1.5)
    weights = 1.0, rng.uniform(0.002, 0.02), -0.02

    def force(stretch: Array) -> Array:
        terms = [w * (stretch ** (a - 1) - stretch ** (-a / 2 - 1)) for w, a in zip(weights, exponents, strict=True)]
        return np.asarray(level * np.sum(terms, axis=0))

    return force


def curled(rng: np.random.Generator, level: float) -> Loading:
    """A band that lies curled: it straightens before it pulls in full."""
    reach, order, stiffening = rng.uniform(0.06, 0.14), rng.uniform(1.3, 2.2), rng.uniform(25, 70)

    def force(stretch: Array) -> Array:
        straight = 1 - np.exp(-(((stretch - 1) / reach) ** order))
        rubber = _neo_hookean(stretch) * (1 + 0.6 / stretch) / (1 - _invariant(stretch) / stiffening)
        return np.asarray(0.5 * level * rubber * straight)

    return force


def yeoh(rng: np.random.Generator, level: float) -> Loading:
    """Cubic in the first invariant, after Yeoh (Rubber Chem. Technol. 66 (1993) 754)."""
    second, third = rng.uniform(-0.05, -0.01), rng.uniform(0.001, 0.006)
    return lambda stretch: (
        0.6
        * level
        * _neo_hookean(stretch)
        * (1 + 2 * second * _invariant(stretch) + 3 * third * _invariant(stretch) ** 2)
    )


def power(rng: np.random.Generator, level: float) -> Loading:
    """A bare power of the extension."""
    exponent = rng.uniform(0.55, 0.9)
    return lambda stretch: 0.9 * level * (stretch - 1) ** exponent


def stiff_start(rng: np.random.Generator, level: float) -> Loading:
    """Near to a straight line, after a stiff start."""
    reach, size = rng.uniform(0.03, 0.08), rng.uniform(0.1, 0.35)
    return lambda stretch: 0.5 * level * (size * (1 - np.exp(-(stretch - 1) / reach)) + stretch - 1)


def inflected(rng: np.random.Generator, level: float) -> Loading:
    """A shallow extra inflexion in the middle of the range."""
    centre, size, width = rng.uniform(1.4, 1.9), rng.uniform(-0.04, 0.04), rng.uniform(0.15, 0.3)

    def force(stretch: Array) -> Array:
        bend = 1 + size * np.tanh((stretch - centre) / width)
        return 0.5 * level * _neo_hookean(stretch) * (1 + 0.5 / stretch) * bend

    return force


def second_layer(rng: np.random.Generator, level: float) -> Loading:
    """A glued layer that is longer than the rest and joins in on the way."""
    joins, width, share = rng.uniform(1.15, 1.5), rng.uniform(0.03, 0.08), rng.uniform(0.05, 0.15)

    def force(stretch: Array) -> Array:
        taut = width * np.logaddexp(0, (stretch - joins) / width)
        return level * (0.7 * _neo_hookean(stretch) * (0.6 + 0.5 / stretch) + share * taut)

    return force


def exponential(rng: np.random.Generator, level: float) -> Loading:
    """Exponential stiffening over a straight line, the law of soft tissue (Fung, Am. J. Physiol. 213 (1967) 1532)."""
    rate, share = rng.uniform(0.9, 1.6), rng.uniform(0.05, 0.2)
    return lambda stretch: level * (0.5 * (1 - stretch**-3) + share * np.expm1(rate * (stretch - 1)) / np.expm1(rate))


def way_back(stretch: Array, top: float) -> Array:
    """Share of the way from the turning point back to rest, 0..1."""
    return np.maximum((top - stretch) / (top - 1), 0)


def proportional(rng: np.random.Generator, loading: Loading) -> Unloading:
    """A relative drop that grows as a power of the unloading branch."""
    size, order = rng.uniform(0.04, 0.15), rng.uniform(0.4, 0.9)
    return lambda stretch, top: loading(stretch) * (1 - size * way_back(stretch, top) ** order)


def additive(rng: np.random.Generator, loading: Loading) -> Unloading:
    """A drop by a constant share of the peak, reached soon after the turn."""
    size, reach = rng.uniform(0.01, 0.035), rng.uniform(0.06, 0.25)

    def force(stretch: Array, top: float) -> Array:
        drop = size * loading(np.array(top)) * (1 - np.exp(-way_back(stretch, top) / reach))
        return np.asarray(np.maximum(loading(stretch) - drop, 0))

    return force


def two_reaches(rng: np.random.Generator, loading: Loading) -> Unloading:
    """A fast drop and a steady one."""
    fast, steady = rng.uniform(0.02, 0.06), rng.uniform(0.02, 0.08)

    def force(stretch: Array, top: float) -> Array:
        back = way_back(stretch, top)
        return loading(stretch) * (1 - fast * (1 - np.exp(-back / 0.04)) - steady * back)

    return force


def energy_softening(rng: np.random.Generator, loading: Loading) -> Unloading:
    """Softening by the energy given back (Ogden & Roxburgh, Proc. R. Soc. A 455 (1999) 2861); some 25 % is lost."""
    depth, reach = rng.uniform(2.2, 3.2), rng.uniform(0.25, 0.5)

    def force(stretch: Array, top: float) -> Array:
        grid = np.linspace(1, top, 400)
        work = np.concatenate([[0.0], np.cumsum(0.5 * (loading(grid[1:]) + loading(grid[:-1])) * np.diff(grid))])
        given_back = (work[-1] - np.interp(stretch, grid, work)) / work[-1]
        return np.asarray(loading(stretch) * (1 - erf(given_back / reach) / depth))

    return force


def great_loss(rng: np.random.Generator, loading: Loading) -> Unloading:
    """A drop of 15 to 25 % and a lasting set: about a quarter of the work is lost."""
    size, reach, lasting = rng.uniform(0.15, 0.25), rng.uniform(0.1, 0.3), rng.uniform(0.01, 0.03)

    def force(stretch: Array, top: float) -> Array:
        back = way_back(stretch, top)
        longer = np.maximum(stretch - lasting * (top - 1) * back**1.3, 1 + 1e-9)
        return loading(longer) * (1 - size * np.tanh(back / reach))

    return force


def bulging(rng: np.random.Generator, loading: Loading) -> Unloading:
    """A gap that is widest in the middle and nearly closes again at rest."""
    size, skew = rng.uniform(0.08, 0.25), rng.uniform(0.6, 1.3)

    def force(stretch: Array, top: float) -> Array:
        back = way_back(stretch, top)
        return loading(stretch) * (1 - size * back**skew * (1.25 - back))

    return force
