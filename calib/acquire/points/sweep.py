"""A continuous stretch, out and back, cut into branches and read at many lengths. No port and no file.

Where the line sends no length, a constant pulling speed and the length at which it turns stand in for it.
"""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from calib.errors import DataError
from calib.frozen import dataclass
from calib.records import Array, BranchName

TURN_SHARE = 0.1  # of the whole span: a reversal by more than this is a turn, less is unevenness
WHOLE_SHARE = 0.5  # of the longest leg: a shorter one is no sweep
AT_TURN = 0.02  # of a leg at either end is left out: there the pull slows down
FEWEST = 3  # samples behind a point
WIDE = 4  # spacings: a point with fewer samples than FEWEST within these is left out
SMOOTH_S = 0.3  # turning points are looked for in means over this
UNEVEN = 0.25  # relative, of the rate within a leg: more is said


@dataclass(frozen=True)
class Leg:
    """One way, out or back."""

    branch: BranchName
    cycle: int
    begin: int  # index of its first sample
    end: int  # one past its last
    rate: float  # [m/s] median
    unevenness: float  # relative, a robust standard deviation of the rate


@dataclass(frozen=True)
class SweepPoint:
    """The force at one length of a leg."""

    branch: BranchName
    cycle: int
    length: float  # [m] as the tape reads
    force: float  # [N] as indicated
    at_s: float
    n: int
    sd: float  # [N] of a sample about the local line


def turning_points(values: Array, least: float) -> list[int]:
    """Where a row of numbers turns, the first and the last included.

    Args:
        values: Shape (n,).
        least: A reversal shorter than this is not a turn, in their unit.

    >>> turning_points(np.array([0.0, 2.0, 5.0, 4.9, 7.0, 3.0, 0.0, 1.0]), 0.5)
    [0, 4, 6, 7]
    """
    turns = [0]
    way, best = 0, 0
    for i, value in enumerate(values):
        ahead = value - values[best]
        if way == 0 and abs(value - values[0]) > least:
            way, best = (1 if value > values[0] else -1), i
        elif way and way * ahead >= 0:
            best = i
        elif way and -way * ahead > least:
            turns.append(best)
            way, best = -way, i
    return [*turns, best] if best != turns[-1] else turns


def legs_of(t: Array, length: Array) -> list[Leg]:
    """The loading and unloading branches of a sweep.

    Args:
        t: Rising, shape (n,). [s]
        length: Shape (n,). [m]

    Raises:
        DataError: The length never goes out.
    """
    smooth = _smooth(t, length)
    span = float(np.ptp(smooth))
    turns = turning_points(smooth, max(TURN_SHARE * span, 1e-6))
    pairs = [(a, b) for a, b in pairwise(turns) if b - a >= FEWEST]
    longest = max((abs(smooth[b] - smooth[a]) for a, b in pairs), default=0.0)
    whole = [(a, b) for a, b in pairs if abs(smooth[b] - smooth[a]) >= WHOLE_SHARE * longest]
    legs: list[Leg] = []
    for a, b in whole:
        branch: BranchName = "loading" if smooth[b] > smooth[a] else "unloading"
        before = legs[-1].cycle if legs else 0
        cycle = before + 1 if branch == "loading" else max(before, 1)
        rates = _rates(t[a : b + 1], smooth[a : b + 1])
        rate = float(np.median(rates[rates > 0.2 * rates.max()]))
        moving = rates[rates > 0.2 * rate]
        uneven = float(1.4826 * np.median(np.abs(moving - rate)) / rate)
        legs.append(Leg(branch, cycle, a, b + 1, rate, uneven))
    if not any(leg.branch == "loading" for leg in legs):
        raise DataError("the length never increases", remedy="start with the band short, pull it out and back")
    return legs


def points_of(
    t: Array, force: Array, length: Array, legs: Sequence[Leg], at: Sequence[float], spacing: float | None = None
) -> list[SweepPoint]:
    """The force at wanted lengths on every leg, from a straight line through the samples around each.

    Args:
        t: Of the samples, rising, shape (n,). [s]
        force: As indicated, shape (n,). [N]
        length: As the tape reads, shape (n,). [m]
        legs: As found.
        at: Wanted lengths, rising; those a leg does not reach are left out on it. [m]
        spacing: Over about how much a straight line may go; by default from one wanted length to the next. [m]
    """
    spacing = spacing or float(np.median(np.diff(at))) if len(at) > 1 else 0.05
    out: list[SweepPoint] = []
    for leg in legs:
        part = slice(leg.begin, leg.end)
        lt, lf, ll = t[part], force[part], length[part]
        low, high = float(ll.min()), float(ll.max())
        inset = AT_TURN * (high - low)
        wanted = [x for x in at if low + inset <= x <= high - inset]
        for x in wanted if leg.branch == "loading" else wanted[::-1]:
            point = _point(leg, lt, lf, ll, x, spacing)
            if point is not None:
                out.append(point)
    return out


def _point(leg: Leg, t: Array, force: Array, length: Array, at: float, spacing: float) -> SweepPoint | None:
    for width in (0.5, 1.0, 2.0, WIDE):
        near = np.abs(length - at) <= width * spacing
        if near.sum() >= FEWEST and np.ptp(length[near]) > 0:
            break
    else:
        return None
    x, f = length[near] - at, force[near]
    slope, value = np.polyfit(x, f, 1)
    rest = f - value - slope * x
    n = int(near.sum())
    sd = float(np.sqrt(rest @ rest / max(n - 2, 1)))
    return SweepPoint(leg.branch, leg.cycle, at, float(value), float(np.interp(0.0, *_sorted(x, t[near]))), n, sd)


def _sorted(x: Array, y: Array) -> tuple[Array, Array]:
    order = np.argsort(x)
    return x[order], y[order]


def length_by_speed(t: Array, pull: Array, top: float, speed: float) -> Array:
    """Length of a stretch at constant speed that turns at a known length, from the moments of its largest pulls. [m]

    Args:
        t: Rising, shape (n,). [s]
        pull: Shape (n,). [N]
        top: Length at which it turns. [m]
        speed: Out and back alike, without a stop at the turn. [m/s]

    Raises:
        DataError: The pull never turns.
    """
    smooth = _smooth(t, pull)
    turns = turning_points(smooth, TURN_SHARE * float(np.ptp(smooth)))
    tops = [i for i in turns if smooth[i] > 0.7 * smooth.max()]
    if not tops:
        raise DataError("the pull shows no turning point", remedy="pull out and back at the same speed")
    turned = np.array([_turn(t, pull, i) for i in tops])
    return np.asarray(top - speed * np.min(np.abs(t[:, None] - turned[None, :]), axis=1))


def _turn(t: Array, pull: Array, near: int) -> float:
    """When a pull turned, to less than a sample: where the curves of a second before and after meet. [s]"""
    since = t - t[near]
    before, after = (since > -1.2) & (since < -0.15), (since > 0.15) & (since < 1.2)
    if min(before.sum(), after.sum()) < 2 * FEWEST:
        return float(t[near])
    rising, falling = (np.polyfit(since[part], pull[part], 2) for part in (before, after))
    tries = np.arange(-SMOOTH_S, SMOOTH_S, 0.002)
    apart = np.polyval(rising, tries) - np.polyval(falling, tries)
    return float(t[near] + tries[int(np.argmin(np.abs(apart)))])


def _rates(t: Array, values: Array) -> Array:
    """Sizes of the rates over a third of a second: a port delivers in lumps, of which all have one time."""
    k = min(_samples(t, SMOOTH_S), len(t) - 1)
    took = t[k:] - t[:-k]
    return np.asarray(np.abs(values[k:] - values[:-k])[took > 0] / took[took > 0])


def _samples(t: Array, seconds: float) -> int:
    """How many samples come in a time, one at least."""
    return max(1, round(seconds * (len(t) - 1) / max(float(t[-1] - t[0]), 1e-6)))


def _smooth(t: Array, values: Array) -> Array:
    """Means over a third of a second, of the same length."""
    k = _samples(t, SMOOTH_S) | 1
    if k == 1 or len(values) < k:
        return values
    padded = np.pad(values, k // 2, mode="edge")
    return np.asarray(np.convolve(padded, np.ones(k) / k, mode="valid"))
