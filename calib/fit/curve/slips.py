"""Which readings are slips: hypotheses about sets of them, weighed by how well each explains all readings.

A slip is a reading that says nothing about the band: a misread digit, a decimal point, a wrong length. Each hypothesis
takes some readings for slips and explains the rest by the model; where several stay credible, the curve is their
mixture, so what cannot be decided makes the limits wider. `weigh` does it for one band; a batch has its own way of
judging a hypothesis (batch_settle.py) and the same way of looking for them.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from calib.fit.curve import variance_components as spreads
from calib.fit.curve.mixed import MixedModel
from calib.fit.curve.outliers import MOST, studentised
from calib.fit.curve.variance_components import Posterior
from calib.records import Array

SLIP = 0.01  # of all readings; a guess: a few in a long afternoon, and little hangs on it
SMALL_SLIP = 0.25  # sd of ln(reading / curve) of half of the slips: a misread digit, a neighbouring length
LARGEST_SLIP = np.log(12.0)  # the other half lie evenly up to here: a decimal point, pounds for kilograms
TURNED = 10.0  # a sign turned or a scale tared under load: anywhere within so many times the curve
CREDIBLE = 5.0  # in log weight below the best: less cannot change a second digit
TOLD = 0.5  # probability from which a reading is called a slip
MEDIAN_OF = 3  # readings whose median one slip does not move
ROUNDS = 10
AT_ONCE = 2  # readings doubted in a round


S = TypeVar("S")


@dataclass(frozen=True)
class Hypothesis(Generic[S]):
    """The readings with some of them taken for slips."""

    out: frozenset[int]
    state: S  # curves and spreads without them
    log_weight: float  # prior times evidence, the spreads at their mode


@dataclass(frozen=True)
class _Fitted:
    """Curve and logarithms of the spreads, at their mode."""

    beta: Array
    log_spreads: Array


@dataclass(frozen=True)
class Verdict:
    """What is known after weighing: the model is left at the most credible hypothesis."""

    posterior: Posterior  # over all credible hypotheses
    slip: Array  # probability that each reading is one, shape (n,)
    off: Array  # studentised deviation of each reading, shape (n,)
    log_spreads: Array  # at their mode, of the most credible hypothesis


def weigh(model: MixedModel, beta: Array, may_slip: NDArray[np.bool_]) -> Verdict:
    """Find the credible hypotheses and their mixture.

    Args:
        model: With `use` as a robust start left it.
        beta: A first curve.
        may_slip: Which can be one, shape (n,): of a group the median counts, which no slip moves.
    """
    start = spreads.start_of(model.spreads)
    model.use = model.use | ~may_slip
    for _ in range(3):
        beta = model.step(beta, start)
    first = _judge(model, frozenset(np.flatnonzero(~model.use).tolist()), _Fitted(beta, start), rounds=3)
    known = search(first, lambda out, of: _judge(model, out, of), lambda here: _beside(model, here, may_slip))
    return _mixture(model, known)


def search(
    here: Hypothesis[S],
    judge: Callable[[frozenset[int], S], Hypothesis[S]],
    beside: Callable[[Hypothesis[S]], list[frozenset[int]]],
) -> list[Hypothesis[S]]:
    """Go where the weight is largest until it is so all round.

    Args:
        here: To begin with.
        judge: Weighs a set of slips, starting from the state of a hypothesis near it.
        beside: Sets of slips worth judging beside a hypothesis.

    Returns:
        All that was judged on the way.
    """
    known = {here.out: here}
    for _ in range(ROUNDS):
        for out in beside(here):
            if out not in known:
                known[out] = judge(out, here.state)
        best = max(known.values(), key=lambda h: h.log_weight)
        if best is here:
            break
        here = best
    return list(known.values())


def credible(known: Sequence[Hypothesis[S]]) -> list[Hypothesis[S]]:
    """Those that could change a digit of the result, the best first."""
    ordered = sorted(known, key=lambda h: -h.log_weight)
    return [h for h in ordered if h.log_weight > ordered[0].log_weight - CREDIBLE]


def _beside(model: MixedModel, here: Hypothesis[_Fitted], may_slip: NDArray[np.bool_]) -> list[frozenset[int]]:
    """With one more reading out, of those that lie farthest off; or with one of the slips taken back."""
    _set(model, here)
    off = np.where(model.use & may_slip, np.abs(studentised(model, here.state.log_spreads)), 0.0)
    room = len(here.out) + 1 <= max(1.0, MOST * len(off))
    return [*(here.out | {i} for i in doubted(off) if room), *(here.out - {i} for i in here.out)]


def doubted(off: Array) -> list[int]:
    """Readings worth taking for a slip next: the farthest off, and farther than chance takes one of so many.

    Args:
        off: Studentised deviation of each, nil where it must not be doubted.
    """
    by_chance = np.sqrt(2 * np.log(len(off)))  # about the largest of n that belong together
    return [int(i) for i in np.argsort(-off)[:AT_ONCE] if off[i] > by_chance]


def _set(model: MixedModel, hypothesis: Hypothesis[_Fitted]) -> None:
    model.use = np.ones(len(model.use), bool)
    model.use[list(hypothesis.out)] = False
    model.linearise(hypothesis.state.beta)


def _judge(model: MixedModel, out: frozenset[int], of: _Fitted, rounds: int = 1) -> Hypothesis[_Fitted]:
    """Curve and spreads without the slips, and the weight of having left them out."""
    model.use = np.ones(len(model.use), bool)
    model.use[list(out)] = False
    beta, log_spreads = of.beta, of.log_spreads
    for _ in range(rounds):
        model.linearise(beta)
        log_spreads = spreads.mode(model, log_spreads)
        beta = model.step(beta, log_spreads)
    model.linearise(beta)
    nlp = spreads.minus_log_posterior(model, log_spreads, model.solve(log_spreads))
    log_weight = log_prior(model, beta) + spreads.log_unit(model) - nlp
    return Hypothesis(out, _Fitted(beta, log_spreads), log_weight)


def log_prior(model: MixedModel, beta: Array) -> float:
    """Log probability of just these slips, with the values they have."""
    force = np.exp(np.clip(model.places.evaluate(beta)[0], -50, 50))
    out = ~model.use
    values = _slip_density(model.seen.pull[out], force[out])
    return float(np.log(SLIP * values).sum() + model.use.sum() * np.log1p(-SLIP))


def _slip_density(pull: Array, force: Array) -> Array:
    """Probability density of a slip's value, given what the curve says there. [1/N]"""
    turned = 0.5 / TURNED / force
    ratio = np.log(np.maximum(pull / force, 1e-9))
    small = np.exp(-0.5 * (ratio / SMALL_SLIP) ** 2) / (SMALL_SLIP * np.sqrt(2 * np.pi))
    large = np.where(np.abs(ratio) < LARGEST_SLIP, 0.5 / LARGEST_SLIP, 1e-4)
    return np.asarray(np.where(pull > 0, 0.5 * (small + large) / np.maximum(pull, 1e-9), 0.1 * turned))


def _mixture(model: MixedModel, known: list[Hypothesis[_Fitted]]) -> Verdict:
    """Integrate the credible hypotheses over their spreads, and mix them by their weights."""
    believed = credible(known)
    parts, weights = [], []
    for hypothesis in believed:
        _set(model, hypothesis)
        part = spreads.integrate(model, hypothesis.state.log_spreads)
        parts.append(part)
        weights.append(log_prior(model, hypothesis.state.beta) + part.log_evidence)
    weight = np.exp(np.array(weights) - max(weights))
    weight /= weight.sum()
    slip = np.zeros(len(model.use))
    for hypothesis, share in zip(believed, weight, strict=True):
        slip[list(hypothesis.out)] += share
    chosen = believed[int(weight.argmax())]
    _set(model, chosen)
    log_spreads = chosen.state.log_spreads
    return Verdict(spreads.mix(parts, weight), slip, studentised(model, log_spreads), log_spreads)
