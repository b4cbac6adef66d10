"""Several bands' curves at the same lengths, with every source that moves them told apart by its identity.

What two bands share has one key for both, so that it cancels in their difference; all else has a key of its own. Which
lengths may be asked for is decided here; what the difference means is the caller's business.
"""

from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from math import log10
from statistics import fmean

import numpy as np

from calib.errors import DataError, OutOfRangeError
from calib.frozen import dataclass
from calib.profile.document import Profile
from calib.profile.table import BranchName
from calib.records import Array
from calib.use.bands.assumed import NORMAL_95 as NORMAL_95
from calib.use.bands.assumed import U_TEMPERATURE as U_TEMPERATURE

Over = tuple[float, float]
SAME = 1e-6  # m, rounding of a length
SAME_TAPE = 1e-3  # m, offsets that a tape does not show


@dataclass(frozen=True)
class Curve:
    """One branch of a band at n lengths."""

    name: str
    force: Array  # [N] shape (n,)
    ratio: Array  # u95 / u, shape (n,)
    sources: dict[str, Array] = field(default_factory=dict)  # [N] shift that one standard deviation causes, by key

    @property
    def u(self) -> Array:
        """Standard uncertainty. [N]"""
        return np.sqrt(sum((shift**2 for shift in self.sources.values()), np.zeros(len(self.force))))

    def scaled(self, by: float, key: str, u: float) -> "Curve":
        """The same with a relative correction, and what one standard deviation of it does.

        Args:
            by: Factor for the force.
            key: Identity of the correction.
            u: Its relative standard uncertainty.
        """
        sources = {k: shift * by for k, shift in self.sources.items()}
        if u:
            sources[key] = sources.get(key, 0.0) + u * self.force
        return replace(self, force=self.force * by, sources=sources)


def common_lengths(profiles: Sequence[Profile], over: Over | None, count: int) -> Array:
    """Lengths that every band was tested at while loading, shape (count,). [m]

    Args:
        profiles: The bands.
        over: First and last length; None takes all that they have in common.
        count: How many.

    Raises:
        OutOfRangeError: One was not tested there.
        DataError: They have no length in common.
    """
    ranges = [(p.branches.loading.length_m[0], p.branches.loading.length_m[-1]) for p in profiles]
    first, last = max(low for low, _ in ranges), min(high for _, high in ranges)
    if last - first < SAME:
        far = _called(profiles[[a for a, _ in ranges].index(first)], profiles)
        near = _called(profiles[[b for _, b in ranges].index(last)], profiles)
        raise DataError(
            f"{near} was tested up to {last:.3f} m and {far} only from {first:.3f} m: they share no length",
            remedy="leave one out, or measure it over the others' lengths",
        )
    if over is None:
        return np.linspace(first, last, count)
    for profile, (low, high) in zip(profiles, ranges, strict=True):
        if over[0] < low - SAME or over[1] > high + SAME:
            raise OutOfRangeError(
                f"{over[0]:.4g} to {over[1]:.4g} m is outside the tested lengths",
                where=_called(profile, profiles),
                remedy=f"all of them were tested from {first:.3f} to {last:.3f} m",
            )
    return np.linspace(max(over[0], first), min(over[1], last), count)


def common_offset(profiles: Sequence[Profile]) -> float | None:
    """Half-path length less what the tape reads where that is the same for all of them, else None. [m]"""
    offsets = [p.half_path_less_tape for p in profiles]
    known = [x for x in offsets if x is not None]
    if not known or len(known) < len(offsets) or max(known) - min(known) > SAME_TAPE:
        return None
    return (min(known) + max(known)) / 2


def _called(profile: Profile, among: Sequence[Profile]) -> str:
    """The band's id, with the day where another profile has the same."""
    alone = sum(p.band.id == profile.band.id for p in among) == 1
    return profile.band.id if alone else f"{profile.band.id} of {profile.made.measured_at or 'an unknown date'}"


def curve_at(profile: Profile, lengths: Array, branch: BranchName = "loading", name: str = "") -> Curve:
    """One branch at some lengths within its tested range.

    Args:
        profile: The band.
        lengths: Shape (n,). [m]
        branch: Which.
        name: Tells it apart from others; the band's id where empty.
    """
    table = profile.branch(branch)
    if table is None:
        raise DataError(f"the {branch} branch was not measured", where=profile.band.id)
    grid, name = table.length_m, name or profile.band.id
    sources: dict[str, Array] = {}
    for i, factor in enumerate(profile.factors):
        shift = np.interp(lengths, grid, (factor.loading_N if branch == "loading" else factor.unloading_N) or ())
        key = factor.key or f"own:{name}:{i}:{factor.source}"
        sources[key] = sources.get(key, 0.0) + shift
    u = np.interp(lengths, grid, table.u_N)
    told = sum((shift**2 for shift in sources.values()), np.zeros(len(lengths)))
    for i, left in enumerate(np.sqrt(np.maximum(u**2 - told, 0.0))):  # independent from length to length
        if left > 1e-6 * u[i]:
            sources[f"rest:{name}:{branch}:{i}"] = np.where(np.arange(len(lengths)) == i, left, 0.0)
    ratio = np.interp(lengths, grid, np.array(table.u95_N) / np.maximum(table.u_N, 1e-12))
    return Curve(name, np.interp(lengths, grid, table.force_N), np.maximum(ratio, NORMAL_95), sources)


def under_one_condition(
    profiles: Sequence[Profile], curves: Sequence[Curve], branch: BranchName, among: Sequence[Profile] = ()
) -> list[Curve]:
    """The curves as they would be at one temperature and after one wait, with the doubt of these corrections.

    Args:
        profiles: The bands.
        curves: One each, of that branch.
        branch: Pull goes down with waiting while loading, and up while unloading.
        among: Bands whose mean temperature and wait are taken; empty for these.
    """
    warm = [p.conditions.temperature_C for p in among or profiles if p.conditions.temperature_C is not None]
    waits = [log10(p.conditions.dwell_s) for p in among or profiles if p.conditions.dwell_s]
    out = []
    for profile, curve in zip(profiles, curves, strict=True):
        out.append(_at_dwell(_at_temperature(curve, profile, warm), profile, waits, branch))
    return out


def _at_temperature(curve: Curve, profile: Profile, warm: Sequence[float]) -> Curve:
    coefficient, here = profile.temperature_coefficient, profile.conditions.temperature_C
    if here is None or not warm:
        day = profile.made.measured_at
        key = f"temperature:{day}" if day else f"own:{curve.name}:temperature"
        return curve.scaled(1.0, key, coefficient.per_K * U_TEMPERATURE)
    off = fmean(warm) - here
    return curve.scaled(1 + coefficient.per_K * off, "temperature coefficient", coefficient.u_per_K * off)


def _at_dwell(curve: Curve, profile: Profile, waits: Sequence[float], branch: BranchName) -> Curve:
    relaxation, wait = profile.relaxation, profile.conditions.dwell_s
    if relaxation is None or not wait or not waits:
        return curve
    decades = (fmean(waits) - log10(wait)) * (-1 if branch == "loading" else 1)
    key = f"own:{curve.name}:relaxation" if relaxation.measured else "relaxation"
    return curve.scaled(1 + relaxation.percent_per_decade / 100 * decades, key, relaxation.u / 100 * decades)


def conditioned(curves: Sequence[Curve], effect: Mapping[str, float], seen: float, u: float) -> list[Curve]:
    """The curves after something else was seen that the same sources move: shifted by it, and more certain.

    Args:
        curves: Sharing their keys.
        effect: What one standard deviation of each source does to the value seen.
        seen: The value; it would be zero if all sources were.
        u: Its own standard uncertainty, beside these sources; above zero.

    The sources stay independent and as many: with b the effects and s^2 = b.b + u^2 their covariance becomes
    1 - b b / s^2, whose symmetric root is 1 - (1 - u / s) b b / (b.b).
    """
    size = sum(b * b for b in effect.values())
    if size == 0:
        return list(curves)
    whole = size + u * u
    less = (1 - u / whole**0.5) / size
    out = []
    for curve in curves:
        none = np.zeros(len(curve.force))
        along = sum((b * curve.sources.get(key, none) for key, b in effect.items()), none)
        sources = dict(curve.sources)
        for key, b in effect.items():
            sources[key] = sources.get(key, none) - less * b * along
        out.append(replace(curve, force=curve.force - along * seen / whole, sources=sources))
    return out
