"""What bands put on a bar: pull at each height, left and right, going up and coming down, with its uncertainty.

Profiles and a rig in, numbers out; words, files and figures are made elsewhere. Each source of uncertainty is a signed
shift with a key: sources with one key move together, between bands and between profiles measured with the same gear.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from calib.errors import DataError, OutOfRangeError
from calib.finding import Finding
from calib.gravity import local_gravity
from calib.half_path import U_DEFAULT_THICKNESS
from calib.profile.document import Profile
from calib.records import Array
from calib.use.rig_curve import Curve, Source, loop_of
from calib.use.rig_file import Rig, RigBand
from calib.use.rig_findings import rig_findings
from calib.use.rig_geometry import Loop, Off, Run, run_of
from calib.use.rig_sum import Known, Part, Pull, add, draws

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
    bands: tuple[Pull, ...]


@dataclass(frozen=True)
class Answer:
    """What the rig does."""

    rig: Rig
    heights: Array  # [m]
    gravity: float  # [m/s2]
    up: Direction | None  # None where a band's way back was needed and not measured
    down: Direction | None
    findings: tuple[Finding, ...]

    @property
    def ways(self) -> dict[Way, Direction]:
        """The ways that could be told."""
        found: dict[Way, Direction | None] = {"up": self.up, "down": self.down}
        return {way: direction for way, direction in found.items() if direction is not None}


def calculate(rig: Rig, profiles: Sequence[Profile], *, extrapolate: bool = False, points: int = GRID) -> Answer:
    """Work out a rig.

    Args:
        rig: Bar, anchor and bands.
        profiles: One for each band of the rig, in its order.
        extrapolate: Go beyond the tested lengths, marked by a finding.
        points: Heights from bottom to top.

    Raises:
        OutOfRangeError: A band is pulled further, or less far, than it was measured.
    """
    heights = np.linspace(rig.bar.bottom, rig.bar.top, points)
    g, u_g = local_gravity(rig.bar.latitude_deg, rig.bar.altitude)
    found: dict[Way, Direction | None] = {}
    for way in WAYS:
        pairs = list(zip(rig.band, profiles, strict=True))
        if any(_needs_return(band, way) and profile.branches.unloading is None for band, profile in pairs):
            found[way] = None
            continue
        pulls = [_pull(i, rig, profile, heights, way, extrapolate) for i, (_, profile) in enumerate(pairs)]
        found[way] = _direction(rig, pulls, g, u_g)
    return Answer(rig, heights, g, found["up"], found["down"], rig_findings(rig, profiles, heights))


def _needs_return(band: RigBand, way: Way) -> bool:
    return (band.source == "below") == (way == "down")


def _pull(i: int, rig: Rig, profile: Profile, heights: Array, way: Way, extrapolate: bool) -> Pull:
    band, loop = rig.band[i], loop_of(profile)
    try:
        run = run_of(band, rig.bar, heights, loop)
    except DataError as error:
        raise DataError(error.what, where=f"band[{i}].{error.where}", remedy=error.remedy) from None
    _refuse_untested(i, rig, profile, heights, run, extrapolate)
    sign = 1.0 if band.source == "below" else -1.0
    curve = Curve(profile, rig, run.length, _needs_return(band, way), extrapolate)
    tension = curve.tension()
    sources = [Source(s.key, sign * s.shift * run.down) for s in curve.sources(tension)]
    sources += _placed(i, rig, loop, heights, curve, sign)
    spread = profile.repeatability
    relative = spread.cycle_gain**2 + spread.between_day_gain**2
    return Pull(
        tension, sign * tension * run.down, tension * run.sideways, tension * run.fore, run.angle,
        run.length / loop.rest, run.down * np.sqrt(relative * tension**2 + (spread.hook_shift_m * curve.slope()) ** 2),
        tuple(sources), np.interp(run.length, curve.table.length, curve.table.ratio), run.length <= loop.rest,
        _near_slack(i, rig, loop, run, curve, sign, sources),
    )  # fmt: skip


def _refuse_untested(i: int, rig: Rig, profile: Profile, heights: Array, run: Run, extrapolate: bool) -> None:
    """A length that was not tested is refused with the heights that would work; a slack band is no error."""
    if extrapolate:
        return
    first, last = profile.branches.loading.length_m[0], profile.branches.loading.length_m[-1]
    pulled = run.length > profile.band.rest_half_path_m
    works = (~pulled | (run.length >= first - 1e-6)) & (run.length <= last + 1e-6)
    if works.all():
        return
    at = int(np.flatnonzero(~works)[0])
    inside = heights[works]
    mend = f"it would work from {inside.min():.3f} to {inside.max():.3f} m" if len(inside) else "no height would work"
    raise OutOfRangeError(
        f"with the bar at {heights[at]:.3f} m band {profile.band.id} is {run.length[at]:.3f} m long (half path), and "
        f"was tested from {first:.3f} to {last:.3f} m",
        where=f"band[{i}]",
        remedy=f"{mend}; measure it there, or ask for a marked guess with --extrapolate",
    )


def _placed(i: int, rig: Rig, loop: Loop, heights: Array, curve: Curve, sign: float) -> list[Source]:
    """Where everything is: readings of the tape, thickness, hitch, and what the band does round its fittings."""
    band, u = rig.band[i], rig.bar.u_reading
    offs = {"reading:bar": Off(bar=u), f"reading:anchor:{i}": Off(anchor=u), f"reading:sideways:{i}": Off(sideways=u),
            f"reading:fore:{i}": Off(fore=u)}  # fmt: skip
    if curve.profile.band.thickness_m is None:
        offs[f"thickness:{curve.profile.band.id}"] = Off(thickness=U_DEFAULT_THICKNESS)
    if band.arrangement == "choked":
        offs[f"hitch:{i}"] = Off(slack=u) if band.slack_length is not None else Off(hitch=1.0)
    elif band.arrangement in ("spread", "across"):
        offs[f"wrap:{i}"] = Off(wrap=1.0)
    found = []
    for key, off in offs.items():
        minus = Off(**{name: -value for name, value in vars(off).items()})
        high, low = (_down(rig, i, loop, heights, curve, o) for o in (off, minus))
        found.append(Source(key, sign * (high - low) / 2))
    if band.arrangement != "choked":
        moved = _down(rig, i, loop, heights, curve, Off(grip=1.0)) - _down(rig, i, loop, heights, curve, Off())
        found.append(Source("grip", sign * moved, one_sided=True))
    return found


def _down(rig: Rig, i: int, loop: Loop, heights: Array, curve: Curve, off: Off) -> Array:
    """Pull towards the anchor with readings off by a little."""
    run = run_of(rig.band[i], rig.bar, heights, loop, off)
    return curve.pull(run.length, curve.share) * run.down


def _near_slack(
    i: int, rig: Rig, loop: Loop, run: Run, curve: Curve, sign: float, sources: Sequence[Source]
) -> dict[int, Array]:
    """Draws of the pull where going slack lies within three u of the length: it cannot fall below none."""
    folds = 1 if rig.band[i].arrangement in ("straight", "choked") else 2
    u_length = 2**0.5 * rig.bar.u_reading * folds
    drawn: dict[int, Array] = {}
    for at in np.flatnonzero(abs(run.length - loop.rest) < 3 * u_length):
        normal, share = draws(2)
        normal = np.roll(normal, 997 * i, axis=0)
        pulled = curve.pull(run.length[at] + u_length * normal[:, 0], curve.share[at : at + 1]) * run.down[at]
        own = sum(s.shift[at] ** 2 for s in sources if not s.one_sided and not s.key.startswith("reading")) ** 0.5
        moved = abs(sum(s.shift[at] for s in sources if s.one_sided))
        drawn[int(at)] = sign * np.where(pulled > 0, np.maximum(pulled + own * normal[:, 1] + moved * share, 0.0), 0.0)
    return drawn


def _direction(rig: Rig, pulls: Sequence[Pull], g: float, u_g: float) -> Direction:
    count = len(pulls[0].down)
    sides: dict[str, Known] = {}
    apart: list[Part] = []
    whole = add([Part(p, 1.0) for p in pulls], count)
    for side in SIDES:
        share = {side: 1.0, "both": 0.5}
        parts = [Part(p, share[b.side]) for b, p in zip(rig.band, pulls, strict=True) if b.side in share]
        sides[side] = add(parts, count)
        apart += [Part(q.pull, q.weight * (1.0 if side == "left" else -1.0)) for q in parts]
    in_kg = add([Part(p, 1.0 / g) for p in pulls], count, relative=u_g)
    weight = rig.weight_kg
    load = replace(in_kg, value=in_kg.value + weight, low=in_kg.low + weight, high=in_kg.high + weight)
    return Direction(load, whole, sides, add(apart, count), tuple(pulls))
