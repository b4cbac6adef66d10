"""The fitted curve as tables that a straight line can be drawn through: grid, forces, u, factors and rest.

Linear interpolation between grid points is off by less than a tenth of u; a factor is the signed shift of both branches
that one standard deviation of one independent source causes. Files are not known here.
"""

import numpy as np
from numpy.typing import NDArray

from calib.fit.curve.straight import departures
from calib.fit.curve.tension_curve import UNREAD, UNSEEN_SLIP, FittedCurve
from calib.records import Array, BranchTable, Factor, TensionCurve
from calib.versioned import MOST_FACTORS

MOST_NAMED = 12  # of them for named sources
FIRST_GRID = 25
LARGEST_GRID = 400
LINEAR_WITHIN = 0.08  # of u: a straight line between neighbours is off by less than this (a tenth is promised)
SMALL = 1e-3  # an own factor below this share of u everywhere is left to the rest


def tabulate(curve: FittedCurve) -> TensionCurve:
    """Tables of both branches on one grid where they overlap."""
    grid = _grid(curve)
    branches = [(False, curve.loading)] + ([(True, curve.unloading)] if curve.unloading else [])
    pieces = []
    for unloading, (first, last) in branches:
        length = grid[(grid >= first) & (grid <= last)]
        force, gradient = curve.rows(length, unloading)
        pieces.append((length, force, force[:, None] * gradient, gradient))
    rows = np.vstack([t for _, _, t, _ in pieces])
    told = _told_apart(curve, rows)
    named, own = _factors(curve, rows, told)
    variance = np.einsum("ij,ij->i", rows @ curve.covariance, rows)
    shifts = np.hstack([named, own])
    rest = np.sqrt(np.maximum(variance - (shifts**2).sum(axis=1), 0))
    names = [(curve.sources[i].name, curve.sources[i].key) for i in told]
    names += [(f"own {i + 1}", None) for i in range(own.shape[1])]
    if curve.apart is not None:
        unseen = np.concatenate([force * curve.unseen_slip(gradient) for _, force, _, gradient in pieces])
        shifts, names = np.column_stack([shifts, unseen]), [*names, (UNSEEN_SLIP, None)]
        variance = variance + unseen**2
    bends = np.vstack([force[:, None] * curve.bends(length) for length, force, _, _ in pieces])
    shifts, names = np.hstack([shifts, bends]), [*names, *((f"{UNREAD} {i + 1}", None) for i in range(bends.shape[1]))]
    variance = variance + (bends**2).sum(axis=1)
    split = len(pieces[0][0])
    tables, start = [], 0
    for length, force, _, gradient in pieces:
        here = slice(start, start + len(length))
        u = np.sqrt(variance[here])
        tables.append(BranchTable(length, force, u, force * curve.limits(length, gradient), rest[here]))
        start += len(length)
    return TensionCurve(
        tables[0],
        tables[1] if len(tables) > 1 else None,
        tuple(
            Factor(source, key, shifts[:split, i], shifts[split:, i] if len(tables) > 1 else None)
            for i, (source, key) in enumerate(names)
        ),
    )


def _told_apart(curve: FittedCurve, rows: Array) -> list[int]:
    """Sources that get a factor of their own: those with a key first, then the largest, while there is room.

    Many joined runs have more sources than a profile has factors; what is left over counts among the own ones.
    """
    size = np.abs(rows @ curve.effects).max(axis=0)
    order = sorted(range(len(curve.sources)), key=lambda i: (curve.sources[i].key is None, -size[i]))
    return sorted(order[:MOST_NAMED])


def _factors(curve: FittedCurve, rows: Array, told: list[int]) -> tuple[Array, Array]:
    """Shifts by the sources told apart and by the own ones, shapes (n, s) and (n, at most 16 - s).

    The own part is the rest of the covariance, cut into independent pieces, largest first.
    """
    effects = curve.effects[:, told]
    named = rows @ effects
    own = curve.covariance - effects @ effects.T
    values, vectors = np.linalg.eigh(0.5 * (own + own.T))
    half = rows @ (vectors * np.sqrt(np.maximum(values, 0)))
    left, size, _ = np.linalg.svd(half, full_matrices=False)
    whole = np.sqrt((named**2).sum(axis=1) + (half**2).sum(axis=1))
    pieces = left * size
    unseen = (curve.apart is not None) + (
        0 if curve.read is None else len(curve.read) - 1
    )  # slip, bends: each a factor
    room = MOST_FACTORS - named.shape[1] - unseen
    kept = [i for i in range(min(room, len(size))) if (np.abs(pieces[:, i]) > SMALL * whole).any()]
    return named, pieces[:, kept]


def _grid(curve: FittedCurve) -> Array:
    """Lengths dense enough for straight lines, both branches' ends among them. [m]"""
    ends = [*curve.loading, *(curve.unloading or ()), *(() if curve.read is None else curve.read)]
    tested = curve.basis.tested
    even = np.linspace(min(ends), max(ends), 201)
    place = tested.warped(even / curve.basis.rest)
    grid = np.union1d(np.interp(np.linspace(place[0], place[-1], FIRST_GRID), place, even), ends)
    while len(grid) < LARGEST_GRID:
        middle = 0.5 * (grid[1:] + grid[:-1])
        bent = np.zeros(len(middle), bool)
        for unloading, within in ((False, curve.loading), (True, curve.unloading)):
            if within:
                bent |= _is_bent(curve, grid, middle, unloading) & (grid[:-1] >= within[0]) & (grid[1:] <= within[1])
        if not bent.any():
            break
        grid = np.sort(np.concatenate([grid, middle[bent]]))
    return np.asarray(grid)


def _is_bent(curve: FittedCurve, grid: Array, middle: Array, unloading: bool) -> NDArray[np.bool_]:
    force, gradient = curve.rows(np.concatenate([grid, middle]), unloading)
    ends, between, by = force[: len(grid)], force[len(grid) :], gradient[len(grid) :]
    u = between * np.sqrt(np.einsum("ij,ij->i", by @ curve.covariance, by))
    bent = np.abs(between - 0.5 * (ends[1:] + ends[:-1])) > LINEAR_WITHIN * u
    at_ends = ends * np.sqrt(np.einsum("ij,ij->i", gradient[: len(grid)] @ curve.covariance, gradient[: len(grid)]))
    return np.asarray(bent | (departures(grid, ends, at_ends) > LINEAR_WITHIN))
