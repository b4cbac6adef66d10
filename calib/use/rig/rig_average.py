"""The straight weight that equals a rig: the same load at the bottom, at the top, or on average over the lift.

The rig itself is worked out elsewhere.
"""

from dataclasses import replace
from typing import Literal

import numpy as np

from calib.gravity import local_gravity
from calib.records import Array
from calib.use.rig.rig_curve import RigSource
from calib.use.rig.rig_sum import Known, RigPull, WeightedPull, add
from calib.use.rig.statics import Direction, RigLoad

Of = Literal["bottom", "top", "average"]
OFS: tuple[Of, ...] = ("bottom", "top", "average")


def load_of(answer: RigLoad, direction: Direction, of: Of) -> Known:
    """One load of a way of the lift, with its uncertainty, as arrays of one. [kg]

    Args:
        answer: The rig.
        direction: Going up or coming down.
        of: Where; "average" is over the heights, so that the work of the lift is the same.
    """
    if of != "average":
        at, load = (0 if of == "bottom" else -1), direction.load
        return Known(*(np.array([getattr(load, name)[at]]) for name in ("value", "u", "low", "high", "next_u95")))
    _, u_g = local_gravity(answer.rig.bar.latitude_deg, answer.rig.bar.altitude)
    mean = add([WeightedPull(_mean(pull), 1.0 / answer.gravity) for pull in direction.bands], 1, relative=u_g)
    weight = answer.rig.weight_kg
    return Known(mean.value + weight, mean.u, mean.low + weight, mean.high + weight, mean.next_u95)


def over_the_lift(values: Array) -> Array:
    """Mean over evenly spaced heights, the last axis; a straight line between them."""
    found: Array = (values.sum(axis=-1) - (values[..., 0] + values[..., -1]) / 2) / (values.shape[-1] - 1)
    return found


def _mean(pull: RigPull) -> RigPull:
    """A band's pull averaged over the heights, as far as a sum of pulls needs it.

    Each source shifts all heights at once, so its shifts average too.
    """

    def mean(values: Array) -> Array:
        return np.array([over_the_lift(values)])

    shifts = over_the_lift(np.array([s.shift for s in pull.sources]))[:, None]
    return replace(
        pull,
        tension=mean(pull.tension),
        down=mean(pull.down),
        next_u=mean(pull.next_u),
        sources=tuple(RigSource(s.key, shift, s.one_sided) for s, shift in zip(pull.sources, shifts, strict=True)),
        ratio=np.array([pull.ratio.max()]),
        drawn={},
    )
