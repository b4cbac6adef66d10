"""A batch of bands taken together: the order of the steps from readings to what the batch teaches.

Bands measured in full start it; all bands together settle shape and spreads; a band that does not go with the others is
set apart; the spreads are integrated over. The joint model is in batch_model.py, what a band borrows in borrowing.py.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import fmin_l_bfgs_b

from calib.acquire.run_checks import check_pulls
from calib.errors import DataError
from calib.fit import batch_model, outliers
from calib.fit.batch_model import Joint, Layout, Member, Rows
from calib.fit.elastic import StretchRange
from calib.fit.estimate import CLOSE, SLACK
from calib.fit.grouping import shorten
from calib.fit.mixed import LARGEST_MOVE, Basis, MixedModel
from calib.fit.observations import Observations, observe, without_readings
from calib.fit.spreads import WeightedNodes, root_of_inverse_hessian, weighted_nodes
from calib.records import Array, Run

FULL_LENGTHS = 5  # lengths on the way out; a band measured at fewer borrows the shape
FALSE_ALARM = 0.05  # of batches without an odd band in which one is named, at most
FEWEST_TO_JUDGE = 3  # bands; of two that differ nobody knows which is odd
MOST_LEFT_OUT = 0.34  # share of a band's readings: one of three; beyond it they are the data
DOUBTED, FAR = 3.0, 5.0  # in its own sd: a reading is left out on trial; and stays out
ROUNDS = 3
GROSS_ROUNDS = 6
FEW_READINGS = 8  # so few may as well be odd together as hold a slip
SLIP_LOG_DENSITY = float(np.log(np.sqrt(2 * np.pi) / (2 * np.log(10))))  # of a factor of 0.1 to 10, in ln(reading)
LEARN_FROM = 48  # bands; more would sharpen the shape no further, and the work grows with their number
OFFER = 1.5  # times the prior median of every spread, to start from


@dataclass(frozen=True)
class BandReadings:
    """One band's runs as the model sees them."""

    runs: tuple[Run, ...]
    seen: Observations  # slack readings set aside, long recordings shortened; may be empty
    aside: int  # readings set aside

    @property
    def id(self) -> str:
        """The band."""
        return self.runs[0].head.band.id

    @property
    def lengths_out(self) -> int:
        """How many different lengths were read on the way out."""
        return len(np.unique(np.round(self.seen.length[~self.seen.unloading], 3)))

    @property
    def full(self) -> bool:
        """Whether it was measured in full, and teaches the shape."""
        return self.lengths_out >= FULL_LENGTHS

    @property
    def stretch(self) -> Array:
        """Stretch ratio of each reading on the way out."""
        return self.seen.length[~self.seen.unloading] / self.seen.rest


def band_readings(runs: Sequence[Run]) -> BandReadings:
    """A band's runs, joined; a run without readings tells of flat length and mass."""
    with_some = [run for run in runs if run.readings]
    for run in with_some:
        check_pulls(run)
    seen = observe(with_some) if with_some else without_readings(runs[0])
    stretched = seen.length >= SLACK * seen.rest
    seen = seen if stretched.all() else seen.where(stretched)
    return BandReadings(tuple(with_some or runs), shorten(seen), int((~stretched).sum()))


@dataclass(frozen=True)
class Settled:
    """Some bands at the mode of the spreads."""

    layout: Layout
    members: tuple[Member, ...]
    rows: tuple[Rows, ...]
    joint: Joint


@dataclass(frozen=True)
class Taught:
    """What a batch has taught: every member, and the mixture over the spreads."""

    bands: tuple[BandReadings, ...]
    range: StretchRange  # of the shared columns
    tested: tuple[float, float]  # stretch that every band measured in full covers
    loop: tuple[float, float] | None  # the same of the way back, up to the turning point
    by_mass: float | None  # mean ln(mass / flat length), where every band was weighed
    settled: Settled
    nodes: WeightedNodes[Joint]
    doubt: float  # logarithm of the odds beyond which a band is odd
    teachers: tuple[str, ...]  # bands the shape comes from

    def for_others(self) -> "Taught":
        """Without the bands learnt from: all that further ones need, and little enough to hand to other processes."""

        def bare(joint: Joint) -> Joint:
            return replace(joint, bands=())

        settled = replace(self.settled, members=(), rows=(), joint=bare(self.settled.joint))
        nodes = replace(self.nodes, solved=tuple(bare(joint) for joint in self.nodes.solved))
        return replace(self, bands=(), settled=settled, nodes=nodes)


def teach(bands: Sequence[BandReadings], of: int | None = None) -> Taught:
    """Learn the shared shape and how much bands differ.

    Args:
        bands: Those to learn from, at most `LEARN_FROM`.
        of: How many bands the batch has, where that is more.

    Raises:
        DataError: No band was measured in full.
    """
    full = [band for band in bands if band.full]
    if not full:
        raise DataError(
            f"no band of the batch was measured in full, at {FULL_LENGTHS} lengths on the way out or more",
            remedy="measure two or three of them at eight lengths; the others then need about three readings",
        )
    covered = _range(bands)
    tested = max(float(b.stretch.min()) for b in full), min(float(b.stretch.max()) for b in full)
    by_mass = _by_mass(bands)
    loop = _loop_range(full, tested)
    members = _members(bands, covered, tested[1], loop is not None, by_mass)
    layout = batch_model.layout_of([m.model for m in members])
    theta = layout.middle()[0] + np.log(OFFER)
    settled = _settle(layout, members, theta)
    doubt = doubt_of(of or len(bands))
    settled = _set_odd_apart(settled, doubt)
    teachers = tuple(b.id for b, member in zip(bands, settled.members, strict=True) if b.full and not member.odd)
    return Taught(tuple(bands), covered, tested, loop, by_mass, settled, _integrate(settled), doubt, teachers)


def _range(bands: Sequence[BandReadings]) -> StretchRange:
    """Stretch from the lowest to the largest reading of any band."""
    every = [b.seen.length / b.seen.rest for b in bands if len(b.seen)]
    top = max(float(b.stretch.max()) for b in bands if len(b.stretch))
    return StretchRange(min(float(s.min()) for s in every), top)


def _loop_range(full: Sequence[BandReadings], tested: tuple[float, float]) -> tuple[float, float] | None:
    """Where the way back was measured on every full band that has one; None where none has."""
    lows = [float((b.seen.length[b.seen.unloading] / b.seen.rest).min()) for b in full if b.seen.unloading.any()]
    low = max([*lows, tested[0]])
    return (low, tested[1]) if lows and low < tested[1] - CLOSE else None


def _by_mass(bands: Sequence[BandReadings]) -> float | None:
    values = [mass_per_length(b.runs[0]) for b in bands]
    known = [v for v in values if v is not None]
    return float(np.mean(known)) if len(known) == len(values) else None


def mass_per_length(run: Run) -> float | None:
    """ln(mass / flat length), which goes as the section of the band; None where it was not weighed."""
    band = run.head.band
    return float(np.log(band.mass / band.flat_length)) if band.mass else None


def _members(
    bands: Sequence[BandReadings], covered: StretchRange, top: float, has_loop: bool, by_mass: float | None
) -> list[Member]:
    """Every band with a first curve: full ones from their readings, the others from those at their own level."""
    models = [MixedModel(basis_of(b.seen, covered, top, has_loop), b.seen) for b in bands]
    first: dict[int, Array] = {}
    for i, (band, model) in enumerate(zip(bands, models, strict=True)):
        if band.full:
            first[i], model.use = outliers.robust_start(model)
    mean = np.median(list(first.values()), axis=0)
    return [
        Member(model, first[i] if i in first else at_own_level(model, mean), offset_of(band, by_mass))
        for i, (band, model) in enumerate(zip(bands, models, strict=True))
    ]


def basis_of(seen: Observations, covered: StretchRange, top: float, has_loop: bool) -> Basis:
    """A band's columns over the batch's range of stretch; its loop turns at its own largest length."""
    out, back = seen.length[~seen.unloading], seen.length[seen.unloading]
    turned = max(float(out.max(initial=0.0)), top * seen.rest)
    creep = max(1.0, (float(back.max(initial=0.0)) - seen.rest) / (turned - seen.rest))
    return Basis(seen.rest, covered, has_loop, creep, turned, shared=True)


def offset_of(band: BandReadings, by_mass: float | None) -> float:
    """What mass and flat length say of the level against the batch's mean."""
    value = mass_per_length(band.runs[0])
    return 0.0 if by_mass is None or value is None else value - by_mass


def at_own_level(model: MixedModel, mean: Array) -> Array:
    """The mean curve moved to the middle of a band's readings."""
    beta = mean.copy()
    beta[-1] = 0.0
    good = model.seen.pull > 0
    if good.any():
        beta[0] += float(np.median(np.log(model.seen.pull[good]) - model.places.evaluate(beta)[0][good]))
    return beta


def _settle(layout: Layout, members: Sequence[Member], theta: Array) -> Settled:
    """Iterate curves, spreads and readings in use until nothing changes."""
    settled = _round(layout, members, theta)
    for _ in range(ROUNDS - 1):
        settled = _round(layout, members, settled.joint.theta)
    for _ in range(GROSS_ROUNDS):
        if not judge_readings(settled):
            break
        settled = _round(layout, members, settled.joint.theta)
    return settled


def _round(layout: Layout, members: Sequence[Member], theta: Array) -> Settled:
    rows = [batch_model.rows_of(m, layout) for m in members]
    theta = _mode(layout, rows, theta)
    move(Settled(layout, tuple(members), tuple(rows), batch_model.solve(layout, rows, theta)))
    rows = [batch_model.rows_of(m, layout) for m in members]
    return Settled(layout, tuple(members), tuple(rows), batch_model.solve(layout, rows, theta))


def move(settled: Settled) -> None:
    """Take every band's curve to its estimate; no reading's ln F moves by more than `LARGEST_MOVE`."""
    for i, member in enumerate(settled.members):
        step = batch_model.band_mean(settled.layout, settled.rows[i], settled.joint, i) + member.prior_mean
        step -= member.beta
        largest = np.abs(member.model.places.columns @ step).max(initial=0.0)
        member.beta = member.beta + step * min(1.0, LARGEST_MOVE / max(largest, 1e-12))


def _mode(layout: Layout, rows: Sequence[Rows], start: Array) -> Array:
    """Most probable logarithms of the spreads."""
    middle, sd = layout.middle()
    found, _, _ = fmin_l_bfgs_b(
        lambda t: batch_model.value_and_gradient(layout, rows, t),
        start,
        bounds=list(zip(middle - 3 * sd, middle + 3.5 * sd, strict=True)),
        factr=1e-7 / np.finfo(float).eps,
        pgtol=2e-3,
        maxiter=40,
    )
    return np.asarray(found)


def judge_readings(settled: Settled) -> bool:
    """Leave out or take back readings of every band; whether anything changed.

    Where more than a third of a band's readings is doubted they are all believed: then the band itself is odd.
    """
    changed = False
    for member, row, band in zip(settled.members, settled.rows, settled.joint.bands, strict=True):
        if not len(row.target):
            continue
        off = np.abs(batch_model.studentised(row, band, settled.joint))
        use = _next_use(member.model.use, off, member.cleared)
        if (~use).mean() > MOST_LEFT_OUT:
            use, member.cleared = np.ones(len(use), bool), np.ones(len(use), bool)
        changed |= bool((use != member.model.use).any())
        member.cleared |= use & ~member.model.use
        member.model.use = use
    return changed


def _next_use(use: NDArray[np.bool_], off: Array, cleared: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Take back what does not lie far off; leave out the worst that is doubted and was never cleared.

    A slip widens the very spreads it is judged by, so it is left out on trial first.
    """
    after = use | (off < FAR)
    doubt = np.where(use & ~cleared, off, 0.0)
    if doubt.max() > DOUBTED:
        after[doubt.argmax()] = False
    return after


def _set_odd_apart(settled: Settled, doubt: float) -> Settled:
    """Find bands whose shape is not the others': the least likely to belong is tried first.

    A band is odd where its readings are K times as likely with a shape of its own. Where it does belong, a ratio above
    K has a probability below 1 / K (Markov), so K = bands / 0.05 keeps false alarms to 5 % of batches.
    """
    layout, members = settled.layout, settled.members
    while sum(not m.odd for m in members) >= FEWEST_TO_JUDGE:
        usual = settled.joint.theta.copy()
        usual[layout.level + 1 :] = np.minimum(usual[layout.level + 1 :], layout.middle()[0][layout.level + 1 :])
        odds = [-np.inf if m.odd else odds_of(settled, i, usual, doubt) for i, m in enumerate(members)]
        suspect = int(np.argmax(odds))
        if odds[suspect] <= doubt:
            break
        before = members[suspect].model.use
        members[suspect].set_apart()
        trial = _round(layout, members, settled.joint.theta)
        if odds_of(trial, suspect, trial.joint.theta, doubt, before) <= doubt:
            members[suspect].odd, members[suspect].model.use = False, before
            return _settle(layout, members, settled.joint.theta)
        settled = _settle(layout, members, trial.joint.theta)
    return settled


def doubt_of(bands: int) -> float:
    """Logarithm of the odds beyond which one of so many bands is odd."""
    return float(np.log(bands / FALSE_ALARM))


def odds_of(settled: Settled, i: int, theta: Array, doubt: float, use: NDArray[np.bool_] | None = None) -> float:
    """How much likelier a band's readings are with a shape of its own than with the batch's; a logarithm.

    Args:
        settled: The bands.
        i: Which one is judged.
        theta: Spreads to judge by.
        doubt: How much likelier it must be, for a slip must be as unlikely.
        use: Readings that are no slips if the band belongs; None = those in use.
    """
    layout, rows = settled.layout, settled.rows
    others = [batch_model.solve_band(r, theta) for j, r in enumerate(rows) if j != i]
    row = rows[i] if use is None else replace(rows[i], use=use)
    return odds_against(layout, row, batch_model.gather(layout, others, theta), doubt)


def odds_against(layout: Layout, row: Rows, others: Joint, doubt: float) -> float:
    """The same against what the others taught.

    Few readings can be odd together or hold a slip: where one was left out, the band is odd only if that is likelier
    than the slip, which may be any factor up to ten.
    """
    whole = replace(row, use=np.ones(len(row.use), bool))

    def evidence(readings: Rows, *, odd: bool) -> float:
        band = batch_model.solve_band(batch_model.as_odd(readings, layout, odd=odd), others.theta)
        return -batch_model.add(others, [band]).minus_log

    out = int((~row.use).sum())
    if not out or len(row.use) > FEW_READINGS:
        return evidence(row, odd=True) - evidence(row, odd=False)
    own = evidence(whole, odd=True)
    slip = evidence(row, odd=False) + out * SLIP_LOG_DENSITY
    return min(own - evidence(whole, odd=False), own - slip + doubt)


def _integrate(settled: Settled) -> WeightedNodes[Joint]:
    """The mixture over the spreads: all bands solved at each node."""
    layout, rows, centre = settled.layout, settled.rows, settled.joint.theta

    def at(theta: Array) -> tuple[float, Joint]:
        joint = batch_model.solve(layout, rows, theta)
        return joint.minus_log, joint

    def gradient(theta: Array) -> Array:
        return batch_model.value_and_gradient(layout, rows, theta)[1]

    return weighted_nodes(at, centre, root_of_inverse_hessian(gradient, centre))
