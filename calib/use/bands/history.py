"""All calibrations and re-checks of one band: its drift with time and use, when to look again. No file is read here.

A straight line is fitted through the logarithms of the levels, by generalised least squares with everything the
calibrations share told apart; so a drift comes with an uncertainty that knows of the scale's own wandering. Re-checks
with a plate are shown beside it and say when to look again; they are too coarse for a drift.
"""

from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta
from itertools import zip_longest
from math import hypot

import numpy as np

from calib.assumptions import BY_NAME
from calib.errors import DataError, OutOfRangeError
from calib.frozen import dataclass
from calib.profile.document import Profile
from calib.profile.store.newest_profile import in_force
from calib.profile.store.rechecks import Recheck
from calib.profile.store.uses import Moment, Use, reps_between, whole_day
from calib.records import Array
from calib.stamp import EARLIEST
from calib.use.answers.bands import DriftRate, HistoryAnswer, PastCalibration, PastRecheck
from calib.use.answers.parts import Coded, Level, doubts
from calib.use.bands.assumed import NORMAL_95
from calib.use.bands.assumed import RETIRE as RETIRE
from calib.use.bands.compare import LENGTHS, set_to_set
from calib.use.bands.predict import on_tape, pull_at
from calib.use.bands.recheck import recheck as judged
from calib.use.bands.repeat_calibrations import (
    DAYS_PER_MONTH,
    calibrations,
    change_of_level,
    check_order,
    level,
    plate_of,
    size,
    with_plate,
)
from calib.use.bands.shared_lengths import Over, common_lengths, common_offset

LOOK_MONTHS, LOOK_REPS = BY_NAME["look_months"].value, round(BY_NAME["look_reps"].value)
"""When to look again where nothing is known of a band's drift."""
WORTH_SEEING = BY_NAME["worth_seeing"].value  # relative change of level worth a re-check
SOONEST, LATEST = 30, 366  # days
LEAST_REPS = 200  # logged between calibrations: fewer say nothing of wear


@dataclass(frozen=True)
class Day:
    """One calibration."""

    on: date | None
    level_ratio: float  # to the first one
    u_level_ratio: float
    flat_length: float  # [m]
    loss_ratio: float | None
    reps: int  # logged since the first one


@dataclass(frozen=True)
class Plate:
    """One re-check with a known plate."""

    on: date
    passed: bool | None  # None where the profile in force does not reach to it
    level_ratio: float | None  # to the first calibration
    u_level_ratio: float | None
    reps: int  # logged since the first calibration
    newest: bool  # held against the newest calibration
    noted: datetime = EARLIEST


@dataclass(frozen=True)
class BandDrift:
    """Relative change of level for each unit of time or use."""

    value: float
    u: float


@dataclass(frozen=True)
class History:
    """What is known of one band over the days."""

    band: str
    over: Over
    days: tuple[Day, ...]
    plates: tuple[Plate, ...]
    per_month: BandDrift | None
    per_thousand: BandDrift | None  # repetitions
    failed: date | None  # the last re-check did not pass, and the band was not measured since
    reps_since: int  # logged since it was last looked at
    look_again: date | None
    reps_left: int  # before looking again


def history(
    profiles: Sequence[Profile],
    uses: Sequence[Use],
    over: Over | None = None,
    rechecks: Sequence[Recheck] = (),
    begun: Sequence[datetime | None] = (),
) -> History:
    """Make the history of one band.

    Args:
        profiles: Of one band, oldest first, at least one.
        uses: Its use log.
        over: Working lengths, half path; None takes all that every calibration tested. [m]
        rechecks: With a known plate, oldest first.
        begun: When the run of each calibration was begun, where that is known: what is logged on the same day but
            after it was pulled after it.
    """
    check_order(profiles)
    lengths = common_lengths(profiles, over, LENGTHS)
    curves = calibrations(profiles, lengths, "loading")
    if len(profiles) > 1 and plate_of(profiles):
        curves = with_plate(profiles, curves, curves)
    levels = [level(c, lengths) for c in curves]
    on = [date.fromisoformat(p.made.measured_at) if p.made.measured_at else None for p in profiles]
    moments = [moment_of(day, at) for day, at in zip_longest(on, begun[: len(on)])]
    reps = [reps_between(uses, moments[0], m) if moments[0] and m else 0 for m in moments]
    changes = [change_of_level(levels[0], later) for later in levels]
    months = None if None in on else np.array([(d - on[0]).days / DAYS_PER_MONTH for d in on if d and on[0]])
    seen = np.log([force / levels[0][0] for force, _ in levels])
    per_month = drift(months, seen, changes) if months is not None else None
    plates = [_plate(r, profiles, seen, changes, reps_between(uses, moments[0], (r.on, r.stamp.at)) if on[0] else 0)
              for r in rechecks]  # fmt: skip
    good, failed = last_look(on[-1], plates)
    last = good.on if good else on[-1]
    since = reps_between(uses, (good.on, good.noted) if good else moments[-1], None)
    return History(
        band=profiles[-1].band.id,
        over=(float(lengths[0]), float(lengths[-1])),
        days=tuple(
            Day(day, float(np.exp(y)), float(np.exp(y)) * size(c), p.band.flat_length_m, _loss(p), n)
            for day, y, c, p, n in zip(on, seen, changes, profiles, reps, strict=True)
        ),
        plates=tuple(plates),
        per_month=per_month,
        per_thousand=drift(np.array(reps) / 1000, seen, changes) if max(reps) >= LEAST_REPS else None,
        failed=failed,
        reps_since=since,
        look_again=failed or look_again(last, per_month),
        reps_left=max(LOOK_REPS - since, 0),
    )


def _plate(
    recheck: Recheck, profiles: Sequence[Profile], seen: Array, changes: Sequence[dict[str, float]], reps: int
) -> Plate:
    """A re-check against the profile it was held against, else that of its day, and with that against the first."""
    named = [p for p in profiles if recheck.calibrated and p.made.measured_at == recheck.calibrated.isoformat()]
    try:
        profile = named[-1] if named else in_force(profiles, recheck.on)
    except DataError:
        return Plate(recheck.on, None, None, None, reps, newest=False, noted=recheck.stamp.at)
    i = next(i for i, p in enumerate(profiles) if p is profile)
    newest = i == len(profiles) - 1
    try:
        found = judged(profile, recheck.hung, recheck.length)
    except (DataError, OutOfRangeError):
        return Plate(recheck.on, None, None, None, reps, newest, recheck.stamp.at)
    ratio = float(np.exp(seen[i])) * found.level_ratio
    u = hypot(found.u_level_ratio / found.level_ratio, size(changes[i]))  # what both owe to that profile counts twice
    return Plate(recheck.on, found.passed, ratio, ratio * u, reps, newest, recheck.stamp.at)


def moment_of(day: date | None, begun: datetime | None) -> Moment | None:
    """When a calibration was: its day, and the instant its run was begun where that is known."""
    if day is None:
        return None
    return whole_day(day) if begun is None else (day, begun)


def last_look(measured: date | None, plates: Sequence[Plate]) -> tuple[Plate | None, date | None]:
    """The re-check that last found the band as it should be, and the day of one that did not pass and still stands.

    Args:
        measured: The last calibration.
        plates: Re-checks, oldest first; of several the last one that could be judged stands.
    """
    since = [p for p in plates if p.passed is not None and p.newest and (measured is None or p.on >= measured)]
    good = [p for p in since if p.passed]
    return (good[-1] if good else None), (since[-1].on if since and not since[-1].passed else None)


def _loss(profile: Profile) -> float | None:
    return profile.hysteresis.loss_ratio if profile.hysteresis else None


def drift(along: Array, seen: Array, changes: Sequence[dict[str, float]]) -> BandDrift | None:
    """Slope of a straight line through the first calibration's point, None where nothing lies along.

    Args:
        along: Months or thousands of repetitions since the first, shape (n,).
        seen: Logarithm of the level to the first one, shape (n,).
        changes: What one standard deviation of each source does to each of them, n.

    By generalised least squares, with the errors of the first calibration in all the others. Where the levels scatter
    about the line by more than their u (softening that came early and stopped), u is widened by as much (Birge 1932,
    from memory).
    """
    if len(seen) < 2 or np.ptp(along) == 0:
        return None
    keys = sorted({key for change in changes for key in change})
    effects = np.array([[change.get(key, 0.0) for key in keys] for change in changes[1:]])
    cover = effects @ effects.T
    weighed = np.linalg.solve(cover, along[1:])
    spread = 1 / float(weighed @ along[1:])
    value = spread * float(weighed @ seen[1:])
    off = seen[1:] - value * along[1:]
    scatter = float(off @ np.linalg.solve(cover, off)) / max(len(off) - 1, 1)
    return BandDrift(value, (spread * max(scatter, 1.0)) ** 0.5)


def look_again(last: date | None, per_month: BandDrift | None = None) -> date | None:
    """The day to measure again: before a change worth seeing could have come by.

    Args:
        last: When it was last measured or passed a re-check; None where that was not noted.
        per_month: Drift seen so far; None takes the usual months. A drift that cannot be told from none does not
            bring the day nearer: two days in one week say nothing of a year.
    """
    if last is None:
        return None
    usual = WORTH_SEEING / LOOK_MONTHS
    fastest = usual
    if per_month is not None:
        sure = abs(per_month.value) > NORMAL_95 * per_month.u
        limit = abs(per_month.value) + NORMAL_95 * per_month.u
        fastest = limit if sure else min(limit, usual)
    days = min(max(WORTH_SEEING / fastest * DAYS_PER_MONTH, SOONEST), LATEST) if fastest else LATEST
    return last + timedelta(days=round(days))


def history_answer(found: History, profiles: Sequence[Profile], beside: Iterable[Coded] = ()) -> HistoryAnswer:
    """The history as an answer.

    Args:
        found: What is known of the band.
        profiles: Its calibrations, oldest first.
        beside: Findings of the band as a whole.
    """
    last, midway = profiles[-1], sum(found.over) / 2
    return HistoryAnswer(
        band=found.band,
        day=last.made.measured_at,
        findings=doubts([*beside, *last.findings]),
        over_m=found.over,
        half_path_less_tape_m=common_offset(profiles),
        length_m=midway,
        tape_m=on_tape(last, midway),
        loading=pull_at(last, last.estimate(midway)),
        calibrations=tuple(
            PastCalibration(
                day=d.on.isoformat() if d.on else None,
                level=_level(d.level_ratio, d.u_level_ratio, set_to_set(profile, found.over)),
                flat_length_m=d.flat_length,
                loss_ratio=d.loss_ratio,
                reps=d.reps,
            )
            for d, profile in zip(found.days, profiles, strict=True)
        ),
        rechecks=tuple(
            PastRecheck(
                day=p.on.isoformat(),
                passed=p.passed,
                level=None if p.level_ratio is None else _level(p.level_ratio, p.u_level_ratio or 0.0, None),
                reps=p.reps,
            )
            for p in found.plates
        ),
        drift_per_month=_drift(found.per_month),
        drift_per_1000_reps=_drift(found.per_thousand),
        failed_recheck=found.failed.isoformat() if found.failed else None,
        reps_since=found.reps_since,
        look_again=found.look_again.isoformat() if found.look_again else None,
        reps_left=found.reps_left,
    )


def _level(ratio: float, u: float, one_set: float | None) -> Level:
    """A level with its limits; those of one set where it is known how sets differ."""
    wide = None if one_set is None else NORMAL_95 * hypot(u, ratio * one_set)
    return Level(ratio, u, NORMAL_95 * u, wide)


def _drift(found: BandDrift | None) -> DriftRate | None:
    return None if found is None else DriftRate(found.value, found.u, NORMAL_95 * found.u)
