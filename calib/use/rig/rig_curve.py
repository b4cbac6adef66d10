"""A band's pull on one way of a lift: between its branches, at the rig's tempo and temperature, with what moves it.

Lengths in, pulls and their sources of uncertainty out. Where the band runs is not known here.
"""

from collections.abc import Callable
from functools import cached_property, lru_cache, partial
from math import log10
from typing import NamedTuple

import numpy as np

from calib import assumptions
from calib.errors import DataError, OutOfRangeError
from calib.frozen import dataclass
from calib.half_path import DEFAULT_THICKNESS, offset_over
from calib.itself import Itself
from calib.profile.document import Profile
from calib.profile.parts import Branch
from calib.profile.table import BranchName, continued
from calib.records import Array
from calib.use.bands.assumed import U_TEMPERATURE
from calib.use.rig.rig_file import Rig
from calib.use.rig.rig_geometry import Loop

RELAXATION = tuple(assumptions.BY_NAME[n].value for n in ("relaxation", "u_relaxation"))  # [% per decade] and its u
TOE = 0.6  # u between the slack band and the first tested length, where a straight line stands: TOE part (1 - part) of
# the first tested pull. In the middle 30 %: room for a curled start and for a stiff one. An assumption
GAP = 0.1  # of the pull, between the branches where unloading was not measured. An assumption
TURNING = 0.2  # of the tested stretch above rest: over which a band crosses from one branch to the other


class RigSource(NamedTuple):
    """Shift of the downward pull at each height that one standard deviation of one source causes."""

    key: str
    shift: Array  # [N]
    one_sided: bool = False  # then the shift is that of the far bound, reached with any share from 0 to 1


@dataclass(frozen=True)
class RigTable:
    """A branch from the slack band on: no pull at rest, then its grid."""

    length: Array
    force: Array
    ratio: Array
    made_factors: Callable[[], tuple[RigSource, ...]]
    tested: tuple[float, float]

    @cached_property
    def factors(self) -> tuple[RigSource, ...]:
        """What moves its pulls; a search over many bands asks for the pulls alone."""
        return self.made_factors()

    @cached_property
    def shifts(self) -> Array:
        """Of all factors, shape (factors, lengths)."""
        return np.array([factor.shift for factor in self.factors])


def loop_of(profile: Profile) -> Loop:
    """What the geometry needs of a band."""
    thickness = DEFAULT_THICKNESS if profile.band.thickness_m is None else profile.band.thickness_m
    fittings = profile.gear.fitting_diameters_m
    wrap = offset_over("centres", fittings, thickness) if fittings else 0.0
    return Loop(profile.band.rest_half_path_m, thickness, wrap)


class RigCurve:
    """A band's pull on one way of the lift: between its branches, at the rig's tempo and temperature."""

    def __init__(self, profile: Profile, rig: Rig, lengths: Array, shortening: bool, extrapolate: bool) -> None:
        self.profile, self.rig, self.shortening = profile, rig, shortening
        self.loading = _table(profile, "loading", float(lengths.max()), extrapolate)
        back = profile.branches.unloading is not None
        self.unloading = _table(profile, "unloading", float(lengths.max()), extrapolate) if back else self.loading
        self.table = self.unloading if shortening else self.loading
        self.ends = float(lengths.min()), float(lengths.max())
        self.decades = log10((profile.conditions.dwell_s or 10.0) / rig.bar.tempo_s)
        self.length = lengths
        over = TURNING * (self.loading.tested[1] - profile.band.rest_half_path_m)
        self.share = loading_share(lengths, self.ends, self.loading.tested, over, shortening)
        self.factor = 1.0 + self._relaxed + self._warmer
        self._one_grid = np.array_equal(self.loading.length, self.unloading.length)

    @property
    def _relaxed(self) -> float:
        found = self.profile.relaxation
        rate = found.percent_per_decade if found else RELAXATION[0]
        return (-1 if self.shortening else 1) * rate / 100 * self.decades

    @property
    def _warmer(self) -> float:
        tested, here = self.profile.conditions.temperature_C, self.rig.bar.temperature
        return 0.0 if tested is None or here is None else self.profile.temperature_coefficient.per_K * (here - tested)

    def _between(self, length: Array, share: Array | float, up: Array, back: Array) -> Array:
        """Between two columns, one of each branch; for many draws in one state one look-up in place of two."""
        if isinstance(share, float) and self._one_grid:
            return np.interp(length, self.loading.length, back + share * (up - back))
        a, b = np.interp(length, self.loading.length, up), np.interp(length, self.unloading.length, back)
        found: Array = b + share * (a - b)
        return found

    def pull(self, length: Array, share: Array | float) -> Array:
        """Pull of both legs with the band at other lengths, the state between its branches held. [N]

        Args:
            length: Half path; beyond the table its last straight piece goes on. [m]
            share: How far towards the loading branch.
        """
        between = self._between(length, share, self.loading.force, self.unloading.force)
        x, f = self.loading.length, self.loading.force
        beyond = np.maximum(length - x[-1], 0.0) * (f[-1] - f[-2]) / (x[-1] - x[-2])
        found: Array = np.maximum(between + beyond, 0.0) * self.factor
        return found

    def tension(self) -> Array:
        """Pull of both legs at the rig's lengths. [N]"""
        return self.pull(self.length, self.share)

    def slope(self) -> Array:
        """Change of the pull with length there. [N/m]"""
        step = 1e-4
        found: Array = (self.pull(self.length + step, self.share) - self.pull(self.length - step, self.share)) / (
            2 * step
        )
        return found

    def sources(self, length: Array, share: Array | float) -> list[RigSource]:
        """What moves the pull of both legs at other lengths, the state between its branches held.

        Args:
            length: Half path. [m]
            share: How far towards the loading branch.
        """
        tension = self.pull(length, share)
        pulls = np.where(tension > 0, self.factor, 0.0)
        up, back = self.loading.shifts, self.unloading.shifts
        own = interpolated(length, self.unloading.length, back)
        own += share * (interpolated(length, self.loading.length, up) - own)
        inside = pulls * self._inside * self._gap(length) / 12**0.5
        return [*map(RigSource, self.keys, (*(pulls * own), inside, *self._conditions(tension)))]

    def drawn(self, length: Array, share: float, normal: Array) -> Array:
        """The pull of both legs with all of that, draw by draw; below none where it is slack. [N]

        Args:
            length: Half path, one for each draw. [m]
            share: How far towards the loading branch.
            normal: Standard normal draws of each of `keys`.
        """
        tension = self.pull(length, share)
        up, back = self.loading.shifts, self.unloading.shifts
        if self._one_grid:
            own = _added(length, self.loading.length, back + share * (up - back), normal)
        else:
            own = _added(length, self.unloading.length, back, normal)
            own += share * (_added(length, self.loading.length, up, normal) - own)
        if self._inside:
            own += self._inside * self._gap(length) / 12**0.5 * normal[len(up)]
        found: Array = tension + np.where(tension > 0, self.factor, 0.0) * own
        for shift, of_one in zip(self._conditions(tension), normal[len(up) + 1 :], strict=True):
            found += shift * of_one
        return found

    @cached_property
    def keys(self) -> tuple[str, ...]:
        """Of what moves its pull, in the order of `sources`."""
        relaxation = self.profile.relaxation
        measured = relaxation is not None and relaxation.measured
        band = self.profile.band.id
        last = f"relaxation:{band}" if measured else "relaxation", self._warmth
        return (*(factor.key for factor in self.loading.factors), f"inside:{band}", *last)

    def _gap(self, length: Array) -> Array:
        """Between the branches. [N]"""
        up, back = (np.interp(length, t.length, t.force) for t in (self.loading, self.unloading))
        return GAP * up if self.profile.branches.unloading is None else up - back

    @property
    def _inside(self) -> float:
        """1 where the repetition turns inside the tested loop; 0 where it runs from end to end, on the branches."""
        span = 0.01 * (self.loading.tested[1] - self.loading.tested[0])
        whole = self.ends[0] <= self.loading.tested[0] + span and self.ends[1] >= self.loading.tested[1] - span
        return 0.0 if whole else 1.0

    @property
    def _warmth(self) -> str:
        tested, here = self.profile.conditions.temperature_C, self.rig.bar.temperature
        return "temperature" if tested is None or here is None else "temperature coefficient"

    def _conditions(self, tension: Array) -> tuple[Array, Array]:
        """What waiting and warmth do, one standard deviation of each."""
        relaxation, coefficient = self.profile.relaxation, self.profile.temperature_coefficient
        tested, here = self.profile.conditions.temperature_C, self.rig.bar.temperature
        u_rate = relaxation.u if relaxation else RELAXATION[1]
        sign = -1 if self.shortening else 1
        before = tension / self.factor
        if tested is None or here is None:
            warm = coefficient.per_K * U_TEMPERATURE
        else:
            warm = coefficient.u_per_K * (here - tested)
        return before * sign * u_rate / 100 * self.decades, before * warm


def interpolated(x: Array, grid: Array, rows: Array) -> Array:
    """`numpy.interp` of several columns of values at once, shape (columns, places)."""
    at = np.clip(np.searchsorted(grid, x, side="right") - 1, 0, len(grid) - 2)
    first = rows[:, at]
    inside = (rows[:, at + 1] - first) / (grid[at + 1] - grid[at]) * (x - grid[at]) + first
    found: Array = np.where(x < grid[0], rows[:, :1], np.where(x >= grid[-1], rows[:, -1:], inside))
    return found


def _added(x: Array, grid: Array, rows: Array, normal: Array) -> Array:
    """The rows at a place for each draw, times the draws of each row, added up: added first, then interpolated."""
    at = np.clip(np.searchsorted(grid, x, side="right") - 1, 0, len(grid) - 2)
    low, draw = int(at.min()), np.arange(len(x))
    together = rows[:, low : int(at.max()) + 2].T @ normal[: len(rows)]
    first, then = together[at - low, draw], together[at - low + 1, draw]
    found: Array = first + np.clip((x - grid[at]) / (grid[at + 1] - grid[at]), 0.0, 1.0) * (then - first)
    return found


def loading_share(
    length: Array, ends: tuple[float, float], tested: tuple[float, float], over: float, shortening: bool
) -> Array:
    """Where between its branches a band is, repeated between two lengths until the loop closes.

    Args:
        length: Half path, shape (n,). [m]
        ends: Shortest and longest of the repetition. [m]
        tested: Shortest and longest that were tested. [m]
        over: Length over which the state turns from one branch to the other. [m]
        shortening: While unloading.

    Returns:
        1 on the loading branch, 0 on the unloading branch. From one tested end to the other it is on its branch all the
        way; over a vanishing range it stands at a point between.
    """
    low, high = max(ends[0], tested[0]), min(ends[1], tested[1])
    if high <= low:
        return np.full_like(length, 0.5)

    def out(x: Array) -> Array:
        return _eased(x - low, x - tested[0], over)

    def back(x: Array) -> Array:
        return _eased(high - x, tested[1] - x, over)

    a, b = float(out(np.array(high))), float(back(np.array(low)))
    at_top = a / (1 - (1 - a) * (1 - b))
    x = np.clip(length, low, high)
    return at_top * (1 - back(x)) if shortening else 1 - (1 - at_top * (1 - b)) * (1 - out(x))


def _eased(gone: Array, whole: Array, over: float) -> Array:
    """Part of the way to the other branch; 1 where the turn was at the tested end, whose branch has it built in."""
    nothing = whole <= 1e-12
    part = -np.expm1(-gone / over) / np.where(nothing, 1.0, -np.expm1(-whole / over))
    found: Array = np.where(nothing, 1.0, np.clip(part, 0.0, 1.0))
    return found


def _table(profile: Profile, name: BranchName, farthest: float, extrapolate: bool) -> RigTable:
    """A branch as arrays, begun at the slack band and, where asked for, continued beyond its top."""
    tested = profile.branches.loading.length_m[0], profile.branches.loading.length_m[-1]
    if not extrapolate:
        return _tested_table(Itself(profile), name)
    arrays = _branch_arrays(profile, name)
    length, force, ratio, factors = _longer(profile, (*arrays, _branch_factors(profile, name)), farthest)
    return RigTable(length, force, ratio, lambda: factors, tested)


@lru_cache(maxsize=1024)
def _tested_table(profile: Itself[Profile], name: BranchName) -> RigTable:
    """The same for every way to hang the band."""
    loading = profile.it.branches.loading.length_m
    factors = partial(_branch_factors, profile.it, name)
    return RigTable(*_branch_arrays(profile.it, name), factors, (loading[0], loading[-1]))


def _branch_arrays(profile: Profile, name: BranchName) -> tuple[Array, Array, Array]:
    """Lengths, pulls and what u95 is of u, from the slack band on."""
    branch = profile.branch(name)
    if branch is None:
        raise DataError(f"the {name} branch was not measured", where=profile.band.id, remedy="measure unloading")
    rest, first, part = profile.band.rest_half_path_m, branch.length_m[0], _toe_parts(profile, branch)
    u, u95 = np.array(branch.u_N), np.array(branch.u95_N)
    ratio = np.divide(u95, u, out=np.full_like(u, 2.0), where=u > 0)
    return (
        np.array([*(rest + p * (first - rest) for p in part), *branch.length_m]),
        np.array([*(p * branch.force_N[0] for p in part), *branch.force_N]),
        np.array([*ratio[: len(part)], *ratio]),
    )


def _toe_parts(profile: Profile, branch: Branch) -> list[float]:
    """Where the straight line from the slack band to the first tested length has its points."""
    return [0.0, 0.25, 0.5, 0.75] if profile.band.rest_half_path_m < branch.length_m[0] else []


def _branch_factors(profile: Profile, name: BranchName) -> tuple[RigSource, ...]:
    """What moves those pulls, one standard deviation of each source."""
    branch = profile.branch(name)
    assert branch is not None
    part, own = _toe_parts(profile, branch), profile.band.id
    rows = [(f"{f.key}" if f.key else f"own:{own}:{n}", getattr(f, f"{name}_N")) for n, f in enumerate(profile.factors)]
    rows.append((f"own:{own}:rest", getattr(profile.rest_N, name)))
    toe = np.array([TOE * p * (1 - p) * branch.force_N[0] for p in part] + [0.0] * len(branch.length_m))
    return (
        *(RigSource(key, np.array([*(p * values[0] for p in part), *values])) for key, values in rows),
        RigSource(f"own:{own}:toe", toe),
    )


def _longer(
    profile: Profile, arrays: tuple[Array, Array, Array, tuple[RigSource, ...]], farthest: float
) -> tuple[Array, Array, Array, tuple[RigSource, ...]]:
    """Go beyond the top along the curve's own continuation; what the exponent adds to u is a source of its own."""
    length, force, ratio, factors = arrays
    last = float(length[-1])
    more = np.linspace(last, farthest, 9)[1:] if farthest > last + 1e-6 else np.array([])
    loading = profile.branches.loading
    try:
        beyond = [continued(loading, float(x), profile.band.rest_half_path_m) for x in more]
    except OutOfRangeError as error:
        raise error.placed_at(profile.band.id) from None
    scale = np.array([e.force / loading.force_N[-1] for e in beyond])
    grown = [RigSource(s.key, np.append(s.shift, s.shift[-1] * scale)) for s in factors]
    told = sum((s.shift[-len(more) :] ** 2 for s in grown), np.zeros(len(more))) if len(more) else np.array([])
    extra = np.sqrt(np.maximum(np.array([e.u**2 for e in beyond]) - told, 0.0))
    grown.append(RigSource(f"own:{profile.band.id}:untested", np.append(0 * length, extra)))
    return (np.append(length, more), np.append(force, force[-1] * scale), np.append(ratio, ratio[-1] + 0 * more),
            tuple(grown))  # fmt: skip
