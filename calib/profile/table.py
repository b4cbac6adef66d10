"""What a stored curve says between its grid points: force, u, covariance, the inverse. Files are not known here.

Straight lines between grid points; u95 follows from the ratio u95 / u. Plain Python: a few numbers do not need arrays,
and reading a profile stays fast.
"""

from bisect import bisect_right
from collections.abc import Sequence
from itertools import pairwise
from math import exp, hypot, log, sqrt
from typing import Literal, NamedTuple, Protocol

from calib.errors import DataError, OutOfRangeError
from calib.frozen import dataclass
from calib.units import G_STANDARD

BranchName = Literal["loading", "unloading"]
BRANCHES: tuple[BranchName, BranchName] = ("loading", "unloading")

U_EXPONENT = 0.25
"""Standard uncertainty of the exponent a curve is continued with beyond its tested lengths.

The curve goes on as a power of g = l - 1/l^2 (a neo-Hookean band has the exponent one). Real rubber bends away from
any power: between stretch 1.9 and 4.1 the table of L. R. G. Treloar, Trans. Faraday Soc. 40 (1944) 59, for vulcanised
rubber departs by 0.08 to 0.39 in the exponent (tests/profile/test_table.py); beyond, it stiffens faster still.
"""
FARTHEST = 0.25  # of the tested span beyond its top: at half of it the limits held half of the time


class BranchGrid(Protocol):
    """One branch on its grid; every list has the same length."""

    @property
    def length_m(self) -> tuple[float, ...]: ...  # noqa: D102
    @property
    def force_N(self) -> tuple[float, ...]: ...  # noqa: D102, N802
    @property
    def u_N(self) -> tuple[float, ...]: ...  # noqa: D102, N802
    @property
    def u95_N(self) -> tuple[float, ...]: ...  # noqa: D102, N802


class SharedShift(Protocol):
    """The signed shift of both branches that one independent source causes."""

    @property
    def key(self) -> str | None: ...  # noqa: D102
    @property
    def loading_N(self) -> tuple[float, ...]: ...  # noqa: D102, N802
    @property
    def unloading_N(self) -> tuple[float, ...] | None: ...  # noqa: D102, N802


class CurveTables(Protocol):
    """Both branches with the factors of their uncertainty."""

    def branch(self, name: BranchName) -> BranchGrid | None: ...  # noqa: D102
    @property
    def factors(self) -> Sequence[SharedShift]: ...  # noqa: D102


@dataclass(frozen=True)
class ForceEstimate:
    """A pull with its uncertainty."""

    force: float  # [N]
    u: float  # [N]
    u95: float  # [N] half-width of the 95 % interval
    slope: float  # [N/m] dF/dL there


@dataclass(frozen=True)
class LengthEstimate:
    """The half-path length at which a pull is reached."""

    length: float  # [m]
    u: float  # [m]
    u95: float  # [m]


@dataclass(frozen=True)
class Difference:
    """The pull of one profile less that of another, at one length each."""

    force: float  # [N]
    u: float  # [N] what both share is left out
    u95: float  # [N]


class CurvePlace(NamedTuple):
    """A point on a curve."""

    branch: BranchName
    length: float  # [m] half-path


def tested_range(table: BranchGrid) -> tuple[float, float]:
    """First and last tested half-path length. [m]"""
    return table.length_m[0], table.length_m[-1]


def holds(table: BranchGrid, length: float) -> bool:
    """Whether a length was tested; rounding of the last digit does not exclude an end."""
    first, last = tested_range(table)
    return first - 1e-6 <= length <= last + 1e-6


def interpolate(length: float, grid: Sequence[float], values: Sequence[float]) -> float:
    """A straight line between neighbours; the ends hold beyond the grid.

    Args:
        length: Where. [m]
        grid: Rising lengths, shape (n,). [m]
        values: Shape (n,), in any unit, which is the result's.
    """
    i = _segment(length, grid)
    part = min(max((length - grid[i]) / (grid[i + 1] - grid[i]), 0.0), 1.0)
    return values[i] + part * (values[i + 1] - values[i])


def estimate(table: BranchGrid, length: float) -> ForceEstimate:
    """Pull at a tested length.

    Args:
        table: The branch.
        length: Half-path length. [m]

    Raises:
        OutOfRangeError: The length was not tested.
    """
    if not holds(table, length):
        first, last = tested_range(table)
        raise OutOfRangeError(
            f"{length:.4g} m is outside the tested lengths",
            remedy=f"a half-path length from {first:.4g} to {last:.4g} m would have worked",
        )
    u = interpolate(length, table.length_m, table.u_N)
    ratios = [wide / narrow if narrow else 2.0 for wide, narrow in zip(table.u95_N, table.u_N, strict=True)]
    return ForceEstimate(
        force=interpolate(length, table.length_m, table.force_N),
        u=u,
        u95=u * interpolate(length, table.length_m, ratios),
        slope=_slope(table, _segment(length, table.length_m)),
    )


def continued(table: BranchGrid, length: float, rest: float) -> ForceEstimate:
    """Pull at a length that was not tested, with an uncertainty that grows with the distance.

    Args:
        table: The branch.
        length: Half-path length beyond either end. [m]
        rest: Half-path length of the unloaded band. [m]

    The branch goes on as a power of g = l - 1/l^2 with the exponent it ends with. To the relative u of the end is
    added, as a root sum of squares, 0.25 ln(g / g_end): the exponent's own uncertainty. U95 is at least 2 u.

    Raises:
        OutOfRangeError: The band is slack there, or the length is too far beyond the top.
    """
    first, last = tested_range(table)
    farthest = last + FARTHEST * (last - first)
    if not rest < length <= farthest:
        raise OutOfRangeError(
            f"{length:.4g} m is too far from the tested lengths even to extrapolate",
            remedy=f"a half-path length above {rest:.4g} m and up to {farthest:.4g} m would have worked",
        )
    if holds(table, length):
        return estimate(table, length)
    at, inner = (0, 1) if length < first else (-1, -2)
    end = _pull(table.length_m[at], rest), table.force_N[at]
    near = _pull(table.length_m[inner], rest), table.force_N[inner]
    if min(*end, *near) <= 0:
        raise OutOfRangeError(
            "the curve ends at no pull and cannot be continued", remedy="choose a length within the tested range"
        )
    exponent = log(end[1] / near[1]) / log(end[0] / near[0])
    distance = log(_pull(length, rest) / end[0])
    force = end[1] * exp(exponent * distance)
    u = force * hypot(table.u_N[at] / end[1], U_EXPONENT * distance)
    ratio = max(2.0, table.u95_N[at] / table.u_N[at] if table.u_N[at] else 2.0)
    l = length / rest  # noqa: E741
    return ForceEstimate(force, u, ratio * u, force * exponent * (1 + 2 / l**3) / (l - 1 / l**2) / rest)


def length_at(table: BranchGrid, force: float) -> LengthEstimate:
    """The half-path length at which a branch reaches a pull.

    Args:
        table: The branch.
        force: The pull. [N]

    Raises:
        OutOfRangeError: The branch never pulls that much, or that little.
        DataError: It reaches the pull at more than one length.
    """
    pulls = table.force_N
    crossed = [i for i, (a, b) in enumerate(pairwise(pulls)) if min(a, b) <= force < max(a, b)]
    if not crossed and abs(force - pulls[-1]) <= 1e-6 * abs(force):
        crossed = [len(pulls) - 2]
    if not crossed:
        low, high = min(pulls), max(pulls)
        raise OutOfRangeError(
            f"{force / G_STANDARD:.4g} kg ({force:.4g} N) is outside the tested pulls",
            remedy=f"a pull from {low / G_STANDARD:.4g} to {high / G_STANDARD:.4g} kg "
            f"({low:.4g} to {high:.4g} N) would have worked",
        )
    if len(crossed) > 1:
        raise DataError(
            f"the pull {force:.4g} N is reached at more than one length", remedy="look at the curve with show"
        )
    i, grid = crossed[0], table.length_m
    length = grid[i] + (force - pulls[i]) / (pulls[i + 1] - pulls[i]) * (grid[i + 1] - grid[i])
    here = estimate(table, length)
    return LengthEstimate(length, here.u / abs(here.slope), here.u95 / abs(here.slope))


def shift(factor: SharedShift, curve: CurveTables, place: CurvePlace) -> float:
    """Shift of the curve at a point that one standard deviation of one source causes. [N]"""
    table = curve.branch(place.branch)
    values = factor.loading_N if place.branch == "loading" else factor.unloading_N
    if table is None or values is None:
        raise DataError(f"the {place.branch} branch was not measured", remedy="use the loading branch")
    return interpolate(place.length, table.length_m, values)


def covariance(curve: CurveTables, first: CurvePlace, second: CurvePlace) -> float:
    """Covariance of the pulls at two points of one curve. [N2]"""
    if first == second:
        return estimate(_table(curve, first), first.length).u ** 2
    return sum(shift(f, curve, first) * shift(f, curve, second) for f in curve.factors)


def shared_covariance(a: CurveTables, at_a: CurvePlace, b: CurveTables, at_b: CurvePlace) -> float:
    """Covariance of the pulls of two bands: what they share is named by equal keys, nothing else. [N2]

    Args:
        a: One curve.
        at_a: Where on it.
        b: The other.
        at_b: Where on it.
    """
    of_b: dict[str, list[SharedShift]] = {}
    for factor in b.factors:
        if factor.key is not None:
            of_b.setdefault(factor.key, []).append(factor)
    return sum(
        shift(f, a, at_a) * shift(g, b, at_b) for f in a.factors if f.key is not None for g in of_b.get(f.key, ())
    )


def difference(
    a: CurveTables, at_a: tuple[BranchName, float], b: CurveTables, at_b: tuple[BranchName, float]
) -> Difference:
    """Pull of band a less that of band b, sharp where both were measured with the same gear.

    Args:
        a: One curve.
        at_a: Branch and half-path length on it, as ("loading", 1.6). [m]
        b: Another band's curve.
        at_b: The same on that one.
    """
    at_a, at_b = CurvePlace(*at_a), CurvePlace(*at_b)
    x, y = estimate(_table(a, at_a), at_a.length), estimate(_table(b, at_b), at_b.length)
    u = sqrt(max(x.u**2 + y.u**2 - 2 * shared_covariance(a, at_a, b, at_b), 0.0))
    ratio = max(e.u95 / e.u if e.u else 2.0 for e in (x, y))
    return Difference(x.force - y.force, u, ratio * u)


def _table(curve: CurveTables, place: CurvePlace) -> BranchGrid:
    table = curve.branch(place.branch)
    if table is None:
        raise DataError(f"the {place.branch} branch was not measured", remedy="use the loading branch")
    return table


def _segment(length: float, grid: Sequence[float]) -> int:
    return min(max(bisect_right(grid, length) - 1, 0), len(grid) - 2)


def _slope(table: BranchGrid, i: int) -> float:
    return (table.force_N[i + 1] - table.force_N[i]) / (table.length_m[i + 1] - table.length_m[i])


def _pull(length: float, rest: float) -> float:
    stretch = length / rest
    return stretch - stretch**-2
