"""Gross errors: a robust first curve, readings that stand alone far off, and the slip each looks like.

A reading is left out of the curve only while it stands apart; nothing is deleted and every one is named.
"""

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from calib.fit.curve.mixed import LogForce, MixedModel
from calib.frozen import dataclass
from calib.records import Array

FAR = 5.0  # generous sds beyond which the robust start doubts a reading
MOST = 0.25  # share of the readings; beyond it they are the data, not errors
TINY = 1e-9  # of the largest pull: less is zero, and its square would underflow
ANNEALING = 14
START_SD = {"smooth": 0.05, "toe": 0.35, "loop_smooth": 0.075, "drops": 0.15}  # fixed spreads of the robust start


@dataclass(frozen=True)
class Start:
    """A first curve, and which readings to begin with."""

    beta: Array  # coefficients, shape (size,)
    use: NDArray[np.bool_]  # shape (n,)
    strict: NDArray[np.bool_]  # the same without those that only another reading speaks for, shape (n,)


def robust_start(model: MixedModel) -> Start:
    """A first curve by an annealed Cauchy fit of ln(reading)."""
    seen, n = model.seen, model.basis.size
    positive = seen.pull > TINY * np.abs(seen.pull).max()
    places = model.places
    gap, sd = _log_residual(model, positive)
    precision = 1 / _start_variance(model)
    columns = places.columns[positive]
    weight, width = np.ones(len(gap)), 20.0
    for _ in range(ANNEALING):
        width = max(2.0, 0.6 * width)
        weighted = columns.T * (weight / sd**2)
        normal = weighted @ columns
        normal[np.diag_indices_from(normal)] += precision
        shift = np.linalg.solve(normal, weighted @ gap)
        off = (gap - columns @ shift) / sd
        weight = 1 / (1 + (off / width) ** 2)
    beta = model.mean[:n] + shift
    use = _slack_there(model, places, beta)
    use[positive] = np.abs(off) < FAR
    residual = np.zeros(len(seen))
    residual[positive] = sd * off
    strict = use.copy()
    _acquit(model, use, residual, positive)
    return Start(beta, _or_all(use), _or_all(strict))


def _or_all(use: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The mask, or every reading where it leaves out too many."""
    return use if (~use).mean() <= MOST else np.ones(len(use), bool)


def _log_residual(model: MixedModel, positive: NDArray[np.bool_]) -> tuple[Array, Array]:
    """ln(reading) less the prior mean curve, and a generous sd of it."""
    seen, n = model.seen, model.basis.size
    eta, slope, _ = model.places.evaluate(model.mean[:n])
    pull = seen.pull[positive]
    zero = sum((s.force[positive] ** 2 for s in seen.sources), np.zeros(len(pull)))
    relative = (seen.resolution[positive] ** 2 / 3 + zero + seen.u_force[positive] ** 2) / pull**2
    by_length = slope[positive] * np.hypot(2 * seen.u_rest, seen.u_length[positive])
    return np.log(pull) - eta[positive], np.sqrt(0.02**2 + relative + by_length**2)


def _start_variance(model: MixedModel) -> Array:
    basis = model.basis
    variance = model.variance[: basis.size].copy()
    variance[basis.smooth] = START_SD["smooth"] ** 2
    variance[basis.toe] = START_SD["toe"] ** 2
    variance[basis.loop_smooth] = START_SD["loop_smooth"] ** 2
    variance[basis.drops] = START_SD["drops"] ** 2
    return variance


def _slack_there(model: MixedModel, places: LogForce, beta: Array) -> NDArray[np.bool_]:
    """Where the band is all but slack: only there a reading of zero or less is believed."""
    zero = sum((np.abs(s.force) for s in model.seen.sources), np.zeros(len(model.seen)))
    force = np.exp(np.minimum(places.evaluate(beta)[0], 50))
    return np.asarray(force < 5 * (model.seen.resolution + zero))


def _acquit(model: MixedModel, use: NDArray[np.bool_], residual: Array, positive: NDArray[np.bool_]) -> None:
    """Take back suspects that a reading of another sweep at about the same length agrees with."""
    seen = model.seen
    reach = 0.02 * np.ptp(seen.length)
    for i in np.flatnonzero(~use):
        other_sweep = (model.cycle != model.cycle[i]) | (seen.unloading != seen.unloading[i])
        beside = (np.abs(seen.length - seen.length[i]) < reach) & other_sweep & positive
        use[i] = (beside & (np.abs(residual - residual[i]) < 0.4 * abs(residual[i]))).any()


def studentised(model: MixedModel, log_spreads: Array) -> Array:
    """Deviation of each reading over its sd, that reading itself left out; shape (n,)."""
    s = model.solve(log_spreads)
    leverage = model.leverage(s)
    inside = s.noise * np.maximum(1 - leverage / s.noise, 1e-6)
    return np.asarray(s.residual / np.sqrt(np.where(model.use, inside, s.noise + leverage)))


def likely_slip(ratio: float, shown: float) -> str:
    """What a reading `ratio` times the curve looks like, in words.

    Args:
        ratio: Reading over curve.
        shown: The reading as typed, in the unit of the file.
    """
    for factor, words in ((10.0, "a decimal point too far right"), (0.1, "a decimal point too far left")):
        if abs(ratio / factor - 1) < 0.25:
            return words
    for factor, words in ((2.2046, "pounds typed as kilograms"), (0.45359, "kilograms typed as pounds")):
        if abs(ratio / factor - 1) < 0.06:
            return words
    if ratio <= 0:
        return "a reversed sign"
    digit = _one_digit(shown, shown / ratio)
    return digit or "a misread digit or a wrong length"


def _one_digit(shown: float, expected: float) -> str:
    """The single-digit slip or swap of neighbours that brings `shown` closest to `expected`, if one does."""
    text = f"{abs(shown):.2f}".rstrip("0").rstrip(".")
    digits = [i for i, c in enumerate(text) if c.isdigit()]
    best, words = 0.03 * abs(expected), ""
    for i, j in pairwise(digits):
        swapped = list(text)
        swapped[i], swapped[j] = swapped[j], swapped[i]
        gap = abs(float("".join(swapped)) - abs(expected))
        if text[i] != text[j] and gap < best:
            best, words = gap, f"two digits swapped ({''.join(swapped)}?)"
    for i in digits:
        for d in "0123456789":
            changed = text[:i] + d + text[i + 1 :]
            gap = abs(float(changed) - abs(expected))
            if gap < 0.5 * best:
                best, words = gap, f"one digit misread ({changed}?)"
    return words
