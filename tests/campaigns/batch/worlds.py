"""The kinds of batch and gear of the campaign, fixed beforehand. The kept-aside ones are for judging only."""

from dataclasses import replace

from tests.campaigns.batch.simulated import BatchWorld
from tests.campaigns.simulated_bands import laws
from tests.campaigns.simulated_bands.worlds import CELL, CHECKED, FAIR, FINE, HOOK, LUGGAGE, PLAIN, ROUGH

WORLDS = (
    BatchWorld("tube", laws.extended_tube, laws.two_reaches, HOOK, PLAIN),
    BatchWorld("ogden", laws.ogden, laws.additive, CHECKED, PLAIN),
    BatchWorld("stiff", laws.stiff_start, laws.proportional, HOOK, ROUGH),
    BatchWorld("curled", laws.curled, laws.energy_softening, HOOK, PLAIN),
    BatchWorld("luggage", laws.extended_tube, laws.additive, LUGGAGE, ROUGH),
    BatchWorld("same-shape", laws.ogden, laws.proportional, FAIR, PLAIN, own_shape=0.0),
    BatchWorld("own-shapes", laws.extended_tube, laws.two_reaches, FAIR, PLAIN, own_shape=0.015),
    BatchWorld("loss", laws.yeoh, laws.great_loss, HOOK, PLAIN, kept_aside=True),
    BatchWorld("layer", laws.second_layer, laws.bulging, HOOK, PLAIN, kept_aside=True),
    BatchWorld("cell", laws.exponential, laws.two_reaches, CELL, FINE, kept_aside=True),
)
BY_NAME = {world.name: world for world in WORLDS}


def with_odd_band(world: BatchWorld) -> BatchWorld:
    """The same kind of batch with one band whose shape departs."""
    return replace(world, name=f"{world.name}-odd", outlying=True)
