"""The loading branch as a function that is linear in its coefficients: rubber-law trend, toe, smooth discrepancy.

The logarithm of force is modelled, so force is positive by construction and every relative effect is an added column:

    ln F = b0 + ln g(L/L0) + b1 ln g(l) + b2 / l + b3 I(l)/I(top) + toe + discrepancy,   g(l) = l - 1/l^2

b2 carries the second invariant (Mooney 1940), b3 the stiffening of finite chains (Gent 1996), b1 bends of power type.
The discrepancy has two scales and one size: a smooth part over half the range, and a rough one over an eighth of it
that can turn a corner where a second layer comes taut.
The upturn is a top that climbs within the last lengths. What else was tried is in docs/method.md.
Hysteresis is not known here.
"""

import numpy as np

from calib.frozen import dataclass
from calib.records import Array

LEAST_STRETCH = 1.005  # below it ln g runs away; readings below SLACK are set aside before
TOE_DECAY = (0.06, 0.15)  # stretch over which a curled or stiff start dies out
TOE_KNOTS = np.log([0.02, 0.035, 0.06, 0.1, 0.17, 0.3])  # of ln(l - 1), for departures from those two shapes
TOE_CORRELATION = 0.7  # in ln(l - 1)
TOE_ROUGHNESS = 0.2  # size of such a departure against the toe itself
TOE_REACH = 0.2  # stretch beyond which a toe leaves no departure
KNOTS = np.linspace(0.0, 1.0, 17)
CORRELATION = 0.5  # of the tested range, for the smooth part of the discrepancy
ROUGH_CORRELATION = 0.125
ROUGHNESS = 0.3  # size of the rough part against the smooth one
UPTURN = 1.5  # size of an upturn against the discrepancy
UPTURN_REACH = 0.3  # of the tested range below the top
WARP = 0.6  # share of ln g in the warped length: spreads out the low lengths

TREND_COLUMNS = 4
N_TOE = len(TOE_DECAY) + len(TOE_KNOTS)
N_COLUMNS = TREND_COLUMNS + N_TOE + len(KNOTS) + 1


def ln_g(stretch: Array) -> Array:
    """Logarithm of the neo-Hookean stretch function g = l - 1/l^2."""
    return np.log(stretch - stretch**-2)


def slope_ln_g(stretch: Array) -> Array:
    """Derivative of `ln_g`."""
    return (1 + 2 * stretch**-3) / (stretch - stretch**-2)


def first_invariant(stretch: Array) -> Array:
    """First invariant of uniaxial stretch less its value at rest, l^2 + 2/l - 3."""
    return stretch**2 + 2 / stretch - 3


def matern(a: Array, b: Array, correlation: float) -> Array:
    """Matern-5/2 correlation of two sets of places, shape (len(a), len(b)). Rasmussen & Williams 2006, eq. 4.17."""
    s = np.sqrt(5.0) * np.abs(a[:, None] - b) / correlation
    return np.asarray((1 + s + s * s / 3) * np.exp(-s))


def rough_matern(a: Array, b: Array, correlation: float) -> Array:
    """Matern-3/2 correlation of two sets of places, shape (len(a), len(b)). Rasmussen & Williams 2006, eq. 4.17."""
    s = np.sqrt(3.0) * np.abs(a[:, None] - b) / correlation
    return np.asarray((1 + s) * np.exp(-s))


def whitener(at_knots: Array) -> Array:
    """W such that kernel(places, knots) W are columns B with B B' = the kernel seen through its knots.

    Args:
        at_knots: Kernel among the knots, shape (k, k).

    Returns:
        Inverse transpose of the Cholesky factor, shape (k, k): coefficients of B have unit variance (Nystrom). The
        jitter keeps the factor real.
    """
    root = np.linalg.cholesky(at_knots + 1e-8 * np.eye(len(at_knots)))
    return np.asarray(np.linalg.inv(root).T)


def _discrepancy(a: Array, b: Array) -> Array:
    """Kernel of the smooth and the rough part together."""
    return matern(a, b, CORRELATION) + ROUGHNESS**2 * rough_matern(a, b, ROUGH_CORRELATION)


_WHITENER = whitener(_discrepancy(KNOTS, KNOTS))
_TOE_WHITENER = whitener(matern(TOE_KNOTS, TOE_KNOTS, TOE_CORRELATION))


@dataclass(frozen=True)
class StretchRange:
    """The tested range in stretch: lowest length, turning point."""

    low: float
    top: float

    def warped(self, stretch: Array) -> Array:
        """Length on a scale from 0 (lowest) to 1 (top) that gives the low lengths more room."""
        ends = ln_g(np.array([self.low, self.top]))
        by_force = (ln_g(stretch) - ends[0]) / (ends[1] - ends[0])
        by_length = (stretch - self.low) / (self.top - self.low)
        return np.asarray(WARP * by_force + (1 - WARP) * by_length)

    def near_top(self, stretch: Array) -> Array:
        """0 up to where an upturn may begin, then rising to 1 at the top; no more beyond, where nothing was read."""
        by_length = (stretch - self.low) / (self.top - self.low)
        return np.clip(1 - (1 - by_length) / UPTURN_REACH, 0.0, 1.0)


def loading_columns(stretch: Array, tested: StretchRange) -> Array:
    """Columns of ln F on the loading branch, without the offset ln g(L/L0); shape (n, N_COLUMNS)."""
    top = first_invariant(np.array(tested.top))
    trend = [np.ones_like(stretch), ln_g(stretch), 1 / stretch, first_invariant(stretch) / top]
    departure = _discrepancy(tested.warped(stretch), KNOTS) @ _WHITENER
    upturn = UPTURN * tested.near_top(stretch)[:, None] ** 3
    return np.hstack([np.stack(trend, axis=1), _toe_columns(stretch - 1), departure, upturn])


def _toe_columns(beyond: Array) -> Array:
    """A start that is curled (softer) or stiff: two decays, and smooth departures from them that die out too."""
    decays = np.stack([np.exp(-beyond / decay) for decay in TOE_DECAY], axis=1)
    rough = matern(np.log(beyond), TOE_KNOTS, TOE_CORRELATION) @ _TOE_WHITENER
    return np.hstack([decays, TOE_ROUGHNESS * np.exp(-((beyond / TOE_REACH) ** 2))[:, None] * rough])
