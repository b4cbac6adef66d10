"""How far the unloading branch lies below the loading branch: a drop in ln F that is zero at the turning point.

    ln F_unloading = ln F_loading - H,   x = (top - l) / (top - 1)
    H = saturating drops (1 - e^(-x/c)) + additive drop (or lasting set) + discrepancy that is zero at x = 0

The discrepancy has a smooth and a rough part, as that of the loading branch: a corner while unloading is a shape too.

The elastic part is not known here.
"""

from collections.abc import Callable

import numpy as np

from calib.fit.curve.elastic import StretchRange, ln_g, matern, rough_matern, whitener
from calib.records import Array

DROP_REACH = (0.04, 0.15, 0.6)  # share of the unloading branch over which a drop builds up
DROP_WEIGHT = (0.3, 1.0, 1.0)  # the fastest is held small: it would turn noise at the top into a spike
ADDITIVE_WEIGHT = 0.3
ADDITIVE_REACH = 0.15
KNOTS = np.linspace(0.0, 1.0, 15)[1:]
CORRELATION = 0.35
ROUGH_CORRELATION = 0.12
ROUGHNESS = 0.8  # size of the rough part against the smooth one
WARP, WARP_REACH = 0.6, 0.15

N_DROPS = len(DROP_REACH) + 1
N_COLUMNS = N_DROPS + len(KNOTS)


def _tied(kernel: Callable[[Array, Array, float], Array], correlation: float, a: Array, b: Array) -> Array:
    """A kernel conditioned on zero at zero: the branches meet at the turning point."""
    zero = np.zeros(1)
    return kernel(a, b, correlation) - kernel(a, zero, correlation) * kernel(zero, b, correlation)


def _discrepancy(a: Array, b: Array) -> Array:
    """Kernel of the smooth and the rough part together, zero at the turn."""
    return _tied(matern, CORRELATION, a, b) + ROUGHNESS**2 * _tied(rough_matern, ROUGH_CORRELATION, a, b)


_WHITENER = whitener(_discrepancy(KNOTS, KNOTS))


def drop_columns(stretch: Array, top: Array, tested: StretchRange) -> Array:
    """Columns of H, shape (n, N_COLUMNS).

    Args:
        stretch: Shape (n,).
        top: Turning point of each reading's own cycle, shape (n,): a smaller loop closes at its own top.
        tested: Range of the whole calibration.
    """
    back = np.maximum((top - stretch) / (top - 1), 0)
    drops = [w * (1 - np.exp(-back / reach)) for reach, w in zip(DROP_REACH, DROP_WEIGHT, strict=True)]
    relative_to_force = np.exp(ln_g(top) - ln_g(stretch))
    additive = ADDITIVE_WEIGHT * (1 - np.exp(-back / ADDITIVE_REACH)) * relative_to_force
    by_length = np.maximum(tested.warped(top) - tested.warped(stretch), 0)
    places = WARP * back * (1 + WARP_REACH) / (back + WARP_REACH) + (1 - WARP) * by_length
    departure = _discrepancy(places, KNOTS) @ _WHITENER
    return np.hstack([np.stack([*drops, additive], axis=1), departure])
