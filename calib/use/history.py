"""All calibrations of one band: how its level drifts with time and with use, and when to look again. No file is read.

A straight line is fitted through the logarithms of the levels, by generalised least squares with everything the
calibrations share told apart; so a drift comes with an uncertainty that knows of the scale's own wandering.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np

from calib.profile.document import Profile
from calib.profile.uses import Use, reps_between
from calib.records import Array
from calib.use.compare import LENGTHS
from calib.use.one_band import (
    DAYS_PER_MONTH,
    calibrations,
    change_of_level,
    check_order,
    level,
    plate_of,
    size,
    with_plate,
)
from calib.use.shared_lengths import NORMAL_95, Over, common_lengths

LOOK_MONTHS, LOOK_REPS = 6, 1000
"""When to look again where nothing is known of a band's drift: common practice, no source for the months.

Rubber bands lose some 10 to 15 % within 3000 cycles to double their length, about 5 % in 1000.
"""
WORTH_SEEING = 0.05  # relative change of level that is worth a look
SOONEST, LATEST = 30, 366  # days
RETIRE = 0.15  # of the level lost
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
class Drift:
    """Relative change of level for each unit of time or use."""

    value: float
    u: float


@dataclass(frozen=True)
class History:
    """What is known of one band over the days."""

    band: str
    over: Over
    days: tuple[Day, ...]
    per_month: Drift | None
    per_thousand: Drift | None  # repetitions
    reps_since: int  # logged since the last calibration
    look_again: date | None
    reps_left: int  # before looking again


def history(profiles: Sequence[Profile], uses: Sequence[Use], over: Over | None = None) -> History:
    """Make the history of one band.

    Args:
        profiles: Of one band, oldest first, at least one.
        uses: Its use log.
        over: Working lengths, half path; None takes all that every calibration tested. [m]
    """
    check_order(profiles)
    lengths = common_lengths(profiles, over, LENGTHS)
    curves = calibrations(profiles, lengths, "loading")
    if len(profiles) > 1 and plate_of(profiles):
        curves = with_plate(profiles, curves, curves)
    levels = [level(c, lengths) for c in curves]
    on = [date.fromisoformat(p.made.measured_at) if p.made.measured_at else None for p in profiles]
    reps = [reps_between(uses, on[0], day) if on[0] and day else 0 for day in on]
    changes = [change_of_level(levels[0], later) for later in levels]
    months = None if None in on else np.array([(d - on[0]).days / DAYS_PER_MONTH for d in on if d and on[0]])
    seen = np.log([force / levels[0][0] for force, _ in levels])
    per_month = drift(months, seen, changes) if months is not None else None
    last = on[-1]
    since = reps_between(uses, last, None)
    return History(
        band=profiles[-1].band.id,
        over=(float(lengths[0]), float(lengths[-1])),
        days=tuple(
            Day(day, float(np.exp(y)), float(np.exp(y)) * size(c), p.band.flat_length_m, _loss(p), n)
            for day, y, c, p, n in zip(on, seen, changes, profiles, reps, strict=True)
        ),
        per_month=per_month,
        per_thousand=drift(np.array(reps) / 1000, seen, changes) if max(reps) >= LEAST_REPS else None,
        reps_since=since,
        look_again=look_again(last, per_month),
        reps_left=max(LOOK_REPS - since, 0),
    )


def _loss(profile: Profile) -> float | None:
    return profile.hysteresis.loss_ratio if profile.hysteresis else None


def drift(along: Array, seen: Array, changes: Sequence[dict[str, float]]) -> Drift | None:
    """Slope of a straight line through the first calibration's point, None where nothing lies along.

    Args:
        along: Months or thousands of repetitions since the first, shape (n,).
        seen: Logarithm of the level to the first one, shape (n,).
        changes: What one standard deviation of each source does to each of them, n.

    By generalised least squares, with the errors of the first calibration in all the others.
    """
    if len(seen) < 2 or np.ptp(along) == 0:
        return None
    keys = sorted({key for change in changes for key in change})
    effects = np.array([[change.get(key, 0.0) for key in keys] for change in changes[1:]])
    weighed = np.linalg.solve(effects @ effects.T, along[1:])
    spread = 1 / float(weighed @ along[1:])
    return Drift(spread * float(weighed @ seen[1:]), spread**0.5)


def look_again(last: date | None, per_month: Drift | None = None) -> date | None:
    """The day to measure again: before a change worth seeing could have come by.

    Args:
        last: The last calibration; None where it was not noted.
        per_month: Drift seen so far; None takes the usual months.
    """
    if last is None:
        return None
    days = LOOK_MONTHS * DAYS_PER_MONTH
    if per_month is not None:
        fastest = abs(per_month.value) + NORMAL_95 * per_month.u
        days = min(max(WORTH_SEEING / fastest * DAYS_PER_MONTH, SOONEST), LATEST) if fastest else LATEST
    return last + timedelta(days=round(days))


def history_json(found: History) -> dict[str, Any]:
    """The history as other programs read it."""
    return {
        "band": found.band,
        "over_m": [_rounded(x) for x in found.over],
        "calibrations": [
            {
                "on": d.on.isoformat() if d.on else None,
                "level_ratio": _rounded(d.level_ratio),
                "u_level_ratio": _rounded(d.u_level_ratio),
                "flat_length_m": _rounded(d.flat_length),
                "loss_ratio": None if d.loss_ratio is None else _rounded(d.loss_ratio),
                "reps": d.reps,
            }
            for d in found.days
        ],
        "drift_per_month": _drift_json(found.per_month),
        "drift_per_1000_reps": _drift_json(found.per_thousand),
        "reps_since": found.reps_since,
        "look_again": found.look_again.isoformat() if found.look_again else None,
        "reps_left": found.reps_left,
    }


def _drift_json(found: Drift | None) -> dict[str, float] | None:
    return None if found is None else {"relative": _rounded(found.value), "u": _rounded(found.u)}


def _rounded(value: float) -> float:
    return float(f"{value:.7g}")
