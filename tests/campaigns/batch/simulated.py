"""Draws a batch of nominally equal bands, measures some in full and some at few lengths with one set of gear.

The bands share a law that is not the fitter's; level, flat length and a small smooth part of the shape are each band's
own. What is stated of the gear is true: its gain and tape error are drawn once a batch, zero and offset once a run.
"""

import zlib
from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import CubicSpline

from calib.half_path import rest_half_path
from calib.records import (
    Array,
    Band,
    BranchName,
    LengthSetup,
    Procedure,
    Row,
    Run,
    RunHead,
    ScaleInUse,
)
from calib.units import G_STANDARD
from tests.campaigns.simulated_bands.laws import DrawLoading, DrawUnloading, Loading
from tests.campaigns.simulated_bands.measuring import THICKNESS, U_COMMON, U_FLAT, U_TAPE_SCALE, TrueBand
from tests.campaigns.simulated_bands.worlds import Gear, Spread

SEED = 20260401
LEVELS, FLATS = 0.08, 0.02  # half-widths of the rectangular spread between bands
STIFFER = 0.20  # of the outlying band at its top, nothing at rest
OWN_REACH = 0.4  # of the range: how far a band's own departure is correlated


@dataclass(frozen=True)
class BatchWorld:
    """One kind of batch and gear."""

    name: str
    loading: DrawLoading
    unloading: DrawUnloading
    gear: Gear
    spread: Spread
    own_shape: float = 0.007  # sd of a band's own departure from the shared shape, relative
    bands: int = 12
    full: int = 3
    lengths: int = 8
    cycles: int = 2
    few: tuple[tuple[float, BranchName], ...] = ((0.15, "loading"), (0.5, "loading"), (1.0, "loading"))
    outlying: bool = False
    kept_aside: bool = False


@dataclass(frozen=True)
class Batch:
    """Runs and the truth behind each; which band was made to depart, None where none."""

    runs: tuple[Run, ...]
    truths: tuple[TrueBand, ...]
    outlying: int | None


def draw_batch(world: BatchWorld, number: int) -> Batch:
    """Measure the n-th batch of a world; the same number gives the same batch."""
    rng = np.random.default_rng([SEED, zlib.crc32(world.name.encode()), number])
    rest, level, top = rng.uniform(0.5, 1.06), np.exp(rng.uniform(np.log(60), np.log(350))), rng.uniform(1.9, 2.7)
    law_seed = int(rng.integers(2**31))
    gain, tape = world.gear.u_gain * rng.standard_normal(), U_TAPE_SCALE * rng.standard_normal()
    odd = int(rng.integers(world.bands)) if world.outlying else None
    truths, runs = [], []
    for i in range(world.bands):
        factor = 1 + rng.uniform(-LEVELS, LEVELS)
        mine = rest * (1 + rng.uniform(-FLATS, FLATS))
        law = _own(world.loading(np.random.default_rng(law_seed), level), factor, world.own_shape, top, i == odd, rng)
        back = world.unloading(np.random.default_rng(law_seed + 1), law)
        truth = TrueBand(mine, round(mine * top, 3), law, back)
        plan = _full(world, truth) if i < world.full else [_few(world, truth)]
        truths.append(truth)
        runs.append(_measure(world, f"{world.name}-{number}-{i + 1:02d}", truth, plan, (gain, tape, factor), rng))
    return Batch(tuple(runs), tuple(truths), odd)


def _own(law: Loading, factor: float, own_shape: float, top: float, stiffer: bool, rng: np.random.Generator) -> Loading:
    """The batch's law with a band's level and its own smooth departure, a Gaussian process of no rubber law."""
    knots = np.linspace(0, 1.1, 23)
    near = np.exp(-0.5 * ((knots[:, None] - knots) / OWN_REACH) ** 2)
    departure = own_shape * np.linalg.cholesky(near + 1e-8 * np.eye(len(knots))) @ rng.standard_normal(len(knots))
    own = CubicSpline(knots, departure)

    def force(stretch: Array) -> Array:
        along = (np.asarray(stretch) - 1) / (top - 1)
        return np.asarray(factor * law(stretch) * np.exp(own(along)) * (1 + (STIFFER * along if stiffer else 0.0)))

    return force


def _full(world: BatchWorld, truth: TrueBand) -> list[list[tuple[float, BranchName]]]:
    up = np.round(np.linspace(1.1 * truth.rest, truth.top, world.lengths), 3).tolist()
    cycle: list[tuple[float, BranchName]] = [(x, "loading") for x in up]
    return [cycle + [(x, "unloading") for x in up[-2::-1]]] * world.cycles


def _few(world: BatchWorld, truth: TrueBand) -> list[tuple[float, BranchName]]:
    low = 1.1 * truth.rest
    return [(round(low + share * (truth.top - low), 3), branch) for share, branch in world.few]


def _measure(
    world: BatchWorld,
    name: str,
    truth: TrueBand,
    plan: list[list[tuple[float, BranchName]]],
    shared: tuple[float, float, float],
    rng: np.random.Generator,
) -> Run:
    """One run: zero and offset are its own, a cycle has its gain and place of the hook."""
    gear, spread = world.gear, world.spread
    gain, tape, factor = shared
    zero, offset = gear.u_zero * G_STANDARD * rng.standard_normal(), U_COMMON * rng.standard_normal()
    rows: list[Row] = []
    for cycle, visits in enumerate(plan, 1):
        shift = offset + spread.hook_shift * rng.standard_normal()
        strength, turned = 1 + spread.cycle_gain * rng.standard_normal(), truth.top
        for nominal, branch in visits:
            length = nominal * (1 + tape) + shift + gear.u_reading * rng.standard_normal()
            if branch == "loading":
                turned = length
                force = float(truth.loading(np.array(length)))
            else:
                force = float(truth.unloading(np.array(min(length, turned)), turned))
            force *= strength * (1 + spread.reading * rng.standard_normal())
            step = gear.resolution * G_STANDARD
            shown = float(np.round((force * (1 + gain) + zero) / step) * step)
            rows.append(
                Row(len(rows) + 1, cycle=cycle, branch=branch, length=nominal, force=shown, line=len(rows) + 30)
            )
    flat = truth.rest - rest_half_path(0.0, THICKNESS, 2) + U_FLAT * rng.standard_normal()
    mass = 0.3 * factor * truth.rest * (1 + 0.02 * rng.standard_normal())
    band = Band(name, round(flat, 3), U_FLAT, thickness=THICKNESS, mass=round(mass, 3), batch=world.name)
    setup = LengthSetup("half-path", (), gear.u_reading, U_COMMON, U_TAPE_SCALE, tape="T1")
    u_zero = gear.u_zero * G_STANDARD
    scale = ScaleInUse("simulated", gear.resolution * G_STANDARD, gear.u_gain, u_zero, check="simulated/2026-02-27")
    return Run(name, RunHead(band, setup, scale, Procedure(dwell_s=10.0, temperature=21.0)), tuple(rows))


def without_readings(run: Run) -> Run:
    """A band that was only taped and weighed."""
    return replace(run, rows=())
