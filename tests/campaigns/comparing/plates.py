"""One band, measured once, and looked at half a year later with one known plate at one length."""

from math import hypot

import numpy as np
from scipy.optimize import brentq

from calib.errors import DataError, OutOfRangeError
from calib.fit.gear.known_loads import LoadKind, usual
from calib.gravity import U_PLACE_UNKNOWN
from calib.profile.build import fit_profile
from calib.profile.store.rechecks import Hung
from calib.units import G_STANDARD
from calib.use.bands.recheck import U_COMMON, U_READING, JudgedRecheck, recheck
from tests.campaigns.comparing.years import DAY_GAIN, PER_K, SPREAD, U_PER_K, WARM, scaled
from tests.campaigns.simulated_bands.measuring import BAND_MASS, draw_band, draw_errors, generator, record
from tests.campaigns.simulated_bands.worlds import World

MEASURED_AT = 21.0  # degree Celsius
STEP = 1.25  # kg, the smallest pair of plates


def try_plate(world: World, load: LoadKind, change: float, number: int, day: float = DAY_GAIN) -> JudgedRecheck | None:
    """Measure a band, let it change, hang a plate near stretch 1.5; None where run or plate was refused.

    Args:
        world: The band, and the gear it is measured with.
        load: What the plate's mass is good for.
        change: Relative, of the band.
        number: The same number gives the same band.
        day: How much the band differs from day to day, as the sd of one day.
    """
    rng = generator(world, number, purpose=6)
    truth, errors = draw_band(world, rng), draw_errors(world.gear, rng, shared_perfect=False)
    warm = round(WARM + SPREAD * rng.standard_normal(), 1)
    per_k = PER_K + U_PER_K * rng.standard_normal()
    own = world.spread.cycle_gain * rng.standard_normal() + 2**0.5 * day * rng.standard_normal()
    today = scaled(truth, 1 + change + own + per_k * (warm - MEASURED_AT))
    wanted = float(today.loading(np.array(1.5 * truth.rest))) / G_STANDARD - BAND_MASS / 2
    mass = max(round(wanted / STEP) * STEP, STEP)
    loads = usual("plate", load)
    u_mass = ((loads.u_common * mass) ** 2 + loads.u_piece(mass) ** 2) ** 0.5
    pull = (mass + u_mass * rng.standard_normal() + BAND_MASS / 2) * G_STANDARD
    pull *= 1 + U_PLACE_UNKNOWN * rng.standard_normal()
    try:
        profile = fit_profile([record(world, truth, errors, "B1", rng)])
        there = brentq(lambda x: float(today.loading(np.array(x))) - pull, 1.01 * truth.rest, truth.top)
        off = hypot(world.spread.hook_shift, U_COMMON, U_READING) * rng.standard_normal()
        return recheck(profile, Hung(mass, u_mass, "half-path", (), warm), round(there + off, 3))
    except (DataError, OutOfRangeError):
        return None
