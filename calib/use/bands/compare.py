"""The same band on two days: has it changed? One number decides, the ratio of its level new to old.

The level is the average loading pull over the working lengths. What both days share (one check of one scale, one
tape) cancels; the gear's own wandering since, and how a band differs from day to day, are added; a known plate weighed
on both days tells how the scale has moved. No file is read here.
"""

from collections.abc import Iterable, Mapping, Sequence
from math import hypot

import numpy as np

from calib.finding import Finding
from calib.frozen import dataclass
from calib.profile.document import Profile
from calib.profile.table import BranchName
from calib.records import Array
from calib.use.answers.bands import CompareAnswer, ComparedPoint
from calib.use.answers.parts import Coded, Level, doubts
from calib.use.bands.assumed import SEEN
from calib.use.bands.repeat_calibrations import (
    DAY,
    GAIN,
    calibrations,
    change_of_level,
    check_order,
    days_between,
    level,
    plate_of,
    size,
    with_plate,
)
from calib.use.bands.shared_lengths import Curve, Over, common_lengths, common_offset

LENGTHS = 21
ALIKE = 0.02  # of a length: loops measured between ends as near as this may be compared


@dataclass(frozen=True)
class DifferencePoint:
    """One length of one branch."""

    length: float  # [m]
    branch: BranchName
    difference: float  # [N] new less old
    u: float  # [N]
    half_width: float  # [N] of its 95 % limits

    @property
    def e_n(self) -> float:
        """Difference over its 95 % expanded uncertainty, after ISO/IEC 17043."""
        return self.difference / self.half_width if self.half_width else 0.0


@dataclass(frozen=True)
class Change:
    """A value new less old."""

    value: float
    u: float


@dataclass(frozen=True)
class Comparison:
    """What changed between two calibrations of one band."""

    band: str
    days: int | None
    over: Over
    level_ratio: float  # new over old
    u_level_ratio: float
    k: float  # coverage factor of its 95 % interval
    shares: dict[str, float]  # u of the ratio by kind of source
    plate: str | None  # known plate weighed on both days
    points: tuple[DifferencePoint, ...]
    flat_length: Change  # [m]
    loss_ratio: Change | None
    findings: tuple[Finding, ...]

    @property
    def changed(self) -> bool:
        """Whether no change is outside the 95 % interval of the ratio."""
        return abs(self.level_ratio - 1) > self.k * self.u_level_ratio

    @property
    def smallest(self) -> float:
        """Relative change that would be seen in 95 of 100 such comparisons."""
        return (self.k + SEEN) * self.u_level_ratio


def compare(old: Profile, new: Profile, over: Over | None = None) -> Comparison:
    """Compare two calibrations of one band.

    Args:
        old: The earlier one.
        new: The later one.
        over: Working lengths, half path; None takes all that both were tested at. [m]

    Raises:
        DataError: Two bands, the wrong way round, or no length in common.
    """
    two = [old, new]
    check_order(two)
    lengths = common_lengths(two, over, LENGTHS)
    at: dict[BranchName, Array] = {"loading": lengths}
    if (back := _lengths_back(old, new, lengths)) is not None:
        at["unloading"] = back
    bare = {branch: calibrations(two, at[branch], branch) for branch in at}
    plate = plate_of(two)
    curves = {b: with_plate(two, bare[b], bare["loading"]) for b in at} if plate else bare
    was, now = (level(c, lengths) for c in curves["loading"])
    ratio, effects = now[0] / was[0], change_of_level(was, now)
    return Comparison(
        band=new.band.id,
        days=days_between(old, new),
        over=(float(lengths[0]), float(lengths[-1])),
        level_ratio=ratio,
        u_level_ratio=ratio * size(effects),
        k=float(np.mean(np.maximum(*(c.ratio for c in curves["loading"])))),
        shares=_shares(effects, ratio),
        plate=plate,
        points=tuple(point for branch in at for point in _points(curves[branch], at[branch], branch)),
        flat_length=_set(old, new),
        loss_ratio=_loss(old, new),
        findings=tuple(_findings(old, new)),
    )


def _lengths_back(old: Profile, new: Profile, lengths: Array) -> Array | None:
    """The same for the unloading branch, None where it was not measured on both days."""
    tables = old.branches.unloading, new.branches.unloading
    ends = [(t.length_m[0], t.length_m[-1]) for t in tables if t is not None]
    if len(ends) < 2:
        return None
    first, last = max(lengths[0], *(a for a, _ in ends)), min(lengths[-1], *(b for _, b in ends))
    return np.linspace(first, last, LENGTHS) if last > first else None


_KINDS = (
    ((*GAIN, "plate"), "the scale"),
    (("tape:",), "the tape"),
    (("temperature",), "temperature"),
    (("relaxation",), "the waits"),
    ((DAY,), "the band from one day to another"),
)


def _shares(effects: Mapping[str, float], ratio: float) -> dict[str, float]:
    """Standard uncertainty of the ratio by kind of source, largest first."""
    out: dict[str, float] = {}
    for key, effect in effects.items():
        kind = next((words for begins, words in _KINDS if key.startswith(begins)), "the two measurements themselves")
        out[kind] = out.get(kind, 0.0) + (ratio * effect) ** 2
    return {kind: variance**0.5 for kind, variance in sorted(out.items(), key=lambda item: -item[1])}


def _points(curves: Sequence[Curve], lengths: Array, branch: BranchName) -> list[DifferencePoint]:
    was, now = curves
    none = np.zeros(len(lengths))
    keys = {**was.sources, **now.sources}
    u = np.sqrt(sum(((now.sources.get(k, none) - was.sources.get(k, none)) ** 2 for k in keys), none))
    off, k = now.force - was.force, np.maximum(was.ratio, now.ratio)
    return [
        DifferencePoint(float(x), branch, float(d), float(v), float(wide * v))
        for x, d, v, wide in zip(lengths, off, u, k, strict=True)
    ]


def _set(old: Profile, new: Profile) -> Change:
    a, b = old.band, new.band
    return Change(b.flat_length_m - a.flat_length_m, hypot(a.u_flat_length_m, b.u_flat_length_m))


def _loss(old: Profile, new: Profile) -> Change | None:
    a, b = old.hysteresis, new.hysteresis
    if a is None or b is None or max(abs(b.from_m / a.from_m - 1), abs(b.to_m / a.to_m - 1)) > ALIKE:
        return None
    return Change(b.loss_ratio - a.loss_ratio, hypot(a.u_loss_ratio, b.u_loss_ratio))


def _findings(old: Profile, new: Profile) -> list[Finding]:
    found = []
    was, now = old.conditions, new.conditions
    if was.temperature_C is None or now.temperature_C is None:
        found.append(Finding("no-temperature", "a temperature was not recorded; the limits allow for 10 K either way"))
    elif abs(was.temperature_C - now.temperature_C) > 3:
        off = now.temperature_C - was.temperature_C
        found.append(Finding("different-conditions", f"the new one was measured {off:+.0f} K warmer; allowed for"))
    if was.dwell_s and now.dwell_s and was.dwell_s != now.dwell_s:
        text = f"the waits were {was.dwell_s:g} and {now.dwell_s:g} s; allowed for"
        found.append(Finding("different-conditions", text))
    if was.method != now.method:
        found.append(Finding("different-conditions", "measured in two different ways; no error of the gear cancels"))
    return found


def compare_answer(old: Profile, new: Profile, found: Comparison, beside: Iterable[Coded] = ()) -> CompareAnswer:
    """The comparison as an answer.

    Args:
        old: The earlier calibration.
        new: The later one.
        found: What changed.
        beside: Findings of the band as a whole.
    """
    longer, loss = found.flat_length, found.loss_ratio
    return CompareAnswer(
        band=found.band,
        day=new.made.measured_at,
        findings=doubts([*beside, *found.findings]),
        before=old.made.measured_at,
        days=found.days,
        over_m=found.over,
        half_path_less_tape_m=common_offset([old, new]),
        level=_level(old, new, found),
        changed=found.changed,
        smallest_change=found.smallest,
        doubt_from=found.shares,
        check_load=found.plate,
        flat_length_change_m=longer.value,
        u_flat_length_change_m=longer.u,
        loss_ratio_change=loss.value if loss else None,
        u_loss_ratio_change=loss.u if loss else None,
        points=tuple(
            ComparedPoint(p.length, p.branch, p.difference, p.u, p.half_width, p.e_n + 0.0) for p in found.points
        ),
    )


def _level(old: Profile, new: Profile, found: Comparison) -> Level:
    """The ratio with both limits; one set then against one set now differs by what a cycle does, twice."""
    sets = [set_to_set(profile, found.over) for profile in (old, new)]
    ratio, u = found.level_ratio, found.u_level_ratio
    return Level(ratio, u, found.k * u, found.k * hypot(u, ratio * hypot(*sets)))


def set_to_set(profile: Profile, over: Over) -> float:
    """How one set's average pull over some lengths differs from the band's average that day; relative, k = 1."""
    spread = profile.repeatability
    first, last = (profile.force(x) for x in over)
    hook = spread.hook_shift_m * (last - first) / (over[1] - over[0])
    return hypot(spread.cycle_gain, 2 * hook / (first + last) if first + last else 0.0)
