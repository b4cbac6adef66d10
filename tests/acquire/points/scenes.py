"""Scripted stretches of an invented band: a ramp, a stop, relaxing rubber, a hand or a strap, a converter."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from calib.records import Array
from tests.acquire.points import device

FINE = 200.0  # steps a second of the script
SWAY = 0.012  # sd of a hand's pull, correlated over 0.2 to 1.5 s (an assumption: isometric force varies 1 to 2 %)
TREMOR = 0.003  # rms at 8 to 12 Hz, the band of physiological tremor
U_ZERO_RATE = 0.0005  # N/s; how well a zero of eight seconds tells its drift
STEPS_N = (0.002, 0.0098, 0.098)  # one step of the line: fine counts, a gram, ten grams


@dataclass(frozen=True)
class Scene:
    """A stretch as a load cell sends it.

    Args:
        t, force: Samples. [s], [N]
        stop_s: When the stretch stopped.
        truth: Force at a time after the stop, without hand and converter. [N]
        step: One step of the line. [N]
        up: Whether the way was out.
        relaxing: Per cent of the force per decade.
        zero_rate: By which the zero drifts, as a zero of eight seconds told it. [N/s]
    """

    t: Array
    force: Array
    stop_s: float
    truth: Callable[[float], float]
    step: float
    up: bool
    relaxing: float
    zero_rate: float = 0.0


@dataclass(frozen=True)
class Kind:
    """One kind of stretch, force drawn evenly in its logarithm."""

    grip: str = "strap"
    rate: float = 10.0
    force: tuple[float, float] = (15.0, 700.0)
    speed: tuple[float, float] = (5.0, 80.0)  # [N/s]
    relaxing: tuple[float, float] = (1.0, 3.0)  # per cent a decade
    hold_s: float = 20.0
    pauses: bool = False  # of 1 to 2.5 s under way
    knock: bool = False  # 3 % for 0.3 s while held
    overshoot: bool = False  # 5 % too far, then back
    spikes: bool = False  # one sample in 100 is far off
    lag_s: float = 0.0  # the scale's own filter, of first order
    mean_s: float = 0.0  # the scale shows the mean of so long
    settles_s: float = 0.0  # the scale is silent until it has stood still for so long
    drift: float = 0.0  # of the zero [N/s]
    torn: float = 0.0  # share of the lines whose number is damaged or lost
    silent: tuple[float, float] = (0.0, 0.0)  # nothing comes for so long, at a moment between -2 and 9 s of the stop


def wander(rng: np.random.Generator, n: int, tau: float, sd: float) -> Array:
    """A first-order random walk that is drawn back: sd, correlated over tau. [s]"""
    a = float(np.exp(-1 / FINE / tau))
    kicks = rng.normal(size=n) * sd * np.sqrt(1 - a * a)
    kicks[0] = rng.normal() * sd
    return np.asarray(lfilter([1.0], [1.0, -a], kicks))


def stretch(rng: np.random.Generator, kind: Kind, span: tuple[float, float] | None = None) -> Scene:
    """Draw one stretch.

    Args:
        rng: Seeded.
        kind: What to draw from.
        span: Force at the start and at the end [N]; drawn where None.
    """
    up = bool(rng.random() < 0.6)
    sign = 1 if up else -1
    if span is None:
        end = float(np.exp(rng.uniform(*np.log(kind.force))))
        span = (end - sign * min(rng.uniform(30, 120), 0.8 * end), end)
    sign, up = (1, True) if span[1] > span[0] else (-1, False)
    b, smear = rng.uniform(*kind.relaxing) / 100, rng.uniform(0.05, 0.5)

    def held(since: Array | float) -> Array:
        return np.asarray(span[1] * (1 - sign * b * np.log10((np.asarray(since) + smear) / (10 + smear))))

    clean, stop = _script(rng, kind, span[0], held, sign)
    t = np.arange(len(clean)) / FINE
    felt = clean * _hand(rng, kind, len(t)) if kind.grip == "hand" else clean
    felt = device.filtered(felt, kind, FINE) + kind.drift * (t - stop)
    times, shown = _converter(rng, t, felt, kind.rate)
    if kind.spikes:
        shown = np.where(rng.random(len(shown)) < 0.01, shown * 3 + 50, shown)
    step = float(rng.choice(STEPS_N))
    times, shown = device.sent(rng, kind, times, np.round(shown / step) * step, step, stop)
    rate = (kind.drift + rng.normal() * U_ZERO_RATE) if kind.drift else 0.0
    return Scene(times, shown, stop, lambda s: float(held(s)), step, up, -100 * b * sign, rate)


def _script(
    rng: np.random.Generator, kind: Kind, start: float, held: Callable[[Array | float], Array], sign: int
) -> tuple[Array, float]:
    speed = float(np.exp(rng.uniform(*np.log(kind.speed))))
    top = float(held(0.0))
    peak = top + sign * 0.05 * abs(top) * kind.overshoot
    lead = rng.uniform(2, 4)
    ramp = _ramp(rng, abs(peak - start), speed, kind.pauses) * sign + start
    back = np.linspace(peak, top, int(0.8 * FINE))[1:] if kind.overshoot else np.empty(0)
    rest = held(np.arange(int(kind.hold_s * FINE)) / FINE)
    if kind.knock:
        at = int(rng.uniform(3, kind.hold_s - 3) * FINE)
        rest[at : at + int(0.3 * FINE)] *= 1 + 0.03 * rng.choice([-1, 1])
    before = np.full(int(lead * FINE), start)
    return np.concatenate([before, ramp, back, rest]), (len(before) + len(ramp) + len(back)) / FINE


def _ramp(rng: np.random.Generator, height: float, speed: float, pauses: bool) -> Array:
    """A ramp that is not quite even; nobody's hand is."""
    n = int(height / speed * FINE * 3) + int(FINE)
    rate = np.clip(1 + wander(rng, n, 0.7, 0.2), 0.2, 2.0) * speed / FINE
    if pauses:
        for _ in range(int(rng.integers(1, 4))):
            at = int(rng.uniform(0, n / 3))
            rate = np.insert(rate, at, np.zeros(int(rng.uniform(1, 2.5) * FINE)))
    climbed = np.cumsum(rate)
    return np.asarray(climbed[: int(np.searchsorted(climbed, height))])


def _hand(rng: np.random.Generator, kind: Kind, n: int, sway: float = SWAY) -> Array:
    tau = float(10 ** rng.uniform(np.log10(0.2), np.log10(1.5)))
    phase = np.cumsum(rng.uniform(8, 12) + wander(rng, n, 1.0, 0.5)) / FINE
    return np.asarray(1 + wander(rng, n, tau, sway) + TREMOR * np.sqrt(2) * np.sin(2 * np.pi * phase))


def _converter(rng: np.random.Generator, t: Array, force: Array, rate: float) -> tuple[Array, Array]:
    """Each sample is the mean over one conversion, with noise of 0.005 to 0.02 N."""
    k = max(1, round(FINE / rate))
    total = np.cumsum(np.insert(force, 0, 0.0))
    mean, ends = (total[k:] - total[:-k]) / k, t[k - 1 :]
    times = np.arange(ends[0] + rng.uniform(0, 1 / rate), ends[-1], 1 / rate)
    return times, np.interp(times, ends, mean) + rng.normal(size=len(times)) * rng.uniform(0.005, 0.02)
