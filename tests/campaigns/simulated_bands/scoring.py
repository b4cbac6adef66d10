"""Scores a fit against the truth: errors, claims, coverage, and what becomes of a planted slip. Nothing is printed."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from calib.errors import DataError
from calib.fit.curve.estimate import fit_runs
from calib.records import Array, BranchTable, Fit, Run
from tests.campaigns.simulated_bands.measuring import TrueBand, generator, measure
from tests.campaigns.simulated_bands.worlds import World

PLACES = ("low, out", "middle, out", "top, out", "low, back", "middle, back", "top, back")
BETWEEN = 24  # lengths a branch for the coverage between the places
SLIPS = (10.0, 0.8, 1.2)


@dataclass(frozen=True)
class Claim:
    """What one fit says at some places, and what is true there. Arrays of one shape. [N]"""

    error: Array
    u: Array
    u95: Array
    peak: float

    @property
    def holds(self) -> Array:
        """Whether the 95 % interval holds the truth, as 0 and 1."""
        return (np.abs(self.error) <= self.u95).astype(float)


def claims(fit: Fit, truth: TrueBand, share: Array, own_only: bool = False) -> Claim:
    """Compare both branches with the truth.

    Args:
        fit: Of one band.
        truth: The band itself.
        share: Where along each branch's tested range, 0..1.
        own_only: Claim only the part that other bands do not share: factors without a key, and the rest.
    """
    curve = fit.curve
    top = float(curve.loading.length[-1])
    parts = [_branch(curve.loading, _own_u(fit, False), share, own_only)]
    true = [truth.loading(parts[0][0])]
    if curve.unloading is not None:
        parts.append(_branch(curve.unloading, _own_u(fit, True), share, own_only))
        true.append(truth.unloading(parts[1][0], top))
    _, force, u, u95 = (np.concatenate(a) for a in zip(*parts, strict=True))
    return Claim(force - np.concatenate(true), u, u95, float(truth.loading(np.array(top))))


def _branch(table: BranchTable, own: Array, share: Array, own_only: bool) -> tuple[Array, Array, Array, Array]:
    """Length, force, u and half-width by straight lines through the table, as any reader would."""
    at = table.length[0] + share * (table.length[-1] - table.length[0])
    force, u, coverage_factor = (
        np.interp(at, table.length, a) for a in (table.force, own if own_only else table.u, table.u95 / table.u)
    )
    return at, force, u, u * coverage_factor


def _own_u(fit: Fit, unloading: bool) -> Array:
    """Standard uncertainty without what is shared with other bands, on the grid of a branch. [N]"""
    table = fit.curve.unloading if unloading else fit.curve.loading
    assert table is not None
    variance = table.rest**2
    for factor in fit.curve.factors:
        shift = factor.unloading if unloading else factor.loading
        if factor.key is None and shift is not None:
            variance = variance + shift**2
    return np.sqrt(variance)


@dataclass(frozen=True)
class Outcome:
    """One band measured and fitted."""

    places: Claim
    between: Claim
    own: Claim
    false_alarm: bool


def try_band(world: World, band: int) -> Outcome | None:
    """Measure and fit one band, with the gear's errors and again without those shared; None where refused."""
    share, between = np.array([0.0, 0.5, 1.0]), np.linspace(0, 1, BETWEEN)
    try:
        real = measure(world, band)
        fit = fit_runs([real.run])
        perfect = measure(world, band, shared_perfect=True)
        own = claims(fit_runs([perfect.run]), perfect.truth, share, own_only=True)
    except DataError:
        return None
    alarm = any(finding.code == "gross-error" for finding in fit.findings)
    return Outcome(claims(fit, real.truth, share), claims(fit, real.truth, between), own, alarm)


@dataclass(frozen=True)
class Slip:
    """What became of one reading made wrong."""

    factor: float
    found: bool  # left out
    named: bool  # a finding names its row
    others: int  # good readings accused beside it
    shift: Array  # of the curve against the same run without the slip, over the U of that one, at each place
    own_shift: Array  # the same over the U stated with the slip in the run


def try_slips(world: World, band: int) -> list[Slip]:
    """Make one reading of a run wrong, in each way in turn, and fit again."""
    run = measure(world, band).run
    readings = [i for i, row in enumerate(run.rows) if row.kind == "reading"]
    hit = int(generator(world, band, purpose=1).choice(readings))
    try:
        clean = fit_runs([run])
        return [_try_slip(run, clean, hit, factor) for factor in SLIPS]
    except DataError:
        return []


def _try_slip(run: Run, clean: Fit, hit: int, factor: float) -> Slip:
    row = run.rows[hit]
    value = row.mass if row.force is None else row.force
    assert value is not None
    wrong = replace(row, mass=value * factor) if row.force is None else replace(row, force=value * factor)
    fit = fit_runs([replace(run, rows=(*run.rows[:hit], wrong, *run.rows[hit + 1 :]))])
    accused = [point.row for point in fit.points if not point.used]
    named = [f.text for f in fit.findings if f.code == "gross-error"]
    return Slip(
        factor,
        found=row.number in accused,
        named=any(f"row {row.number}," in text for text in named),
        others=sum(number != row.number for number in accused),
        shift=_shift(fit, clean),
        own_shift=_shift(clean, fit),
    )


def _shift(fit: Fit, clean: Fit) -> Array:
    """Shift of the curve over the U of the second one, low, middle and top of each branch."""
    out = []
    for now, before in ((fit.curve.loading, clean.curve.loading), (fit.curve.unloading, clean.curve.unloading)):
        if now is None or before is None:
            continue
        ends = max(now.length[0], before.length[0]), min(now.length[-1], before.length[-1])
        at = np.array([ends[0], sum(ends) / 2, ends[1]])
        moved = np.interp(at, now.length, now.force) - np.interp(at, before.length, before.force)
        out.append(np.abs(moved) / np.interp(at, before.length, before.u95))
    return np.concatenate(out)


@dataclass(frozen=True)
class Score:
    """One row of the table: a world's bands taken together."""

    bands: int
    refused: int
    coverage: float  # places together
    at_places: Array  # coverage at each place
    between: float  # coverage over many lengths
    error_over_u: float  # rms
    error: float  # rms, in share of the peak
    claimed: float  # mean u, in share of the peak
    own_coverage: float
    own_at_places: Array
    own_error_over_u: float
    false_alarms: float  # share of the runs


def score(outcomes: Iterable[Outcome | None]) -> Score:
    """Pool the outcomes of one world."""
    every = list(outcomes)
    kept = [o for o in every if o is not None]
    holds = np.array([o.places.holds for o in kept])
    own = np.array([o.own.holds for o in kept])
    return Score(
        bands=len(every),
        refused=len(every) - len(kept),
        coverage=float(holds.mean()),
        at_places=holds.mean(axis=0),
        between=float(np.mean([o.between.holds for o in kept])),
        error_over_u=_rms([o.places.error / o.places.u for o in kept]),
        error=_rms([o.places.error / o.places.peak for o in kept]),
        claimed=float(np.mean([o.places.u / o.places.peak for o in kept])),
        own_coverage=float(own.mean()),
        own_at_places=own.mean(axis=0),
        own_error_over_u=_rms([o.own.error / o.own.u for o in kept]),
        false_alarms=float(np.mean([o.false_alarm for o in kept])),
    )


def _rms(values: Iterable[Array]) -> float:
    return float(np.sqrt(np.mean(np.square(list(values)))))


@dataclass(frozen=True)
class SlipScore:
    """One row of the table of slips: all runs of a world with one reading off by one factor."""

    factor: float
    runs: int
    found: float  # share found and named
    others: float  # share of runs in which a good reading was accused
    moved: float  # share of runs in which the curve moved by more than the U of the clean run somewhere
    beyond: float  # the same by the U it states with the slip
    worst: float  # largest shift over U


def score_slips(slips: Iterable[Slip]) -> list[SlipScore]:
    """Pool the slips of one world by factor."""
    every = list(slips)
    out = []
    for factor in SLIPS:
        kind = [s for s in every if s.factor == factor]
        largest = np.array([s.shift.max() for s in kind])
        out.append(
            SlipScore(
                factor,
                len(kind),
                found=float(np.mean([s.found and s.named for s in kind])),
                others=float(np.mean([s.others > 0 for s in kind])),
                moved=float((largest >= 1).mean()),
                beyond=float(np.mean([s.own_shift.max() >= 1 for s in kind])),
                worst=float(largest.max()),
            )
        )
    return out
