"""How far the unloading branch lies below the loading branch: a drop in ln F that is zero at the turning point.

    ln F_unloading = ln F_loading - H,   x = (top - l) / (top - 1)
    H = saturating drops (1 - e^(-x/c)) + additive drop (or lasting set) + smooth discrepancy that is zero at x = 0

The elastic part is not known here.
"""

import numpy as np

from calib.fit.curve.elastic import StretchRange, ln_g, matern, whitener
from calib.records import Array

DROP_REACH = (0.04, 0.15, 0.6)  # share of the way back over which a drop builds up
DROP_WEIGHT = (0.3, 1.0, 1.0)  # the fastest is held small: it would turn noise at the top into a spike
ADDITIVE_WEIGHT = 0.3
ADDITIVE_REACH = 0.15
KNOTS = np.linspace(0.0, 1.0, 9)[1:]
CORRELATION = 0.35
WARP, WARP_REACH = 0.6, 0.15

N_DROPS = len(DROP_REACH) + 1
N_COLUMNS = N_DROPS + len(KNOTS)


def _tied_matern(a: Array, b: Array) -> Array:
    """Matern kernel conditioned on zero at zero: the branches meet at the turning point."""
    zero = np.zeros(1)
    return matern(a, b, CORRELATION) - matern(a, zero, CORRELATION) * matern(zero, b, CORRELATION)


_WHITENER = whitener(_tied_matern(KNOTS, KNOTS))


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
    smooth = _tied_matern(places, KNOTS) @ _WHITENER
    return np.hstack([np.stack([*drops, additive], axis=1), smooth])
