"""One Gaussian linear mixed model of all readings, linearised about the current curve, and its solution.

    reading = F(L) (1 + cycle gain) + M cycle hook shift + sources (days among them) + noise
    F = exp(eta), eta linear in beta
    var(noise) = (repeatability F)^2 + swing^2 + resolution^2 / 12 + (F' u_length)^2 + u_force^2

M is the slope of the loading branch at that length, on both branches: a shift of the whole cycle moves its turning
point too. The spreads (repeatability, cycle gain ...) are given here; variance_components.py finds them.
"""

import numpy as np
from numpy.typing import NDArray

from calib.fit.compiled import dpotrf, dpotri
from calib.fit.curve import elastic, loop
from calib.fit.curve.elastic import LEAST_STRETCH, StretchRange, ln_g, slope_ln_g
from calib.fit.curve.observations import Observations
from calib.frozen import dataclass
from calib.records import Array

TREND_MEAN = np.array([0.0, 0.0, 0.4, 0.1])  # b0 level, b1 power, b2 second invariant, b3 stiffening
TREND_SD = np.array([20.0, 0.15, 0.5, 0.25])  # neo-Hooke .. C2/C1 ~ 1, Gent J ~ 20..100, powers 0.85..1.15
LEAST_VARIANCE = 1e-16
STEP = 1e-4  # [m] for the slope of the columns: far below their shortest reach, far above rounding
LARGEST_MOVE = 2.0  # in ln F per step; matters only near slack
NOISES = ("repeatability", "swing")  # the first of the spreads: of the force [1], and of a scale that swings [N]


@dataclass(frozen=True)
class Basis:
    """The columns of ln F for both branches; the last coefficient is the error of the rest length L0."""

    rest: float  # [m]
    tested: StretchRange
    has_loop: bool
    creep: float = (
        1.0  # the unloading branch starts this much further out (of length beyond rest): creep under a held load
    )
    turned: float | None = None  # [m] turning point of this band's loop; None = the top of the tested range
    shared: bool = False  # the shape is one of stretch, of several bands: an error of the rest length moves all of it

    @property
    def turning_point(self) -> float:
        """Where both branches of the curve meet. [m]"""
        return self.tested.top * self.rest if self.turned is None else self.turned

    @property
    def toe(self) -> NDArray[np.int64]:
        """Places of the toe among the coefficients."""
        return elastic.TREND_COLUMNS + np.arange(elastic.N_TOE)

    @property
    def smooth(self) -> NDArray[np.int64]:
        """Places of the discrepancy."""
        return np.arange(elastic.TREND_COLUMNS + elastic.N_TOE, elastic.N_COLUMNS)

    @property
    def drops(self) -> NDArray[np.int64]:
        """Places of the drops of the loop."""
        return elastic.N_COLUMNS + np.arange(loop.N_DROPS if self.has_loop else 0)

    @property
    def loop_smooth(self) -> NDArray[np.int64]:
        """Places of the discrepancy of the loop."""
        return elastic.N_COLUMNS + np.arange(loop.N_DROPS, loop.N_COLUMNS if self.has_loop else loop.N_DROPS)

    @property
    def size(self) -> int:
        """Number of coefficients."""
        return elastic.N_COLUMNS + (loop.N_COLUMNS if self.has_loop else 0) + 1

    def closing(self, length: Array, unloading: NDArray[np.bool_]) -> Array:
        """Lengths of the unloading branch drawn in so that both branches meet at the largest loading length. [m]"""
        return np.where(unloading, self.rest + (length - self.rest) / self.creep, length)

    def columns(self, length: Array, unloading: NDArray[np.bool_], top: Array) -> Array:
        """D ln F / d beta, shape (n, size); the last column is left zero for `LogForce` to fill.

        Args:
            length: Half-path, `closing` already applied, shape (n,). [m]
            unloading: Which branch, shape (n,).
            top: Turning point of each reading's cycle, shape (n,). [m]
        """
        stretch = np.maximum(length / self.rest, LEAST_STRETCH)
        parts = [elastic.loading_columns(stretch, self.tested)]
        if self.has_loop:
            parts.append(-loop.drop_columns(stretch, top / self.rest, self.tested) * unloading[:, None])
        return np.hstack([*parts, np.zeros((len(length), 1))])

    def columns_at(self, length: Array, unloading: NDArray[np.bool_], top: Array | None = None) -> "LogForce":
        """Columns and their slopes at some places."""
        length = self.closing(length, unloading)
        if top is None:
            top = np.full(len(length), self.turning_point)
        three = np.concatenate([length, length + STEP, length - STEP])  # in one go: most of the cost is in the call
        columns, ahead, behind = np.split(self.columns(three, np.tile(unloading, 3), np.tile(top, 3)), 3)
        return LogForce(self, length, columns, (ahead - behind) / (2 * STEP), self._carried(length, top))

    def log_force(self, length: Array, unloading: bool, beta: Array) -> tuple[Array, Array]:
        """Ln F and its derivative by the coefficients, at lengths of one branch; no slopes."""
        n = len(length)
        length = self.closing(length, np.full(n, unloading))
        top = np.full(n, self.turning_point)
        columns, slopes = self.columns(length, np.full(n, unloading), top), np.zeros((n, self.size))
        eta, _, gradient = LogForce(self, length, columns, slopes, self._carried(length, top)).evaluate(beta)
        return eta, gradient

    def _carried(self, length: Array, top: Array) -> Array | None:
        """How a change of the rest length moves the loading columns, shape (n, size); None where it does not.

        What one band's own readings have drawn stays where they were read. A shape taken from other bands was drawn
        over stretch, and goes with the rest length that stretch is reckoned from: at a curled start far more than ln g.
        """
        if not self.shared:
            return None
        out = np.zeros(len(length), bool)
        slopes = (self.columns(length + STEP, out, top) - self.columns(length - STEP, out, top)) / (2 * STEP)
        return -slopes * (length / self.rest)[:, None]


@dataclass(frozen=True)
class LogForce:
    """ln F at fixed places as a function of the coefficients."""

    basis: Basis
    length: Array
    columns: Array
    slopes: Array
    carried: Array | None = None  # change of the columns by the error of the rest length [1/m]

    def evaluate(self, beta: Array) -> tuple[Array, Array, Array]:
        """Ln F, its slope d ln F / dL [1/m], and its derivative by the coefficients."""
        rest = self.basis.rest + beta[-1]
        stretch = np.maximum(self.length / rest, LEAST_STRETCH)
        columns = self.columns if self.carried is None else self.columns + beta[-1] * self.carried
        gradient = columns.copy()
        gradient[:, -1] = -slope_ln_g(stretch) * stretch / rest
        if self.carried is not None:
            gradient[:, -1] += self.carried @ beta
        return columns @ beta + ln_g(stretch), self.slopes @ beta + slope_ln_g(stretch) / rest, gradient


@dataclass(frozen=True)
class Solution:
    """The linear problem solved at one set of spreads."""

    noise: Array  # R, variance of each scaled reading
    parts: tuple[Array, Array]  # of it from repeatability and from swinging
    prior: Array  # variances of all effects
    weight: Array  # use / R
    log_det: float  # half the log determinant of the normal matrix
    covariance: Array  # C
    shift: Array  # posterior mean less prior mean
    residual: Array


class Likelihood:
    """How likely the readings in use are at given spreads, the effects integrated out: what the search for a mode asks.

    Worked out among the readings, of which there are mostly fewer than effects: their covariance is a sum of fixed
    matrices, one a spread. Half the time of doing it among the effects (`MixedModel.solve`), with the same result.
    """

    def __init__(self, model: "MixedModel") -> None:
        use = np.flatnonzero(model.use)
        n, design, self.target = len(use), model.design[use], model.target[use]
        self.noises = np.stack([model.relative[use], model.additive[use]])
        known = model.variance.copy()
        self.level, known[0] = np.sqrt(known[0]) * design[:, 0], 0.0  # all but free: apart, or rounding would grow
        kernels = np.empty((len(model.groups), n, n))
        for kernel, group in zip(kernels, model.groups.values(), strict=True):
            known[group] = 0.0
            np.matmul(design[:, group], design[:, group].T, out=kernel)
        self.known = (design * known) @ design.T
        self.known.reshape(-1)[:: n + 1] += (model.fixed_noise + model.blunt * model.relative)[use]
        self.kernels = kernels.reshape(len(kernels), -1)
        twice_above = 2 * np.triu(np.ones((n, n)), 1) + np.eye(n)
        self.above = (kernels * twice_above).reshape(len(kernels), -1)

    def value_at(self, spreads: Array) -> tuple[float, Array]:
        """Minus the log density of the readings, up to a constant, and its gradient by the logarithms of the spreads.

        The gradient by a variance dV is (trace(Q dV) - a' dV a) / 2, with Q the inverse variance of the readings and
        a = Q r: Rasmussen & Williams 2006, eq. 5.9. The level is a term of rank one: Sherman & Morrison.
        """
        n, sizes = len(self.target), np.exp(2 * spreads)
        variance = (sizes[len(NOISES) :] @ self.kernels).reshape(n, n) + self.known
        variance.reshape(-1)[:: n + 1] += sizes[: len(NOISES)] @ self.noises
        root, _ = dpotrf(variance.T, lower=1, overwrite_a=1)  # symmetric; turned, it lies as LAPACK wants it
        half_log_det = np.log(root.diagonal()).sum()
        lower, _ = dpotri(root, lower=1, overwrite_c=1)
        both = np.stack([self.level, self.target])
        level, target = both @ lower + both @ lower.T - both * lower.diagonal()
        more = 1 + self.level @ level
        taken = np.stack([level / np.sqrt(more), target - level * (self.level @ target / more)])
        unexplained = lower.T - taken.T @ taken  # of its lower triangle nothing is asked
        slopes = np.concatenate([self.noises @ unexplained.diagonal(), self.above @ unexplained.reshape(-1)])
        return float(half_log_det + 0.5 * np.log(more) + 0.5 * self.target @ taken[1]), sizes * slopes


class MixedModel:
    """All readings of one band with their design; linearised again when the curve moves."""

    def __init__(self, basis: Basis, seen: Observations) -> None:
        self.basis, self.seen = basis, seen
        top = cycle_tops(seen, basis)
        self.places = basis.columns_at(seen.length, seen.unloading, top)
        self.loading_slopes = self.places.slopes.copy()
        back = seen.unloading
        if back.any():
            self.loading_slopes[back] = basis.columns_at(
                self.places.length[back], np.zeros(back.sum(), bool), top[back]
            ).slopes
        labels, self.cycle = np.unique(seen.cycle, return_inverse=True)
        self.in_cycle = np.eye(len(labels))[self.cycle]
        n, cycles, sources = basis.size, len(labels), len(seen.sources)
        self.gains, self.shifts = n + np.arange(cycles), n + cycles + np.arange(cycles)
        self.common = n + 2 * cycles + np.arange(sources)
        self.groups = self._groups()
        size = n + 2 * cycles + sources
        self.mean, self.variance = np.zeros(size), np.ones(size)
        self.mean[:4], self.variance[:4] = TREND_MEAN, TREND_SD**2
        self.variance[n - 1] = max(seen.u_rest**2, LEAST_VARIANCE)
        self.use = np.ones(len(seen), bool)
        self.blunt = np.zeros(len(seen))  # relative variance of a reading that tells only about how much it is

    def _groups(self) -> dict[str, NDArray[np.int64]]:
        """Effects whose spread is not known, by the name of the spread."""
        basis = self.basis
        out = {"cycle_gain": self.gains, "hook_shift": self.shifts, "discrepancy": basis.smooth, "toe": basis.toe}
        if basis.has_loop:
            out |= {"loop_discrepancy": basis.loop_smooth, "hysteresis": basis.drops}
        return out

    @property
    def spreads(self) -> tuple[str, ...]:
        """Names of the unknown spreads, in the order their logarithms are given in."""
        return (*NOISES, *self.groups)

    def linearise(self, beta: Array) -> None:
        """Set up the weighted linear problem about a curve; rows are divided by about the force."""
        seen, n = self.seen, self.basis.size
        eta, slope, gradient = self.places.evaluate(beta)
        force = np.exp(np.clip(eta, -50, 50))
        scale = np.maximum(force, np.maximum(0.3 * seen.resolution, 1e-3 * np.abs(seen.pull).max()))
        p = (force / scale)[:, None]
        own_slope = p[:, 0] * slope
        whole_slope = p * (slope + (self.loading_slopes - self.places.slopes) @ beta)[:, None]
        shared = [
            (s.force + s.gain * force + s.quadratic * force**2) / scale + whole_slope[:, 0] * s.length
            for s in seen.sources
        ]
        by_cycle = [self.in_cycle * p, self.in_cycle * whole_slope]
        self.design = np.hstack([gradient * p, *by_cycle, *_as_columns(shared)])
        self.target = (seen.pull - force) / scale + self.design[:, :n] @ beta - self.design @ self.mean
        self.reading_length_noise = (own_slope * seen.u_length) ** 2
        self.fixed_noise = (seen.resolution**2 / 12 + seen.u_force**2) / scale**2 + self.reading_length_noise
        self.relative, self.additive = p[:, 0] ** 2, 1 / scale**2
        self.row_scale = scale

    def solve(self, spreads: Array) -> Solution:
        """Posterior of all effects given the logarithms of the spreads."""
        parts = np.exp(2 * spreads[0]) * self.relative, np.exp(2 * spreads[1]) * self.additive
        noise = parts[0] + parts[1] + self.fixed_noise + self.blunt * self.relative
        prior = self.variance.copy()
        for group, log_sd in zip(self.groups.values(), spreads[len(parts) :], strict=True):
            prior[group] = np.exp(2 * log_sd)
        weight = self.use / noise
        root_weight = np.sqrt(weight)
        weighted = self.design.T * root_weight
        normal = weighted @ weighted.T  # by itself: half the work
        normal.reshape(-1)[:: len(prior) + 1] += 1 / prior  # its diagonal
        root, _ = dpotrf(normal, lower=1)
        lower, _ = dpotri(root, lower=1)
        covariance = lower + lower.T  # LAPACK fills one triangle, the other is zero
        np.einsum("ii->i", covariance)[:] *= 0.5  # its diagonal, as a view
        shift = covariance @ (weighted @ (root_weight * self.target))
        log_det = float(np.log(root.diagonal()).sum())
        return Solution(noise, parts, prior, weight, log_det, covariance, shift, self.target - self.design @ shift)

    def step(self, beta: Array, spreads: Array) -> Array:
        """One Gauss-Newton step of the curve's coefficients; no reading's ln F moves by more than `LARGEST_MOVE`."""
        self.linearise(beta)
        n = self.basis.size
        move = self.mean[:n] + self.solve(spreads).shift[:n] - beta
        largest = np.abs(self.places.columns @ move).max()
        return np.asarray(beta + move * min(1.0, LARGEST_MOVE / max(largest, 1e-12)))

    def leverage(self, solution: Solution) -> Array:
        """X' C x of each scaled reading."""
        return np.asarray(np.einsum("ij,ij->i", self.design @ solution.covariance, self.design))


def _as_columns(vectors: list[Array]) -> list[Array]:
    return [np.stack(vectors, axis=1)] if vectors else []


def cycle_tops(seen: Observations, basis: Basis) -> Array:
    """Turning point of each reading's cycle: its largest loading length; the calibration's where it has none. [m]"""
    top = np.full(len(seen), basis.turning_point)
    for label in np.unique(seen.cycle):
        here = seen.cycle == label
        loading = here & ~seen.unloading
        if loading.any():
            top[here] = seen.length[loading].max()
    return top
