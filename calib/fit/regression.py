"""Least squares with covariance: polynomials, correlated readings, both variables in error, nonlinear models.

Plain arrays in, estimates with their covariance out; what the numbers mean is the caller's business.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular
from scipy.optimize import least_squares
from scipy.special import betainc

from calib.errors import DataError
from calib.records import Array


@dataclass(frozen=True)
class Estimate:
    """Coefficients with what is known of their errors."""

    coefficients: Array  # (p,)
    covariance: Array  # (p, p)
    sum_of_squares: float  # of the weighted residuals: chi squared where the u of the readings were given
    dof: int

    @property
    def u(self) -> Array:
        """Standard uncertainties of the coefficients, shape (p,)."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def residual_sd(self) -> float:
        """Standard deviation of a (weighted) residual."""
        return float((self.sum_of_squares / self.dof) ** 0.5) if self.dof else 0.0

    def scaled(self) -> "Estimate":
        """The same with the covariance judged by the residuals, where only the ratios of the readings' u are known."""
        _need(self.dof > 0, "no readings to spare: the scatter is not known")
        return Estimate(self.coefficients, self.covariance * self.residual_sd**2, self.sum_of_squares, self.dof)


def _need(met: bool, what: str) -> None:
    if not met:
        raise DataError(what, remedy="take more readings")


def linear(design: Array, y: Array, covariance: Array | None = None) -> Estimate:
    """Generalised least squares.

    Args:
        design: Shape (n, p).
        y: Shape (n,).
        covariance: Of y, shape (n, n), or its variances, shape (n,); None takes 1 for each.

    Returns:
        An estimate whose covariance follows from that of y alone.

    Columns are scaled to equal length before the QR decomposition: powers of large loads lose six digits otherwise.
    """
    n, p = design.shape
    _need(n >= p, f"{n} readings cannot settle {p} coefficients")
    design, y = _whitened(design, y, covariance)
    size = np.linalg.norm(design, axis=0)
    q, r = np.linalg.qr(design / size)
    _need(bool(np.abs(np.diag(r)).min() > 1e-12), "the readings leave a coefficient open: too few different values")
    coefficients = solve_triangular(r, q.T @ y) / size
    inverse = solve_triangular(r, np.eye(p)) / size[:, None]
    residual = y - design @ coefficients
    return Estimate(coefficients, inverse @ inverse.T, float(residual @ residual), n - p)


def _whitened(design: Array, y: Array, covariance: Array | None) -> tuple[Array, Array]:
    if covariance is None:
        return design, y
    if covariance.ndim == 1:
        return design / np.sqrt(covariance)[:, None], y / np.sqrt(covariance)
    root = np.linalg.cholesky(covariance)
    return solve_triangular(root, design, lower=True), solve_triangular(root, y, lower=True)


def polynomial(x: Array, y: Array, degree: int, covariance: Array | None = None) -> Estimate:
    """Coefficients of 1, x, x^2, ... by (generalised) least squares; arguments as in `linear`."""
    scale = float(np.abs(x).max()) or 1.0
    powers = scale ** np.arange(degree + 1)
    fitted = linear(np.vander(x / scale, degree + 1, increasing=True), y, covariance)
    covariance_here = fitted.covariance / np.outer(powers, powers)
    return Estimate(fitted.coefficients / powers, covariance_here, fitted.sum_of_squares, fitted.dof)


def polynomial_at(estimate: Estimate, x: float) -> tuple[float, float]:
    """Value of a fitted polynomial and its standard uncertainty."""
    powers = x ** np.arange(len(estimate.coefficients))
    return float(powers @ estimate.coefficients), float((powers @ estimate.covariance @ powers) ** 0.5)


def line_read_backwards(estimate: Estimate, y: float, u_y: float) -> tuple[float, float]:
    """The x at which a fitted straight line has a measured value, and its standard uncertainty.

    ISO/TS 28037:2010 clause 11.1.
    """
    intercept, slope = estimate.coefficients
    x = (y - intercept) / slope
    gradient = np.array([1.0, x]) / slope
    return float(x), float((gradient @ estimate.covariance @ gradient + (u_y / slope) ** 2) ** 0.5)


@dataclass(frozen=True)
class LackOfFit:
    """Does a curve miss the means of repeated readings by more than their scatter explains?"""

    ratio: float  # F
    dof: tuple[int, int]  # of lack of fit, of pure error
    probability: float  # of a ratio at least as large where the curve is right


def lack_of_fit(x: Array, residual: Array, n_coefficients: int) -> LackOfFit:
    """F test of lack of fit from repeats at equal x.

    Args:
        x: Shape (n,).
        residual: Readings less the fitted curve, shape (n,).
        n_coefficients: Coefficients fitted.

    NIST/SEMATECH e-Handbook of Statistical Methods, 4.4.4.6.
    """
    places, which = np.unique(x, return_inverse=True)
    m, n = len(places), len(x)
    _need(m > n_coefficients and n > m, "lack of fit needs repeats, at more values than coefficients")
    mean = np.bincount(which, residual) / np.bincount(which)
    pure = float(((residual - mean[which]) ** 2).sum())
    lack = float((mean[which] ** 2).sum())
    dof = m - n_coefficients, n - m
    ratio = (lack / dof[0]) / (pure / dof[1]) if pure else np.inf
    return LackOfFit(float(ratio), dof, f_tail(float(ratio), *dof))


def f_tail(ratio: float, dof_above: int, dof_below: int) -> float:
    """Probability that an F ratio is at least as large by chance (Abramowitz & Stegun 26.6.2)."""
    if not np.isfinite(ratio):
        return 0.0
    return float(betainc(dof_below / 2, dof_above / 2, dof_below / (dof_below + dof_above * ratio)))


def nonlinear(residual: Callable[[Array], Array], jacobian: Callable[[Array], Array], start: Array) -> Estimate:
    """Nonlinear least squares in a trust region, then Gauss-Newton to the last digits.

    Args:
        residual: Weighted residuals, shape (n,), of parameters, shape (p,).
        jacobian: Their derivatives, shape (n, p).
        start: First guess, shape (p,).

    Returns:
        An estimate whose covariance is that of residuals of unit variance; `scaled()` where they are not.
    """
    _need(len(residual(start)) >= len(start), f"too few readings to settle {len(start)} parameters")
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
