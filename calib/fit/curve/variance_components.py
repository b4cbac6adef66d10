"""The unknown spreads: their priors, their posterior mode, and the integral over them.

Plugging in the best spreads would claim too much (with two cycles, 95 % intervals hold 83 %), so a fixed set of points
around the mode carries their uncertainty into the curve. How readings are modelled is not known here.

Tried: 24 points (u 3 to 5 % smaller), 1000 (no change), a central composite design (limits a little too narrow); noise
that only grows with the pull (a scale that swings by 150 g then looks like slips at the low lengths); a toe of any
size (log sd 1.6: it explains a bend in mid-range, and the curve falls where readings rise; 1.3, up to 2.8 in ln F: one
band in 200 that bends between its first lengths was 6.7 u off, and nothing said so).
"""

from collections.abc import Callable, Sequence
from statistics import NormalDist
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from calib.fit.curve.mixed import NOISES, Basis, Likelihood, MixedModel, Solution
from calib.frozen import dataclass
from calib.records import Array


@dataclass(frozen=True)
class Prior:
    """Lognormal: bounded away from zero (an sd of nothing from two cycles is never believed), smooth in ln sd."""

    median: float
    log_sd: float
    start: float  # generous, for the first steps


PRIORS = {
    "repeatability": Prior(0.003, 1.2, 0.01),  # 95 % within 0.04..2.1 %: load cell to hook scale
    "swing": Prior(0.1, 1.2, 0.2),  # [N] 10 g: a cell at rest 1 g, a hook that does not hang still 100 g
    "cycle_gain": Prior(0.0025, 1.0, 0.008),  # conditioned rubber
    "hook_shift": Prior(0.0008, 0.9, 0.0015),  # [m] a loop hooked again, tape read to 1 mm
    "discrepancy": Prior(0.010, 0.8, 0.02),  # law misfits on published tables are 0.4..3 %
    "toe": Prior(0.03, 1.0, 0.2),  # most bands have none, a curled start takes half the pull away
    "loop_discrepancy": Prior(0.015, 0.8, 0.03),  # loops fit to 0.3..1.7 %
    "hysteresis": Prior(0.08, 0.8, 0.12),  # drops of 2..40 %
}

LOOP = ("loop_discrepancy", "hysteresis")
NODES = 64
NOTHING = 1e-6  # weight of a node in a mixture that cannot be seen
MOST_STEPS, HALVINGS, LONGEST_STEP = 40, 12, 2.0  # of the search for the mode; a step in logarithms
ENOUGH = 1e-4  # gain of log density below which the mode is found: it is only where the integral is centred
INFLATE = 1.15
FLATTEST = 0.4  # least curvature believed of the posterior, against a prior curvature of 1..1.6
FEW_NODES = NODES / 5  # effective number below which the points are centred again


@dataclass(frozen=True)
class Posterior:
    """Mixture over the spreads: for each node a weight and a Gaussian for all effects."""

    weights: Array  # (k,)
    names: tuple[str, ...]  # of the spreads
    nodes: Array  # (k, spreads) logarithms
    shifts: Array  # (k, effects) mean less prior mean
    solutions: tuple[Solution, ...]
    log_evidence: float = 0.0  # of the readings in use, up to a constant of the model
    apart: NDArray[np.int64] | None = None  # (k,) hypothesis of each node, -1 = ignored, where limits hold under each

    @property
    def spreads(self) -> dict[str, float]:
        """Posterior median-like value of each spread: exp of the mean logarithm."""
        return dict(zip(self.names, np.exp(self.weights @ self.nodes).tolist(), strict=True))

    @property
    def mean_squares(self) -> dict[str, float]:
        """Posterior root mean square of each spread."""
        return dict(zip(self.names, np.sqrt(self.weights @ np.exp(2 * self.nodes)).tolist(), strict=True))


def names_of(basis: Basis) -> tuple[str, ...]:
    """Names of the spreads of one band on one day, in order."""
    return (*NOISES, "cycle_gain", "hook_shift", "discrepancy", "toe", *(LOOP if basis.has_loop else ()))


def prior_of(names: Sequence[str]) -> tuple[Array, Array]:
    """Prior mean and sd of the logarithms of some spreads."""
    return np.log([PRIORS[name].median for name in names]), np.array([PRIORS[name].log_sd for name in names])


def start_of(names: Sequence[str]) -> Array:
    """Logarithms of the spreads to begin with."""
    return np.log([PRIORS[name].start for name in names])


def minus_log_posterior(model: MixedModel, spreads: Array, solution: Solution) -> float:
    """Minus the log density of the spreads, effects integrated out, up to a constant."""
    s, use = solution, model.use
    middle, sd = prior_of(model.spreads)
    z = (spreads - middle) / sd
    quadratic = s.residual @ (s.weight * s.residual) + s.shift @ (s.shift / s.prior) + z @ z
    return float(0.5 * (np.log(s.noise[use]).sum() + np.log(s.prior).sum() + quadratic) + s.log_det)


def log_unit(model: MixedModel) -> float:
    """What makes densities of the scaled rows densities of the readings in use: comparable between sets of them."""
    return float(-np.log(model.row_scale[model.use]).sum() - 0.5 * model.use.sum() * np.log(2 * np.pi))


def value_and_gradient(model: MixedModel, spreads: Array) -> tuple[float, Array]:
    """`minus_log_posterior` and its gradient, from one solution."""
    s = model.solve(spreads)
    squares = s.shift**2 + s.covariance.diagonal()
    unexplained = 1 - (s.residual**2 + model.leverage(s)) / s.noise
    gradient = [(s.weight * part * unexplained).sum() for part in s.parts]
    shares = squares / s.prior
    gradient += [len(g) - shares[g].sum() for g in model.groups.values()]
    middle, sd = prior_of(model.spreads)
    return minus_log_posterior(model, spreads, s), np.array(gradient) + (spreads - middle) / sd**2


def density(model: MixedModel) -> Callable[[Array], tuple[float, Array]]:
    """`value_and_gradient` of a model as it stands, in the quicker of two ways: among readings, or among effects."""
    if model.use.sum() > len(model.mean):
        return lambda spreads: value_and_gradient(model, spreads)
    likelihood, (middle, sd) = Likelihood(model), prior_of(model.spreads)

    def density_at(spreads: Array) -> tuple[float, Array]:
        value, gradient = likelihood.value_at(spreads)
        z = (spreads - middle) / sd
        return value + 0.5 * float(z @ z), gradient + z / sd

    return density_at


def mode(model: MixedModel, start: Array) -> Array:
    """Most probable logarithms of the spreads."""
    return most_probable(density(model), start, *prior_of(model.spreads))


def most_probable(minus_log: Callable[[Array], tuple[float, Array]], start: Array, middle: Array, sd: Array) -> Array:
    """Where a density of the logarithms of spreads is largest, within what their prior leaves room for.

    Quasi-Newton steps (BFGS: Nocedal & Wright 2006, eq. 6.17) from the curvature of the prior, halved while they do not
    gain, held at the bounds. The library's takes longer to import than a fit takes.

    Args:
        minus_log: Minus the logarithm of the density and its gradient, of an array of shape (k,).
        start: Where to begin, shape (k,).
        middle: Of the prior, shape (k,).
        sd: Of the prior, shape (k,).
    """
    low, high = middle - 3 * sd, middle + 3.5 * sd
    at = np.clip(start, low, high)
    value, gradient = minus_log(at)
    inverse = np.diag(0.5 * sd**2)  # the readings at least double the curvature of the prior where they say anything
    for _ in range(MOST_STEPS):
        held = ((at <= low) & (gradient > 0)) | ((at >= high) & (gradient < 0))
        move = np.where(held, 0.0, -inverse @ np.where(held, 0.0, gradient))
        move *= min(1.0, LONGEST_STEP / max(np.abs(move).max(), 1e-12))
        for _ in range(HALVINGS):
            there = np.clip(at + move, low, high)
            new_value, new_gradient = minus_log(there)
            if new_value <= value + 1e-4 * gradient @ (there - at):
                break
            move = 0.4 * move
        step, change, gain = there - at, new_gradient - gradient, value - new_value
        if not gain > 0:
            break
        at, value, gradient = there, new_value, new_gradient
        if gain < ENOUGH:
            break
        curved = step @ change
        if curved > 1e-10:
            turn = np.eye(len(at)) - np.outer(step, change) / curved
            inverse = turn @ inverse @ turn.T + np.outer(step, step) / curved
    return np.asarray(at)


def integrate(model: MixedModel, centre: Array) -> Posterior:
    """Posterior over the spreads by importance-weighted fixed nodes about the mode."""

    def fit_at(theta: Array) -> tuple[float, Solution]:
        solution = model.solve(theta)
        return minus_log_posterior(model, theta, solution), solution

    of = density(model)
    root = root_of_inverse_hessian(lambda theta: of(theta)[1], centre)
    found = weighted_nodes(fit_at, centre, root)
    shifts = np.array([s.shift for s in found.solved])
    return Posterior(
        found.weights, model.spreads, found.nodes, shifts, found.solved, log_unit(model) + found.log_integral
    )


S = TypeVar("S")


@dataclass(frozen=True)
class WeightedNodes(Generic[S]):
    """A density over some spreads as weighted points, with the problem solved at each."""

    weights: Array  # (k,)
    nodes: Array  # (k, spreads)
    solved: tuple[S, ...]
    log_integral: float  # of the density, up to a constant of the number of spreads


def weighted_nodes(at: Callable[[Array], tuple[float, S]], centre: Array, root: Array) -> WeightedNodes[S]:
    """Fixed nodes about a mode, weighted by importance; centred again once where few of them carry the weight.

    Args:
        at: Minus the log density at some spreads, and the problem solved there.
        centre: The mode, shape (spreads,).
        root: A root of the inverse curvature there, shape (spreads, spreads).
    """
    unit = fixed_nodes(len(centre))
    for _ in range(2):
        nodes = centre + INFLATE * unit @ root.T
        origin = at(nodes[0])  # stands there twice
        minus_log, solved = zip(origin, origin, *(at(theta) for theta in nodes[2:]), strict=True)
        log_weight = 0.5 * (unit**2).sum(axis=1) - np.array(minus_log)
        weights = np.exp(log_weight - log_weight.max())
        volume = np.linalg.slogdet(root)[1] + len(centre) * np.log(INFLATE)
        log_integral = log_weight.max() + np.log(weights.mean()) + volume
        weights /= weights.sum()
        if 1 / (weights**2).sum() > FEW_NODES:
            break
        softer = np.sqrt(weights) / np.sqrt(weights).sum()
        centre = softer @ nodes
        spread = ((nodes - centre).T * softer) @ (nodes - centre)
        root = np.linalg.cholesky(spread + 0.02 * root @ root.T)
    return WeightedNodes(weights, nodes, solved, float(log_integral))


def mix(parts: Sequence[Posterior], shares: Array, apart: NDArray[np.int64] | None = None) -> Posterior:
    """One posterior of several, each with its share; nodes that carry nothing are left out.

    Args:
        parts: Of the same model.
        shares: Their probabilities, shape (parts,).
        apart: Number of each part that limits are to hold under by itself, -1 of one that needs not; None for all.
    """
    if len(parts) == 1:
        return parts[0]
    which = np.repeat(np.arange(len(parts)), [len(part.weights) for part in parts])
    weights = np.concatenate([share * part.weights for part, share in zip(parts, shares, strict=True)])
    kept = np.flatnonzero(weights > NOTHING)
    solutions = [s for part in parts for s in part.solutions]
    return Posterior(
        weights[kept] / weights[kept].sum(),
        parts[0].names,
        np.vstack([part.nodes for part in parts])[kept],
        np.vstack([part.shifts for part in parts])[kept],
        tuple(solutions[i] for i in kept),
        apart=None if apart is None else apart[which[kept]],
    )


def root_of_inverse_hessian(gradient: Callable[[Array], Array], centre: Array) -> Array:
    """A root of the inverse second derivatives, by central differences of the gradient; no flatter than `FLATTEST`."""
    step = 0.05
    hessian = np.array([gradient(centre + a) - gradient(centre - a) for a in step * np.eye(len(centre))]) / (2 * step)
    values, vectors = np.linalg.eigh(0.5 * (hessian + hessian.T))
    return np.asarray(vectors / np.sqrt(np.maximum(values, FLATTEST)))


def fixed_nodes(dimension: int) -> Array:
    """Antithetic low-discrepancy standard normal points, twice the origin first, shape (NODES, dimension).

    Additive recurrence with the generalised golden ratio (Roberts 2018), through the normal quantile.
    """
    ratio = 2.0
    for _ in range(40):
        ratio = (1 + ratio) ** (1 / (dimension + 1))
    steps = ratio ** -np.arange(1.0, dimension + 1)
    shares = (0.5 + np.arange(1, NODES // 2)[:, None] * steps) % 1
    z = np.vectorize(NormalDist().inv_cdf)(shares)
    return np.vstack([np.zeros((2, dimension)), z, -z])
