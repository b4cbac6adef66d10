"""A check of a scale with known loads, turned into the correction that later readings are put through.

Loads come as masses, g is passed in; no file is opened and nothing is asked here. docs/scale_check.md has the trials.

Model: nominal load = zero + gain * shown + quadratic * shown^2 - (pieces' own errors) + noise. The set's common error
scales all three coefficients, so it is one exact factor. The noise has an unknown part, which is integrated over, and
the display's rounding, which repeats itself at the same load where the noise does not stir it.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import isfinite, pi, sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from calib.errors import DataError
from calib.fit.known_loads import KnownLoads
from calib.fit.observations import U_GAIN_UNCHECKED
from calib.fit.regression import f_tail, polynomial
from calib.records import Array, BranchName, Correction
from calib.units import G_STANDARD

SIGNIFICANT = 0.05  # of the lack-of-fit test
FEWEST_FOR_QUADRATIC = 5  # distinct loads: four leave one degree of freedom to judge a bend by
NODES = 41  # of the unknown noise; 21 give the same coverage
USUAL_NOISE = 1e-3  # of the largest load: hanging scales and plain load cells scatter less (an assumption, weak)
U_BEND = (3e-4, 3e-3)  # of the largest load, for a bend not seen: 0.05 % as a bound (an assumption), and at most
Z95 = 1.959963984540054


@dataclass(frozen=True)
class Weighing:
    """One known load and what the scale showed."""

    pieces: tuple[float, ...]  # nominal values that hung together [kg], or [N] where the loads are forces; () = nothing
    shown: float  # [N]
    branch: BranchName = "loading"
    line: int = 0  # line in a file, 0 where there is none

    @property
    def nominal(self) -> float:
        """Sum of the pieces."""
        return float(sum(self.pieces))


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
class ScaleCheck:
    """What one check says of a scale."""

    correction: Correction
    weighings: tuple[Weighing, ...]
    loads: KnownLoads
    g: float  # [m/s2] that turned masses into forces; 1 where the loads are forces
    plain: LeastSquares
    line_fit: LackOfFit | None  # lack of fit of the line; None where no load was read twice
    quadratic_fit: LackOfFit | None
    repeatability: float | None  # [N] sd of readings of one load on one branch
    reversibility: float | None  # relative, mean of |down - up| / load, after ISO 376
    zero_return: float | None  # [N] last reading of nothing minus the first
    remarks: tuple[str, ...] = ()

    @property
    def order(self) -> int:
        """1 for a line, 2 with a bend."""
        return 2 if self.correction.coefficients[2] else 1

    def excess(self, force: float) -> float:
        """How much the scale, zeroed, shows above a true force. [N]"""
        return self.shown_for(force) - force

    def shown_for(self, force: float) -> float:
        """What the scale, zeroed, shows for a true force. [N]"""
        _, gain, quadratic = self.correction.coefficients
        shown = force / gain
        for _ in range(50):
            slope = gain + 2 * quadratic * shown
            shown -= (gain * shown + quadratic * shown * shown - force) / slope
        return shown

    def u(self, shown: float) -> float:
        """Uncertainty (k = 1; 1.96 of it hold 95 %) of the corrected pull for a shown value, zero taken off. [N]"""
        row = np.array([0.0, shown, shown * shown])
        return sqrt(max(float(row @ np.array(self.correction.covariance) @ row), 0.0))


def check_scale(
    weighings: Sequence[Weighing],
    loads: KnownLoads,
    resolution: float,
    checked_on: str,
    g: float = G_STANDARD,
) -> ScaleCheck:
    """Fit the correction of a scale.

    Args:
        weighings: In the order they were read.
        loads: The set of known loads.
        resolution: One step of the display. [N]
        checked_on: ISO date.
        g: Of the place, or the standard value where the place is not known. [m/s2] The result measures in plates: at
            the same place g cancels, so no uncertainty of g is added. Pass 1 where the loads are forces.

    Raises:
        DataError: Too few loads, or numbers that no scale shows.
    """
    _refuse(weighings)
    seen = _Seen.of(weighings, loads, resolution, g)
    line_fit = _lack_of_fit(seen, 2)
    bend = line_fit is not None and seen.levels >= FEWEST_FOR_QUADRATIC and line_fit.p < SIGNIFICANT
    order = 3 if bend else 2
    quadratic_fit = _lack_of_fit(seen, 3) if seen.levels > 3 else None
    plain = _plain(seen, order)
    correction = _correction(seen, order, loads, checked_on, plain)
    check = ScaleCheck(
        correction,
        tuple(weighings),
        loads,
        g,
        plain,
        line_fit,
        quadratic_fit,
        _repeatability(weighings),
        _reversibility(weighings),
        _zero_return(weighings),
    )
    remarks = _remarks(check, quadratic_fit if bend else line_fit, bend)
    return replace(check, remarks=remarks)


def added_one_by_one(totals: Sequence[float]) -> list[tuple[float, ...]]:
    """Pieces of loads of which only the totals are known: each next larger load is the one before plus one piece."""
    levels = sorted({t for t in totals if t > 0})
    steps = [b - a for a, b in zip([0.0, *levels], levels, strict=False)]
    stacks = {level: tuple(steps[: i + 1]) for i, level in enumerate(levels)}
    return [stacks[t] if t > 0 else () for t in totals]


@dataclass(frozen=True)
class _Seen:
    """The numbers of a check, scaled so that the largest shown value is 1."""

    known: Array  # [N] nominal
    shown: Array  # scaled
    unit: float  # [N] the largest shown value
    level: NDArray[np.intp]  # index of each weighing's load
    levels: int
    pieces: Array  # [N2] covariance of the nominal loads from the pieces' own errors
    resolution: float  # [N]

    @classmethod
    def of(cls, weighings: Sequence[Weighing], loads: KnownLoads, resolution: float, g: float) -> "_Seen":
        known = np.array([w.nominal for w in weighings]) * g
        shown = np.array([w.shown for w in weighings])
        unit = float(np.abs(shown).max())
        values, level = np.unique(np.round(known, 9), return_inverse=True)
        return cls(known, shown / unit, unit, level, len(values), _piece_covariance(weighings, loads, g), resolution)


def _piece_covariance(weighings: Sequence[Weighing], loads: KnownLoads, g: float) -> Array:
    """Loads that have pieces in common are off together; equal pieces are told apart by their count."""
    names = [{(p, k) for p, n in Counter(w.pieces).items() for k in range(n)} for w in weighings]
    out = np.zeros((len(names), len(names)))
    for i, a in enumerate(names):
        for j, b in enumerate(names):
            out[i, j] = sum((g * loads.u_piece(p)) ** 2 for p, _ in a & b)
    return out


def _refuse(weighings: Sequence[Weighing]) -> None:
    for w in weighings:
        if not (isfinite(w.shown) and all(isfinite(p) for p in w.pieces)):
            raise DataError("a known load or a reading is not a number", where=_line(w), remedy="mend it")
        if any(p <= 0 for p in w.pieces):
            raise DataError(f"a known load of {min(w.pieces):g} is not above zero", where=_line(w), remedy="mend it")
    nominal = {round(w.nominal, 9) for w in weighings}
    if len(nominal) < 2 or len(weighings) < 3:
        raise DataError(
            f"{len(weighings)} readings of {len(nominal)} different loads say nothing of a scale",
            remedy="read at least nothing and one known load, up and down; four loads are better",
        )
    low, high = min(weighings, key=lambda w: w.nominal), max(weighings, key=lambda w: w.nominal)
    if high.shown == low.shown:
        raise DataError("the scale shows the same with and without load", where=_line(high), remedy="is it on hold?")
    if high.shown < low.shown:
        raise DataError(
            "the scale shows less under load than without: its pull is reversed, or known and shown are swapped",
            where=_line(high),
            remedy="turn the scale round, or check the columns",
        )


def _line(weighing: Weighing) -> str:
    return f"line {weighing.line}" if weighing.line else ""


def _plain(seen: _Seen, order: int) -> LeastSquares:
    """Ordinary least squares of what was shown against the known load."""
    fitted = polynomial(seen.known, seen.shown * seen.unit, order - 1)
    sd, padding = fitted.residual_sd, (0, 3 - order)
    return LeastSquares(np.pad(fitted.coefficients, padding), np.pad(fitted.u * sd, padding), sd, fitted.dof)


def _lack_of_fit(seen: _Seen, order: int) -> LackOfFit | None:
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
    slope = float(_plain(seen, 2).coefficients[1])
    stuck = _stuck(seen.resolution, sqrt(scatter))  # rounding repeats itself at one load and does not average out
    cover = np.diag(scatter / counts + stuck * (1 - 1 / counts)) + slope**2 * seen.pieces[np.ix_(first, first)]
    F = polynomial(seen.known[first], mean, order - 1, cover).sum_of_squares / free
    return LackOfFit(F, f_tail(F, free, repeats), (free, repeats))


class _Nodes(NamedTuple):
    """The fits for a row of supposed noises."""

    log_weight: Array  # shape (k,)
    coefficients: Array  # shape (k, 3)
    covariance: Array  # shape (k, 3, 3)


def _correction(seen: _Seen, order: int, loads: KnownLoads, checked_on: str, plain: LeastSquares) -> Correction:
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
        residual_sd=float(np.sqrt(np.sum(weight * noises**2))),
        max=top,
        known_loads=loads.id,
        factor_known_loads=_three(factor),
    )


def _unseen_bend(seen: _Seen, noise: float) -> float:
    """Prior sd at the top of a bend not asked for by the test: what the readings hint at beyond chance, bounded. [N]"""
    top = float(seen.known.max())
    hint = 0.0
    if seen.levels > 3:
        free = _fits(seen, np.array([max(noise, 1e-6 * top)]), top, float("inf"))
        hint = sqrt(max(float(free.coefficients[0, 2] ** 2 - free.covariance[0, 2, 2]), 0.0))
    return float(np.clip(hint, U_BEND[0] * top, U_BEND[1] * top))


def _three(values: Array) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])


def _fits(seen: _Seen, noises: Array, usual: float, bend: float) -> _Nodes:
    """Generalised least squares for each noise, with its restricted likelihood and prior.

    Args:
        seen: The check.
        noises: Supposed noises of a reading, shape (k,). [N]
        usual: The prior is even in the logarithm of noise and rounding together, as for Student's t, and falls above
            five times this. [N]
        bend: Prior sd of the quadratic term at the top: 0 is a line, infinite a free bend. [N]
    """
    X = np.vander(seen.shown, 3 if bend else 2, increasing=True)
    root = np.linalg.cholesky(_cover(seen, noises))
    columns = np.column_stack([X, seen.known])
    both = np.linalg.solve(root, np.broadcast_to(columns, (len(noises), *columns.shape)))
    if bend:
        prior = np.broadcast_to([[0.0, 0.0, 1 / bend, 0.0]], (len(noises), 1, 4))
        both = np.concatenate([both, prior], axis=1)
    white, target = both[:, :, :-1], both[:, :, -1:]
    q, r = np.linalg.qr(white)
    inverse = np.linalg.inv(r)
    coefficients = inverse @ (q.transpose(0, 2, 1) @ target)
    rest = np.sum((target - white @ coefficients)[:, :, 0] ** 2, axis=1)
    diagonals = [np.abs(np.diagonal(m, axis1=1, axis2=2)) for m in (root, r)]
    log_determinants = sum(np.log(d).sum(axis=1) for d in diagonals)
    scatter = noises**2 + seen.resolution**2 / 12
    log_prior = np.log(noises**2 / scatter) - np.log1p(scatter / (5 * usual) ** 2)
    missing = 3 - X.shape[1]
    return _Nodes(
        log_prior - 0.5 * rest - log_determinants,
        np.pad(coefficients[:, :, 0], ((0, 0), (0, missing))),
        np.pad(inverse @ inverse.transpose(0, 2, 1), ((0, 0), (0, missing), (0, missing))),
    )


def _cover(seen: _Seen, noises: Array) -> Array:
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


def _widened(nodes: _Nodes, weight: Array, mean: Array) -> Array:
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


def _repeatability(weighings: Sequence[Weighing]) -> float | None:
    """Pooled sd of readings of one load on one branch. [N]"""
    groups: dict[tuple[float, str], list[float]] = {}
    for w in weighings:
        groups.setdefault((round(w.nominal, 9), w.branch if w.pieces else ""), []).append(w.shown)
    repeated = [np.array(v) for (load, _), v in groups.items() if len(v) > 1 and load]
    dof = sum(len(v) - 1 for v in repeated)
    return sqrt(sum(float(np.sum((v - v.mean()) ** 2)) for v in repeated) / dof) if dof else None


def drops(weighings: Sequence[Weighing]) -> dict[float, float]:
    """By nominal load above zero: mean reading on the way down less that on the way up. [N]"""
    by_branch: dict[float, dict[str, list[float]]] = {}
    for w in weighings:
        if w.pieces:
            by_branch.setdefault(round(w.nominal, 9), {}).setdefault(w.branch, []).append(w.shown)
    return {
        load: float(np.mean(b["unloading"]) - np.mean(b["loading"])) for load, b in by_branch.items() if len(b) == 2
    }


def _reversibility(weighings: Sequence[Weighing]) -> float | None:
    """Mean of |down - up| over what was shown. The topmost load, where the way turns, has no gap of its own."""
    both = drops(weighings)
    shown = {load: np.mean([w.shown for w in weighings if round(w.nominal, 9) == load]) for load in both}
    return float(np.mean([abs(gap) / abs(shown[load]) for load, gap in both.items() if shown[load]])) if both else None


def _zero_return(weighings: Sequence[Weighing]) -> float | None:
    zeros = [w.shown for w in weighings if not w.pieces]
    return zeros[-1] - zeros[0] if len(zeros) > 1 else None


def _remarks(check: ScaleCheck, fit: LackOfFit | None, bend: bool) -> tuple[str, ...]:
    """What the user should know about this check, most telling first."""
    out: list[str] = []
    gain, u_gain = check.correction.coefficients[1], check.correction.covariance[1][1] ** 0.5
    if u_gain > U_GAIN_UNCHECKED * abs(gain) and not bend:
        out.append(
            f"this check leaves the gain uncertain by {100 * u_gain / abs(gain):.1f} % (k = 1), no better than for a "
            "scale never checked: weigh the loads on a shop scale and check again"
        )
    if bend and fit is not None and fit.p < SIGNIFICANT:
        out.append(
            "neither a line nor a bend goes through the means of the loads: is one of them not what it is taken for?"
        )
    elif bend:
        out.append("the scale's gain changes with load, so the correction has a bend")
    levels = {round(w.nominal, 9) for w in check.weighings}
    if len(levels) < FEWEST_FOR_QUADRATIC:
        out.append(f"with {len(levels)} different loads, nothing included, a bend of the scale cannot be seen")
    if not drops(check.weighings):
        out.append("read on the way up only: nothing is known of the way down")
    worst = _worst(check)
    if worst is not None:
        out.append(worst)
    return tuple(out)


def _worst(check: ScaleCheck) -> str | None:
    """Name the one reading that lies far from the rest."""
    zero, gain, quadratic = check.correction.coefficients
    rest = np.array([zero + gain * w.shown + quadratic * w.shown**2 - w.nominal * check.g for w in check.weighings])
    size = np.abs(rest - np.median(rest))
    worst = int(size.argmax())
    usual = float(np.median(size))
    if len(rest) < 6 or size[worst] < 8 * max(usual, check.correction.residual_sd / 4):
        return None
    w = check.weighings[worst]
    way = "up" if w.branch == "loading" else "down"
    return f"reading {worst + 1} ({w.nominal:g} known, on the way {way}) stands out: was it misread?"
