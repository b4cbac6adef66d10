"""A batch of bands taken together: the order of the steps from readings to what the batch teaches.

Bands measured in full start it; all bands together settle shape and spreads; a band that does not go with the others is
set apart; the spreads are integrated over. The joint model is in pooled_model.py, how bands are settled together in
pooled_estimate.py, what a band borrows in partial_pooling.py.
"""

from collections.abc import Sequence
from dataclasses import replace
from hashlib import sha256

import numpy as np
from numpy.typing import NDArray

from calib.acquire.files.run_checks import check_pulls
from calib.errors import DataError
from calib.fit.batch import pooled_model as batch_model
from calib.fit.batch.pooled_estimate import Settled, doubt_far, integrate, one_round, settle
from calib.fit.batch.pooled_model import Joint, Member, PooledLayout, Rows
from calib.fit.curve import outliers
from calib.fit.curve.elastic import StretchRange
from calib.fit.curve.estimate import CLOSE, SLACK
from calib.fit.curve.grouping import shorten
from calib.fit.curve.mixed import Basis, MixedModel
from calib.fit.curve.observations import Observations, observe, with_rounding, without_readings
from calib.fit.curve.variance_components import WeightedNodes
from calib.frozen import dataclass
from calib.records import Array, Run

FULL_LENGTHS = 5  # loading lengths; a band measured at fewer borrows the shape
FALSE_ALARM = 0.05  # of batches without an odd band in which one is named, at most
FEWEST_TO_JUDGE = 3  # bands; of two that differ nobody knows which is odd
FEW_READINGS = 8  # so few may as well be odd together as hold a slip
SLIP_LOG_DENSITY = float(np.log(np.sqrt(2 * np.pi) / (2 * np.log(10))))  # of a factor of 0.1 to 10, in ln(reading)
LEARN_FROM = 48  # bands; more would sharpen the shape no further, and the work grows with their number
SHARED_ERRORS = 5  # of the shape, told apart in every borrowed curve; a profile has sixteen factors in all
PLACES = 21  # along each branch
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
        """How many different lengths were read while loading."""
        return len(np.unique(np.round(self.seen.length[~self.seen.unloading], 3)))

    @property
    def full(self) -> bool:
        """Whether it was measured in full, and teaches the shape."""
        return self.lengths_out >= FULL_LENGTHS

    @property
    def stretch(self) -> Array:
        """Stretch ratio of each loading reading."""
        return self.seen.length[~self.seen.unloading] / self.seen.rest


def band_readings(runs: Sequence[Run]) -> BandReadings:
    """A band's runs, joined; a run without readings tells of flat length and mass."""
    with_some = [run for run in runs if run.readings]
    for run in with_some:
        check_pulls(run)
    seen = observe(with_some) if with_some else without_readings(runs[0])
    stretched = seen.length >= SLACK * seen.rest
    seen = seen if stretched.all() else seen.where(stretched)
    short = shorten(seen)
    if short is seen and with_some:  # in a group it is the scatter that spreads the rounding
        short = with_rounding(seen)
    return BandReadings(tuple(with_some or runs), short, int((~stretched).sum()))


@dataclass(frozen=True)
class Taught:
    """What a batch has taught: every member, and the mixture over the spreads."""

    bands: tuple[BandReadings, ...]
    range: StretchRange  # of the shared columns
    tested: tuple[float, float]  # stretch that every band measured in full covers
    loop: tuple[float, float] | None  # the same of the unloading branch, up to the turning point
    by_mass: float | None  # mean ln(mass / flat length), where every band was weighed
    settled: Settled
    nodes: WeightedNodes[Joint]
    slip: tuple[Array, ...]  # of each band, the probability that each reading is a slip
    doubt: float  # logarithm of the odds beyond which a band is odd
    teachers: tuple[str, ...]  # bands the shape comes from
    key: str  # identity of what was learnt, from just these readings
    directions: tuple[
        Array, ...
    ]  # at each node, (g, SHARED_ERRORS) independent errors of what is shared, sources apart

    def for_others(self) -> "Taught":
        """Without the bands learnt from: all that further ones need, and little enough to hand to other processes."""

        def bare(joint: Joint) -> Joint:
            return replace(joint, bands=())

        settled = replace(self.settled, members=(), rows=(), joint=bare(self.settled.joint), alternatives=())
        nodes = replace(self.nodes, solved=tuple(bare(joint) for joint in self.nodes.solved))
        return replace(self, bands=(), settled=settled, nodes=nodes, slip=())


def teach(bands: Sequence[BandReadings], of: int | None = None) -> Taught:
    """Learn the shared shape and how much bands differ.

    Args:
        bands: Those to learn from, at most `LEARN_FROM`.
        of: How many bands the batch has, where that is more.

    Raises:
        DataError: No band was measured in full, or none of those goes with the others.
    """
    full = [band for band in bands if band.full]
    if not full:
        raise DataError(
            f"no band of the batch was measured in full, at {FULL_LENGTHS} loading lengths or more",
            remedy="measure two or three of them at eight lengths; the others then need about three readings",
        )
    covered = _range(bands)
    tested = max(float(b.stretch.min()) for b in full), min(float(b.stretch.max()) for b in full)
    by_mass = _by_mass(bands)
    loop = _loop_range(full, tested)
    members = _members(bands, covered, tested[1], loop is not None, by_mass)
    layout = batch_model.layout_of([m.model for m in members])
    theta = layout.middle()[0] + np.log(OFFER)
    settled = settle(layout, members, theta)
    doubt = doubt_of(of or len(bands))
    settled = _set_odd_apart(settled, doubt)
    teachers = tuple(b.id for b, member in zip(bands, settled.members, strict=True) if b.full and not member.odd)
    if not teachers:
        raise DataError(
            "the shape of no band measured in full is that of the others",
            remedy="measure one or two of the others in full",
        )
    nodes, slip = integrate(settled)
    return Taught(
        bands=tuple(bands),
        range=covered,
        tested=tested,
        loop=loop,
        by_mass=by_mass,
        settled=settled,
        nodes=nodes,
        slip=slip,
        doubt=doubt,
        teachers=teachers,
        key=_identity(bands),
        directions=_directions(settled, nodes.solved, tested),
    )


def _identity(bands: Sequence[BandReadings]) -> str:
    """The same for the same readings of the same bands, another for any others."""
    told = sha256()
    for band in bands:
        told.update(band.id.encode() + band.seen.length.tobytes() + band.seen.pull.tobytes())
    return f"batch:{told.hexdigest()[:12]}"


def _directions(settled: Settled, joints: Sequence[Joint], tested: tuple[float, float]) -> tuple[Array, ...]:
    """The largest independent errors of what is shared, those of the sources taken off: the same ones at every node.

    They are the few numbers that tell most of what is left of the error of ln F, along both branches, in the bands with
    few readings; of what is shared, the part that goes with them.
    """
    layout, joint, basis = settled.layout, settled.joint, settled.members[0].model.basis
    stretch = np.tile(np.linspace(*tested, PLACES), 2 if basis.has_loop else 1)
    back = np.arange(len(stretch)) >= PLACES
    columns = basis.columns(stretch * basis.rest, back, np.full(len(stretch), tested[1] * basis.rest))
    fewest = min(len(row.target) for row in settled.rows)
    small = [i for i, row in enumerate(settled.rows) if len(row.target) <= max(FEW_READINGS, fewest)]
    reach = [batch_model.reach_of_shared(layout, settled.rows[i], joint.bands[i])[1] for i in small[:FEWEST_TO_JUDGE]]
    errors = np.vstack([columns @ r for r in reach])
    values, vectors = np.linalg.eigh(errors @ _without_sources(joint, layout.shape) @ errors.T)
    telling = vectors[:, values.argsort()[: -SHARED_ERRORS - 1 : -1]].T @ errors
    out = []
    for each in joints:
        crossed = _without_sources(each, layout.shape) @ telling.T
        root = np.linalg.cholesky(telling @ crossed)
        out.append(np.linalg.solve(root, crossed.T).T)
    return tuple(out)


def _without_sources(joint: Joint, n: int) -> Array:
    """Covariance of what is shared, less what the shared sources explain of it."""
    return np.asarray(joint.covariance - joint.covariance[:, n:] @ joint.covariance[n:])


def _range(bands: Sequence[BandReadings]) -> StretchRange:
    """Stretch from the lowest to the largest reading of any band."""
    every = [b.seen.length / b.seen.rest for b in bands if len(b.seen)]
    top = max(float(b.stretch.max()) for b in bands if len(b.stretch))
    return StretchRange(min(float(s.min()) for s in every), top)


def _loop_range(full: Sequence[BandReadings], tested: tuple[float, float]) -> tuple[float, float] | None:
    """Where the unloading branch was measured on every full band that has one; None where none has."""
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
            start = outliers.robust_start(model)
            first[i], model.use = start.beta, start.strict  # two slips alike at a place: a good one is taken back
    mean = np.median(list(first.values()), axis=0)
    return [
        Member(model, first[i], offset_of(band, by_mass))
        if i in first
        else borrower(model, mean, offset_of(band, by_mass))
        for i, (band, model) in enumerate(zip(bands, models, strict=True))
    ]


def borrower(model: MixedModel, mean: Array, offset: float) -> Member:
    """A band with few readings to begin with: at its own level, without what lies nowhere near the mean curve there."""
    member = Member(model, at_own_level(model, mean), offset)
    doubt_far(member)
    return member


def basis_of(seen: Observations, covered: StretchRange, top: float, has_loop: bool) -> Basis:
    """A band's columns over the batch's range of stretch; its loop turns at its own largest length.

    Args:
        seen: The band's readings.
        covered: Stretch that the shared columns are made over.
        top: Least stretch at which the loop turns.
        has_loop: Whether the batch has an unloading branch.
    """
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
        trial = one_round(layout, members, settled.joint.theta)
        if odds_of(trial, suspect, trial.joint.theta, doubt, before) <= doubt:
            members[suspect].odd, members[suspect].model.use = False, before
            return settle(layout, members, settled.joint.theta)
        settled = settle(layout, members, trial.joint.theta)
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


def odds_against(layout: PooledLayout, row: Rows, others: Joint, doubt: float) -> float:
    """How much likelier a band's readings are with a shape of its own than with what the others taught; a logarithm.

    Few readings can be odd together or hold a slip: where one was left out, the band is odd only if that is likelier
    than the slip, which may be any factor up to ten.

    Args:
        layout: Which effects there are.
        row: The band's scaled readings, slips not in use.
        others: All the other bands, solved.
        doubt: Odds beyond which a band is odd; a logarithm.
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
