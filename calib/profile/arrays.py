"""What a stored curve says at many lengths at once, as arrays. numpy is loaded with this module, and only then.

The same straight lines as in `table`. Lengths are taken block by block, so that a block stays in the processor's cache;
the segment of a length comes from a table of buckets no wider than the narrowest segment, one comparison then decides.
"""

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calib.errors import DataError, OutOfRangeError
from calib.frozen import dataclass
from calib.profile.table import BranchGrid, continued

if TYPE_CHECKING:
    import pandas

Array = NDArray[np.float64]
BLOCK = 16_384  # lengths at once
MOST_BUCKETS = 1_000_000
SLACK = 1e-6  # [m] as in `table.holds`


@dataclass(frozen=True)
class Pulls:
    """Pulls at many lengths, each field of the shape of the lengths that were asked for.

    Attributes:
        length_m: Half-path lengths. [m]
        force_N: Pull of both legs. [N]
        u_N: Standard uncertainty (k = 1) of the band's own curve. [N]
        u95_mean_N: Half-width of its 95 % limits. [N]
        u95_next_set_N: Half-width of the 95 % limits of one set on another day. [N]
    """

    length_m: Array
    force_N: Array
    u_N: Array
    u95_mean_N: Array
    u95_next_set_N: Array

    def __repr__(self) -> str:
        span = f", {self.length_m.min():.4g} to {self.length_m.max():.4g} m" if self.length_m.size else ""
        return f"<{self.length_m.size} pulls{span}>"

    def to_dataframe(self) -> "pandas.DataFrame":
        """The same as a table with one row a length. pandas has to be installed.

        >>> profile.pulls([1.5, 1.6]).to_dataframe().columns.tolist()
        ['length_m', 'force_N', 'u_N', 'u95_mean_N', 'u95_next_set_N']
        """
        return frame_of({name: np.ravel(values) for name, values in vars(self).items()})


@dataclass(frozen=True)
class Predictions:
    """Both branches at many lengths.

    Attributes:
        length_m: Half-path lengths. [m]
        loading: Pulls while the band gets longer.
        unloading: Pulls while it gets shorter; None where that was not measured at all of the lengths.
        extrapolated: Where nobody measured.
    """

    length_m: Array
    loading: Pulls
    unloading: Pulls | None
    extrapolated: NDArray[np.bool_]


def outside(table: BranchGrid, lengths: Array) -> NDArray[np.bool_]:
    """Where lengths were not tested."""
    found: NDArray[np.bool_] = (lengths < table.length_m[0] - SLACK) | (lengths > table.length_m[-1] + SLACK)
    return found


@dataclass(frozen=True)
class Spread:
    """How one set differs from the band's own curve."""

    relative: float
    shift_m: float


def frame_of(columns: dict[str, Any]) -> "pandas.DataFrame":
    """A table of pandas.

    Raises:
        DataError: pandas is not installed.
    """
    try:
        import pandas
    except ImportError:
        raise DataError("pandas is not installed", remedy="pip install pandas") from None
    return pandas.DataFrame(columns)


def pulls_of(table: BranchGrid, lengths: ArrayLike, spread: Spread, beyond: float | None) -> Pulls:
    """Pulls at many lengths.

    Args:
        table: The branch.
        lengths: Half-path lengths, any shape. [m]
        spread: How one set differs.
        beyond: Half-path length of the unloaded band, to go beyond the tested lengths; None refuses. [m]

    Raises:
        OutOfRangeError: Some were not tested.
        DataError: Some are no numbers.
    """
    wanted = _checked(lengths)
    flat, (first, last) = wanted.ravel(), (table.length_m[0], table.length_m[-1])
    if not flat.size or (flat.min() >= first and flat.max() <= last):
        found = _lines(table, flat, spread)
    else:
        guessed = outside(table, flat)
        if beyond is None and guessed.any():
            _refuse(flat[guessed], first, last)
        found = _lines(table, np.clip(flat, first, last), spread)
        for i in np.flatnonzero(guessed):
            at = continued(table, float(flat[i]), beyond or 0.0)
            wide = np.sqrt(at.u**2 + (spread.relative * at.force) ** 2 + (spread.shift_m * at.slope) ** 2)
            found[:, i] = at.force, at.u, at.u95, wide * (at.u95 / at.u if at.u else 2.0)
    return Pulls(wanted, *(values.reshape(wanted.shape) for values in found))


def _checked(lengths: ArrayLike) -> Array:
    try:
        wanted = np.asarray(lengths, dtype=np.float64)
    except (TypeError, ValueError):
        raise DataError("the lengths are not all numbers", remedy="give half-path lengths in metres") from None
    if not np.isfinite(wanted).all():
        raise DataError("a length is not a finite number", remedy="give half-path lengths in metres")
    return wanted


def _refuse(beyond: Array, first: float, last: float) -> None:
    more = f" (and {len(beyond) - 1} more)" if len(beyond) > 1 else ""
    raise OutOfRangeError(
        f"{beyond[0]:.4g} m{more} is outside the tested lengths",
        remedy=f"half-path lengths from {first:.4g} to {last:.4g} m would have worked",
    )


def _lines(table: BranchGrid, x: Array, spread: Spread) -> Array:
    """Force, u and both limits by straight lines between the grid points, shape (4, lengths)."""
    grid, force, u, u95 = (np.asarray(v) for v in (table.length_m, table.force_N, table.u_N, table.u95_N))
    ratio = np.divide(u95, u, out=np.full(len(u), 2.0), where=u > 0)
    steps = np.diff(grid)
    slopes = [np.diff(v) / steps for v in (force, u, ratio)]
    starts = [v[:-1] - s * grid[:-1] for v, s in zip((force, u, ratio), slopes, strict=True)]
    hook = (spread.shift_m * slopes[0]) ** 2
    find, out = _Segments(grid), np.empty((4, len(x)))
    for begin in range(0, len(x), BLOCK):
        part, (f, w, mean, wide) = x[begin : begin + BLOCK], out[:, begin : begin + BLOCK]
        segment = find.segments_of(part)
        for values, start, slope in zip((f, w, mean), starts, slopes, strict=True):
            np.multiply(slope.take(segment), part, out=values)
            values += start.take(segment)
        np.multiply(f, spread.relative, out=wide)
        wide *= wide
        wide += w * w
        wide += hook.take(segment)
        np.sqrt(wide, out=wide)
        wide *= mean
        mean *= w
    return out


class _Segments:
    """Which segment of a grid a number lies in."""

    def __init__(self, grid: Array) -> None:
        span = float(grid[-1] - grid[0])
        count = int(np.ceil(span / float(np.diff(grid).min()))) + 1
        self.inner, self.last = grid[1:], len(grid) - 2
        self.buckets = None
        if count <= MOST_BUCKETS:
            self.first, self.per_m = float(grid[0]), count / span
            edges = grid[0] + np.arange(count + 1) / self.per_m
            self.buckets = np.clip(np.searchsorted(grid, edges, side="right") - 1, 0, self.last).astype(np.int64)

    def segments_of(self, x: Array) -> NDArray[np.int64]:
        """The segments, for numbers within the grid."""
        if self.buckets is None:
            return np.minimum(np.searchsorted(self.inner, x, side="right"), self.last)
        found: NDArray[np.int64] = self.buckets.take(((x - self.first) * self.per_m).astype(np.int64))
        found += x >= self.inner.take(found)
        return np.minimum(found, self.last, out=found)
