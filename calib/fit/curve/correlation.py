"""Readings whose errors correlate: found in what the fit leaves, and what they add to the uncertainty.

The fit takes errors of neighbouring readings as independent. Where they drift together the curve it gives is still a
good one, but its uncertainty is not: it is restated here for the correlation seen. The curve itself is not changed.
"""

import numpy as np
from numpy.typing import NDArray

from calib.fit.curve.mixed import MixedModel, Solution
from calib.frozen import dataclass
from calib.records import Array

SURE = 3.5  # standard errors, 1/sqrt(n), by which neighbours must agree more than the fit makes them
TRIED = np.array([0.2, 0.4, 0.55, 0.7, 0.8, 0.87, 0.92, 0.95, 0.97, 0.985])  # correlation of neighbours
FAR = 4  # readings apart at which drift still shows and single errors do not
FEWEST = 12  # residuals


@dataclass(frozen=True)
class Drift:
    """Correlation of neighbours' drift, and what it adds to the covariance of the curve's coefficients."""

    correlation: float
    added: Array  # (p, p), positive semidefinite


def drift(model: MixedModel, solution: Solution) -> Drift | None:
    """The drift that explains how alike neighbouring residuals are, None where they are not.

    A residual is (I - H) times the errors, H = X C X' W. Errors are taken as s^2 (share r^|i-j| + (1 - share) [i = j])
    along a cycle. The share makes next neighbours agree as much as seen, r those `FAR` apart, s^2 the squares add up.

    Args:
        model: Linearised at the curve.
        solution: At the most probable spreads.
    """
    order = _in_time(model)
    if len(order) < FEWEST:
        return None
    noise = np.sqrt(solution.noise[order])
    design, residual = model.design[order] / noise[:, None], solution.residual[order] / noise
    to_effects = solution.covariance @ design.T  # (effects, n)
    left = np.eye(len(order)) - design @ to_effects
    cycle = model.cycle[order]
    alone, seen = _Alike.from_products(left @ left.T, cycle), _Alike.from_products(np.outer(residual, residual), cycle)
    if seen.next < alone.next + SURE / np.sqrt(len(order)):
        return None
    apart = np.abs(np.subtract.outer(np.arange(len(order)), np.arange(len(order)))).astype(float)
    apart[cycle[:, None] != cycle] = np.inf
    fits = []
    for r in TRIED:
        together = _Alike.from_products(left @ (r**apart) @ left.T, cycle)
        share = _share(seen, together, alone)
        mixed = together.mixed(alone, share)
        fits.append((abs(mixed.far - seen.far), float(r), share, mixed.square))
    _, r, share, square = min(fits)
    errors = max(1.0, seen.square / square) * (share * r**apart + (1 - share) * np.eye(len(order)))
    to_curve = to_effects[: model.basis.size]
    return Drift(r, _positive(to_curve @ (errors - np.eye(len(order))) @ to_curve.T))


@dataclass(frozen=True)
class _Alike:
    """Mean square of residuals, and the agreement of those next to one another and farther apart over it."""

    square: float
    next: float
    far: float

    @classmethod
    def from_products(cls, products: Array, cycle: NDArray[np.int64]) -> "_Alike":
        square = float(np.diag(products).mean())
        return cls(square, _agreement(products, cycle, 1) / square, _agreement(products, cycle, FAR) / square)

    def mixed(self, other: "_Alike", share: float) -> "_Alike":
        """Of a mixture of two kinds of error."""
        a, b = share * self.square, (1 - share) * other.square
        return _Alike(a + b, *((a * x + b * y) / (a + b) for x, y in ((self.next, other.next), (self.far, other.far))))


def _share(seen: _Alike, together: _Alike, alone: _Alike) -> float:
    """Share of drifting errors with which next neighbours agree as much as seen."""
    more, less = together.square * (together.next - seen.next), alone.square * (seen.next - alone.next)
    return float(np.clip(less / (more + less), 0, 1)) if more > 0 else 1.0


def _agreement(products: Array, cycle: NDArray[np.int64], lag: int) -> float:
    """Mean product of readings so many apart in one cycle."""
    pairs = np.flatnonzero(cycle[lag:] == cycle[:-lag])
    return float(products[pairs, pairs + lag].mean()) if len(pairs) else 0.0


def _in_time(model: MixedModel) -> NDArray[np.int64]:
    """The readings in use cycle by cycle, out and back."""
    seen = model.seen
    along = np.where(seen.unloading, -seen.length, seen.length)
    order = np.lexsort((along, seen.unloading, model.cycle))
    return np.asarray(order[model.use[order]])


def _positive(matrix: Array) -> Array:
    values, vectors = np.linalg.eigh(0.5 * (matrix + matrix.T))
    return np.asarray((vectors * np.maximum(values, 0)) @ vectors.T)
