"""What bands put on a bar: pull at each height, left and right, going up and coming down, with its uncertainty.

Profiles and a rig in, numbers out; words, files and figures are made elsewhere. Each source of uncertainty is a signed
shift with a key: sources with one key move together, between bands and between profiles measured with the same gear.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from calib.errors import DataError, OutOfRangeError
from calib.finding import Finding
from calib.frozen import dataclass
from calib.gravity import local_gravity
from calib.half_path import U_DEFAULT_THICKNESS
from calib.profile.document import Profile
from calib.records import Array
from calib.units import metres
from calib.use.rig.rig_curve import RigCurve, RigSource, loop_of
from calib.use.rig.rig_draws import Strung, drawn_pulls
from calib.use.rig.rig_file import Rig, RigBand, band_name
from calib.use.rig.rig_findings import rig_findings
from calib.use.rig.rig_geometry import AS_WRITTEN, BandPath, Offsets, run_of
from calib.use.rig.rig_sum import Known, RigPull, WeightedPull, add

Way = Literal["up", "down"]
WAYS: tuple[Way, Way] = ("up", "down")
SIDES = ("left", "right")
GRID = 21  # heights from bottom to top


@dataclass(frozen=True)
class Direction:
    """One way of the lift."""

    load: Known  # [kg] on the bar
    pull: Known  # [N] of all bands, downward
    sides: Mapping[str, Known]  # [N] downward
    difference: Known  # [N] left less right
    bands: tuple[RigPull, ...]


@dataclass(frozen=True)
class RigLoad:
    """What the rig does."""

    rig: Rig
    heights: Array  # [m]
    gravity: float  # [m/s2]
    up: Direction | None  # None where a band's unloading was needed and not measured
    down: Direction | None
    hooks: Direction | None  # the bar on its hooks, at that one height; None where they are not given
    findings: tuple[Finding, ...]

    @property
    def known_ways(self) -> dict[Way, Direction]:
        """The ways that could be told."""
        found: dict[Way, Direction | None] = {"up": self.up, "down": self.down}
        return {way: direction for way, direction in found.items() if direction is not None}


def calculate(
    rig: Rig,
    profiles: Sequence[Profile],
    *,
    extrapolate: bool = False,
    points: int = GRID,
    adjusted: Callable[[list[RigPull]], list[RigPull]] = list,
    ways: Sequence[Way] = WAYS,
) -> RigLoad:
    """Work out a rig.

    Args:
        rig: Bar, anchor and bands.
        profiles: One for each band of the rig, in its order.
        extrapolate: Go beyond the tested lengths, marked by a finding.
        points: Heights from bottom to top.
        adjusted: The bands' pulls in the light of more that is known of them.
        ways: Only these.

    Raises:
        OutOfRangeError: A band is pulled further, or less far, than it was measured.
    """
    heights = np.linspace(rig.bar.bottom, rig.bar.top, points)
    g, u_g = local_gravity(rig.bar.latitude_deg, rig.bar.altitude)
    pairs = list(zip(rig.band, profiles, strict=True))

    def worked_out(at: Array, way: Way, guess: bool) -> Direction:
        bands = [_strung(i, rig, profile, at, way, guess) for i, profile in enumerate(profiles)]
        return _direction(rig, adjusted(_pulls(bands, at)), g, u_g)

    found: dict[Way, Direction | None] = dict.fromkeys(WAYS)
    for way in ways:
        unknown = any(_needs_return(band, way) and profile.branches.unloading is None for band, profile in pairs)
        found[way] = None if unknown else worked_out(heights, way, extrapolate)
    hooks, findings = None, rig_findings(rig, profiles, heights)
    if rig.bar.hooks is not None:  # often outside the lift, so what is not tested there is guessed, not refused
        out: Way = "down" if any(band.source == "above" for band in rig.band) else "up"
        try:
            hooks = worked_out(np.array([rig.bar.hooks]), out, True)
        except OutOfRangeError:
            text = "with the bar on its hooks a band is stretched too far to tell; the result covers the lift only"
            findings = (*findings, Finding("outside-tested", text))
    return RigLoad(rig, heights, g, found["up"], found["down"], hooks, findings)


def _needs_return(band: RigBand, way: Way) -> bool:
    return (band.source == "below") == (way == "down")


def _strung(i: int, rig: Rig, profile: Profile, heights: Array, way: Way, extrapolate: bool) -> Strung:
    band, loop = rig.band[i], loop_of(profile)
    try:
        run = run_of(band, rig.bar, heights, loop)
    except DataError as error:
        raise DataError(error.what, where=f"{band_name(band)}: {error.where}", remedy=error.remedy) from None
    _refuse_untested(band, profile, heights, run, extrapolate)
    curve = RigCurve(profile, rig, run.length, _needs_return(band, way), extrapolate)
    sign = 1.0 if band.source == "below" else -1.0
    return Strung(band, rig.bar, loop, run, curve, sign, _offs(i, band, rig.bar.u_reading, profile))


def _offs(i: int, band: RigBand, u: float, profile: Profile) -> dict[str, Offsets]:
    """Where everything is: readings of the tape, thickness, hitch, the way round what a band is folded over."""
    offs = {
        "reading:bar": Offsets(bar=u),
        f"reading:anchor:{i}": Offsets(anchor=u),
        f"reading:sideways:{i}": Offsets(sideways=u),
        f"reading:fore:{i}": Offsets(fore=u),
    }
    if profile.band.thickness_m is None:
        offs[f"thickness:{profile.band.id}"] = Offsets(thickness=U_DEFAULT_THICKNESS)
    if band.arrangement == "choked":
        offs[f"flat length:{profile.band.id}"] = Offsets(rest=profile.band.u_flat_length_m)
        offs[f"hitch:{i}"] = Offsets(slack=u) if band.slack_length is not None else Offsets(hitch=1.0)
    elif band.arrangement in ("spread", "across"):
        offs[f"wrap:{i}"] = Offsets(wrap=1.0)
    return offs


def _pulls(bands: Sequence[Strung], heights: Array) -> list[RigPull]:
    """Each band's pull, with draws where one of them is slack or nearly so."""
    moved = [_moved(s, heights) for s in bands]
    near = np.any([_nearly_slack(s, m) for s, m in zip(bands, moved, strict=True)], axis=0)
    drawn = drawn_pulls(bands, heights, [int(at) for at in np.flatnonzero(near)])
    return [_pull(s, heights, m, draws) for s, m, draws in zip(bands, moved, drawn, strict=True)]


def _pull(strung: Strung, heights: Array, moved: BandPath, drawn: Mapping[int, Array]) -> RigPull:
    run, curve, sign = strung.run, strung.curve, strung.sign
    tension = curve.tension()
    sources = [RigSource(s.key, sign * s.shift * run.down) for s in curve.sources(run.length, curve.share)]
    spread = curve.profile.repeatability
    relative = spread.cycle_gain**2 + spread.between_day_gain**2
    return RigPull(
        tension, sign * tension * run.down, tension * run.sideways, tension * run.fore, run.angle,
        run.length / strung.loop.rest,
        run.down * np.sqrt(relative * tension**2 + (spread.hook_shift_m * curve.slope()) ** 2),
        (*sources, *_placed(strung, heights, moved)), np.interp(run.length, curve.table.length, curve.table.ratio),
        run.length <= strung.loop.rest, drawn,
    )  # fmt: skip


def _nearly_slack(strung: Strung, moved: BandPath) -> NDArray[np.bool_]:
    """Whether the length may be that of the band at rest, within three u of it."""
    apart = _apart(strung, moved.length)
    found: NDArray[np.bool_] = abs(strung.run.length - strung.loop.rest) < 3 * np.linalg.norm(apart, axis=0) / 2
    return found


def _moved(strung: Strung, heights: Array) -> BandPath:
    """Where the band runs with each thing off by one standard deviation, then the other way: one row for each."""
    offs = [*strung.offs.values()]
    rows = {name: np.array([[sign * vars(off)[name]] for sign in (1, -1) for off in offs]) for name in vars(AS_WRITTEN)}
    off = Offsets(**{name: row for name, row in rows.items() if row.any()})
    return run_of(strung.band, strung.bar, heights, strung.loop, off)


def _apart(strung: Strung, values: Array) -> Array:
    """One way less the other, shape (things, heights)."""
    count = len(strung.offs)
    found: Array = values[:count] - values[count:]
    return found


def _tested(length: Array, profile: Profile) -> NDArray[np.bool_]:
    """Where a band is slack or within the lengths it was tested at."""
    first, last = profile.branches.loading.length_m[0], profile.branches.loading.length_m[-1]
    slack = length <= profile.band.rest_half_path_m
    found: NDArray[np.bool_] = (slack | (length >= first - 1e-6)) & (length <= last + 1e-6)
    return found


def tested_heights(rig: Rig, profiles: Sequence[Profile], points: int = GRID) -> NDArray[np.bool_]:
    """At which heights of the bar, from bottom to top, every band is within what was tested.

    Args:
        rig: The rig.
        profiles: One for each of its bands.
        points: How many heights.

    Raises:
        DataError: A band cannot hang so.
    """
    heights = np.linspace(rig.bar.bottom, rig.bar.top, points)
    pairs = zip(rig.band, profiles, strict=True)
    found: NDArray[np.bool_] = np.all(
        [_tested(run_of(b, rig.bar, heights, loop_of(p)).length, p) for b, p in pairs], axis=0
    )
    return found


def _refuse_untested(band: RigBand, profile: Profile, heights: Array, run: BandPath, extrapolate: bool) -> None:
    """A length that was not tested is refused with the heights that would work; a slack band is no error."""
    if extrapolate:
        return
    first, last = profile.branches.loading.length_m[0], profile.branches.loading.length_m[-1]
    pulled, works = run.length > profile.band.rest_half_path_m, _tested(run.length, profile)
    if works.all():
        return
    at = int(np.flatnonzero(~works)[0])
    inside = heights[works & pulled]
    mend = "no height would work"
    if len(inside):
        mend = f"it would work with the bar from {metres(inside.min())} to {metres(inside.max())}"
    raise OutOfRangeError(
        f"with the bar at {metres(heights[at])} band {profile.band.id} is {metres(run.length[at])} long (half path), "
        f"and was tested from {metres(first)} to {metres(last)}",
        where=band_name(band),
        remedy=f"{mend}; measure it there, or ask for a marked guess with --extrapolate",
    )


def _placed(strung: Strung, heights: Array, moved: BandPath) -> list[RigSource]:
    """What readings, hitch and fittings do to the downward pull."""
    apart = strung.sign * _apart(strung, strung.down(moved)) / 2
    found = [RigSource(key, shift) for key, shift in zip(strung.offs, apart, strict=True)]
    if strung.band.arrangement != "choked":
        gripped = _held(strung, heights) - strung.down(strung.run)
        found.append(RigSource("grip", strung.sign * gripped, one_sided=True))
    return found


def _held(strung: Strung, heights: Array) -> Array:
    """Pull towards the anchor where the band grips all it goes round; on two pegs each half then pulls by itself."""
    band = strung.band
    legs = [band]
    if band.arrangement == "spread" and any(band.fore):
        half = band.pegs_apart / 2
        legs = [replace(band, pegs_apart=0.0, fore=(band.fore[0] + s * half, band.fore[1] + s * half)) for s in (1, -1)]
    runs = [run_of(leg, strung.bar, heights, strung.loop, Offsets(grip=1.0)) for leg in legs]
    found: Array = np.mean([strung.down(run) for run in runs], axis=0)
    return found


def _direction(rig: Rig, pulls: Sequence[RigPull], g: float, u_g: float) -> Direction:
    count = len(pulls[0].down)
    sides: dict[str, Known] = {}
    apart: list[WeightedPull] = []
    whole = add([WeightedPull(p, 1.0) for p in pulls], count)
    for side in SIDES:
        share = {side: 1.0, "both": 0.5}
        parts = [WeightedPull(p, share[b.side]) for b, p in zip(rig.band, pulls, strict=True) if b.side in share]
        sides[side] = add(parts, count)
        apart += [WeightedPull(q.pull, q.weight * (1.0 if side == "left" else -1.0)) for q in parts]
    in_kg = add([WeightedPull(p, 1.0 / g) for p in pulls], count, relative=u_g)
    weight = rig.weight_kg
    load = replace(in_kg, value=in_kg.value + weight, low=in_kg.low + weight, high=in_kg.high + weight)
    return Direction(load, whole, sides, add(apart, count), tuple(pulls))
