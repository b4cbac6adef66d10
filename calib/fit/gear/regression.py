"""Linear least squares with covariance: polynomials, correlated readings, the tail of F.

Plain arrays in, estimates with their covariance out; what the numbers mean is the caller's business.
"""

import numpy as np
from scipy.linalg import solve_triangular
from scipy.special import betainc

from calib.errors import DataError
from calib.frozen import dataclass
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
        need(self.dof > 0, "no readings to spare: the scatter is not known")
        return Estimate(self.coefficients, self.covariance * self.residual_sd**2, self.sum_of_squares, self.dof)


def need(met: bool, what: str) -> None:
    """Refuse readings that cannot settle what is asked of them."""
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
    need(n >= p, f"{n} readings cannot settle {p} coefficients")
    design, y = _whitened(design, y, covariance)
    size = np.linalg.norm(design, axis=0)
    q, r = np.linalg.qr(design / size)
    need(bool(np.abs(np.diag(r)).min() > 1e-12), "the readings leave a coefficient open: too few different values")
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


def f_tail(ratio: float, dof_above: int, dof_below: int) -> float:
    """Probability that an F ratio is at least as large by chance (Abramowitz & Stegun 26.6.2)."""
    if not np.isfinite(ratio):
        return 0.0
    return float(betainc(dof_below / 2, dof_above / 2, dof_below / (dof_below + dof_above * ratio)))
