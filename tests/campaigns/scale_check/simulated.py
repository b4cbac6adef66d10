"""Scales and plates whose truth is known, to see whether the stated interval of a correction holds it."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import accumulate

import numpy as np

from calib.fit.gear.known_loads import KnownLoads, LoadKind, usual
from calib.fit.gear.scale_check import ScaleCheck, check_scale
from calib.fit.gear.scale_correction import Z95
from calib.fit.gear.weighings import Weighing, added_one_by_one
from calib.records import Array, BranchName
from calib.units import G_STANDARD as G

PLACES = (0.25, 0.5, 0.75, 1.0)  # of the largest load


@dataclass(frozen=True)
class Kind:
    """One kind of scale and set of loads."""

    name: str
    steps: tuple[float, ...]  # [kg] pieces added one after another
    loads: LoadKind
    resolution: float  # [kg]
    noise: float  # [kg]
    series: int = 1  # times up and down
    way_down: bool = True
    bend: float = 0.0  # relative, of the gain at the top
    off: float = 0.0  # relative, of the gain beside what is drawn
    spread: float = 1.0  # the noise is drawn for each check, evenly in its logarithm, up to so many times less or more
    gap: float = 0.0  # relative, shown more on the way down than up, middle of the range
    least: float = 0.93  # share of intervals that must hold
    most: float = 0.98
    assumed: bool = True  # such scales are what is assumed; others are shown, not judged


KINDS = (
    # One plate leaves two degrees of freedom: the prior of the noise speaks, and it must allow for noisier scales.
    Kind("hook 50 g, one weighed plate up and down", (20,), "weighed", 0.05, 0.02, most=1.0),
    Kind("hook 50 g, two plates as they come", (10, 10), "plates", 0.05, 0.03),
    Kind("hook 50 g, four plates as they come", (5, 5, 10, 10), "plates", 0.05, 0.03),
    Kind("hook 50 g, four calibrated plates", (10, 10, 15, 15), "calibrated", 0.05, 0.03),
    Kind("hook 50 g, four weighed plates", (5, 10, 10, 15), "weighed", 0.05, 0.03),
    Kind("hook 50 g, quiet, four weighed plates", (5, 10, 10, 15), "weighed", 0.05, 0.004),
    Kind("hook 100 g, noisy, four weighed, up only", (5, 10, 10, 15), "weighed", 0.1, 0.1, way_down=False),
    Kind("hook 20 g, water in a bucket, five fillings", (4, 4, 4, 4, 4), "water", 0.02, 0.02),
    Kind("cell 5 g, eight weighed, twice", (5,) * 8, "weighed", 0.005, 0.004, series=2),
    Kind("cell 5 g, six calibrated, bends 0.3 %", (10,) * 6, "calibrated", 0.005, 0.004, bend=0.003),
    Kind("cell 5 g, exact loads, bends 0.3 %", (10,) * 6, "force", 0.005, 0.006, bend=0.003),
    Kind("exact loads, two, up and down", (10, 10), "force", 0.01, 0.02),
    Kind("exact loads, four, up and down", (5, 5, 10, 10), "force", 0.01, 0.03),
    Kind("exact loads, four, up only", (5, 5, 10, 10), "force", 0.01, 0.03, way_down=False),
    Kind("exact loads, eight, three times", (5,) * 8, "force", 0.01, 0.03, series=3),
    Kind("exact loads, coarse display 0.2 kg", (5, 10, 10, 15), "force", 0.2, 0.02),
    Kind("hook 50 g, four weighed, 0.2 % up/down gap", (5, 10, 10, 15), "weighed", 0.05, 0.02, gap=0.002),
    Kind("platform 100 g, five weighed, 0.5 % gap", (20,) * 5, "weighed", 0.1, 0.04, gap=0.005),
    Kind("hook 50 g, one weighed plate, noise 4 to 100 g", (20,), "weighed", 0.05, 0.02, spread=5, most=1.0),
    Kind("hook 20 g, four weighed plates, noise 4 to 100 g", (5, 5, 10, 10), "weighed", 0.02, 0.02, spread=5),
    Kind("hook 50 g, 3 % off, two plates as they come", (10, 10), "plates", 0.05, 0.03, off=0.03, assumed=False),
    Kind("hook 50 g, 3 % off, four plates as they come", (5, 5, 10, 10), "plates", 0.05, 0.03, off=0.03, assumed=False),
    Kind("hook 50 g, 3 % off, four weighed plates", (5, 10, 10, 15), "weighed", 0.05, 0.03, off=0.03),
)


@dataclass(frozen=True)
class Outcome:
    """How one check came out at four places of its range."""

    error: Array  # [N] corrected pull less the true one
    u: Array  # [N] stated


@dataclass(frozen=True)
class Result:
    """Many checks of one kind."""

    places: Array  # share held at each place
    rms: float  # of error / u
    u_top: float  # relative

    @property
    def held(self) -> float:
        """Share held over all places."""
        return float(self.places.mean())


def campaign(index: int, checks: int) -> Result:
    """Simulate checks of one kind; the seed is fixed by its index."""
    kind, rng = KINDS[index], np.random.default_rng([7, index])
    outcomes = [simulate(kind, rng) for _ in range(checks)]
    error, u = np.array([o.error for o in outcomes]), np.array([o.u for o in outcomes])
    held = np.abs(error) <= Z95 * u
    top = float(np.sqrt(np.mean(u[:, -1] ** 2))) / (sum(kind.steps) * G)
    return Result(held.mean(axis=0), float(np.sqrt(np.mean((error / u) ** 2))), top)


def simulate(kind: Kind, rng: np.random.Generator) -> Outcome:
    """Check one scale drawn at random, and compare its correction with the truth."""
    gain, zero = 1 + kind.off + 0.01 * rng.uniform(-1, 1), 0.1 * rng.standard_normal() * G
    noise = kind.noise * kind.spread ** rng.uniform(-1, 1)
    loads = usual("set", kind.loads)
    true_steps = _true_steps(kind, loads, rng)
    totals, truth = [0.0, *accumulate(kind.steps)], np.cumsum([0.0, *true_steps])
    top = float(truth[-1])

    def indication(kg: float) -> float:
        return zero / G + gain * kg * (1 + kind.bend * kg / top)

    shape = {total: kind.gap * top * 4 * (m / top) * (1 - m / top) / 2 for total, m in zip(totals, truth, strict=True)}
    up, down = list(zip(totals, truth, strict=True)), list(zip(totals[::-1], truth[::-1], strict=True))
    ways: tuple[BranchName, ...] = ("loading", "unloading") if kind.way_down else ("loading",)
    nominal, shown, branch = [], [], list[BranchName]()
    for way in ways * kind.series:
        for total, m in up if way == "loading" else down:
            sign = -1 if way == "loading" else 1
            raw = indication(float(m)) + sign * shape[total] + noise * rng.standard_normal()
            nominal.append(total)
            shown.append(round(raw / kind.resolution) * kind.resolution * G)
            branch.append(way)
    weighings = [Weighing(p, s, b) for p, s, b in zip(added_one_by_one(nominal), shown, branch, strict=True)]
    check = check_scale(weighings, loads, kind.resolution * G, "2026-01-01")
    return _compare(check, top, indication(0.0), indication)


def _true_steps(kind: Kind, loads: KnownLoads, rng: np.random.Generator) -> list[float]:
    common = loads.u_common * rng.standard_normal()
    return [s * (1 + common) + loads.u_piece(s) * rng.standard_normal() for s in kind.steps]


def _compare(check: ScaleCheck, top: float, nothing: float, indication: Callable[[float], float]) -> Outcome:
    error, u = [], []
    for place in PLACES:
        mass = place * top
        shown = indication(mass) * G
        pull = check.correction.force(shown) - check.correction.force(nothing * G)
        error.append(pull - mass * G)
        u.append(check.u(shown))
    return Outcome(np.array(error), np.array(u))
