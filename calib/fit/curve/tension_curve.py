"""The fitted curve: force, uncertainty and the effect of every source at any length of either branch.

Shape (slopes and loop of the right sign) is held here where the readings leave it open. Nothing is refused here: the
tested range is the caller's business.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calib.finding import Finding
from calib.fit.compiled import ndtr
from calib.fit.curve.elastic import LEAST_STRETCH, slope_ln_g
from calib.fit.curve.mixed import Basis, MixedModel
from calib.fit.curve.observations import Observations
from calib.fit.curve.sources import Source
from calib.fit.curve.variance_components import Posterior
from calib.frozen import dataclass
from calib.records import Array

SHAPE_GRID = 41
NEWTON_STEPS, CLOSE_ENOUGH = 40, 1e-5  # for the half-width of a mixture; in probability
UNSEEN_SLIP = "a slip nobody has seen"
UNREAD = "a bend between lengths read"
BEND = (
    0.5  # ln F, sd in mid-gap of a bend no reading saw, over the cube of the gap's share of the range: docs/method.md
)
NORMAL_95 = 1.96  # u of 95 %
WORTH_SAYING = 0.5  # u by which holding the shape moved the curve: less changes nothing for anybody
CONTRADICTION = 3.0  # in u: beyond it a wrong shape is what the readings say


@dataclass(frozen=True)
class FittedCurve:
    """Posterior of the coefficients as a mixture over the spreads."""

    basis: Basis
    beta: Array  # (p,)
    covariance: Array  # (p, p)
    effects: Array  # (p, s) shift of beta that one standard deviation of each source causes
    sources: tuple[Source, ...]
    weights: Array  # (k,)
    node_shift: Array  # (k, p)
    node_covariance: Array  # (k, p, p)
    loading: tuple[float, float]  # [m] tested range
    unloading: tuple[float, float] | None
    drift: Array | None = None  # (p, p) part of the covariance, from readings that drift together
    apart: NDArray[np.int64] | None = None  # (k,) hypothesis of each node, where limits hold under each of them
    read: Array | None = None  # (m,) [m] the lengths read, where so few that a band may bend between them unseen

    def rows(self, length: Array, unloading: bool) -> tuple[Array, Array]:
        """Force [N] and d ln F / d beta, at half-path lengths of shape (n,)."""
        eta, gradient = self.basis.log_force(length, unloading, self.beta)
        return np.exp(eta), gradient

    def force(self, length: Array, unloading: bool = False) -> Array:
        """Force at half-path lengths. [N]"""
        return self.rows(length, unloading)[0]

    def half_widths(self, gradient: Array, level: float = 0.95) -> Array:
        """Relative half-widths of the limits at rows of d ln F / d beta, shape (n,).

        Of a few readings that nothing checks, any one may be wrong: there the limits hold under each credible answer
        to which, and not in so many of a hundred of them together.
        """
        sds = np.sqrt(np.maximum(np.einsum("kij,ij->ik", gradient @ self.node_covariance, gradient), 1e-30))
        means = gradient @ self.node_shift.T
        if self.apart is None:
            return half_width(self.weights, means, sds, level)
        found = [half_width(self.weights, means, sds, level)]
        for which in np.unique(self.apart[self.apart >= 0]):
            here = self.apart == which
            share = self.weights[here] / self.weights[here].sum()
            found.append(half_width(share, means[:, here], sds[:, here], level))
        return np.asarray(np.max(found, axis=0))

    def unseen_slip(self, gradient: Array) -> Array:
        """What the limits of a few readings have beyond their u, as a relative standard deviation, shape (n,).

        It is the chance of a slip that nobody has seen; zero where the readings check one another.
        """
        if self.apart is None:
            return np.zeros(len(gradient))
        variance = np.einsum("ij,jk,ik->i", gradient, self.covariance, gradient)
        return np.asarray(np.sqrt(np.maximum((self.half_widths(gradient) / NORMAL_95) ** 2 - variance, 0.0)))

    def bends(self, length: Array) -> Array:
        """What a bend in each gap between two lengths read may do to ln F, as a standard deviation, shape (n, gaps).

        Nothing at the lengths read, most midway; no gaps where the lengths are many.
        """
        if self.read is None:
            return np.zeros((len(length), 0))
        place = self.basis.tested.warped(length / self.basis.rest)[:, None]
        ends = self.basis.tested.warped(self.read / self.basis.rest)
        gap = np.diff(ends)
        share = np.clip((place - ends[:-1]) / gap, 0.0, 1.0)
        return np.asarray(BEND * gap**3 * 4 * share * (1 - share))

    def limits(self, length: Array, gradient: Array) -> Array:
        """Relative half-widths of the 95 % limits, a bend nobody saw among them, shape (n,)."""
        return np.asarray(np.hypot(self.half_widths(gradient), NORMAL_95 * np.linalg.norm(self.bends(length), axis=1)))


def fitted_curve(
    model: MixedModel,
    posterior: Posterior,
    loading: tuple[float, float],
    unloading: tuple[float, float] | None,
    drift: Array | None = None,
) -> FittedCurve:
    """Collapse the mixture over the spreads into mean, covariance and effects of the sources.

    Args:
        model: Columns, readings and their sources of error.
        posterior: Curves at each set of spreads, with their weights.
        loading: Half-path lengths tested while loading, lowest and largest. [m]
        unloading: The same of the unloading branch; None where it was not measured.
        drift: What errors that correlate add to the covariance of the coefficients, shape (p, p).
    """
    p, w = model.basis.size, posterior.weights
    beta_nodes = posterior.shifts[:, :p] + model.mean[:p]
    node_covariance = np.array([s.covariance[:p, :p] for s in posterior.solutions])
    crossed = np.array([s.covariance[:p, model.common] for s in posterior.solutions])
    beta = w @ beta_nodes
    node_shift = beta_nodes - beta
    covariance = np.tensordot(w, node_covariance, 1) + (node_shift.T * w) @ node_shift
    if drift is not None:
        node_covariance, covariance = node_covariance + drift, covariance + drift
    effects = -np.tensordot(w, crossed, 1)  # of unit variance each
    return FittedCurve(
        model.basis,
        beta,
        covariance,
        effects,
        model.seen.sources,
        w,
        node_shift,
        node_covariance,
        loading,
        unloading,
        drift,
        posterior.apart,
    )


def half_width(weights: Array, means: Array, sds: Array, level: float = 0.95) -> Array:
    """Half-width q with P(|m + s z| < q) = level under a mixture, by Newton's method within a shrinking bracket.

    Args:
        weights: Shape (k,).
        means: Shape (n, k).
        sds: Shape (n, k).
        level: Probability inside.
    """
    sd = np.sqrt((weights * (means**2 + sds**2)).sum(axis=1))
    low, high = 0.0 * sd, sd / (1 - level) ** 0.5  # no distribution reaches farther (Chebyshev)
    q, means, weight = 1.96 * sd, np.abs(means) / sds, weights / sds
    for _ in range(NEWTON_STEPS):
        above, below = q[:, None] / sds - means, q[:, None] / sds + means
        short = level - (ndtr(above) + ndtr(below)) @ weights + weights.sum()
        low, high = np.where(short > 0, q, low), np.where(short > 0, high, q)
        density = (weight * (np.exp(-0.5 * above**2) + np.exp(-0.5 * below**2))).sum(axis=1) / np.sqrt(2 * np.pi)
        ahead = q + short / np.maximum(density, 1e-300)
        q = np.where((ahead > low) & (ahead < high), ahead, 0.5 * (low + high))
        if (np.abs(short) < CLOSE_ENOUGH).all():
            break
    return np.asarray(q)


@dataclass(frozen=True)
class _Shape:
    """Linear conditions v = matrix beta + constant >= 0 on a grid."""

    matrix: Array
    constant: Array
    doubt: NDArray[np.str_]  # code of the finding where the readings break the condition
    words: NDArray[np.str_]
    length: Array


def hold_shape(curve: FittedCurve, seen: Observations | None = None) -> tuple[FittedCurve, tuple[Finding, ...]]:
    """Most probable curve whose slopes and loop have the right sign, where the readings do not contradict it.

    The dual of a small quadratic programme by non-negative least squares (Lawson & Hanson 1974); u is left as it is,
    which is the cautious side.

    Args:
        curve: As the readings alone leave it.
        seen: The readings believed; where those beside a place rise, no finding says that the force falls there.
    """
    shape = _conditions(curve)
    value = shape.matrix @ curve.beta + shape.constant
    if (value >= -1e-9).all():
        return curve, ()
    sd = np.sqrt(np.einsum("ij,ij->i", shape.matrix @ curve.covariance, shape.matrix))
    wrong = np.where(value < 0, -value / np.maximum(sd, 1e-12), 0)
    worst = int(wrong.argmax())
    place = f"{shape.words[worst]} near {shape.length[worst]:.3f} m"
    falls = shape.doubt[worst] == "force-falls"
    unloading = "unloading" in str(shape.words[worst])
    said = not (falls and seen is not None and _rises(seen, unloading, float(shape.length[worst])))
    if wrong[worst] > CONTRADICTION and said:
        text = f"{place}: the readings say so, the curve follows them. Branches swapped, or a scale at its limit?"
        return curve, (Finding(str(shape.doubt[worst]), text),)
    from scipy.linalg import solve_triangular
    from scipy.optimize import nnls  # a third of a second to load, and few curves need it

    near = np.flatnonzero(value < 2 * sd)
    matrix = shape.matrix[near]
    gram = matrix @ curve.covariance @ matrix.T
    gram[np.diag_indices_from(gram)] += 1e-9 * np.trace(gram) / len(near) + 1e-14
    root = np.linalg.cholesky(gram).T
    push, _ = nnls(root, -solve_triangular(root.T, value[near], lower=True))
    move = curve.covariance @ (matrix.T @ push)
    held = replace(curve, beta=curve.beta + move)
    text = f"{place}, within what the readings leave open: the curve was held to the right shape there"
    return held, (Finding("shape-held", text),) if _moved(curve, move) > WORTH_SAYING else ()


def _moved(curve: FittedCurve, move: Array) -> float:
    """How far a step of the coefficients takes the curve within its tested lengths, in its u, at most."""
    far = 0.0
    for unloading, ends in ((False, curve.loading), (True, curve.unloading)):
        if ends:
            _, gradient = curve.rows(np.linspace(*ends, SHAPE_GRID), unloading)
            u = np.sqrt(np.einsum("ij,ij->i", gradient @ curve.covariance, gradient))
            far = max(far, float((np.abs(gradient @ move) / np.maximum(u, 1e-12)).max()))
    return far


def _rises(seen: Observations, unloading: bool, near: float) -> bool:
    """Whether the mean readings at the two lengths beside a place rise with length."""
    here = seen.unloading == unloading
    place, index = np.unique(np.round(seen.length[here], 2), return_inverse=True)
    pull = np.bincount(index, seen.pull[here]) / np.bincount(index)
    above = int(np.clip(np.searchsorted(place, near), 1, max(len(place) - 1, 1)))
    return len(place) < 2 or bool(pull[above] > pull[above - 1])


def _conditions(curve: FittedCurve) -> _Shape:
    basis = curve.basis
    length = np.linspace(*curve.loading, SHAPE_GRID)
    rest = basis.rest + curve.beta[-1]
    offset = slope_ln_g(np.maximum(length / rest, LEAST_STRETCH)) / rest
    up = basis.columns_at(length, np.zeros(SHAPE_GRID, bool))
    parts = [(up.slopes, offset, "force-falls", "loading force falls with length")]
    if basis.has_loop:
        down = basis.columns_at(length, np.ones(SHAPE_GRID, bool))
        parts.append((down.slopes, offset, "force-falls", "unloading force falls with length"))
        apart = up.columns - down.columns
        parts.append((apart, np.zeros(SHAPE_GRID), "branches-cross", "the unloading branch lies above the loading"))
    return _Shape(
        np.vstack([part[0] for part in parts]),
        np.concatenate([part[1] for part in parts]),
        np.repeat([part[2] for part in parts], SHAPE_GRID),
        np.repeat([part[3] for part in parts], SHAPE_GRID),
        np.tile(length, len(parts)),
    )
