"""What a world's score must keep to, and what it breaks. The bounds were fixed before the campaign was run."""

from collections.abc import Iterator
from dataclasses import dataclass

from calib.records import Array
from tests.campaigns.simulated_bands.scoring import PLACES, Score, SlipScore
from tests.campaigns.simulated_bands.worlds import World


@dataclass(frozen=True)
class Bounds:
    """Least and most for one world."""

    coverage: tuple[float, float]
    at_each_place: tuple[float, float]
    error_over_u: tuple[float, float]
    slip_found: float  # share, for an error of 20 %; ten times: always
    error: float | None  # rms, in share of the peak; None where no bound is set for such gear


MOST_FALSE_ALARMS = 0.02  # of clean runs
MOST_MOVED = 0.05  # of runs with a slip: the curve moved by more than its U


def bounds_of(world: World) -> Bounds:
    """The bounds for a world; wider with a single cycle."""
    error = _most_error(world)
    if world.cycles == 1:
        return Bounds((0.90, 0.99), (0.86, 0.995), (0.70, 1.25), 0.80, error)
    return Bounds((0.93, 0.98), (0.90, 0.99), (0.75, 1.15), 0.95, error)


def _most_error(world: World) -> float | None:
    gear, spread = world.gear, world.spread
    if world.cycles == 1:
        return None
    if gear.u_gain <= 0.001 and spread.cycle_gain <= 0.003:
        return 0.0035
    return 0.0055 if gear.u_gain <= 0.005 and spread.cycle_gain <= 0.006 else None


def broken(world: World, score: Score, slack: float = 0.0, ratio_slack: float = 0.0) -> Iterator[str]:
    """What a score breaks, in words.

    Args:
        world: The kind of band and gear.
        score: Its score.
        slack: Statistical tolerance of a coverage, for a small number of bands.
        ratio_slack: The same for rms of error / u, relative.
    """
    bounds = bounds_of(world)
    if score.refused:
        yield f"{score.refused} runs refused"
    for part, coverage, places, ratio in (
        ("", score.coverage, score.at_places, score.error_over_u),
        ("own part, ", score.own_coverage, score.own_at_places, score.own_error_over_u),
    ):
        yield from _outside(f"{part}coverage", coverage, bounds.coverage, slack)
        yield from _places_outside(part, places, bounds.at_each_place, slack)
        yield from _outside(f"{part}error/u", ratio, bounds.error_over_u, ratio * ratio_slack)
    if bounds.error is not None and score.error > bounds.error * (1 + ratio_slack):
        yield f"error {100 * score.error:.2f} % of peak above {100 * bounds.error:.2f} %"
    if score.false_alarms > MOST_FALSE_ALARMS + slack and world.clean:
        yield f"false alarms in {100 * score.false_alarms:.1f} % of runs"


def _outside(what: str, value: float, ends: tuple[float, float], slack: float) -> Iterator[str]:
    if not ends[0] - slack <= value <= ends[1] + slack:
        yield f"{what} {value:.3f} outside {ends[0]:g}-{ends[1]:g}"


def _places_outside(part: str, values: Array, ends: tuple[float, float], slack: float) -> Iterator[str]:
    for place, value in zip(PLACES, values, strict=False):
        yield from _outside(f"{part}{place}:", float(value), ends, slack)


def broken_by_slips(world: World, scores: list[SlipScore], slack: float = 0.0) -> Iterator[str]:
    """What the slips of a world break, in words."""
    for s in scores:
        least = 1.0 if s.factor == 10 else bounds_of(world).slip_found
        if s.found < least - slack:
            yield f"x{s.factor:g} found in {100 * s.found:.1f} % of runs, {100 * least:.0f} % wanted"
        if s.moved > MOST_MOVED + slack:
            yield f"x{s.factor:g} moves the curve by more than U in {100 * s.moved:.1f} % of runs"
