"""The correction of a scale from known loads: least squares with all that may be off, the noise integrated over.

Model: nominal load = zero + gain * shown + quadratic * shown^2 - (pieces' own errors) + noise. The set's common error
scales all three coefficients, so it is one exact factor. The noise has an unknown part, which is integrated over, and
the display's rounding, which repeats itself at the same load where the noise does not stir it.
Nothing is said about the scale in words here; docs/scale_check.md has the trials.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from math import pi, sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calib.fit.compiled import ndtr
from calib.fit.gear.known_loads import KnownLoads
from calib.fit.gear.regression import f_tail, polynomial
from calib.fit.gear.weighings import Weighing
from calib.frozen import dataclass
from calib.records import Array, Correction

NODES = 41  # of the unknown noise; 21 give the same coverage
USUAL_NOISE = 1e-3  # of the largest load: hanging scales and plain load cells scatter less (an assumption, weak)
U_BEND = (3e-4, 3e-3)  # of the largest load, for a bend not seen: 0.05 % as a bound (an assumption), and at most
U_GAP = 3e-3  # of the largest load: gap between way up and way down, as in class 1 of ISO 376 (from memory)
Z95 = 1.959963984540054


class LackOfFit(NamedTuple):
    """Scatter of the loads' means about a curve, over the scatter of repeats."""

    F: float
    p: float
    dof: tuple[int, int]


class LeastSquares(NamedTuple):
    """An ordinary fit of what was shown against the known load, in newton: for comparison with textbooks."""

    coefficients: Array  # shape (3,), the quadratic 0 for a line
    sd: Array  # shape (3,)
    residual_sd: float
    dof: int


@dataclass(frozen=True)
class Seen:
    """The numbers of a check, scaled so that the largest shown value is 1."""

    known: Array  # [N] nominal
    shown: Array  # scaled
    unit: float  # [N] the largest shown value
    level: NDArray[np.intp]  # index of each weighing's load
    levels: int
    pieces: Array  # [N2] covariance of the nominal loads from the pieces' own errors
    resolution: float  # [N]
    gap: Array  # half of what a gap of 1 N between the ways, in the middle, adds to each reading; zero where none shows
    names: tuple[str, ...]  # of the pieces, where they have names
    each: Array  # [N] what one standard deviation of each of those does to the nominal loads, shape (n, names)

    @classmethod
    def from_weighings(cls, weighings: Sequence[Weighing], loads: KnownLoads, resolution: float, g: float) -> "Seen":
        """From weighings in order."""
        known = np.array([w.nominal for w in weighings]) * g
        shown = np.array([w.shown for w in weighings])
        unit = float(np.abs(shown).max())
        values, level = np.unique(np.round(known, 9), return_inverse=True)
        pieces = _piece_covariance(weighings, loads, g)
        names, each = _named_pieces(weighings, loads, g)
        return cls(known, shown / unit, unit, level, len(values), pieces, resolution, _gap(weighings), names, each)


def _gap(weighings: Sequence[Weighing]) -> Array:
    """A parabola over the load, none at nothing and at the top where the way turns; minus up, plus down."""
    load = np.array([w.nominal for w in weighings])
    x = load / load.max()
    sign = np.array([-1.0 if w.branch == "loading" else 1.0 for w in weighings])
    inside = [load[(sign == s) & (x > 0) & (x < 1)] for s in (-1, 1)]
    shape: Array = 0.5 * sign * 4 * x * (1 - x)
    return shape if np.intersect1d(*(np.round(i, 9) for i in inside)).size else np.zeros(len(load))


def _counted(weighing: Weighing) -> set[tuple[float, int]]:
    """Its pieces, equal ones told apart by their count."""
    return {(p, k) for p, n in Counter(weighing.pieces).items() for k in range(n)}


def _named_pieces(weighings: Sequence[Weighing], loads: KnownLoads, g: float) -> tuple[tuple[str, ...], Array]:
    """Names of the pieces that hung, and what one standard deviation of each does to each load. [N]"""
    hung = sorted(set().union(*map(_counted, weighings))) if loads.pieces else []
    each = [[g * loads.u_piece(p) * ((p, k) in _counted(w)) for p, k in hung] for w in weighings]
    return tuple(loads.name(p, k) for p, k in hung), np.array(each, float).reshape(len(weighings), -1)


def _piece_covariance(weighings: Sequence[Weighing], loads: KnownLoads, g: float) -> Array:
    """Loads that have pieces in common are off together."""
    names = [_counted(w) for w in weighings]
    out = np.zeros((len(names), len(names)))
    for i, a in enumerate(names):
        for j, b in enumerate(names):
            out[i, j] = sum((g * loads.u_piece(p)) ** 2 for p, _ in a & b)
    return out


def least_squares(seen: Seen, order: int) -> LeastSquares:
    """Ordinary least squares of what was shown against the known load."""
    fitted = polynomial(seen.known, seen.shown * seen.unit, order - 1)
    sd, padding = fitted.residual_sd, (0, 3 - order)
    return LeastSquares(np.pad(fitted.coefficients, padding), np.pad(fitted.u * sd, padding), sd, fitted.dof)


def lack_of_fit(seen: Seen, order: int) -> LackOfFit | None:
    """F test of the means shown for each load about a curve, against the scatter of repeats.

    NIST/SEMATECH e-Handbook 4.4.4.6 where the loads have no error. What the pieces may be off is allowed for, and the
    scatter of repeats is not taken below the display's rounding.
    """
    counts = np.bincount(seen.level, minlength=seen.levels)
    repeats, free = len(seen.known) - seen.levels, seen.levels - order
    if repeats < 1 or free < 1:
        return None
    mean = np.bincount(seen.level, seen.shown * seen.unit) / counts
    scatter = float(np.sum((seen.shown * seen.unit - mean[seen.level]) ** 2)) / repeats
    scatter = max(scatter, seen.resolution**2 / 12)
    if scatter == 0:
        return None
    first = [int(np.flatnonzero(seen.level == k)[0]) for k in range(seen.levels)]
    slope = float(least_squares(seen, 2).coefficients[1])
    stuck = _stuck(seen.resolution, sqrt(scatter))  # rounding repeats itself at one load and does not average out
    cover = np.diag(scatter / counts + stuck * (1 - 1 / counts)) + slope**2 * seen.pieces[np.ix_(first, first)]
    F = polynomial(seen.known[first], mean, order - 1, cover).sum_of_squares / free
    return LackOfFit(F, f_tail(F, free, repeats), (free, repeats))


class _NoiseNodes(NamedTuple):
    """The fits for a row of supposed noises."""

    log_weight: Array  # shape (k,)
    coefficients: Array  # shape (k, 3)
    gap: Array  # [N] between the ways in the middle, shape (k,)
    covariance: Array  # shape (k, 3, 3)
    by_piece: Array  # shift of the coefficients per standard deviation of each named piece, shape (k, 3, names)


def correction_of(seen: Seen, order: int, loads: KnownLoads, checked_on: str, plain: LeastSquares) -> Correction:
    """Integrate over the unknown noise and state what a reader who takes 1.96 u for 95 % needs.

    Where a line is kept, a bend too small to be seen is allowed for: the covariance
    is that of the truth about the line.
    """
    top = float(seen.known.max())
    usual = max(USUAL_NOISE * top, seen.resolution / 2)
    least = max(0.01 * usual, seen.resolution / 8)  # below it the rounding rules, and small noises are all alike
    noises = np.geomspace(least, max(30 * usual, 10 * plain.residual_sd), NODES)
    bend = float("inf") if order == 3 else _unseen_bend(seen, plain.residual_sd)
    nodes = _fits(seen, noises, usual, bend)
    weight = np.exp(nodes.log_weight - nodes.log_weight.max())
    weight /= weight.sum()
    stated = nodes if order == 3 else _fits(seen, noises, usual, 0.0)
    mean: Array = weight @ stated.coefficients
    own = _widened(nodes, weight, mean)
    back = seen.unit ** -np.arange(3.0)
    coefficients, covariance = mean * back, own * np.outer(back, back)
    factor = loads.u_common * coefficients
    covariance += np.outer(factor, factor)
    return Correction(
        checked_on=checked_on,
        coefficients=_three(coefficients),
        covariance=(_three(covariance[0]), _three(covariance[1]), _three(covariance[2])),
        residual_sd=float(np.sqrt(weight @ (noises**2 + np.mean(seen.gap**2) * stated.gap**2))),
        max=top,
        known_loads=loads.id,
        factor_known_loads=_three(factor),
        pieces=seen.names,
        factor_pieces=tuple(_three(f * back) for f in np.tensordot(weight, stated.by_piece, 1).T),
    )


class Weighed(NamedTuple):
    """A check together with what was known of the gain before."""

    correction: Correction
    share: float  # of the gain that is from before, 0 to 1
    apart: float  # how far the check and what was known before lie apart, in standard deviations of that


def weigh_with_prior(check: Correction, at: float, gain: float, u_gain: float) -> Weighed:
    """Weigh a check with what a scale never checked is trusted to, as a Gaussian prior of its gain.

    Where the check contradicts the prior, that is widened until it no longer does. The whole correction is scaled, so
    a line stays a line; each source keeps its own part, and what the set of loads has in common counts for less too.

    Args:
        check: From known loads alone.
        at: Indication at which the gain is meant, the largest shown. [N]
        gain: Of the prior: one, or what it is where a scale shows plates right. [1]
        u_gain: Of the prior, relative.
    """
    row = np.array([0.0, 1.0, at])
    coefficients, covariance = np.array(check.coefficients), np.array(check.covariance)
    seen = float(row @ coefficients)
    own, off = float(row @ covariance @ row) / seen**2, gain / seen - 1
    prior = max(u_gain**2, off**2 - own)
    share = own / (own + prior)
    keep = np.eye(3) - share * np.outer(coefficients, row) / seen
    covariance = keep @ covariance @ keep.T + share**2 * prior * np.outer(coefficients, coefficients)
    weighed = replace(
        check,
        coefficients=_three(coefficients * (1 + share * off)),
        covariance=(_three(covariance[0]), _three(covariance[1]), _three(covariance[2])),
        factor_known_loads=_three(keep @ np.array(check.factor_known_loads)),
        factor_pieces=tuple(_three(keep @ np.array(f)) for f in check.factor_pieces),
    )
    return Weighed(weighed, share, abs(off) / sqrt(own + u_gain**2))


def _unseen_bend(seen: Seen, noise: float) -> float:
    """Prior sd at the top of a bend not asked for by the test: what the readings hint at beyond chance, bounded. [N]"""
    top = float(seen.known.max())
    hint = 0.0
    if seen.levels > 3:
        free = _fits(seen, np.array([max(noise, 1e-6 * top)]), top, float("inf"))
        hint = sqrt(max(float(free.coefficients[0, 2] ** 2 - free.covariance[0, 2, 2]), 0.0))
    return float(np.clip(hint, U_BEND[0] * top, U_BEND[1] * top))


def _three(values: Array) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])


def _fits(seen: Seen, noises: Array, usual: float, bend: float) -> _NoiseNodes:
    """Generalised least squares for each noise, with its restricted likelihood and prior.

    Args:
        seen: The check.
        noises: Supposed noises of a reading, shape (k,). [N]
        usual: The prior is even in the logarithm of noise and rounding together, as for Student's t, and falls above
            five times this. [N]
        bend: Prior sd of the quadratic term at the top: 0 is a line, infinite a free bend. [N]
    """
    terms = 3 if bend else 2
    X = np.column_stack([np.vander(seen.shown, terms, increasing=True), seen.gap])
    root = np.linalg.cholesky(_cover(seen, noises))
    columns = np.column_stack([X, seen.known, seen.each])
    both = np.linalg.solve(root, np.broadcast_to(columns, (len(noises), *columns.shape)))
    prior = np.zeros((2, columns.shape[1]))  # rows that hold a term near zero
    if bend:
        prior[0, 2] = 1 / bend
    prior[1, terms] = 1 / (U_GAP * seen.known.max())
    both = np.concatenate([both, np.broadcast_to(prior, (len(noises), *prior.shape))], axis=1)
    white, target, each = np.split(both, [terms + 1, terms + 2], axis=2)
    q, r = np.linalg.qr(white)
    inverse = np.linalg.inv(r)
    solve = inverse @ q.transpose(0, 2, 1)
    coefficients = solve @ target
    rest = np.sum((target - white @ coefficients)[:, :, 0] ** 2, axis=1)
    diagonals = [np.abs(np.diagonal(m, axis1=1, axis2=2)) for m in (root, r)]
    log_determinants = sum(np.log(d).sum(axis=1) for d in diagonals)
    scatter = noises**2 + seen.resolution**2 / 12
    log_prior = np.log(noises**2 / scatter) - np.log1p(scatter / (5 * usual) ** 2)
    missing = 3 - terms
    covariance = (inverse @ inverse.transpose(0, 2, 1))[:, :terms, :terms]
    return _NoiseNodes(
        log_prior - 0.5 * rest - log_determinants,
        np.pad(coefficients[:, :terms, 0], ((0, 0), (0, missing))),
        coefficients[:, terms, 0],
        np.pad(covariance, ((0, 0), (0, missing), (0, missing))),
        np.pad((solve @ each)[:, :terms], ((0, 0), (0, missing), (0, 0))),
    )


def _cover(seen: Seen, noises: Array) -> Array:
    """Covariance of the known loads about the curve for each noise: noise, rounding, pieces; shape (k, n, n)."""
    rounding = seen.resolution**2 / 12  # the gain is near one: shown and true newtons are told apart no further here
    stuck = np.array([_stuck(seen.resolution, float(noise)) for noise in noises])
    same = seen.level[:, None] == seen.level[None, :]
    alone = noises**2 + rounding - stuck
    out: Array = seen.pieces + same * stuck[:, None, None] + np.eye(len(seen.known)) * alone[:, None, None]
    return out


def _stuck(resolution: float, noise: float) -> float:
    """Part of the rounding's variance that is the same each time one load is read. [N2]

    The variance, over the load, of the expected rounding error of a value with Gaussian noise: its Fourier series.
    All of d^2 / 12 without noise, a hundredth of it at a noise of a third of a step.
    """
    if resolution == 0:
        return 0.0
    k = np.arange(1.0, 60.0)
    share = np.exp(-((2 * pi * k * noise / resolution) ** 2)) / k**2
    return float(resolution**2 / (2 * pi**2) * share.sum())


def _widened(nodes: _NoiseNodes, weight: Array, mean: Array) -> Array:
    """Covariance of the mixture over noises, widened so that 1.96 u of a pull hold 95 % of it at four pulls."""
    shift = nodes.coefficients - mean
    covariance: Array = np.einsum("k,kij->ij", weight, nodes.covariance) + np.einsum(
        "k,ki,kj->ij", weight, shift, shift
    )
    ratio = 1.0
    for s in (0.25, 0.5, 0.75, 1.0):
        row = np.array([0.0, s, s * s])
        u = sqrt(float(row @ covariance @ row))
        sds = np.sqrt(np.einsum("i,kij,j->k", row, nodes.covariance, row))
        ratio = max(ratio, _half_width(weight, shift @ row, sds) / (Z95 * u))
    return covariance * ratio**2


def _half_width(weight: Array, shifts: Array, sds: Array) -> float:
    """Half-width that holds 95 % of a mixture of Gaussians."""

    def outside(half: float) -> float:
        return float(weight @ (ndtr((-half - shifts) / sds) + ndtr((shifts - half) / sds))) - 0.05

    return _bisect(outside, 0.0, float(20 * sds.max() + np.abs(shifts).max()))


def _bisect(falling: Callable[[float], float], low: float, high: float) -> float:
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if falling(middle) > 0 else (low, middle)
    return (low + high) / 2
