"""Many stretches through the watch, and what came of them."""

from dataclasses import dataclass, replace

import numpy as np

from calib.acquire.points.held import Event, HoldRules, HoldWatch
from tests.acquire.points.scenes import U_ZERO_RATE, Kind, Scene, stretch


@dataclass(frozen=True)
class Score:
    """Of holds: shares and relative errors."""

    count: int
    missed: int
    false: int  # captures whose stop lies more than 3 s before the true one
    rms_percent: float
    p95_percent: float
    worst_percent: float
    covered: int
    u_percent: float  # median
    slope_error: float  # rms of per cent per decade, nan for a hand
    slope_covered: int
    stop_s: tuple[float, float]  # 2.5 and 97.5 % of stop found less true


def rules_for(scene: Scene, grip: str, newton: float = 1.0) -> HoldRules:
    """The rules a recording would use for a line of this step."""
    made = HoldRules.strap(newton=abs(newton)) if grip == "strap" else HoldRules.hand(newton=abs(newton))
    return replace(made, floor=max(0.1, 3 * scene.step) * abs(newton))


def watched(scene: Scene, grip: str, *, begin_s: float = 0.0, newton: float = 1.0, zero: float = 0.0) -> list[Event]:
    """All events of a scene; its force may be sent in another unit, from another zero."""
    way = (1 if scene.up else -1) * int(np.sign(newton))
    watch = HoldWatch(rules_for(scene, grip, newton), zero, way, drift=scene.zero_rate * newton)
    out: list[Event] = []
    for t, force in zip(scene.t, scene.force, strict=True):
        if t >= begin_s:
            out += watch.feed(float(t), zero + newton * float(force))
    return out


def holds(kind: Kind, count: int, seed: int) -> Score:
    """Stretches that end in a hold."""
    rng = np.random.default_rng(seed)
    missed = false = covered = slope_covered = 0
    errors, us, slopes, stops = [], [], [], []
    for _ in range(count):
        scene = stretch(rng, kind)
        points = [e.point for e in watched(scene, kind.grip) if e.point]
        good = [p for p in points if p.stopped_s > scene.stop_s - 3]
        false += len(points) - len(good)
        if not good:
            missed += 1
            continue
        point = good[0]
        truth = scene.truth(point.dwell_s)
        force = point.force - scene.zero_rate * (point.at_s - scene.stop_s)
        u = point.total_u(scene.step, 0.0, U_ZERO_RATE * abs(point.at_s - scene.stop_s) * bool(scene.zero_rate))
        covered += abs(force - truth) < 1.96 * u
        errors.append(100 * (force / truth - 1))
        us.append(100 * u / abs(truth))
        stops.append(point.stopped_s - scene.stop_s)
        if point.percent_per_decade is not None and point.u_percent is not None:
            slopes.append(point.percent_per_decade - scene.relaxing)
            slope_covered += abs(slopes[-1]) < 1.96 * point.u_percent
    size = np.abs(errors)
    return Score(
        count,
        missed,
        false,
        float(np.sqrt(np.mean(size**2))),
        float(np.quantile(size, 0.95)),
        float(size.max()),
        covered,
        float(np.median(us)),
        float(np.sqrt(np.mean(np.square(slopes)))) if slopes else float("nan"),
        slope_covered,
        (float(np.quantile(stops, 0.025)), float(np.quantile(stops, 0.975))),
    )


def false_captures(kind: Kind, count: int, seed: int, longest_s: float = 120.0) -> int:
    """How many ramps that have not ended had a capture; what stood before them is left out."""
    rng = np.random.default_rng(seed)
    kind = replace(kind, hold_s=0.5)
    found = 0
    for _ in range(count):
        end = rng.uniform(100, kind.force[1])
        sign = 1 if rng.random() < 0.6 else -1
        height = min(rng.uniform(60, 0.9 * end), longest_s * kind.speed[0])
        scene = stretch(rng, kind, (end - sign * height, end))
        found += any(e.kind == "held" for e in watched(scene, kind.grip, begin_s=3.5))
    return found
