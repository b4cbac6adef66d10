"""What one band of a batch gets: its own level and departure from its readings, the shape from the others.

The batch was taught in pooled_fit.py; here is the curve of one band, its sources told apart, as in any other fit.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from calib.finding import Finding
from calib.fit.batch import pooled_model as batch_model
from calib.fit.batch.pooled_estimate import Settled, settle, slip_probability
from calib.fit.batch.pooled_fit import (
    BandReadings,
    Taught,
    basis_of,
    borrower,
    mass_per_length,
    odds_against,
    offset_of,
)
from calib.fit.batch.pooled_model import Joint, Member, Rows
from calib.fit.curve import budget, slips
from calib.fit.curve import calibration_findings as checks
from calib.fit.curve.days import assumed
from calib.fit.curve.estimate import SLACK, check_load_of, points_of, relaxation_of
from calib.fit.curve.mixed import MixedModel
from calib.fit.curve.sources import Source
from calib.fit.curve.tables import tabulate
from calib.fit.curve.tension_curve import FittedCurve, hold_shape
from calib.frozen import dataclass
from calib.records import Array, BudgetLine, Fit, Repeatability

ODD_LINES = 41  # places at which a departure is looked for
NAMED = 4  # bands named in a sentence before the rest are counted


@dataclass(frozen=True)
class _Place:
    """One band among those it was settled with, and the mixture over the spreads."""

    settled: Settled
    index: int
    weights: Array
    joints: tuple[Joint, ...]
    slip: Array  # probability that each of its readings is one
    taught: tuple[Joint, ...]  # at each node, what the batch knew: the same joints where the band was learnt from
    directions: tuple[Array, ...]  # at each node, independent errors of that

    @property
    def member(self) -> Member:
        return self.settled.members[self.index]

    @property
    def rows(self) -> Rows:
        return self.settled.rows[self.index]


def fit_in_batch(taught: Taught, band: BandReadings) -> Fit:
    """A band's curve from its own readings and what the batch taught.

    Args:
        taught: The batch.
        band: One of the batch, whether or not it was among those learnt from.
    """
    place = _place(taught, band)
    curve, shape = hold_shape(_curve(taught, band, place))
    points = points_of(band.seen, curve, _deviations(place), place.slip < slips.TOLD, band.runs)
    return Fit(
        runs=band.runs,
        rest_half_path=band.seen.rest,
        curve=tabulate(curve),
        repeatability=_repeatability(place),
        hysteresis=budget.hysteresis(curve, checks.set_of(band.runs)),
        relaxation=relaxation_of(band.runs),
        check_load=check_load_of(band.runs),
        coefficients=_coefficients(taught, curve, place),
        budget=_budget(place, curve),
        points=points,
        findings=(
            *_borrowed(taught, band, place),
            *checks.gross_errors(points, band.runs),
            *checks.findings_of_aside(band.aside, SLACK),
            *shape,
            *checks.findings_of_runs(band.runs, {(p.run, p.row) for p in points if not p.used}),
        ),
    )


def _place(taught: Taught, band: BandReadings) -> _Place:
    """Where the band stands in what was taught; one that was not learnt from is added, the shape as taught."""
    for i, known in enumerate(taught.bands):
        if known.id == band.id:
            solved = taught.nodes.solved
            return _Place(taught.settled, i, taught.nodes.weights, solved, taught.slip[i], solved, taught.directions)
    settled = with_band_settled(taught, band)
    joints, logs = [], []
    for one in settled.alternatives:
        rows = replace(settled.rows[0], use=one.use[0])
        more = [batch_model.add(j, [batch_model.solve_band(rows, j.theta)]) for j in taught.nodes.solved]
        joints += more
        logs.append(np.log(taught.nodes.weights) - [j.minus_log for j in more] + one.log_prior)
    weights = np.exp(np.array(logs) - np.max(logs))
    weights /= weights.sum()
    slip = slip_probability(settled.alternatives, weights.sum(axis=1))[0]
    times = len(settled.alternatives)
    base, directions = taught.nodes.solved * times, taught.directions * times
    return _Place(settled, 0, weights.ravel(), tuple(joints), slip, base, directions)


def odd_in(taught: Taught, band: BandReadings) -> Finding | None:
    """What there is to say of a band whose shape is not the batch's; None where it is."""
    index = next((i for i, known in enumerate(taught.bands) if known.id == band.id), None)
    settled = with_band_settled(taught, band) if index is None else taught.settled
    return odd_finding(taught, band, settled, index or 0) if settled.members[index or 0].odd else None


def with_band_settled(taught: Taught, band: BandReadings) -> Settled:
    """A band settled against what was taught, at the mode of the spreads; odd where its shape is another."""
    layout, base = taught.settled.layout, taught.settled.joint
    basis = basis_of(band.seen, taught.range, taught.tested[1], layout.basis.has_loop)
    model = MixedModel(basis, band.seen)
    mean = model.mean[: basis.size].copy()
    mean[: layout.shape] += base.estimate[: layout.shape]
    member = borrower(model, mean, offset_of(band, taught.by_mass))
    settled = settle(layout, [member], base.theta, base)
    if odds_against(layout, settled.rows[0], base, taught.doubt) > taught.doubt:
        member.set_apart()
        settled = settle(layout, [member], base.theta, base)
    return settled


@dataclass(frozen=True)
class _Node:
    """The band at one set of spreads."""

    beta: Array  # (p,)
    covariance: Array  # (p, p)
    gain: Array  # (p, n) d beta / d scaled reading
    direct: Array  # (p, n) the same, less what it does through `of_shared`: an error counts once
    common: Array  # (p, shared sources) shift of beta by one standard deviation of each
    of_shared: Array  # (p, g) shift of beta by an error of what the batch taught


def _place_at(place: _Place, i: int) -> _Node:
    joint, taught = place.joints[i], place.taught[i]
    layout, rows, band = place.settled.layout, place.rows, joint.bands[place.index]
    n = layout.shape
    departures, prior = rows.own[:, : n + 1], band.prior[: n + 1]
    back, by_shared = batch_model.reach_of_shared(layout, rows, band)
    reach = by_shared @ joint.covariance
    gain = back + reach @ band.inverse_wide.T
    return _Node(
        batch_model.band_mean(layout, rows, joint, place.index) + place.member.prior_mean,
        np.diag(prior) - back @ (departures * prior) + reach @ by_shared.T,
        gain,
        back if joint is taught else gain,
        -reach[:, n:],
        by_shared if joint is taught else reach @ taught.normal,
    )


def _curve(taught: Taught, band: BandReadings, place: _Place) -> FittedCurve:
    """The mixture over the spreads as one curve, before its shape is held."""
    model, w = place.member.model, place.weights
    mine = batch_model.own_sources(model, place.settled.layout)
    first = place.rows.own.shape[1] - len(mine)
    nodes = [_place_at(place, i) for i in range(len(place.joints))]
    betas = np.array([n.beta for n in nodes])
    covariances = np.array([n.covariance for n in nodes])
    effects = np.array(
        [
            np.hstack([n.common, n.of_shared @ apart, n.direct @ place.rows.own[:, first:]])
            for n, apart in zip(nodes, place.directions, strict=True)
        ]
    )
    beta = w @ betas
    shift = betas - beta
    rest, turned = band.seen.rest, model.basis.turning_point
    low = float(min(taught.tested[0] * rest, band.seen.length[~band.seen.unloading].min(initial=np.inf)))
    return FittedCurve(
        basis=model.basis,
        beta=beta,
        covariance=np.tensordot(w, covariances, 1) + (shift.T * w) @ shift,
        effects=np.tensordot(w, effects, 1),
        sources=(*place.settled.layout.sources, *_shape_errors(taught), *(model.seen.sources[i] for i in mine)),
        weights=w,
        node_shift=shift,
        node_covariance=covariances,
        loading=(low, turned),
        unloading=None if taught.loop is None else (taught.loop[0] * rest, turned),
    )


def _shape_errors(taught: Taught) -> list[Source]:
    """What is off in the shape is off in every band that borrowed it: one key for all of them."""
    none = np.zeros(0)
    return [
        Source(f"shape of the batch {i}", f"{taught.key}/shape-{i}", none, none, none, none)
        for i in range(1, taught.directions[0].shape[1] + 1)
    ]


def _deviations(place: _Place) -> Array:
    joint = place.settled.joint
    return batch_model.studentised(place.rows, joint.bands[place.index], joint)


def _repeatability(place: _Place) -> Repeatability:
    """Of the batch: how cycles of one band differ is what they have in common."""
    squares = place.weights @ np.exp(2 * np.array([j.theta for j in place.joints]))
    between = assumed()
    return Repeatability(
        cycle_gain=float(squares[1] ** 0.5),
        hook_shift=float(squares[2] ** 0.5),
        between_day_gain=between.of_next_day,
        between_day_assumed=True,
        u_between_day_gain=between.u,
    )


def _coefficients(taught: Taught, curve: FittedCurve, place: _Place) -> dict[str, object]:
    basis = curve.basis
    return {
        "beta": curve.beta.tolist(),
        "rest_m": basis.rest,
        "lowest_stretch": basis.tested.low,
        "top_stretch": basis.tested.top,
        "turning_point_m": basis.turning_point,
        "spreads": batch_model.spread_names(place.settled.layout, place.settled.joint.theta),
        "shape_from": list(taught.teachers),
    }


def _budget(place: _Place, curve: FittedCurve) -> tuple[BudgetLine, ...]:
    """As for a single band, with one line for the shape: what of it is borrowed and how bands differ."""
    low, top = curve.loading
    force, gradient = curve.rows(np.array([low, 0.5 * (low + top), top]), unloading=False)
    total = np.einsum("ij,jk,ik->i", gradient, curve.covariance, gradient)
    unknown = curve.weights @ (curve.node_shift @ gradient.T) ** 2
    parts: dict[str, Array] = {}
    for i, weight in enumerate(curve.weights):
        if weight > budget.NEGLIGIBLE * curve.weights.max():
            for name, variance in _parts(place, i, gradient).items():
                parts[name] = parts.get(name, 0.0) + weight * variance
    whole = (total - unknown) / sum(parts.values())  # makes good the nodes passed over
    parts = {name: variance * whole for name, variance in parts.items()} | {"size of the scatter": unknown}
    return budget.lines(parts, total, force, cycles=len(place.member.model.gains))


def _parts(place: _Place, i: int, gradient: Array) -> dict[str, Array]:
    """Relative variances at each row of `gradient` by source, the rest being borrowed, at one set of spreads."""
    node, band, rows = _place_at(place, i), place.joints[i].bands[place.index], place.rows
    model, n = place.member.model, place.settled.layout.shape
    cycles = len(model.gains)
    mine = batch_model.own_sources(model, place.settled.layout)
    by_effect = gradient @ node.gain @ rows.own
    by_effect[:, n] -= gradient[:, n]  # the rest length is itself among the coefficients
    by_effect = by_effect**2 * band.prior
    first = n + 1
    out = {
        "noise of its own readings": (gradient @ node.gain) ** 2 @ band.noise,
        "flat length": by_effect[:, n],
        "cycle gain": by_effect[:, first : first + cycles].sum(axis=1),
        "hook shift": by_effect[:, first + cycles : first + 2 * cycles].sum(axis=1),
    }
    by_source = [
        *zip(place.settled.layout.sources, (gradient @ node.common).T ** 2, strict=True),
        *zip((model.seen.sources[k] for k in mine), by_effect[:, first + 2 * cycles :].T, strict=True),
    ]
    for source, variance in by_source:
        out[source.name] = out.get(source.name, 0.0) + variance
    whole = np.einsum("ij,jk,ik->i", gradient, node.covariance, gradient)
    return out | {"borrowed from the batch": np.maximum(whole - sum(out.values()), 0.0)}


def _borrowed(taught: Taught, band: BandReadings, place: _Place) -> Iterator[Finding]:
    """What of the curve is not this band's own."""
    teachers = named(taught.teachers)
    count, lengths = len(band.seen), len(np.unique(np.round(band.seen.length, 3)))
    if count:
        own = f"{count} reading{'s' if count > 1 else ''} at {lengths} length{'s' if lengths > 1 else ''}"
        text = f"{own} of its own; the shape of the curve is borrowed from {teachers} of the same batch"
    else:
        by_mass = taught.by_mass is not None and mass_per_length(band.runs[0]) is not None
        source = "its mass and flat length" if by_mass else "the mean of the batch"
        text = (
            f"no reading of its own: the level is from {source}, the shape of the curve from {teachers}; pull it once"
        )
    yield Finding("shape-borrowed", text)
    if place.member.odd:
        yield odd_finding(taught, band, place.settled, place.index)


def odd_finding(taught: Taught, band: BandReadings, settled: Settled, index: int) -> Finding:
    """How far, and where, a band's shape departs from the batch's."""
    most, between = departure(taught, settled, index)
    low, high = (x * band.seen.rest for x in between)
    more = "measure it again" if band.full else "measure it at eight lengths"
    text = (
        f"the pull of this band grows {100 * abs(most):.0f} % {'more' if most > 0 else 'less'} than that of its batch "
        f"from {low:.2f} m to {high:.2f} m: another rubber, another size, or damage; {more}"
    )
    return Finding("outlying-band", text)


def departure(taught: Taught, settled: Settled, index: int) -> tuple[float, tuple[float, float]]:
    """Largest change of a band's pull against the batch's along loading, and the two stretches it lies between."""
    layout, member = settled.layout, settled.members[index]
    own = batch_model.band_mean(layout, settled.rows[index], settled.joint, index)
    own[: layout.shape] -= settled.joint.estimate[: layout.shape]
    own[-1] = 0.0
    stretch = np.linspace(*taught.tested, ODD_LINES)
    basis = member.model.basis
    columns = basis.columns(stretch * basis.rest, np.zeros(ODD_LINES, bool), np.full(ODD_LINES, basis.turning_point))
    apart = columns @ own
    first, last = sorted((int(apart.argmin()), int(apart.argmax())))
    change = float(np.expm1(apart[last] - apart[first]))
    return change, (float(stretch[first]), float(stretch[last]))


def named(ids: Sequence[str]) -> str:
    """Bands as a list in words, the rest counted."""
    if len(ids) == 1:
        return ids[0]
    shown = list(ids) if len(ids) <= NAMED + 1 else [*ids[:NAMED], f"{len(ids) - NAMED} more"]
    return f"{', '.join(shown[:-1])} and {shown[-1]}"
