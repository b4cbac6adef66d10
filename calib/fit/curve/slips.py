"""Which readings are slips: hypotheses about sets of them, weighed by how well each explains all readings.

A slip is a reading that says nothing about the band: a misread digit, a decimal point, a wrong length. A fit that has
thrown a good reading out is too sure, one that has kept a slip is wrong; so each hypothesis takes some readings for
slips and explains the rest by the model, and where several stay credible the curve is their mixture. What cannot be
decided makes the limits wider. `weigh` does it for one band; a batch judges a hypothesis in its own way and looks for
them in the same.

Tried: judging a slip by its distance alone (finds fewer, and moves the curve by those it misses); a fixed rate of slips
(the ninth costs as much as the first); one beginning of the search, where two readings that agree clear one another
(of nine slips two were typed alike at one place, stayed in, and a good reading went out); for a few readings, ever
higher rates of slips instead of limits that hold under each of them (docs/method.md).
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import combinations
from math import lgamma
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from calib.fit.curve import variance_components as spreads
from calib.fit.curve.mixed import MixedModel
from calib.fit.curve.observations import SAME_PLACE, Observations
from calib.fit.curve.outliers import MOST, Start, studentised
from calib.fit.curve.variance_components import Posterior
from calib.frozen import dataclass
from calib.records import Array


@dataclass(frozen=True)
class Habit:
    """How often somebody slips: a beta distribution, so that who has slipped is taken to slip again.

    A fixed rate of one in a hundred charges the ninth slip as much as the first.
    """

    slips: float
    good: float

    def log_probability(self, slips: int, readings: int) -> float:
        """Of just these slips among the readings, the rate integrated over."""
        good = readings - slips
        return _log_beta(self.slips + slips, self.good + good) - _log_beta(self.slips, self.good)


def _log_beta(a: float, b: float) -> float:
    return lgamma(a) + lgamma(b) - lgamma(a + b)


USUAL = Habit(1.0, 60.0)
HASTY = Habit(1.0, 9.0)  # of a few readings that nothing checks: what they cannot show has to be in the limits
FEW, FEW_PLACES = 6, 4  # readings, and places of them
APART = 0.005  # share from which the limits of a few readings hold under a hypothesis by itself
NEAR = 0.2  # relative sd of a slip that is near: 10..30 %
PAIRS_FROM = 5  # readings: fewer do not judge two of themselves
SMALL_SLIP = 0.25  # sd of ln(reading / curve) of half of the slips: a misread digit, a neighbouring length
LARGEST_SLIP = np.log(12.0)  # the other half lie evenly up to here: a decimal point, pounds for kilograms
TURNED = 10.0  # a sign turned or a scale tared under load: anywhere within so many times the curve
CREDIBLE = 5.0  # in log weight below the best: less cannot change a second digit
TOLD = 0.5  # probability from which a reading is called a slip
SURE = 0.9  # the same among a few readings, any of which may be the one that is wrong
STANDS_OUT = 6.0  # sds from which it is named: a swinging scale throws a reading nearly as far, and nobody slipped
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
    blunt: frozenset[int] = frozenset()  # slips that are near the curve all the same, and say about where it is


@dataclass(frozen=True)
class _Fitted:
    """Curve and logarithms of the spreads, at their mode."""

    beta: Array
    log_spreads: Array


@dataclass(frozen=True)
class _Way:
    """How a hypothesis is judged."""

    rounds: int
    habit: Habit
    blunt: frozenset[int] = frozenset()


WELL = _Way(1, USUAL)  # from a hypothesis near it
AFRESH = _Way(3, USUAL)
HURRY = _Way(3, HASTY)


@dataclass(frozen=True)
class Verdict:
    """What is known after weighing: the model is left at the most credible hypothesis."""

    posterior: Posterior  # over all credible hypotheses
    slip: Array  # probability that each reading is one, shape (n,)
    believed: NDArray[np.bool_]  # which are not called slips, shape (n,)
    off: Array  # studentised deviation of each reading, shape (n,)
    log_spreads: Array  # at their mode, of the most credible hypothesis
    log_evidence: float  # of all readings, over all credible hypotheses


def weigh(model: MixedModel, start: Start, may_slip: NDArray[np.bool_]) -> Verdict:
    """Find the credible hypotheses and their mixture.

    Args:
        model: Of all readings.
        start: A robust one. Two slips at one place may be alike, so the search begins once as if they spoke for one
            another, and once as if they did not.
        may_slip: Which can be one, shape (n,): of a group the median counts, which no slip moves.
    """
    if are_few(model.seen):
        begun = _Fitted(start.beta, spreads.start_of(model.spreads))
        return _mixture(model, _every(model, begun, may_slip), HASTY)
    known: dict[frozenset[int], Hypothesis[_Fitted]] = {}
    for out in dict.fromkeys(frozenset(np.flatnonzero(~use & may_slip).tolist()) for use in (start.use, start.strict)):
        first = _begun(model, out, start.beta)
        found = search(first, lambda out, of: _judge(model, out, of), lambda here: _beside(model, here, may_slip))
        known |= {h.out: h for h in found}
    return _mixture(model, list(known.values()), USUAL)


def _begun(model: MixedModel, out: frozenset[int], beta: Array) -> Hypothesis[_Fitted]:
    """A hypothesis to begin with, judged from a rough curve."""
    start = spreads.start_of(model.spreads)
    _leave(model, out, frozenset())
    for _ in range(3):
        beta = model.step(beta, start)
    return _judge(model, out, _Fitted(beta, start), AFRESH)


def are_few(seen: Observations) -> bool:
    """Whether so few readings at so few places are there that nothing checks them: a first look."""
    return len(seen) <= FEW and len(np.unique(np.round(seen.length / SAME_PLACE))) <= FEW_PLACES


def _every(model: MixedModel, start: _Fitted, may_slip: NDArray[np.bool_]) -> list[Hypothesis[_Fitted]]:
    """None, any one, and of five or six any two: among so few no reading is far from a curve drawn through it.

    A slip among few is either far off and says nothing, or near and still says about how much the band pulls.
    """
    places, none = np.flatnonzero(may_slip).tolist(), frozenset[int]()
    far = [_judge(model, frozenset(out), start, HURRY) for k in (0, 1) for out in combinations(places, k)]
    most = 2 if len(model.use) >= PAIRS_FROM else 1
    near = [frozenset(blunt) for k in range(1, most + 1) for blunt in combinations(places, k)]
    return far + [_judge(model, none, start, replace(HURRY, blunt=blunt)) for blunt in near]


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
    """With one more of the farthest off out, or a slip taken back, alone or in exchange for the others of its place.

    Two readings that slipped alike outvote a good one beside them, and neither of them alone would lie far off then.
    """
    _set(model, here)
    off = np.where(model.use & may_slip, np.abs(studentised(model, here.state.log_spreads)), 0.0)
    able = frozenset(np.flatnonzero(may_slip).tolist())
    more = [here.out | {i} for i in doubted(off)]
    turned = [(here.out | _of_place(model.seen, i) & able) - {i} for i in here.out]
    most = max(1.0, MOST * len(off))
    return [*(out for out in (*more, *turned) if len(out) <= most), *(here.out - {i} for i in here.out)]


def _of_place(seen: Observations, i: int) -> frozenset[int]:
    """The readings at a length, on the same way."""
    near = np.abs(seen.length - seen.length[i]) < SAME_PLACE
    return frozenset(np.flatnonzero(near & (seen.unloading == seen.unloading[i])).tolist())


def doubted(off: Array) -> list[int]:
    """Readings worth taking for a slip next: the farthest off, and farther than chance takes one of so many.

    Args:
        off: Studentised deviation of each, zero where it must not be doubted.
    """
    by_chance = np.sqrt(2 * np.log(len(off)))  # about the largest of n that belong together
    return [int(i) for i in np.argsort(-off)[:AT_ONCE] if off[i] > by_chance]


def _set(model: MixedModel, hypothesis: Hypothesis[_Fitted]) -> None:
    _leave(model, hypothesis.out, hypothesis.blunt)
    model.linearise(hypothesis.state.beta)


def _leave(model: MixedModel, out: frozenset[int], blunt: frozenset[int]) -> None:
    """Leave out what is far off; let what is near count as much as a slip of that kind can."""
    model.use = np.ones(len(model.use), bool)
    model.use[list(out)] = False
    model.blunt = np.zeros(len(model.use))
    model.blunt[list(blunt)] = NEAR**2


def _judge(model: MixedModel, out: frozenset[int], of: _Fitted, way: _Way = WELL) -> Hypothesis[_Fitted]:
    """Curve and spreads without the slips, and the weight of having left them out."""
    _leave(model, out, way.blunt)
    beta, log_spreads = of.beta, of.log_spreads
    for _ in range(way.rounds):
        model.linearise(beta)
        log_spreads = spreads.mode(model, log_spreads)
        beta = model.step(beta, log_spreads)
    model.linearise(beta)
    nlp = spreads.minus_log_posterior(model, log_spreads, model.solve(log_spreads))
    log_weight = log_prior(model, beta, way.habit) + spreads.log_unit(model) - nlp
    return Hypothesis(out, _Fitted(beta, log_spreads), log_weight, way.blunt)


def log_prior(model: MixedModel, beta: Array, habit: Habit = USUAL) -> float:
    """Log probability of just these slips, with the values they have."""
    force = np.exp(np.clip(model.places.evaluate(beta)[0], -50, 50))
    out, blunt = ~model.use, int((model.blunt > 0).sum())
    values = _slip_density(model.seen.pull[out], force[out])
    return float(np.log(values).sum() + blunt * np.log(0.5)) + habit.log_probability(int(out.sum()) + blunt, len(out))


def _slip_density(pull: Array, force: Array) -> Array:
    """Probability density of a slip's value, given what the curve says there. [1/N]"""
    turned = 0.5 / TURNED / force
    ratio = np.log(np.maximum(pull / force, 1e-9))
    small = np.exp(-0.5 * (ratio / SMALL_SLIP) ** 2) / (SMALL_SLIP * np.sqrt(2 * np.pi))
    large = np.where(np.abs(ratio) < LARGEST_SLIP, 0.5 / LARGEST_SLIP, 1e-4)
    return np.asarray(np.where(pull > 0, 0.5 * (small + large) / np.maximum(pull, 1e-9), 0.1 * turned))


def _apart(known: Sequence[Hypothesis[_Fitted]], weight: Array) -> NDArray[np.int64]:
    """Number of each hypothesis that the limits hold under by itself; -1 where a reading is far off, or rarely so."""
    alone = [not h.out and share > APART for h, share in zip(known, weight, strict=True)]
    return np.where(alone, np.arange(len(known)), -1)


def _mixture(model: MixedModel, known: list[Hypothesis[_Fitted]], habit: Habit) -> Verdict:
    """Integrate the credible hypotheses over their spreads, and mix them by their weights."""
    credibles = credible(known)
    parts, weights = [], []
    for hypothesis in credibles:
        _set(model, hypothesis)
        part = spreads.integrate(model, hypothesis.state.log_spreads)
        parts.append(part)
        weights.append(log_prior(model, hypothesis.state.beta, habit) + part.log_evidence)
    weight = np.exp(np.array(weights) - max(weights))
    evidence = float(max(weights) + np.log(weight.sum()))
    weight /= weight.sum()
    slip = np.zeros(len(model.use))
    for hypothesis, share in zip(credibles, weight, strict=True):
        slip[list(hypothesis.out | hypothesis.blunt)] += share
    chosen = credibles[int(weight.argmax())]
    _set(model, chosen)
    log_spreads = chosen.state.log_spreads
    apart = _apart(credibles, weight) if habit is HASTY else None
    off = studentised(model, log_spreads)
    told = slip >= SURE if habit is HASTY else (slip >= TOLD) & (np.abs(off) > STANDS_OUT)
    return Verdict(spreads.mix(parts, weight, apart), slip, ~told, off, log_spreads, evidence)
