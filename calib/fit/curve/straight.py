"""How far a curve departs from straight lines between the points of its table. No curve is known here."""

import numpy as np

from calib.records import Array


def departures(length: Array, force: Array, u: Array) -> Array:
    """Departure of the curve from a straight line, in u, in each cell of a table; shape (n - 1,).

    Between x_i and x_{i+1} a line is off by F'' h^2 / 8; F'' from divided differences at both ends, their mean. The
    first and last cell, with a neighbour on one side only, are left at zero.
    """
    out = np.zeros(max(len(length) - 1, 0))
    if len(length) >= 4:
        curvature = 2 * np.diff(np.diff(force) / np.diff(length)) / (length[2:] - length[:-2])
        off = np.abs(0.5 * (curvature[1:] + curvature[:-1])) * np.diff(length)[1:-1] ** 2 / 8
        out[1:-1] = off / np.maximum(0.5 * (u[1:-2] + u[2:-1]), 1e-12)
    return out
