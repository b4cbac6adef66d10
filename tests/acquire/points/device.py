"""What a scale does to a force before it is on the line: it filters, waits until it is stable, tears, falls silent."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from calib.records import Array

if TYPE_CHECKING:
    from tests.acquire.points.scenes import Kind

STABLE_STEPS, STABLE_N = 3.0, 0.3  # a scale that waits calls stable what stays within so many steps, or this


def filtered(force: Array, kind: "Kind", per_s: float) -> Array:
    """The force behind the scale's own filter. [N]"""
    if kind.lag_s:
        a = float(np.exp(-1 / per_s / kind.lag_s))
        force = np.asarray(lfilter([1 - a], [1.0, -a], force, zi=[a * force[0]])[0])
    if kind.mean_s:
        k = round(kind.mean_s * per_s)
        total = np.cumsum(np.concatenate([[0.0], np.full(k, force[0]), force]))
        force = ((total[k:] - total[:-k]) / k)[1:]
    return force


def sent(
    rng: np.random.Generator, kind: "Kind", t: Array, shown: Array, step: float, stop_s: float
) -> tuple[Array, Array]:
    """The readings that get as far as the program, with their times."""
    keep = np.ones(len(t), bool)
    if kind.settles_s:
        keep &= _stable(t, shown, kind.settles_s, max(STABLE_STEPS * step, STABLE_N))
    if kind.silent[1]:
        begin = stop_s + rng.uniform(-2.0, 9.0)
        keep &= (t < begin) | (t > begin + rng.uniform(*kind.silent))
    if kind.torn:
        shown, lost = _torn(rng, shown, kind.torn)
        keep &= ~lost
    return t[keep], shown[keep]


def _stable(t: Array, shown: Array, for_s: float, within: float) -> NDArray[np.bool_]:
    first = np.searchsorted(t, t - for_s)
    span = [float(np.ptp(shown[i : k + 1])) for k, i in enumerate(first)]
    return np.asarray((np.array(span) <= within) & (t - t[0] >= for_s))


def _torn(rng: np.random.Generator, shown: Array, share: float) -> tuple[Array, NDArray[np.bool_]]:
    """One torn line in four still looks whole: a digit is gone or another one."""
    hit = rng.random(len(shown)) < share
    looks_whole = hit & (rng.random(len(shown)) < 0.25)
    wrong = [_wrong(rng, f"{value:.3f}") if bad else value for value, bad in zip(shown, looks_whole, strict=True)]
    return np.array(wrong), hit & ~looks_whole


def _wrong(rng: np.random.Generator, text: str) -> float:
    at = int(rng.integers(0, len(text)))
    if text[at] == ".":
        return float(text[:at] + text[at + 1 :])
    other = "" if rng.random() < 0.5 else str(rng.integers(0, 10))
    return float((text[:at] + other + text[at + 1 :]).strip("-.") or 0.0)
