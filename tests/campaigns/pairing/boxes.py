"""Boxes of nominally equal bands measured with one set of gear, paired, and compared with the truth."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from calib.errors import DataError
from calib.profile.build import fit_profile
from calib.profile.document import Profile
from calib.records import Array
from calib.use.bands.matching import upper_limits
from calib.use.bands.pair import pair_up
from calib.use.bands.shared_lengths import Over, common_lengths, curve_at
from tests.campaigns.simulated_bands.laws import Loading
from tests.campaigns.simulated_bands.measuring import TrueBand, draw_band, draw_errors, generator, record
from tests.campaigns.simulated_bands.worlds import World

LEVELS = 0.08  # sd of the level of nominally equal bands
LENGTHS_SD = 0.02  # sd of their flat length
SHAPES = 0.01  # sd of each band's own departure from the shape they share
FINE = 201  # lengths at which the truth is looked at


@dataclass(frozen=True)
class Box:
    """Bands of a box, measured, and the truth."""

    profiles: list[Profile]
    truths: dict[str, TrueBand]


@dataclass(frozen=True)
class Outcome:
    """What one box showed of its chosen pairs, and of every other."""

    held: list[bool]  # the limit holds the true largest difference
    true_share: list[float]  # true largest difference over the mean pull
    limit_share: list[float]
    from_full_u: list[float]  # the limit with nothing shared, over the limit
    seen_held: list[bool]  # the difference seen is no less than the true one


def measured_box(world: World, number: int, bands: int, spread: float = 1.0) -> Box:
    """Draw a box and measure each band, with the same scale and tape.

    Args:
        world: The gear, and the law that the bands of the box share.
        number: The same number gives the same box.
        bands: How many.
        spread: Of levels and shapes, in parts of what bands usually have.
    """
    rng = generator(world, number, purpose=2)
    first, gear = draw_band(world, rng), draw_errors(world.gear, rng, shared_perfect=False)
    truths, profiles = {}, []
    for i in range(bands):
        truth = sibling(first, rng, spread)
        own = draw_errors(world.gear, rng, shared_perfect=True)
        errors = replace(own, gain=gear.gain, tape_scale=gear.tape_scale)
        run = record(world, truth, errors, f"B{i + 1:02d}", rng)
        profiles.append(fit_profile([run]))
        truths[run.name] = truth
    return Box(profiles, truths)


def sibling(first: TrueBand, rng: np.random.Generator, spread: float) -> TrueBand:
    """A band of the same nominal size: another level, flat length and, a little, shape."""
    level, tilt = 1 + spread * LEVELS * rng.standard_normal(), spread * SHAPES * rng.standard_normal()
    top = first.top / first.rest
    rest = first.rest * (1 + spread * LENGTHS_SD * rng.standard_normal())

    def changed(law: Callable[[Array], Array]) -> Loading:
        return lambda stretch: law(stretch) * level * (1 + tilt * 2 * (stretch - 1) / (top - 1) - tilt)

    back = first.law_back
    way_back = None if back is None else lambda s, t: changed(lambda x: back(x, t))(s)
    return TrueBand(rest, first.top, changed(first.law), way_back)


def try_box(world: World, number: int, bands: int = 12, spread: float = 1.0) -> Outcome | None:
    """Pair one box over its middle lengths; None where a band was refused."""
    try:
        box = measured_box(world, number, bands, spread)
    except DataError:
        return None
    everything = common_lengths(box.profiles, None, 3)
    over: Over = (0.75 * everything[0] + 0.25 * everything[-1], float(everything[-1]))
    pairing = pair_up(box.profiles, over)
    by_id = {p.band.id: p for p in box.profiles}
    at = np.linspace(*over, FINE)
    out = Outcome([], [], [], [], [])
    for pair in pairing.pairs:
        a, b = (box.truths[name].loading(at) for name in pair.bands)
        true = float(np.abs(a - b).max())
        out.held.append(true <= pair.upper95)
        out.seen_held.append(true <= abs(pair.largest))
        out.true_share.append(true / pair.pull)
        out.limit_share.append(pair.upper95 / pair.pull)
        out.from_full_u.append(_with_nothing_shared([by_id[name] for name in pair.bands], over) / pair.upper95)
    return out


def _with_nothing_shared(two: list[Profile], over: Over) -> float:
    """The limit from the full U of each band. [N]"""
    lengths = common_lengths(two, over, 11)
    curves = [curve_at(p, lengths) for p in two]
    alone = [replace(c, sources={f"{c.name}:{key}": s for key, s in c.sources.items()}) for c in curves]
    return float(upper_limits(alone)[0, 1])
