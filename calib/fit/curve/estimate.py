"""From the runs of one band to its tension curve: the order of the steps, nothing else.

Observe, set slack readings aside, start robustly, settle curve and spreads, integrate over the spreads, hold the shape,
tabulate, and say what is doubtful.
"""

from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calib import assumptions
from calib.acquire.files.run_checks import check_correction, check_fittable
from calib.acquire.recording.course import UNTIL
from calib.errors import DataError
from calib.finding import Finding
from calib.fit.curve import budget, days, outliers, slips
from calib.fit.curve import calibration_findings as checks
from calib.fit.curve.correlation import drift
from calib.fit.curve.days import BetweenDay
from calib.fit.curve.elastic import StretchRange
from calib.fit.curve.grouping import shorten
from calib.fit.curve.mixed import Basis, MixedModel
from calib.fit.curve.observations import Observations, check_load_shown, observe, with_check, with_rounding
from calib.fit.curve.tables import tabulate
from calib.fit.curve.tension_curve import FittedCurve, fitted_curve, hold_shape
from calib.fit.curve.variance_components import Posterior
from calib.fit.gear.dof import coverage_factor
from calib.frozen import dataclass
from calib.records import (
    Array,
    CheckLoadShown,
    Correction,
    Fit,
    Point,
    Relaxation,
    Repeatability,
    Run,
    TensionCurve,
)

QUICK = "quick"  # in a head: a first look at a few lengths
SLACK = 1.02  # times the rest length: below it length errors swamp the pull
LEAST_LENGTHS = 3
FEW_LENGTHS = 4  # up to so many a second layer may come taut between two, and no reading says so
MOST_CYCLES = 100  # the work grows with their cube, 20 s for these; more are row numbers in the column of cycles
LEAST_SHARE = 1e-6  # of the largest pull: a curve that falls below it within the tested lengths was fitted to nothing
LEAST_PULL = 1e-3  # [N] a tenth of a gram; less is a band that hangs slack
CLOSE = 0.01  # of the rest length: lengths nearer than this are the same place
U_RATE = 0.05  # of a relaxation, alike in all holds: stops found late make it 4 % too small (docs/held_points.md)


@dataclass(frozen=True)
class Solved:
    """The fit before it is put in tables."""

    seen: Observations
    model: MixedModel
    posterior: Posterior
    curve: FittedCurve
    off: Array  # studentised deviations
    slip: Array  # probability that each reading is one
    believed: NDArray[np.bool_]  # which readings are not called slips
    findings: tuple[Finding, ...]
    between_day: BetweenDay


def solve(seen: Observations, name: str, *, asked: bool = False, chosen: bool = False) -> Solved:
    """Fit the curve to observations of one band.

    Args:
        seen: Readings with their sources of error.
        name: What to call the data in an error.
        asked: Which lengths, branches and cycles there are is what was asked for: no doubt about that.
        chosen: The readings were chosen one by one, until this fit of a band without bends knew enough.

    Raises:
        DataError: Fewer than three usable loading lengths, or a median pull not above zero.
    """
    stretched = seen.length >= SLACK * seen.rest
    aside = int((~stretched).sum())
    whole = seen.where(stretched) if aside else seen
    seen = shorten(whole)
    if seen is whole:  # in a group it is the scatter that spreads the rounding
        seen = with_rounding(seen)
    _refuse_too_few(seen, name)
    loading, unloading = _range(whole, False), _closed(whole)
    assert loading is not None  # there are loading lengths
    if np.median(seen.pull) <= LEAST_PULL:
        raise DataError(
            "the pulls are zero or negative",
            where=name,
            remedy="is the hook reversed, or was the scale tared under load?",
        )
    model = MixedModel(_basis(seen.rest, loading, unloading), seen)
    start = outliers.robust_start(model)
    single = np.array([len(members) < slips.MEDIAN_OF for members in seen.rows])
    verdict, between = days.weigh(model, lambda: slips.weigh(model, start, may_slip=single))
    posterior = verdict.posterior
    drifts = drift(model, model.solve(verdict.log_spreads))
    free = fitted_curve(model, posterior, loading, unloading, drifts.added if drifts else None)
    free = free if chosen else replace(free, read=_few_lengths(seen))
    if not np.isfinite(free.beta).all() or not np.isfinite(free.covariance).all():
        raise _no_curve(name)
    curve, shape = hold_shape(free, seen.where(verdict.believed))
    found = (
        *checks.findings_of_lengths(seen, aside, SLACK, asked=asked),
        *checks.findings_of_fit(seen, model, posterior, curve),
        *checks.findings_of_drift(drifts),
        *shape,
    )
    return Solved(seen, model, posterior, curve, verdict.off, verdict.slip, verdict.believed, found, between)


def _no_curve(name: str) -> DataError:
    """Numbers too large, too small or too contradictory to calculate with."""
    return DataError(
        "no curve can be calculated from these numbers",
        where=name,
        remedy="look for a value or an uncertainty in another unit, or many powers of ten off",
    )


def _few_lengths(seen: Observations) -> Array | None:
    """The lengths read while loading, where they are so few that a bend between them need not show; else None. [m]"""
    length = np.sort(seen.length[~seen.unloading])
    places = [place.mean() for place in np.split(length, np.flatnonzero(np.diff(length) > CLOSE * seen.rest) + 1)]
    return np.array(places) if LEAST_LENGTHS <= len(places) <= FEW_LENGTHS else None


Ends = tuple[float, float]


def _range(seen: Observations, unloading: bool) -> Ends | None:
    """First and last length of one branch, None where it was not measured. [m]"""
    length = seen.length[seen.unloading == unloading]
    return (float(length.min()), float(length.max())) if len(length) else None


def _closed(seen: Observations) -> Ends | None:
    """Range of the unloading branch: up to the turning point, which both branches share, where no length was left out.

    One length alone is no range: there it is closed too. At the turning point alone nothing of unloading was seen.
    """
    ends, loading = _range(seen, True), seen.length[~seen.unloading]
    top = loading.max()
    if ends is None or ends[0] > top - CLOSE * seen.rest:
        return None
    if ends[1] - ends[0] < CLOSE * seen.rest:
        return ends[0], float(top)
    skipped = (loading > ends[1] + CLOSE * seen.rest) & (loading < top - CLOSE * seen.rest)
    return ends if skipped.any() else (ends[0], max(ends[1], float(top)))


def _basis(rest: float, loading: Ends, unloading: Ends | None) -> Basis:
    """The turning point is the largest loading length; an unloading branch that starts further out crept there."""
    low, top = loading
    if unloading is None:
        return Basis(rest, StretchRange(low / rest, top / rest), has_loop=False)
    tested = StretchRange(min(low, unloading[0]) / rest, top / rest)
    return Basis(rest, tested, has_loop=True, creep=max(1.0, (unloading[1] - rest) / (top - rest)))


def _refuse_too_few(seen: Observations, name: str) -> None:
    """Refuse readings that settle no curve: too few loading lengths, or more cycles than are one band's."""
    lengths = np.unique(np.round(seen.length[~seen.unloading], 3))
    if len(lengths) < LEAST_LENGTHS:
        raise DataError(
            f"too few usable loading lengths: {len(lengths)}, at least {LEAST_LENGTHS} are needed",
            where=name,
            remedy="measure at more lengths, well beyond the flat length",
        )
    cycles = len(np.unique(seen.cycle))
    if cycles > MOST_CYCLES:
        raise DataError(
            f"{cycles} cycles are more than can be fitted together, {MOST_CYCLES} at most",
            where=name,
            remedy="does the cycle column hold row numbers? Otherwise fit fewer at a time",
        )


def fit_runs(
    runs: Sequence[Run],
    correction: Correction | None = None,
    leave_out: Collection[tuple[str, int]] = (),
) -> Fit:
    """Fit one band's tension curve to its runs, joined.

    Args:
        runs: One or more runs of the same band.
        correction: A later check of the scale, instead of the one in the files.
        leave_out: Readings to leave out, as (run name, row number).

    Raises:
        DataError: The runs are of different bands, contradict one another, or hold too few usable readings.
    """
    if correction is not None:
        check_correction(correction)
        runs = [with_check(run, correction) for run in runs]
    ids = {run.head.band.id for run in runs}
    if len(ids) != 1:
        raise DataError(f"runs of different bands cannot be joined: {', '.join(sorted(ids))}", where=runs[-1].name)
    for run in runs:
        check_fittable(run)
    seen = days.with_days(observe(runs), runs)
    if leave_out:
        seen = seen.where(np.array([(runs[i].name, row.number) not in leave_out for ((i, row),) in seen.rows]))
    try:
        with np.errstate(all="ignore"):  # what comes out is judged; what overflows on the way is of no use to anybody
            chosen = any(UNTIL in run.head.extensions for run in runs)
            solved = solve(seen, runs[0].name, asked=any(_as_asked(run) for run in runs), chosen=chosen)
            tables = tabulate(solved.curve)
    except (np.linalg.LinAlgError, OverflowError):
        raise _no_curve(runs[0].name) from None
    _refuse_no_tension(tables, runs[0].name)
    points = points_of(solved.seen, solved.curve, solved.off, solved.believed, runs)
    return Fit(
        runs=tuple(runs),
        rest_half_path=solved.seen.rest,
        curve=tables,
        repeatability=_repeatability(solved),
        hysteresis=budget.hysteresis(solved.curve, checks.set_of(runs)),
        relaxation=relaxation_of(runs),
        check_load=check_load_of(runs),
        coefficients=_coefficients(solved),
        budget=budget.budget(solved.model, solved.posterior, solved.curve),
        points=points,
        findings=(
            *checks.gross_errors(points, runs),
            *checks.left_out(runs, leave_out),
            *solved.findings,
            *days.undated(runs),
            *checks.findings_of_runs(runs, {*leave_out, *((p.run, p.row) for p in points if not p.used)}),
        ),
    )


def _as_asked(run: Run) -> bool:
    """Whether a recording that asks for each reading, or a quick look, said how few there shall be."""
    return UNTIL in run.head.extensions or bool(run.head.extensions.get(QUICK))


def _refuse_no_tension(curve: TensionCurve, name: str) -> None:
    """Refuse a curve that is not finite, or that falls to nothing within the lengths tested."""
    branches = [branch for branch in (curve.loading, curve.unloading) if branch]
    if not all(np.isfinite(branch.u95).all() and np.isfinite(branch.force).all() for branch in branches):
        raise _no_curve(name)
    if any(branch.force.min() < LEAST_SHARE * branch.force.max() for branch in branches):
        raise DataError(
            "too many pulls are zero or negative",
            where=name,
            remedy="is the zero right, and are the lengths those of this band?",
        )


def points_of(
    seen: Observations, curve: FittedCurve, off: Array, used: NDArray[np.bool_], runs: Sequence[Run]
) -> tuple[Point, ...]:
    """Every observation beside the curve; of a group its first row stands for all.

    Args:
        seen: The observations, n of them.
        curve: Fitted to them.
        off: Studentised deviations, shape (n,).
        used: Whether each is believed, shape (n,).
        runs: Where they came from.
    """
    fitted = np.empty(len(seen))
    for unloading in (False, True):
        here = seen.unloading == unloading
        fitted[here] = curve.force(seen.length[here], unloading)
    return tuple(
        Point(
            run=runs[members[0][0]].name,
            row=members[0][1].number,
            line=members[0][1].line,
            cycle=members[0][1].cycle or 0,
            branch="unloading" if seen.unloading[i] else "loading",
            length=float(seen.length[i]),
            force=float(seen.pull[i]),
            curve=float(fitted[i]),
            studentised=float(off[i]),
            used=bool(used[i]),
        )
        for i, members in enumerate(seen.rows)
    )


def _repeatability(solved: Solved) -> Repeatability:
    spread, between = solved.posterior.mean_squares, solved.between_day
    return Repeatability(
        cycle_gain=float(np.hypot(spread["cycle_gain"], days.still_falling(solved.model, solved.posterior))),
        hook_shift=spread["hook_shift"],
        between_day_gain=between.of_next_day,
        between_day_assumed=between.days < 2,
        u_between_day_gain=between.u,
        days=between.days,
    )


def relaxation_of(runs: Sequence[Run]) -> Relaxation:
    """Mean of what held points showed; the stated default where none did.

    While unloading the pull recovers by about as much as it falls while loading. 1.96 u hold 95 %, so the standard
    error of a few is widened as Student's t has it (JCGM 100:2008 G.3); what is off in all holds alike is not
    averaged away.
    """
    seen = [
        r.relax_percent_per_decade * (-1 if r.branch == "unloading" else 1)
        for run in runs
        for r in run.readings
        if r.relax_percent_per_decade is not None
    ]
    if not seen:
        return Relaxation(assumptions.value("relaxation"), assumptions.value("u_relaxation"), measured=False)
    if len(seen) == 1:
        return Relaxation(seen[0], 1.0, measured=True)
    scatter = float(np.std(seen, ddof=1)) * coverage_factor(len(seen) - 1) / coverage_factor(np.inf)
    mean = float(np.mean(seen))
    return Relaxation(mean, float(np.hypot(scatter / len(seen) ** 0.5, U_RATE * mean)), measured=True)


def check_load_of(runs: Sequence[Run]) -> CheckLoadShown | None:
    """What the check load read in the last run that had one; None where none had."""
    for run in reversed(runs):
        shown = check_load_shown(run)
        if len(shown) and run.head.check_load:
            resolution = run.head.scale.resolution if run.head.scale else 0.0
            scatter = float(np.std(shown, ddof=1)) if len(shown) > 1 else 0.0
            u = np.hypot(scatter / len(shown) ** 0.5, resolution / 12**0.5)  # rounding is the same each time
            return CheckLoadShown(run.head.check_load.id, float(shown.mean()), float(u))
    return None


def _coefficients(solved: Solved) -> dict[str, object]:
    """What a refit or a curious reader needs of the model itself."""
    basis = solved.model.basis
    return {
        "beta": solved.curve.beta.tolist(),
        "rest_m": basis.rest,
        "lowest_stretch": basis.tested.low,
        "top_stretch": basis.tested.top,
        "spreads": solved.posterior.spreads,
    }
