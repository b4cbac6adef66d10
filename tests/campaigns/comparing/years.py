"""One band, two calibrations a year apart: the temperature, a scale that wanders, and at the end days and a change."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np

from calib.errors import DataError
from calib.profile.build import fit_profile
from calib.profile.document import Profile
from calib.records import Array, CheckLoad, Row, Run
from calib.units import G_STANDARD
from calib.use.bands.compare import Comparison, compare
from tests.campaigns.simulated_bands.laws import Loading
from tests.campaigns.simulated_bands.measuring import (
    GearErrors,
    TrueBand,
    draw_band,
    draw_errors,
    generator,
    record,
    shown,
)
from tests.campaigns.simulated_bands.worlds import World

DAY_GAIN = 0.01  # sd of one day: two days differ by 1.4 %
PER_K, U_PER_K = 0.0025, 0.001  # of the band, as the profile takes it
WARM, SPREAD = 20.0, 4.0  # degree Celsius
WANDER = 0.001 * 12**0.5  # of the scale's gain in a year
DAYS = datetime(2026, 3, 1, 10, tzinfo=UTC), datetime(2027, 3, 1, 10, tzinfo=UTC)
CHECKS = "simulated/2026-02-27", "simulated/2027-02-27"
PLATE = 10.0  # kg
DRAWS = 25


@dataclass(frozen=True)
class Case:
    """What lies between the two calibrations."""

    plate: bool = False  # a known plate weighed both times
    rechecked: bool = False  # the scale was checked again in between


def try_year(world: World, case: Case, number: int) -> Comparison | None:
    """Measure a band twice and compare; None where a run was refused."""
    try:
        return compare(*two_calibrations(world, case, number))
    except DataError:
        return None


def two_calibrations(world: World, case: Case, number: int) -> tuple[Profile, Profile]:
    """The same band on two days."""
    rng = generator(world, number, purpose=3)
    truth, first = draw_band(world, rng), draw_errors(world.gear, rng, shared_perfect=False)
    fresh = draw_errors(world.gear, rng, shared_perfect=False)
    wandered = fresh.gain if case.rechecked else first.gain + WANDER * rng.standard_normal()
    errors = first, replace(fresh, gain=wandered, tape_scale=first.tape_scale)
    coefficient = PER_K + U_PER_K * rng.standard_normal()
    profiles = []
    for i in range(2):
        warm = WARM + SPREAD * rng.standard_normal()
        level = 1 + coefficient * (warm - WARM)
        run = record(world, scaled(truth, level), errors[i], "B1", rng)
        profiles.append(fit_profile([_on_day(run, world, case, errors[i], warm, i)]))
    return profiles[0], profiles[1]


def _on_day(run: Run, world: World, case: Case, errors: GearErrors, warm: float, i: int) -> Run:
    head = replace(run.head, started=DAYS[i], procedure=replace(run.head.procedure, temperature=round(warm, 1)))
    if head.scale is not None and case.rechecked:
        head = replace(head, scale=replace(head.scale, check=CHECKS[i]))
    rows = run.rows
    if case.plate:
        head = replace(head, check_load=CheckLoad("P10", PLATE, 0.02))
        pull = PLATE * G_STANDARD * (-1 if world.gear.method == "anchor-on-scale" else 1)  # there it adds to the anchor
        weighed = Row(0, "check-load", force=shown(world.gear, errors, pull))
        rows = tuple(replace(row, number=n) for n, row in enumerate((*rows, weighed, weighed), start=1))
    return replace(run, name=f"B1.{i}.run.csv", head=head, rows=rows)


def scaled(truth: TrueBand, level: float) -> TrueBand:
    def by(law: Callable[[Array], Array]) -> Loading:
        return lambda stretch: level * law(stretch)

    back = truth.law_back
    return replace(truth, law=by(truth.law), law_back=None if back is None else lambda s, top: level * back(s, top))


@dataclass(frozen=True)
class Shares:
    """Of comparisons: called changed, and with limits that hold the true ratio."""

    flagged: float
    holds: float


def shares(found: list[Comparison], change: float, day: float = DAY_GAIN) -> Shares:
    """What comes of comparisons where the band changed, and pulls more or less on each of the two days.

    A day is a gain of all that is read on it, and so is a change: both scale the second curve, and are put on its ratio
    here, `DRAWS` days to each pair of calibrations.

    Args:
        found: Of bands that did not change, played without days.
        change: Relative, of the band.
        day: How much it differs from day to day, as the sd of one day.
    """
    first, second = 1 + day * np.random.default_rng(3).standard_normal((2, DRAWS, len(found)))
    times = (1 + change) * second / first
    ratio = times * [c.level_ratio for c in found]
    limit = times * [c.k * c.u_level_ratio for c in found]
    return Shares(float((np.abs(ratio - 1) > limit).mean()), float((np.abs(ratio - 1 - change) <= limit).mean()))
