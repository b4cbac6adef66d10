"""A table too long for a person to have read: the trace of a logger. It is made short as a sweep at a load cell is.

Every leg out and back gives its force at even lengths, each from a straight line through the samples near it, with
their number and scatter. More readings than that would not make the fit more certain: it groups a trace in any case, as
neighbouring samples share their errors. The table stays as it is; the run says what was done.
"""

from collections.abc import Sequence
from math import ceil

import numpy as np

from calib.acquire.points.sweep import SweepPoint, legs_of, points_of
from calib.errors import DataError

LENGTHS = 40  # that are read, on each leg or in turns
MOST = 500  # readings in all, about: with many legs each is read at fewer of the lengths, the next leg at those between
PER_S = 50.0  # taken for the rate, which says over how many samples unevenness is smoothed before turns are looked for


def points_of_trace(lengths: Sequence[float], forces: Sequence[float], name: str) -> list[SweepPoint]:
    """The points of a trace, in the units given.

    Args:
        lengths: As the tape reads, shape (n,).
        forces: As indicated, shape (n,).
        name: Of the table, for an error.

    Raises:
        DataError: The length never goes out and back, or so far that nothing lies between.
    """
    t = np.arange(len(lengths)) / PER_S
    length, force = np.asarray(lengths), np.asarray(forces)
    try:
        legs = legs_of(t, length)
    except DataError as error:
        raise error.placed_at(name) from None
    at = np.linspace(length.min(), length.max(), LENGTHS + 2)[1:-1].tolist()
    every, apart = ceil(len(legs) * LENGTHS / MOST), at[1] - at[0]
    found = [
        point for leg in legs for point in points_of(t, force, length, [leg], at[leg.cycle % every :: every], apart)
    ]
    if not found or not all(np.isfinite(point.force) for point in found):
        raise DataError("has no stretch that could be followed", where=name, remedy="is it the right file?")
    return found
