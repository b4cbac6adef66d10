"""Some bands of a batch settled: their curves, the spreads between and within them, and which readings are slips.

What slips.py does for one band is done here for many at once, whose readings judge one another, and for one band beside
those the batch was learnt from, whose spreads are then known. The joint model is in pooled_model.py.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calib.fit.batch import pooled_model as batch_model
from calib.fit.batch.pooled_model import Joint, Member, PooledLayout, Rows
from calib.fit.curve import slips
from calib.fit.curve import variance_components as spreads
from calib.fit.curve.mixed import LARGEST_MOVE
from calib.fit.curve.outliers import MOST
from calib.fit.curve.slips import Hypothesis
from calib.fit.curve.variance_components import (
    NOTHING,
    WeightedNodes,
    most_probable,
    root_of_inverse_hessian,
    weighted_nodes,
)
from calib.frozen import dataclass
from calib.records import Array

ROUNDS = 3
SURELY = 8.0  # sd: a slip so far off is not tried as a good reading again
APART = float(np.log(1.4))  # of ln(reading), from the batch's curve at the band's own level: out, to begin with
FEWEST_TO_DOUBT = 3  # readings; of two that differ nobody knows which is wrong


@dataclass(frozen=True)
class Alternative:
    """One credible answer to which readings are slips."""

    use: tuple[NDArray[np.bool_], ...]  # of each band
    theta: Array  # logarithms of the spreads at their mode
    log_prior: float  # of just these slips, in the unit of the readings


@dataclass(frozen=True)
class Settled:
    """Some bands at the mode of the spreads, and without the likeliest slips."""

    layout: PooledLayout
    members: tuple[Member, ...]
    rows: tuple[Rows, ...]
    joint: Joint
    alternatives: tuple[Alternative, ...] = ()  # the one taken first


@dataclass(frozen=True)
class _State:
    betas: tuple[Array, ...]
    theta: Array


def doubt_far(member: Member) -> None:
    """Of a band with few readings, leave out to begin with what lies nowhere near the curve at its own level."""
    model = member.model
    if len(model.seen) < FEWEST_TO_DOUBT:
        return
    with np.errstate(invalid="ignore", divide="ignore"):
        off = np.log(model.seen.pull) - model.places.evaluate(member.beta)[0]
    use = np.abs(np.nan_to_num(off, nan=np.inf)) < APART
    if (~use).sum() <= _room(model.use):
        model.use = use


def settle(layout: PooledLayout, members: Sequence[Member], theta: Array, base: Joint | None = None) -> Settled:
    """Find curves, spreads and slips that go together best, beginning with the members as they are.

    Args:
        layout: What the bands share.
        members: The bands; their curves and readings in use are changed.
        theta: Logarithms of the spreads, to start from.
        base: What other bands taught; the spreads are then as they were there.
    """
    among = _Among(layout, tuple(members), base)
    known = slips.search(among.first_hypotheses(theta), among.judge, among.beside)
    believed = slips.credible(known)
    settled = among.state_at(believed[0])
    alternatives = tuple(among.alternative(h) for h in believed)
    among.take(believed[0])
    return replace(settled, alternatives=alternatives)


def one_round(layout: PooledLayout, members: Sequence[Member], theta: Array) -> Settled:
    """The spreads at their mode and every curve at its estimate, once, the readings in use as they are."""
    return _Among(layout, tuple(members), None).round(theta)


@dataclass(frozen=True)
class _Among:
    """Bands that judge one another's readings, or one band beside those already learnt from."""

    layout: PooledLayout
    members: tuple[Member, ...]
    base: Joint | None

    def solved(self, theta: Array) -> Settled:
        rows = tuple(batch_model.rows_of(m, self.layout) for m in self.members)
        if self.base is None:
            return Settled(self.layout, self.members, rows, batch_model.solve(self.layout, rows, theta))
        bands = [batch_model.solve_band(r, theta) for r in rows]
        return Settled(self.layout, self.members, rows, batch_model.add(self.base, bands))

    def round(self, theta: Array) -> Settled:
        if self.base is None:
            theta = _mode(self.layout, [batch_model.rows_of(m, self.layout) for m in self.members], theta)
        _move(self.solved(theta))
        return self.solved(theta)

    def first_hypotheses(self, theta: Array) -> Hypothesis[_State]:
        out = np.flatnonzero(np.concatenate([~m.model.use for m in self.members]))
        return self._weighed(frozenset(out.tolist()), theta, ROUNDS)

    def judge(self, out: frozenset[int], of: _State) -> Hypothesis[_State]:
        self.take(Hypothesis(out, of, 0.0))
        return self._weighed(out, of.theta, 1)

    def _weighed(self, out: frozenset[int], theta: Array, rounds: int) -> Hypothesis[_State]:
        for _ in range(rounds):
            settled = self.round(theta)
            theta = settled.joint.theta
        state = _State(tuple(m.beta for m in self.members), theta)
        return Hypothesis(out, state, self._log_prior() - settled.joint.minus_log)

    def state_at(self, hypothesis: Hypothesis[_State]) -> Settled:
        self.take(hypothesis)
        return self.solved(hypothesis.state.theta)

    def beside(self, here: Hypothesis[_State]) -> list[frozenset[int]]:
        """With one more reading out, where its band has room; or one slip taken back, unless it surely is one."""
        settled = self.state_at(here)
        bands = zip(self.members, settled.rows, settled.joint.bands, strict=True)
        off = np.concatenate([_off(member, row, band, settled.joint) for member, row, band in bands])
        may = np.concatenate(
            [_may_slip(m) & m.model.use & ((~m.model.use).sum() < _room(m.model.use)) for m in self.members]
        )
        more = [here.out | {i} for i in slips.doubted(np.where(may, off, 0.0))] if len(off) else []
        return [*more, *(here.out - {i} for i in here.out if off[i] < SURELY)]

    def alternative(self, hypothesis: Hypothesis[_State]) -> Alternative:
        """As linearised at present: all alternatives are mixed about one set of curves."""
        self.take(hypothesis)
        return Alternative(self._uses(hypothesis.out), hypothesis.state.theta, self._log_prior())

    def _uses(self, out: frozenset[int]) -> tuple[NDArray[np.bool_], ...]:
        use = np.ones(sum(len(m.model.use) for m in self.members), bool)
        use[list(out)] = False
        return tuple(np.split(use, np.cumsum([len(m.model.use) for m in self.members])[:-1]))

    def take(self, hypothesis: Hypothesis[_State]) -> None:
        """Curves and readings in use as a hypothesis has them."""
        uses = self._uses(hypothesis.out)
        for member, use, beta in zip(self.members, uses, hypothesis.state.betas, strict=True):
            member.model.use, member.beta = use, beta

    def _log_prior(self) -> float:
        """Of the slips of all bands; and what makes a density of scaled rows one of readings."""
        models = [(m.model, m.beta) for m in self.members if len(m.model.seen)]
        return sum(slips.log_prior(model, beta) + spreads.log_unit(model) for model, beta in models)


def _off(member: Member, row: Rows, band: batch_model.BandSolution, joint: Joint) -> Array:
    return np.abs(batch_model.studentised(row, band, joint)) if len(member.model.seen) else np.zeros(0)


def _may_slip(member: Member) -> NDArray[np.bool_]:
    """Of a group the median counts, which no slip moves."""
    return np.array([len(rows) < slips.MEDIAN_OF for rows in member.model.seen.rows], bool)


def _room(use: NDArray[np.bool_]) -> float:
    """How many readings of one band may be slips; where more are off they are the data, and the band is odd."""
    return max(1.0, MOST * len(use))


def _move(settled: Settled) -> None:
    """Take every band's curve to its estimate; no reading's ln F moves by more than `LARGEST_MOVE`."""
    for i, member in enumerate(settled.members):
        step = batch_model.band_mean(settled.layout, settled.rows[i], settled.joint, i) + member.prior_mean
        step -= member.beta
        largest = np.abs(member.model.places.columns @ step).max(initial=0.0)
        member.beta = member.beta + step * min(1.0, LARGEST_MOVE / max(largest, 1e-12))


def _mode(layout: PooledLayout, rows: Sequence[Rows], start: Array) -> Array:
    """Most probable logarithms of the spreads."""
    middle, sd = layout.middle()
    return most_probable(lambda t: batch_model.value_and_gradient(layout, rows, t), start, middle, sd)


def integrate(settled: Settled) -> tuple[WeightedNodes[Joint], tuple[Array, ...]]:
    """The mixture over the spreads and over the credible slips: all bands solved at each node.

    Returns:
        The nodes, and for each band the probability that each of its readings is a slip.
    """
    parts = [_integrated(settled, one) for one in settled.alternatives]
    logs = np.array([one.log_prior + part.log_integral for one, part in zip(settled.alternatives, parts, strict=True)])
    shares = np.exp(logs - logs.max())
    shares /= shares.sum()
    weights = np.concatenate([share * part.weights for share, part in zip(shares, parts, strict=True)])
    kept = np.flatnonzero(weights > NOTHING)
    solved = [joint for part in parts for joint in part.solved]
    nodes = np.vstack([part.nodes for part in parts])[kept]
    mixed = WeightedNodes(weights[kept] / weights[kept].sum(), nodes, tuple(solved[i] for i in kept), float(logs.max()))
    return mixed, slip_probability(settled.alternatives, shares)


def slip_probability(alternatives: Sequence[Alternative], shares: Array) -> tuple[Array, ...]:
    """Of each band, the probability that each reading is a slip."""
    by_band = zip(*(one.use for one in alternatives), strict=True)
    return tuple(np.asarray(shares @ ~np.array(uses)) for uses in by_band)


def _integrated(settled: Settled, one: Alternative) -> WeightedNodes[Joint]:
    layout = settled.layout
    rows = [replace(row, use=use) for row, use in zip(settled.rows, one.use, strict=True)]

    def among_at(theta: Array) -> tuple[float, Joint]:
        joint = batch_model.solve(layout, rows, theta)
        return joint.minus_log, joint

    def gradient(theta: Array) -> Array:
        return batch_model.value_and_gradient(layout, rows, theta)[1]

    return weighted_nodes(among_at, one.theta, root_of_inverse_hessian(gradient, one.theta))
