"""The mixed model with one more level: bands of a batch share a shape, each has its level and a small own departure.

    ln F of band i = shared shape(beta) + level_i + own departure_i,        all linear in coefficients

Readings of every band, its cycles and its own sources of error are as in mixed.py; scale, tape and loads that several
bands have in common are one effect. Each band is solved in the space of its readings, so a band with three readings
costs almost nothing; what they share is gathered as one small normal matrix. Bands are taken as linearised.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calib.fit.compiled import dpotrf, dpotri, dtrtri
from calib.fit.curve import variance_components as spreads
from calib.fit.curve.mixed import TREND_SD, Basis, MixedModel
from calib.fit.curve.sources import Source
from calib.frozen import dataclass
from calib.records import Array

# Between bands, sd over stretch of about 1 a coefficient would give: power, second invariant, stiffening, toe, smooth.
OWN_TREND = np.array([0.35, 1.2, 1.0])
OWN_TOE = 1.5
OWN_SMOOTH = 1.0
# Lognormal, as in variance_components.py: level 5 % (an assumption); own shape 0.8 %
# and own loop 1 %, 95 % within 0.15..5 %: assumptions, and the campaign of docs/batch.md says how they hold.
BETWEEN_MEDIAN = np.array([0.05, 0.008, 0.010])
BETWEEN_LOG_SD = np.array([0.8, 0.9, 0.9])
OWN_WHERE_ODD = 0.10  # spread of the own shape and loop of a band that does not go with the others
GAIN, SHIFT, SHAPE = 2, 3, 4  # places among the spreads: of cycle gains, of hook shifts, of the first of the shape
LEFT_OUT = 1e8  # times the variance: a reading left out has no say, and can still be judged


@dataclass
class Member:
    """One band of the batch: its model and the curve it is linearised about."""

    model: MixedModel
    beta: Array  # (p,) of ln F, what is shared included
    offset: float = 0.0  # of the level, from mass and flat length; what they do not explain is the own level
    odd: bool = False  # does not share the shape

    def set_apart(self) -> None:
        """Give it a shape of its own, and believe all its readings again."""
        self.odd = True
        self.model.use = np.ones(len(self.model.use), bool)

    @property
    def prior_mean(self) -> Array:
        """Of the coefficients, before any reading; shape (p,)."""
        mean = self.model.mean[: self.model.basis.size].copy()
        mean[0] += self.offset
        return mean


@dataclass(frozen=True)
class PooledLayout:
    """What the bands share: the shape's coefficients, then the sources; and the order of the spreads."""

    basis: Basis
    sources: tuple[Source, ...]

    @property
    def shape(self) -> int:
        """Number of coefficients of the shared shape: all but the error of the rest length."""
        return self.basis.size - 1

    @property
    def level(self) -> int:
        """Place of the spread of the level: after those of one band; own shape and own loop follow."""
        return len(spreads.names_of(self.basis))

    @property
    def groups(self) -> tuple[NDArray[np.int64], ...]:
        """Coefficients of the shape whose spread is not known, in the order of the spreads from `SHAPE` on."""
        basis = self.basis
        return (basis.smooth, basis.toe, *((basis.loop_smooth, basis.drops) if basis.has_loop else ()))

    def middle(self) -> tuple[Array, Array]:
        """Prior mean and sd of the logarithms of the spreads."""
        between = 3 if self.basis.has_loop else 2
        middle, sd = spreads.prior_of(spreads.names_of(self.basis))
        return (
            np.concatenate([middle, np.log(BETWEEN_MEDIAN[:between])]),
            np.concatenate([sd, BETWEEN_LOG_SD[:between]]),
        )


def layout_of(models: Sequence[MixedModel]) -> PooledLayout:
    """What is shared: the shape, and sources that are one and the same thing in several bands, by name and key."""
    found: dict[tuple[str, str | None], Source] = {}
    for model in models:
        for source in model.seen.sources:
            if source.key is not None:
                found.setdefault((source.name, source.key), source)
    return PooledLayout(models[0].basis, tuple(found.values()))


@dataclass(frozen=True)
class Rows:
    """A band's linear problem: r = shared columns g + own columns x + noise."""

    target: Array  # (n,)
    wide: Array  # (n, shape + shared sources) columns of what the batch shares
    own: Array  # (n, own) departures (shape), rest length, cycle gains, hook shifts, own sources
    own_scale: Array  # (own,) sd of each own effect over its spread
    own_spread: NDArray[np.int64]  # (own,) which spread, -1 = none
    relative: Array  # (n,) square of the scaled force
    additive: Array  # (n,) square of one newton, scaled
    fixed: Array  # (n,) noise that does not depend on a spread
    use: NDArray[np.bool_]


def rows_of(member: Member, layout: PooledLayout) -> Rows:
    """A band's rows about its present curve; none for a band that was only taped and weighed."""
    model, n = member.model, len(member.model.seen)
    p, cycles = layout.basis.size, len(model.gains)
    mine = own_sources(model, layout)
    scale, spread = own_effects(layout, odd=member.odd)
    own_scale = np.concatenate([scale, [np.sqrt(model.variance[p - 1])], np.ones(2 * cycles + len(mine))])
    own_spread = np.concatenate([spread, [-1], [GAIN] * cycles, [SHIFT] * cycles, [-1] * len(mine)]).astype(np.int64)
    wide = np.zeros((n, layout.shape + len(layout.sources)))
    if not n:
        return Rows(np.zeros(0), wide, np.zeros((0, len(own_scale))), own_scale, own_spread, *_NOTHING)
    model.linearise(member.beta)
    design = model.design
    wide[:, : layout.shape] = design[:, : layout.shape]
    known = {(s.name, s.key): j for j, s in enumerate(layout.sources, layout.shape)}
    for place, source in zip(model.common, model.seen.sources, strict=True):
        if (source.name, source.key) in known:
            wide[:, known[source.name, source.key]] = design[:, place]
    return Rows(
        target=model.target - design[:, 0] * member.offset,
        wide=wide,
        own=np.hstack([design[:, :p], design[:, model.gains], design[:, model.shifts], design[:, model.common[mine]]]),
        own_scale=own_scale,
        own_spread=own_spread,
        relative=model.relative,
        additive=model.additive,
        fixed=model.fixed_noise,
        use=model.use,
    )


_NOTHING = (np.zeros(0), np.zeros(0), np.zeros(0), np.zeros(0, bool))


def own_sources(model: MixedModel, layout: PooledLayout) -> list[int]:
    """Places of a band's sources that the batch does not share."""
    shared = {(s.name, s.key) for s in layout.sources}
    return [i for i, s in enumerate(model.seen.sources) if (s.name, s.key) not in shared]


def own_effects(layout: PooledLayout, *, odd: bool) -> tuple[Array, NDArray[np.int64]]:
    """Sd over its spread, and the spread, of a band's own departure in each coefficient of the shape."""
    basis, n = layout.basis, layout.shape
    scale, spread = np.ones(n), np.full(n, layout.level + 1)
    scale[1:4], scale[basis.toe], scale[basis.smooth] = OWN_TREND, OWN_TOE, OWN_SMOOTH
    spread[0] = layout.level
    spread[basis.drops], spread[basis.loop_smooth] = layout.level + 2, layout.level + 2
    if odd:
        scale[1:] *= OWN_WHERE_ODD
        spread[1:] = -1
    return scale, spread


@dataclass(frozen=True)
class BandSolution:
    """What one band says at one set of spreads, its own effects integrated out."""

    prior: Array  # (own,) variances
    noise: Array  # (n,)
    inverse: Array  # (n, n) of the variance of the readings given what is shared
    inverse_wide: Array  # (n, g)
    log_det: float
    normal: Array  # (g, g)
    pull: Array  # (g,)
    square: float


def solve_band(rows: Rows, theta: Array) -> BandSolution:
    """Gather what one band says of what is shared."""
    prior = rows.own_scale**2 * np.where(rows.own_spread >= 0, np.exp(2 * theta[rows.own_spread]), 1.0)
    g = rows.wide.shape[1]
    if not len(rows.target):
        return BandSolution(prior, rows.target, np.zeros((0, 0)), rows.wide, 0.0, np.zeros((g, g)), np.zeros(g), 0.0)
    noise = np.exp(2 * theta[0]) * rows.relative + np.exp(2 * theta[1]) * rows.additive + rows.fixed
    noise = np.where(rows.use, noise, LEFT_OUT * noise)
    variance = (rows.own * prior) @ rows.own.T
    variance[np.diag_indices_from(variance)] += noise
    root, _ = dpotrf(variance, lower=1, clean=1)
    back, _ = dtrtri(root, lower=1)
    inverse = back.T @ back
    wide = inverse @ rows.wide
    log_det = 2 * np.log(np.diag(root)).sum() - np.log(noise[~rows.use]).sum()
    normal, square = rows.wide.T @ wide, rows.target @ inverse @ rows.target
    return BandSolution(prior, noise, inverse, wide, float(log_det), normal, wide.T @ rows.target, float(square))


@dataclass(frozen=True)
class Joint:
    """All bands at one set of spreads."""

    theta: Array
    normal: Array  # (g, g)
    pull: Array  # (g,)
    covariance: Array  # (g, g)
    estimate: Array  # (g,) of what is shared, less the prior mean
    bands: tuple[BandSolution, ...]
    minus_log: float  # minus the log density of the spreads, up to a constant


def shared_prior(layout: PooledLayout, theta: Array) -> Array:
    """Variances of the shared shape and of the shared sources."""
    prior = np.ones(layout.shape + len(layout.sources))
    prior[: len(TREND_SD)] = TREND_SD**2
    for k, group in enumerate(layout.groups, SHAPE):
        prior[group] = np.exp(2 * theta[k])
    return prior


def solve(layout: PooledLayout, rows: Sequence[Rows], theta: Array) -> Joint:
    """All bands together at one set of spreads."""
    return gather(layout, [solve_band(r, theta) for r in rows], theta)


def gather(layout: PooledLayout, bands: Sequence[BandSolution], theta: Array) -> Joint:
    """Posterior of what is shared, from the bands and the prior."""
    prior = shared_prior(layout, theta)
    z = (theta - layout.middle()[0]) / layout.middle()[1]
    return _posterior(theta, np.diag(1 / prior), np.zeros(len(prior)), bands, 0.5 * (np.log(prior).sum() + z @ z))


def add(joint: Joint, bands: Sequence[BandSolution]) -> Joint:
    """Further bands, given what the first ones taught; `minus_log` is that of the further ones alone."""
    logs = np.linalg.slogdet(joint.normal)[1]
    before = 0.5 * (joint.pull @ joint.estimate - logs)
    return _posterior(joint.theta, joint.normal, joint.pull, bands, float(before))


def _posterior(theta: Array, normal: Array, pull: Array, bands: Sequence[BandSolution], minus_log: float) -> Joint:
    normal, pull = sum((b.normal for b in bands), normal), sum((b.pull for b in bands), pull)
    root, _ = dpotrf(normal, lower=1)
    lower = np.tril(dpotri(root, lower=1)[0])
    covariance = lower + np.tril(lower, -1).T
    estimate = covariance @ pull
    minus_log += 0.5 * (sum(b.log_det + b.square for b in bands) - pull @ estimate) + np.log(np.diag(root)).sum()
    return Joint(theta, normal, pull, covariance, estimate, tuple(bands), float(minus_log))


def value_and_gradient(layout: PooledLayout, rows: Sequence[Rows], theta: Array) -> tuple[float, Array]:
    """Minus the log density of the spreads and its gradient, from one solution.

    For a variance dV the gradient is (trace(Q dV) - a' dV a) / 2, with Q the inverse variance of all readings and
    a = Q r: Rasmussen & Williams 2006, eq. 5.9.
    """
    joint = solve(layout, rows, theta)
    middle, sd = layout.middle()
    gradient = (theta - middle) / sd**2
    squares = (joint.estimate**2 + np.diag(joint.covariance)) / shared_prior(layout, theta)
    for k, group in enumerate(layout.groups, SHAPE):
        gradient[k] += len(group) - squares[group].sum()
    for row, band in zip(rows, joint.bands, strict=True):
        q_diagonal, a = precision(row, band, joint)
        for k, size in enumerate((row.relative, row.additive)):
            part = np.exp(2 * theta[k]) * size * np.where(row.use, 1.0, LEFT_OUT)
            share = part * (q_diagonal - a**2)
            share[~row.use] -= (part / band.noise)[~row.use]
            gradient[k] += share.sum()
        reach = band.inverse_wide.T @ row.own
        q_own = np.einsum("ij,ij->j", row.own, band.inverse @ row.own)
        q_own -= np.einsum("ij,ij->j", reach, joint.covariance @ reach)
        part = band.prior * (q_own - (row.own.T @ a) ** 2)
        known = row.own_spread >= 0
        np.add.at(gradient, row.own_spread[known], part[known])
    return joint.minus_log, gradient


def precision(row: Rows, band: BandSolution, joint: Joint) -> tuple[Array, Array]:
    """Diagonal of Q for a band's readings, and Q r: residual / Q is each reading's deviation from all the others."""
    wide = band.inverse_wide
    diagonal = np.diag(band.inverse) - np.einsum("ij,ij->i", wide @ joint.covariance, wide)
    return diagonal, band.inverse @ row.target - wide @ joint.estimate


def studentised(row: Rows, band: BandSolution, joint: Joint) -> Array:
    """Deviation of each reading from all others over its sd, itself left out; shape (n,)."""
    diagonal, a = precision(row, band, joint)
    variance = 1 / diagonal
    real = np.where(row.use, variance, variance - band.noise * (1 - 1 / LEFT_OUT))
    return np.asarray(a * variance / np.sqrt(np.maximum(real, 1e-300)))


def as_odd(row: Rows, layout: PooledLayout, *, odd: bool) -> Rows:
    """The same readings with a shape of the band's own, or with the batch's."""
    scale, spread = own_effects(layout, odd=odd)
    n = layout.shape
    return replace(
        row,
        own_scale=np.concatenate([scale, row.own_scale[n:]]),
        own_spread=np.concatenate([spread, row.own_spread[n:]]),
    )


def band_mean(layout: PooledLayout, row: Rows, joint: Joint, i: int) -> Array:
    """Coefficients of a band less their prior mean, shape (p,).

    Args:
        layout: Which effects there are.
        row: The band's scaled readings.
        joint: All bands, solved.
        i: Which of them it is.
    """
    band, n = joint.bands[i], layout.shape
    out = (band.prior * (row.own.T @ precision(row, band, joint)[1]))[: n + 1]
    out[:n] += joint.estimate[:n]
    return np.asarray(out)


def reach_of_shared(layout: PooledLayout, row: Rows, band: BandSolution) -> tuple[Array, Array]:
    """What the readings of a band make of themselves, and of an error in what is shared, with its curve.

    Returns:
        D beta / d scaled reading, what is shared being known, shape (p, n); and d beta / d shared, shape (p, g).
    """
    n = layout.shape
    back = (row.own[:, : n + 1] * band.prior[: n + 1]).T @ band.inverse
    by_shared = -back @ row.wide
    by_shared[:n, :n] += np.eye(n)
    return back, by_shared


def spread_names(layout: PooledLayout, theta: Array) -> dict[str, float]:
    """The spreads by name."""
    names = (*spreads.names_of(layout.basis), "level", "own_shape", "own_loop")
    return dict(zip(names, np.exp(theta).tolist(), strict=False))
