"""When a stretch stopped, and the force at a time after it, from blocks of force. Arrays in, numbers out.

A stretch is a straight motion that ends in relaxing, F = a + b log10 t. Three things hide it, and each has its piece:

- **A filter in the scale.** What is shown is the force behind a low-pass of time constant tau. So the columns of the
  fit are put through the same filter, and tau is the one that leaves least (`corner`). Tried before: taking the filter
  off the readings instead, shown + tau d(shown)/dt. That is exact too, but makes steps and noise of a coarse line
  several times larger.
- **A silence.** The stretch stopped while nothing came. How the force relaxes afterwards says how long before: every
  moment of the silence is tried, and counts by what it leaves (`stop_in_silence`).
- **A torn line that still looks whole.** A block far off its neighbours is left out (`sound`).
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import lru_cache
from math import log10, sqrt

import numpy as np
from numpy.typing import NDArray

from calib.frozen import dataclass
from calib.records import Array

FINE_S = 0.1  # the stop is found to this
SMEAR = 0.2  # s; relaxing begins while the motion still ends, so log t is taken from a little later
BATCHES = 3
TAUS = (0.5, 0.7, 1.0, 1.4, 2.0, 2.6)  # s, tried; a person's stop is itself rounded by 0.1 to 0.3 s
SHARPER, CLEARER = 2.0, 1.6  # a filter has to leave so many times less than none, of the hold and of all
WILD = 6.0  # robust standard deviations off its neighbours a block is no force
NEAR_S = 1.5  # of a motion, from which its end is told behind a filter
CLOSE_S = 1.0  # by which the two may differ; with little motion seen the second look finds anything
BEFORE_S = 1.0  # of the hold before, from which a short motion is told
JUMP_S = 3.0  # the longest motion that is short
EARLY_S = (-0.3, -0.2, -0.1, 0.0, 0.1)  # s; a motion may begin so much off the first block that shows it
JUMP_TAUS = (0.3, 0.45, 0.6, 0.8, 1.0, 1.3, 1.7, 2.2, 2.8)  # s, tried
MUCH_SHARPER = 4.0  # so many times less than none a filter has to leave of a short motion: a stop is rounded too
BLOCKS_HELD, STOOD_BLOCKS = 8, 3
STILL_SHARE = 0.03  # of a motion: less is none
LEAST_JUMP = 20.0  # times the floor, a motion from which a filter is told
STEP_S = 0.05  # of the filter's table
SEEN_S = 1.0  # a stop is found by its motion where so much of the motion was seen behind a silence
ALREADY = 1e-9  # of a column is left by the others: they tell it already


@dataclass(frozen=True)
class Corner:
    """Where a motion ended."""

    stop_s: float
    tau: float  # of the device's filter [s]
    rest: float  # sum of squares that the fit leaves
    went_back: bool = False  # the stretch went too far first
    blur: float = 0.0  # by which the end looks rounded though no filter tells the hold better [s]


def line(t: Array, f: Array) -> tuple[float, float, float]:
    """Mean, slope, and standard deviation about the line; both arrays have shape (n,)."""
    x = t - t.mean()
    slope = float(x @ f / (x @ x))
    rest = f - f.mean() - slope * x
    return float(f.mean()), slope, sqrt(float(rest @ rest) / max(len(f) - 2, 1))


def fit(x: Array, f: Array) -> tuple[float, float, Array]:
    """Value at x = 0, slope, and what the line leaves."""
    mean, slope, _ = line(x, f)
    return mean - slope * float(x.mean()), slope, f - mean - slope * (x - x.mean())


def batch_u(values: Array) -> float:
    """Standard error of a mean from the means of three batches: neighbours in a window are alike, batches less so."""
    means = np.array([part.mean() for part in np.array_split(values, BATCHES)])
    return float(means.std(ddof=1)) / sqrt(BATCHES)


def sound(f: Array, floor: float) -> NDArray[np.bool_]:
    """Which blocks may be a force: those not far off the median of themselves and two neighbours on each side.

    Args:
        f: Shape (n,). [force]
        floor: No difference up to here is far. [force]
    """
    padded = np.pad(f, 2, mode="edge")
    near = np.median(np.stack([padded[i : i + len(f)] for i in range(5)]), axis=0)
    off = np.abs(f - near)
    return np.asarray(off <= max(floor, WILD * 1.4826 * float(np.median(off))))


def corner(t: Array, f: Array, latest: float, relaxing: float | None, tau: float = 0.0) -> Corner:
    """When a straight motion ended.

    Args:
        t: Of the blocks, rising, shape (n,). [s]
        f: Shape (n,). [force]
        latest: The stop is looked for up to here. [s]
        relaxing: Force per decade; None where the blocks themselves can tell.
        tau: Of the device's filter. [s]
    """

    def best(tries: Array) -> tuple[float, float]:
        rests = np.sum(_kink_left(t, f, tries[:, None], relaxing, tau) ** 2, axis=-1)
        return float(tries[int(np.argmin(rests))]), float(rests.min())

    first = t[0] + FINE_S
    near = best(np.arange(first, latest, 4 * FINE_S))[0]
    stop, rest = best(np.arange(max(near - 3 * FINE_S, first), min(near + 4 * FINE_S, latest), FINE_S))
    return Corner(stop, tau, rest)


def lag_of(t: Array, f: Array, plain: Corner, since: float, latest: float, relaxing: float | None) -> Corner:
    """Where a filter tells the hold much better than none: the stop and the filter's tau, else `plain`.

    Args:
        t: Of the blocks, the whole motion and the hold, rising, shape (n,). [s]
        f: Shape (n,). [force]
        plain: Found without a filter.
        since: From here on the blocks of the hold are compared. [s]
        latest: The stop is looked for up to here. [s]
        relaxing: Force per decade; None where the blocks themselves can tell.
    """
    held = t >= since

    def left(found: Corner) -> float:
        return float(np.sum(_kink_left(t, f, found.stop_s, relaxing, found.tau)[held] ** 2))

    none, alone = corner(t, f, latest, relaxing), relaxed(t[held], f[held], plain.stop_s, 1.0, 0.0).rest
    best = min((corner(t, f, latest, relaxing, tau) for tau in TAUS), key=left)
    if SHARPER * left(best) >= left(none) or CLEARER * best.rest >= none.rest:
        return plain
    if left(best) >= float(alone @ alone):
        return replace(plain, blur=best.tau)  # a mean over some time, say, that is not quite such a filter
    best = min((corner(t, f, latest, relaxing, best.tau * by) for by in (0.85, 1.0, 1.18)), key=left)
    near = t >= best.stop_s - NEAR_S  # an uneven motion further back has no say in when it ended
    again = corner(t[near], f[near], best.stop_s + NEAR_S, relaxing, best.tau)
    return again if abs(again.stop_s - best.stop_s) < CLOSE_S else best


def lag_of_jump(t: Array, f: Array, floor: float, latest: float, tau: float | None = None) -> Corner | None:
    """The stop and the filter's tau by a short motion between two holds; None where the motion is long or not seen.

    What a filter makes of a short motion is nearly one exponential, which a motion of unknown beginning tells as well:
    only with the level before it are its end and tau apart.

    Args:
        t: Of the blocks, rising, shape (n,). [s]
        f: Shape (n,). [force]
        floor: No change up to here is a motion. [force]
        latest: The stop is looked for up to here. [s]
        tau: Of the device's filter where it is known; None where it is to be told. [s]
    """
    begin = _begin_of(t, f, floor)
    if begin is None:
        return None
    near = t >= begin - BEFORE_S
    t, f = t[near], f[near]

    def best(taus: Iterable[float]) -> Corner:
        return min((Corner(*_jump_end(t, f, begin, latest, each)) for each in taus), key=lambda found: found.rest)

    found = best(JUMP_TAUS if tau is None else (tau,))
    if tau is None:
        found = best(found.tau * by for by in (0.87, 0.93, 1.0, 1.07, 1.15))
        if MUCH_SHARPER * found.rest >= best((0.0,)).rest:
            return None
    return found if found.stop_s < begin + JUMP_S - 2 * FINE_S else None


def _jump_end(t: Array, f: Array, begin: float, latest: float, tau: float) -> tuple[float, float, float]:
    """The best stop for a filter, roughly and then to 0.1 s: stop, tau and the sum of squares that is left."""
    last = min(begin + JUMP_S, latest)

    def best(stops: Array, early: Sequence[float]) -> tuple[float, float]:
        ends, begins = (x.reshape(-1, 1) for x in np.meshgrid(stops, begin + np.array(early)))
        rests = _jump_rest(t, f, begins, ends, tau)
        return float(rests.min()), float(ends[int(np.argmin(rests)), 0])

    near = best(np.arange(begin + FINE_S, last, 3 * FINE_S), EARLY_S[1::2])[1]
    fine = np.arange(max(near - 3 * FINE_S, begin + FINE_S), min(near + 4 * FINE_S, last), FINE_S)
    rest, stop = best(fine, EARLY_S)
    return stop, tau, rest


def _begin_of(t: Array, f: Array, floor: float) -> float | None:
    """The first block that shows the steepest motion, where a hold was seen just before it."""
    steps = np.abs(np.diff(f[: len(f) - BLOCKS_HELD]))
    if len(steps) <= STOOD_BLOCKS:
        return None
    k = int(np.argmax(steps))
    while k > 0 and steps[k - 1] > max(floor, STILL_SHARE * steps.max()):
        k -= 1
    stood = f[max(0, k + 1 - STOOD_BLOCKS) : k + 1]
    jump = abs(float(np.median(f[-BLOCKS_HELD:])) - float(stood[-1]))
    seen = len(stood) == STOOD_BLOCKS and np.ptp(stood) < max(floor, STILL_SHARE * jump)
    return float(t[k + 1]) if seen and jump > LEAST_JUMP * floor else None


def _jump_rest(t: Array, f: Array, begin: Array, stop: Array, tau: float) -> Array:
    """What a level, a straight motion and relaxing leave of the blocks: sums of squares, one of each pair of times."""
    since = t - stop
    ramp = late_ramp(since, tau) - late_ramp(t - np.minimum(begin, stop - FINE_S / 2), tau)
    return np.asarray(np.sum(_left((ramp, late_log(since, tau)), f) ** 2, axis=-1))


def kink_rest(t: Array, f: Array, at: float, relaxing: float | None) -> float:
    """What a straight motion up to a time, and relaxing after it, leave of the blocks: sum of squares."""
    rest = _kink_left(t, f, at, relaxing, 0.0)
    return float(rest @ rest)


def _kink_left(t: Array, f: Array, at: Array | float, relaxing: float | None, tau: float) -> Array:
    since = t - at
    columns = [late_ramp(since, tau)]
    if tau:
        columns.append(
            np.broadcast_to(np.exp(-(t - t[0]) / tau), since.shape)
        )  # what the filter holds of the time before
    decades = late_log(since, tau)
    if relaxing is None:
        columns.append(decades)
    else:
        f = f - relaxing * decades
    return _left(columns, f)


def _left(columns: Sequence[Array], f: Array) -> Array:
    """What a level and columns of shape (..., n) leave of the blocks, many fits at once.

    Gram-Schmidt, each column twice; one that the others tell already is passed over. A hold that is not taken is looked
    at again each second: 150 fits of one try each took a fifth of that second.
    """
    rest = f - f.mean(axis=-1, keepdims=True)
    found: list[Array] = []
    for column in columns:
        new = column - column.mean(axis=-1, keepdims=True)
        size = np.linalg.norm(new, axis=-1, keepdims=True)
        for one in (*found, *found):
            new = new - one * np.sum(one * new, axis=-1, keepdims=True)
        norm = np.linalg.norm(new, axis=-1, keepdims=True)
        new = np.where(norm > ALREADY * size, new / np.maximum(norm, 1e-300), 0.0)
        rest = rest - new * np.sum(new * rest, axis=-1, keepdims=True)
        found.append(new)
    return np.asarray(rest)


def late_ramp(since: Array, tau: float) -> Array:
    """A ramp that ends at 0, behind a filter."""
    if not tau:
        return np.asarray(np.minimum(since, 0))
    return np.asarray(np.where(since < 0, since - tau, -tau * np.exp(-np.maximum(since, 0) / tau)))


def late_log(since: Array, tau: float) -> Array:
    """log10 of the time since the stop, behind a filter."""
    if not tau:
        return np.asarray(np.log10(np.maximum(since, 0) + SMEAR))
    table = _late_log(tau)
    return np.asarray(np.interp(since, np.arange(len(table)) * STEP_S, table))


@lru_cache(maxsize=64)
def _late_log(tau: float) -> Array:
    since = np.arange(0.0, 120.0, STEP_S)
    plain, out = np.log10(since + SMEAR), np.empty(len(since))
    kept, state = float(np.exp(-STEP_S / tau)), log10(SMEAR)
    for i, value in enumerate(plain):
        state = kept * state + (1 - kept) * value
        out[i] = state
    return out


@dataclass(frozen=True)
class Relaxed:
    """A relaxing force: at the stated time, per decade, and what is left."""

    force: float
    decade: float
    rest: Array


def relaxed(t: Array, f: Array, stop: float, t_ref: float, tau: float) -> Relaxed:
    """Fit F = a + b log10(t / t_ref) to blocks of a hold; `a` is the force at t_ref, the device's filter taken off."""
    since = t - stop
    if not tau:
        a, b, rest = fit(np.log10(np.maximum(since, FINE_S) / t_ref), f)
        return Relaxed(a, b, rest)
    columns = [np.ones(len(t)), late_log(since, tau) - log10(t_ref + SMEAR), np.exp(-(t - t[0]) / tau)]
    both = np.column_stack(columns)
    found = np.linalg.lstsq(both, f, rcond=None)[0]
    return Relaxed(float(found[0]), float(found[1]), f - both @ found)


def stop_in_silence(
    t: Array, f: Array, silence: tuple[float, float], t_ref: float, least_sd: float
) -> tuple[float, float, float]:
    """A stretch that stopped while nothing came, or just after: the stop, the force t_ref after it, and its u.

    Args:
        t: Of the blocks after the silence, shape (n,). [s]
        f: Shape (n,). [force]
        silence: From when to when it was silent. [s]
        t_ref: Time after the stop for which the force is stated. [s]
        least_sd: What a block is off at least. [force]
    """
    tries = np.arange(silence[0], silence[1] + SEEN_S, max(FINE_S / 2, (silence[1] - silence[0]) / 40))
    found = [_stopped_at(t, f, float(at), t_ref) for at in tries]
    rests = np.array([rest for _, rest in found])
    variance = max(float(rests.min()) / max(len(t) - 3, 1), least_sd**2)
    weight = np.exp(-(rests - rests.min()) / (2 * ALIKE * variance))
    weight /= weight.sum()
    force = np.array([one for one, _ in found])
    mean = float(weight @ force)
    u = sqrt(float(weight @ (force - mean) ** 2))
    return float(weight @ tries), mean, u


def _stopped_at(t: Array, f: Array, at: float, t_ref: float) -> tuple[float, float]:
    """The force at t_ref after a stop, and the sum of squares it leaves; motion that was seen before it is a line."""
    held = t >= at
    one = relaxed(t[held], f[held], at - SMEAR, t_ref, 0.0)
    return one.force, float(one.rest @ one.rest) if held.all() else kink_rest(t, f, at, None)


ALIKE = 3.0  # neighbouring blocks are alike: so many of them say as much as one
