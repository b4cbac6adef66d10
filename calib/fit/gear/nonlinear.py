"""Nonlinear least squares, and the straight line where both variables have errors. Plain arrays in, estimates out."""

from collections.abc import Callable

import numpy as np
from scipy.linalg import solve_triangular
from scipy.optimize import least_squares

from calib.fit.gear.regression import Estimate, need, polynomial
from calib.records import Array


def nonlinear(residual: Callable[[Array], Array], jacobian: Callable[[Array], Array], start: Array) -> Estimate:
    """Nonlinear least squares in a trust region, then Gauss-Newton to the last digits.

    Args:
        residual: Weighted residuals, shape (n,), of parameters, shape (p,).
        jacobian: Their derivatives, shape (n, p).
        start: First guess, shape (p,).

    Returns:
        An estimate whose covariance is that of residuals of unit variance; `scaled()` where they are not.
    """
    need(len(residual(start)) >= len(start), f"too few readings to settle {len(start)} parameters")
    with np.errstate(over="ignore", invalid="ignore"):  # a step too far overflows and is taken back
        found = least_squares(residual, start, jac=jacobian, method="trf", x_scale="jac", xtol=1e-12, max_nfev=4000)
    at = _polished(residual, jacobian, found.x)
    slopes, left = jacobian(at), residual(at)
    size = np.linalg.norm(slopes, axis=0)
    r = np.linalg.qr(slopes / size, mode="r")
    inverse = solve_triangular(r, np.eye(len(start))) / size[:, None]
    return Estimate(at, inverse @ inverse.T, float(left @ left), len(slopes) - len(start))


def _polished(residual: Callable[[Array], Array], jacobian: Callable[[Array], Array], at: Array) -> Array:
    """A few Gauss-Newton steps: a search on the sum of squares stops at the root of rounding, half the digits."""
    for _ in range(4):
        slopes = jacobian(at)
        size = np.linalg.norm(slopes, axis=0)
        at = at - np.linalg.lstsq(slopes / size, residual(at), rcond=None)[0] / size
    return at


def line_errors_in_both(x: Array, y: Array, u_x: Array, u_y: Array) -> Estimate:
    """Straight line where both variables have errors, independent from reading to reading.

    Args:
        x: Shape (n,).
        y: Shape (n,).
        u_x: Standard uncertainties of x, shape (n,).
        u_y: Standard uncertainties of y, shape (n,).

    Returns:
        Intercept and slope; the true x of every reading is estimated beside them.

    ISO/TS 28037:2010 clause 7; York, Can. J. Phys. 44 (1966) 1079.
    """
    n = len(x)
    first = polynomial(x, y, 1, u_y**2).coefficients

    def residual(at: Array) -> Array:
        return np.concatenate([(y - at[0] - at[1] * at[2:]) / u_y, (x - at[2:]) / u_x])

    def jacobian(at: Array) -> Array:
        out = np.zeros((2 * n, n + 2))
        out[:n, 0] = -1 / u_y
        out[:n, 1] = -at[2:] / u_y
        out[np.arange(n), 2 + np.arange(n)] = -at[1] / u_y
        out[n + np.arange(n), 2 + np.arange(n)] = -1 / u_x
        return out

    full = nonlinear(residual, jacobian, np.concatenate([first, x]))
    return Estimate(full.coefficients[:2], full.covariance[:2, :2], full.sum_of_squares, n - 2)
