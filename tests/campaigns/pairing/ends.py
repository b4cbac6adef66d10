"""Two simulated bands end to end: does a difference by tape alone hold, and a profile told by a better one?"""

from dataclasses import dataclass, replace
from math import log1p

import numpy as np

from calib.errors import DataError
from calib.profile.build import fit_profile
from calib.profile.document import Profile
from calib.records import Run
from calib.use.bands.pair import pair_up
from calib.use.bands.series import ratio_of
from calib.use.bands.series_profile import tightened
from calib.use.bands.shared_lengths import NORMAL_95
from tests.campaigns.pairing.boxes import sibling
from tests.campaigns.simulated_bands.measuring import TrueBand, draw_band, draw_errors, generator, record
from tests.campaigns.simulated_bands.worlds import BY_NAME, CELL, FINE
from tests.use.bands.hooked import simulated

PLACES = 7


@dataclass(frozen=True)
class Told:
    """One band by a hanging scale, its reference by a load cell, and the two hooked to each other."""

    by_tape: bool  # the interval of the ratio holds
    pair_held: bool
    pair_sharper: float  # u with the series over u without
    alone: list[bool]  # the band's own intervals hold, at some lengths
    told: list[bool]  # with the series worked in
    sharper: list[float]  # u with over u without


def try_ends(number: int) -> Told | None:
    """Measure, hook, and compare with the truth; None where a run was refused."""
    world = BY_NAME["hook"]
    rng = generator(world, number, purpose=5)
    first = draw_band(world, rng)
    a, b = sibling(first, rng, 1.0), sibling(first, rng, 1.0)
    better = replace(world, gear=CELL, spread=FINE, cycles=3)
    try:
        mine = fit_profile([record(world, a, draw_errors(world.gear, rng, shared_perfect=False), "B01", rng)])
        run = record(better, b, draw_errors(CELL, rng, shared_perfect=False), "B02", rng)
        reference = fit_profile([_by_another_scale(run)])
        series = simulated((a, b), (mine.band.flat_length_m, reference.band.flat_length_m), rng)
        ratio, told = ratio_of(series), tightened(mine, [reference], [series], [])
    except DataError:  # very unlike bands: one hangs beyond its tested lengths
        return None
    true = log1p(ratio.relative) - float(np.log(_pull(a, ratio.length) / _pull(b, ratio.length)))
    plain, sure = pair_up([mine, reference]), pair_up([mine, reference], series=[series])
    over = np.linspace(*plain.over, 101)
    grid = mine.branches.loading.length_m
    at = [float(x) for x in np.linspace(grid[0], grid[-1], PLACES)]
    return Told(
        by_tape=abs(true) <= NORMAL_95 * ratio.u,
        pair_held=float(np.abs(a.loading(over) - b.loading(over)).max()) <= sure.pairs[0].upper95,
        pair_sharper=sure.pairs[0].u / plain.pairs[0].u,
        alone=[_holds(mine, a, x) for x in at],
        told=[_holds(told, a, x) for x in at],
        sharper=[told.estimate(x).u / mine.estimate(x).u for x in at],
    )


def _by_another_scale(run: Run) -> Run:
    scale = run.head.scale
    assert scale is not None
    return replace(run, head=replace(run.head, scale=replace(scale, id="cell", check="cell/2026-02-01")))


def _pull(band: TrueBand, length: float) -> float:
    return float(band.loading(np.array(length)))


def _holds(profile: Profile, truth: TrueBand, length: float) -> bool:
    at = profile.estimate(length)
    return abs(at.force - _pull(truth, length)) <= at.u95


def summary(found: list[Told]) -> str:
    """The shares in words."""

    def share(values: list[bool]) -> str:
        return f"{np.mean(values):.1%}"

    return (
        f"{len(found)} bands end to end with a reference: by tape alone the interval holds in "
        f"{share([t.by_tape for t in found])}; a pair's limit in {share([t.pair_held for t in found])}, its u "
        f"{np.mean([t.pair_sharper for t in found]):.2f} of that without; a profile's intervals in "
        f"{share([h for t in found for h in t.told])} ({share([h for t in found for h in t.alone])} without), its u "
        f"{np.mean([s for t in found for s in t.sharper]):.2f} of that without"
    )
