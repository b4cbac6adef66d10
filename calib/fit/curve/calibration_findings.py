"""Doubts about a calibration, in words: what in the procedure, the readings or the curve makes the result less sure.

Each is a finding with what was seen and what would fix it; nothing is refused here.
"""

from collections.abc import Collection, Iterator, Sequence
from datetime import date

import numpy as np

from calib import assumptions
from calib.finding import Finding
from calib.fit.curve.correlation import Drift
from calib.fit.curve.mixed import MixedModel
from calib.fit.curve.observations import Observations, check_load_shown, unseen_zero, zero_at
from calib.fit.curve.outliers import likely_slip
from calib.fit.curve.tension_curve import FittedCurve
from calib.fit.curve.variance_components import Posterior
from calib.records import Band, Point, Run
from calib.units import G_STANDARD, force_of

LOW_STRETCH = 1.3  # below it the slope is steep and length errors rule
FEW_LENGTHS = 7
CRYSTALLISES = 3.5  # natural rubber; the loop then belongs to the tested maximum only
CHECK_OLD_DAYS = 366
CURLED = 0.1  # in ln F between the first two lengths
SOFTENING_OF_TWO = 0.015  # relative, first to last cycle: two cycles differ by 1 % by chance (docs/method.md)
SOFTENING_OF_MORE = 0.0125  # where every cycle pulls less than the one before
OPEN = 0.012  # relative 95 % half-width between two lengths from which it is worth one more
WIDER = 2.0  # times that at the lengths themselves
GROSS = 0.08  # of the pull: less is no slip of a digit worth the name, but a scale that swung or stuck
HOOKED_APART = 0.015  # [m] between cycles: hooking a loop anew moves it by millimetres
UNSEEN_STEPS = 0.5  # of the display: less is not worth a word
DRIFT_SHARE = 0.003  # of the largest pull


def findings_of_runs(runs: Sequence[Run], unused: Collection[tuple[str, int]] = ()) -> Iterator[Finding]:
    """Doubts that the heads and the rows beside the readings raise.

    Args:
        runs: The runs of one band.
        unused: Readings the curve does without, as (run name, row number).
    """
    yield from dict.fromkeys(finding for run in runs for finding in _of_one(run, unused))  # of one scale: once
    yield from _joined(runs)


def _of_one(run: Run, unused: Collection[tuple[str, int]]) -> Iterator[Finding]:
    yield from run.findings
    yield from _scale(run, unused)
    yield from _zero(run)
    yield from _zero_at_the_end(run)
    yield from _check_load(run)
    yield from _set(run)
    yield from _procedure(run)


def _readings(n: int) -> str:
    return f"{n} reading{'s' if n > 1 else ''}"


def _scale(run: Run, unused: Collection[tuple[str, int]]) -> Iterator[Finding]:
    scale, day = run.head.scale, run.head.started.date() if run.head.started else None
    if scale is None or run.head.procedure.method == "hung-weight":
        return
    if scale.correction is None and scale.check is None:
        gain = (
            f"an uncertainty of {100 * assumptions.value('u_gain_unchecked'):.2g} % of every force is taken for it"
            if scale.u_gain is None
            else (f"the {100 * scale.u_gain:.2g} % of the file are taken for it")
        )
        yield Finding("scale-unchecked", f"scale {scale.id} was never checked with known loads: {gain}")
    if scale.correction is not None:
        checked = date.fromisoformat(scale.correction.checked_on[:10])
        if day and (day - checked).days > CHECK_OLD_DAYS:
            yield Finding("scale-check-old", f"scale {scale.id} was last checked on {checked}: check it again")
        used = (r for r in run.readings if (run.name, r.number) not in unused)
        largest = max((abs(r.force or 0.0) for r in used), default=0.0)
        if scale.correction.max and largest > 1.02 * scale.correction.max:
            yield Finding(
                "above-capacity",
                f"readings up to {run.pull(largest)} lie above {run.pull(scale.correction.max)}, "
                "the largest load of the check",
            )
    if scale.locks != "no":
        yield Finding(
            "locking-scale",
            f"scale {scale.id} locks ({scale.locks}): its readings belong to the moment of locking, loading only",
        )


def _zero(run: Run) -> Iterator[Finding]:
    drift = zero_at(run, run.readings)[1]
    resolution = run.head.scale.resolution if run.head.scale else 0.0
    largest = max((abs(r.force or 0.0) for r in run.readings), default=0.0)
    if abs(drift) > max(1.01 * resolution, DRIFT_SHARE * largest):
        yield Finding(
            "zero-drift",
            f"the zero moved by {run.pull(drift)} during the run; it was followed from first to last zero, "
            "and the uncertainty of the zero is larger for it",
        )


def _zero_at_the_end(run: Run) -> Iterator[Finding]:
    pull = np.array([r.force or 0.0 for r in run.readings])
    unseen = float(unseen_zero(run, run.readings, pull).max(initial=0.0))
    step = run.head.scale.resolution if run.head.scale else 0.0
    if run.head.extensions.get("quick"):
        return  # none was asked for there; the drift that is allowed for stands in the budget
    if unseen > UNSEEN_STEPS * step:  # a reading taken again at the end is no matter
        yield Finding(
            "zero-drift",
            f"no zero was read after the last reading: a drift of {run.pull(unseen)} (k = 1) by then is allowed for",
        )


def _check_load(run: Run) -> Iterator[Finding]:
    shown = check_load_shown(run)
    if not len(shown):
        return
    resolution = run.head.scale.resolution if run.head.scale else 0.0
    if abs(shown[-1] - shown[0]) > max(1.5 * resolution, DRIFT_SHARE * abs(shown[0])):
        yield Finding(
            "check-load-drift",
            f"the check load read {run.pull(shown[0])} first, {run.pull(shown[-1])} last: the scale drifted",
        )
    load = run.head.check_load
    if load is not None:
        off = float(shown.mean()) / (load.mass * G_STANDARD) - 1
        gain = (
            run.head.scale.u_gain
            if run.head.scale and run.head.scale.u_gain is not None
            else assumptions.value("u_gain_unchecked")
        )
        allowed = 2 * np.hypot(gain, np.hypot(load.u_mass / load.mass, resolution / (load.mass * G_STANDARD)))
        if abs(off) > allowed and not (run.head.scale and run.head.scale.correction):
            yield Finding(
                "check-load-off",
                f"the check load of {run.pull(load.mass * G_STANDARD)} reads {100 * off:+.1f} %, "
                "more than scale and load should differ: check the scale",
            )


def _set(run: Run) -> Iterator[Finding]:
    flats = [r.length for r in run.standing("flat") if r.length is not None]
    if flats:
        longer = flats[-1] - run.head.band.flat_length
        if abs(longer) > max(0.003, 2.5 * run.head.band.u_flat_length):
            yield Finding(
                "set",
                f"the flat length changed by {1000 * longer:+.0f} mm during the run: "
                "condition the band longer, or let it rest",
            )


def set_of(runs: Sequence[Run]) -> float | None:
    """Lasting change of flat length over the last run that measured it. [m]"""
    for run in reversed(runs):
        flats = [r.length for r in run.standing("flat") if r.length is not None]
        if flats:
            return flats[-1] - run.head.band.flat_length
    return None


def _procedure(run: Run) -> Iterator[Finding]:
    p, band = run.head.procedure, run.head.band
    dwells = [r.dwell_s for r in run.readings if r.dwell_s is not None]
    if dwells and max(dwells) > 1.5 * min(dwells) + 1:
        yield Finding(
            "dwell-varies",
            f"the wait before reading was {min(dwells):g} to {max(dwells):g} s: "
            "force falls with time, keep it the same",
        )
    if p.temperature is None:
        yield Finding("no-temperature", "no temperature was recorded: pull rises by about 0.25 % per degree")
    if band.thickness is None and run.head.length.kind != "half-path":
        yield Finding("thickness-assumed", "the band's thickness was not measured: 4.5 +- 1 mm is assumed")
    if p.method == "hung-weight" and p.latitude_deg is None:
        yield Finding("place-assumed", "no latitude was given: standard gravity is assumed, good to 0.15 %")
    vertical = p.method == "anchor-on-scale" or (p.orientation == "vertical" and p.method == "scale-in-line")
    zeroed = run.head.scale.zeroed if run.head.scale else "hook-only"
    if band.mass is None and (p.method == "hung-weight" or (vertical and zeroed != "band-both-ends")):
        yield Finding(
            "weight-of-band",
            "the band was not weighed and hung upright: half its weight is not known, and a guess "
            "was taken off or added",
        )


def _joined(runs: Sequence[Run]) -> Iterator[Finding]:
    temperatures = [r.head.procedure.temperature for r in runs if r.head.procedure.temperature is not None]
    dwells = [r.head.procedure.dwell_s for r in runs if r.head.procedure.dwell_s is not None]
    if len(runs) > 1:
        yield from _flat_lengths([r.head.band for r in runs])
    if temperatures and max(temperatures) - min(temperatures) > 3:
        yield Finding(
            "different-conditions",
            f"the runs were made at {min(temperatures):.0f} to {max(temperatures):.0f} C: "
            "about 0.25 % of pull per degree",
        )
    if dwells and max(dwells) > 1.5 * min(dwells):
        yield Finding(
            "different-conditions",
            f"the runs waited {min(dwells):g} to {max(dwells):g} s before reading: "
            "some per cent of pull per tenfold time",
        )


def _flat_lengths(bands: Sequence[Band]) -> Iterator[Finding]:
    """Runs that contradict one another altogether are refused before; these still go together."""
    short, long = min(bands, key=lambda b: b.flat_length), max(bands, key=lambda b: b.flat_length)
    apart = long.flat_length - short.flat_length
    if apart > 2 * np.hypot(short.u_flat_length, long.u_flat_length):
        yield Finding(
            "different-flat-lengths",
            f"the runs give flat lengths of {1000 * short.flat_length:.0f} and {1000 * long.flat_length:.0f} mm, "
            "more than reading a tape explains: measure it again after conditioning",
        )


def findings_of_aside(set_aside: int, slack: float) -> Iterator[Finding]:
    """Doubt about readings of a band that was all but slack."""
    if set_aside:
        text = f"{_readings(set_aside)} below {slack} times the flat length not used: all but slack"
        yield Finding("readings-set-aside", text)


def findings_of_lengths(seen: Observations, set_aside: int, slack: float, *, asked: bool = False) -> Iterator[Finding]:
    """Doubts about which lengths, branches and cycles there are; how few only where nobody asked for so few."""
    yield from findings_of_aside(set_aside, slack)
    if not asked:
        yield from _too_few(seen)
    yield from _far_out(seen)


def _too_few(seen: Observations) -> Iterator[Finding]:
    lengths = np.unique(np.round(seen.length[~seen.unloading], 3))
    pulls = np.unique(np.round(seen.pull[~seen.unloading], 1))  # under hung loads it is the lengths that scatter
    places = min(len(lengths), len(pulls))
    if places < FEW_LENGTHS:
        yield Finding("few-lengths", f"only {places} loading lengths: eight say much more about the curve")
    if (lengths / seen.rest < LOW_STRETCH).sum() < 2:
        yield Finding(
            "few-low-stretch",
            f"fewer than two lengths below {LOW_STRETCH} times the flat length, where the pull changes fastest",
        )
    if not seen.unloading.any():
        yield Finding("no-unloading", "unloading was not measured: the curve says nothing about it")
    if len(np.unique(seen.cycle)) == 1:
        yield Finding("one-cycle", "one cycle only: how much a repeat differs is taken from experience, not seen")


def _far_out(seen: Observations) -> Iterator[Finding]:
    stretch = seen.length / seen.rest
    if stretch.max() > (caution := assumptions.value("caution_stretch")):
        yield Finding(
            "over-working-stretch",
            f"stretched to {stretch.max():.2f} times the flat length; {caution:g} is where caution begins",
        )
    if stretch.max() > CRYSTALLISES:
        yield Finding(
            "stiffens-at-top",
            f"above about {CRYSTALLISES} times the flat length rubber stiffens and its unloading branch depends on how "
            "far it was pulled: the unloading branch holds for this largest length only",
        )
    over = seen.length[seen.unloading].max(initial=0) - seen.length[~seen.unloading].max(initial=0)
    if over > 0.003 * seen.rest:
        yield Finding(
            "creep-at-top",
            f"the unloading branch starts {1000 * over:.0f} mm beyond the longest loading length: "
            "the band crept at the top",
        )
    lone = (seen.pull < 0).sum()
    if lone:
        yield Finding("single-negative", f"{_readings(lone)} below zero: hook turned or scale tared?")


def findings_of_fit(
    seen: Observations, model: MixedModel, posterior: Posterior, curve: FittedCurve
) -> Iterator[Finding]:
    """Doubts that only the fit shows."""
    repeat = posterior.spreads["repeatability"]
    if repeat > 0.02:
        yield Finding(
            "not-repeatable", f"readings repeat only to {100 * repeat:.1f} %: look for slips and a sticking scale"
        )
    yield from _cycles_apart(model, posterior)
    yield from _curled(seen, curve)
    yield from _between(seen, curve)
    yield from _softening(model, posterior)


def _cycles_apart(model: MixedModel, posterior: Posterior) -> Iterator[Finding]:
    """A whole cycle far from another: nothing rubber does, and no single reading stands alone."""
    gains, shifts = (1 + posterior.weights @ posterior.shifts[:, model.gains]), model.shifts
    apart = gains.max() / max(gains.min(), 0.1) - 1
    shifted = float(np.ptp(posterior.weights @ posterior.shifts[:, shifts]))
    if apart > GROSS:
        text = (
            f"one cycle pulls {100 * apart:.0f} % more than another: was it read in another unit, or the band doubled?"
        )
        yield Finding("not-repeatable", text)
    if shifted > HOOKED_APART:
        text = f"one cycle lies {1000 * shifted:.0f} mm from another: was its length read between other points?"
        yield Finding("not-repeatable", text)


def findings_of_drift(drift: Drift | None) -> Iterator[Finding]:
    """Neighbouring readings that are off together."""
    if drift is not None:
        yield Finding(
            "slow-drift",
            "readings next to one another are off together: scale, rubber or pace drifted during a pull; "
            "the limits are wider for it",
        )


def _curled(seen: Observations, curve: FittedCurve) -> Iterator[Finding]:
    """A start that pulls less, or more, than rubber alone: between the first two lengths the curve is least sure."""
    lengths = np.unique(np.round(seen.length[~seen.unloading], 3))[:2]
    _, gradient = curve.rows(lengths, False)
    toe = gradient[:, curve.basis.toe] @ curve.beta[curve.basis.toe]
    bend = toe[0] - toe[1]
    if abs(bend) > CURLED:
        yield Finding(
            "curled-start",
            f"the pull starts {'softer' if bend < 0 else 'stiffer'} than rubber alone, as of a band that was curled or "
            f"stuck together: one more length near {500 * lengths.sum():.0f} mm would narrow the limits there",
        )


def _between(seen: Observations, curve: FittedCurve) -> Iterator[Finding]:
    """Where two neighbouring lengths leave open what the curve does between: it bends, or climbs, within them."""
    lengths = np.unique(np.round(seen.length[~seen.unloading], 2))
    if len(lengths) < 3:  # nothing is known of the shape
        return
    middle = 0.5 * (lengths[1:] + lengths[:-1])
    half_widths = curve.half_widths(curve.rows(np.concatenate([lengths, middle]), False)[1])
    at, between = half_widths[: len(lengths)], half_widths[len(lengths) :]
    wide = np.where(between > OPEN, between / np.maximum(at[1:], at[:-1]), 0.0)
    for code, does, gaps in (("sharp-bend", "bends", wide[:-1]), ("steep-top", "climbs", wide[-1:])):
        worst = int(gaps.argmax()) + (len(wide) - 1 if code == "steep-top" else 0)
        if gaps.max() > WIDER:
            yield Finding(
                code,
                f"the curve {does} between {lengths[worst]:.2f} m and {lengths[worst + 1]:.2f} m and no reading says "
                f"how: it is known to {100 * between[worst]:.1f} % there; "
                f"one more length near {middle[worst]:.2f} m would show it",
            )


def _softening(model: MixedModel, posterior: Posterior) -> Iterator[Finding]:
    """Cycle gains that fall from first to last by more than chance."""
    if len(model.gains) < 2:
        return
    first, last = model.gains[0], model.gains[-1]
    difference = posterior.weights @ (posterior.shifts[:, last] - posterior.shifts[:, first])
    variance = sum(
        w * (s.covariance[last, last] + s.covariance[first, first] - 2 * s.covariance[first, last])
        for w, s in zip(posterior.weights, posterior.solutions, strict=True)
    )
    gains = posterior.weights @ posterior.shifts[:, model.gains]
    least = SOFTENING_OF_TWO if len(gains) == 2 else SOFTENING_OF_MORE
    if difference < -max(least, 2 * np.sqrt(variance)) and (np.diff(gains) < 0).all():
        yield Finding(
            "cycle-trend",
            f"the last cycle pulls {100 * -difference:.1f} % less than the first: "
            "not conditioned enough, pull it out some more times and measure again",
        )


def left_out(runs: Sequence[Run], rows: Collection[tuple[str, int]]) -> Iterator[Finding]:
    """Which readings the user had left out of this fit; the run files still hold them."""
    for run in runs:
        numbers = sorted(number for name, number in rows if name == run.name)
        if numbers:
            which = ", ".join(map(str, numbers))
            yield Finding("left-out", f"{run.name}: row{'s' * (len(numbers) > 1)} {which} left out as asked")


def gross_errors(points: Sequence[Point], runs: Sequence[Run]) -> Iterator[Finding]:
    """One finding per reading left out: a gross error with the slip it looks like, or a stray one not far off."""
    named = {run.name: run for run in runs}
    for point in points:
        if point.used:
            continue
        run = named[point.run]
        row = next(row for row in run.rows if row.number == point.row)
        place = f"{point.run}:{point.line}: " if point.line else ""
        said = (
            f"{place}row {point.row}, cycle {point.cycle}, {point.branch}, "
            f"{run.tape(row.length or 0.0)}: a pull of {run.pull(point.force)} "
            f"where the other readings say {run.pull(point.curve)}"
        )
        ratio = point.force / point.curve
        if abs(ratio - 1) < GROSS:
            text = f"{said}; farther off than they scatter. It is left out of the curve: did the scale swing or stick?"
            yield Finding("stray-reading", text)
            continue
        force = row.mass * G_STANDARD if row.mass is not None else row.force or 0.0
        slip = f"looks like {likely_slip(ratio, force / force_of(run.force_unit))}"
        yield Finding("gross-error", f"{said}; {slip}. It is left out of the curve; strike it or read it again")
