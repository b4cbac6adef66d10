"""The kinds of band and gear of the campaign, fixed beforehand. Drawing from them is done elsewhere.

Worlds marked `kept_aside` are for judging only: no constant of the fit may be chosen by looking at them.
"""

from dataclasses import dataclass, replace

from calib.records import Method
from tests.campaigns.simulated_bands import laws


@dataclass(frozen=True)
class Gear:
    """A scale or a set of weights, and a tape: what is stated of them, and drawn from it afresh for each band."""

    resolution: float  # [kgf]
    u_gain: float  # relative; of hung weights the whole set
    u_zero: float  # [kgf]
    u_reading: float  # [m]
    method: Method = "scale-in-line"
    u_each: float = 0.0  # [kg] of one hung weight


@dataclass(frozen=True)
class Spread:
    """How far repeats differ; the fitter is told none of it."""

    reading: float  # relative
    cycle_gain: float  # relative
    hook_shift: float  # [m]
    drift: float = 0.0  # relative, autocorrelated within a cycle
    swing: float = 0.0  # [kgf] heavy-tailed, of a hook scale that does not hang still


@dataclass(frozen=True)
class World:
    """One cell of the campaign."""

    name: str
    loading: laws.DrawLoading
    unloading: laws.DrawUnloading | None
    lengths: int
    cycles: int
    gear: Gear
    spread: Spread
    unloading_lengths: int | None = None  # where fewer than while loading
    kept_aside: bool = False
    clean: bool = True  # False: the noise itself throws single readings far out, so finding some is no false alarm


LUGGAGE = Gear(0.05, 0.01, 0.04, 0.002)
HOOK = Gear(0.05, 0.005, 0.02, 0.002)
FAIR = Gear(0.02, 0.005, 0.02, 0.0015)
CHECKED = Gear(0.01, 0.003, 0.01, 0.0015)
CELL = Gear(0.005, 0.001, 0.005, 0.001)
WEIGHTS = Gear(0.0, 0.002, 0.0, 0.002, method="hung-weight", u_each=0.01)
IRON = Gear(0.0, 0.002, 0.0, 0.001, method="hung-weight", u_each=0.12)  # plates as cast, nobody weighed them
PLATFORM = Gear(0.05, 0.005, 0.03, 0.002, method="anchor-on-scale")

ROUGH = Spread(0.003, 0.006, 0.0015)
PLAIN = Spread(0.003, 0.004, 0.001)
FINE = Spread(0.002, 0.003, 0.0007)

WORLDS = (
    World("tube", laws.extended_tube, laws.two_reaches, 8, 3, LUGGAGE, Spread(0.003, 0.005, 0.0015)),
    World("hook", laws.extended_tube, laws.additive, 8, 2, HOOK, ROUGH),
    World("ogden", laws.ogden, laws.additive, 8, 2, CHECKED, PLAIN),
    World("curled", laws.curled, laws.proportional, 10, 3, CELL, FINE),
    World("great-loss", laws.yeoh, laws.great_loss, 8, 2, FAIR, Spread(0.004, 0.006, 0.001)),
    World("softening", laws.extended_tube, laws.energy_softening, 8, 3, CHECKED, FINE),
    World("power", laws.power, laws.additive, 7, 3, FAIR, Spread(0.004, 0.006, 0.002)),
    World("stiff", laws.stiff_start, laws.proportional, 8, 2, FAIR, Spread(0.003, 0.005, 0.001)),
    World("inflected", laws.inflected, laws.two_reaches, 8, 3, CELL, FINE),
    World("drift", laws.extended_tube, laws.proportional, 8, 3, CELL, replace(FINE, reading=0.001, drift=0.003)),
    World("swing", laws.ogden, laws.two_reaches, 8, 3, FAIR, replace(PLAIN, reading=0.001, swing=0.06), clean=False),
    World("weights", laws.ogden, laws.proportional, 8, 2, WEIGHTS, PLAIN),
    World("plates", laws.ogden, laws.proportional, 8, 3, IRON, PLAIN),
    World("platform", laws.yeoh, laws.additive, 8, 3, PLATFORM, PLAIN),
    World("short", laws.extended_tube, laws.two_reaches, 5, 2, HOOK, ROUGH, unloading_lengths=3),
    World("one", laws.ogden, laws.additive, 8, 1, FAIR, Spread(0.003, 0.005, 0.0015)),
    World("one-stiff", laws.stiff_start, laws.energy_softening, 8, 1, LUGGAGE, Spread(0.004, 0.006, 0.0015)),
    World("peak", laws.extended_tube, None, 5, 1, LUGGAGE, Spread(0.005, 0.006, 0.0015)),
    World("layer", laws.second_layer, laws.bulging, 8, 2, FAIR, ROUGH, kept_aside=True),
    World("exponential", laws.exponential, laws.great_loss, 8, 3, CELL, FINE, kept_aside=True),
    World("curled-hook", laws.curled, laws.energy_softening, 9, 2, HOOK, ROUGH, kept_aside=True),
    World("layer-one", laws.second_layer, laws.additive, 8, 1, FAIR, PLAIN, kept_aside=True),
)
BY_NAME = {world.name: world for world in WORLDS}
