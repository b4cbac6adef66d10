"""Draws a band and gear from a world and measures it: a run as the fitter gets it, with the truth beside.

What the head of the run states of the gear is true: errors are drawn from it, once per band.
"""

import zlib
from dataclasses import dataclass, field, replace

import numpy as np

from calib.gravity import U_PLACE_UNKNOWN
from calib.half_path import rest_half_path
from calib.records import (
    Array,
    Band,
    BranchName,
    LengthSetup,
    Loads,
    Procedure,
    Row,
    Run,
    RunHead,
    ScaleInUse,
)
from calib.units import G_STANDARD
from tests.campaigns.simulated_bands.laws import Loading, Unloading
from tests.campaigns.simulated_bands.worlds import Gear, World

SEED = 20260301
THICKNESS = 0.0045  # [m]
U_FLAT = 0.002  # [m]
U_COMMON = 0.0007  # [m]
U_TAPE_SCALE = 0.0005  # relative
HOOK_MASS = 0.5  # [kg] hangs with every weight
ANCHOR = 90.0  # [kgf] stands on the platform
BAND_MASS = 0.3  # [kg]
SMALLEST_PLATE = 0.25  # [kg]
DRIFT_MEMORY = 0.85  # correlation of the drift from one reading to the next


@dataclass(frozen=True)
class TrueBand:
    """The band's own mean curve, the measurand."""

    rest: float  # [m] half-path
    top: float  # [m] largest tested length
    law: Loading
    law_back: Unloading | None

    def loading(self, length: Array) -> Array:
        """Force while loading. [N]"""
        return self.law(np.maximum(np.asarray(length) / self.rest, 1.0))

    def unloading(self, length: Array, top: float | None = None) -> Array:
        """Force while unloading from the turning point, by default the largest tested length. [N]"""
        assert self.law_back is not None
        return self.law_back(np.maximum(np.asarray(length) / self.rest, 1.0), (top or self.top) / self.rest)


@dataclass(frozen=True)
class GearErrors:
    """What is wrong with one set of gear, unknown to whoever measures."""

    gain: float  # relative, shared between bands
    tape_scale: float  # relative, shared between bands
    zero: float  # [N] of this run
    length_offset: float  # [m] of this set-up
    gravity: float  # relative
    loads: dict[float, float] = field(default_factory=dict)  # [kg] by which each load that hung is off, by its mass

    def of_load(self, mass: float, u_each: float, rng: np.random.Generator) -> float:
        """What a load is off: the same each time it hangs. [kg]"""
        return self.loads.setdefault(mass, u_each * rng.standard_normal())


@dataclass(frozen=True)
class Measured:
    """A run and the truth behind it."""

    run: Run
    truth: TrueBand


def generator(world: World, band: int, purpose: int = 0) -> np.random.Generator:
    """The fixed random stream of one band of one world."""
    return np.random.default_rng([SEED, zlib.crc32(world.name.encode()), band, purpose])


def draw_band(world: World, rng: np.random.Generator) -> TrueBand:
    """A band with its own length, level, stretch and law."""
    rest, level, top = rng.uniform(0.5, 1.06), np.exp(rng.uniform(np.log(60), np.log(350))), rng.uniform(1.9, 2.7)
    law = world.loading(rng, level)
    return TrueBand(rest, round(rest * top, 3), law, world.unloading(rng, law) if world.unloading else None)


def draw_errors(gear: Gear, rng: np.random.Generator, shared_perfect: bool) -> GearErrors:
    """Errors of the gear; with `shared_perfect` those that other bands would share are nil."""
    gain, tape, zero, offset, gravity = rng.standard_normal(5)
    share = 0.0 if shared_perfect else 1.0
    return GearErrors(
        gain=share * gear.u_gain * gain,
        tape_scale=share * U_TAPE_SCALE * tape,
        zero=gear.u_zero * G_STANDARD * zero,
        length_offset=U_COMMON * offset,
        gravity=U_PLACE_UNKNOWN * gravity if gear.method == "hung-weight" else 0.0,
    )


def measure(world: World, band: int, shared_perfect: bool = False) -> Measured:
    """Measure the n-th band of a world.

    Args:
        world: Kind of band and gear.
        band: Number of the band; the same number gives the same run.
        shared_perfect: No errors in what several bands would share: scale gain, set of weights, tape scale.
    """
    rng = generator(world, band)
    truth = draw_band(world, rng)
    errors = draw_errors(world.gear, rng, shared_perfect)
    return Measured(record(world, truth, errors, f"{world.name}-{band}", rng), truth)


def record(world: World, truth: TrueBand, errors: GearErrors, name: str, rng: np.random.Generator) -> Run:
    """Measure one band with gear that is off in a known way.

    Args:
        world: How it is measured.
        truth: The band as it is that day.
        errors: Of the gear.
        name: The band's id.
        rng: Where its noise comes from.
    """
    flat = truth.rest - rest_half_path(0.0, THICKNESS, 2) + U_FLAT * rng.standard_normal()
    head = head_of(world, name, round(flat, 3))
    rows: list[Row] = []
    for cycle in range(1, world.cycles + 1):
        rows += _cycle(world, truth, errors, cycle, rng)
    if world.gear.method == "anchor-on-scale":
        empty = Row(0, "zero", force=_rounded(world.gear, ANCHOR * G_STANDARD * (1 + errors.gain)))
        rows = [empty, *rows, empty]
    return Run(name, head, tuple(replace(row, number=i) for i, row in enumerate(rows, start=1)))


def head_of(world: World, name: str, flat_length: float) -> RunHead:
    gear = world.gear
    band = Band(name, flat_length, U_FLAT, thickness=THICKNESS, mass=BAND_MASS)
    length = LengthSetup("half-path", (), gear.u_reading, U_COMMON, U_TAPE_SCALE, tape="T1")
    procedure = Procedure(method=gear.method, dwell_s=10.0, temperature=21.0)
    if gear.method == "hung-weight":
        loads = Loads("plates", gear.u_gain, gear.u_each, HOOK_MASS)
        return RunHead(band, length, procedure=replace(procedure, orientation="vertical"), loads=loads)
    rounded_zero = gear.resolution / 12**0.5 if gear.method == "anchor-on-scale" else 0.0
    u_zero = float(np.hypot(gear.u_zero, rounded_zero)) * G_STANDARD
    scale = ScaleInUse("simulated", gear.resolution * G_STANDARD, gear.u_gain, u_zero, check="simulated/2026-02-27")
    return RunHead(band, length, scale, procedure)


@dataclass(frozen=True)
class _Pull:
    """One cycle of the true band: a bit stronger or weaker, hooked a bit further out or in."""

    truth: TrueBand
    gain: float
    top: float  # [m] where this cycle turned

    def force(self, length: float, branch: BranchName) -> float:
        if branch == "loading":
            return self.gain * float(self.truth.loading(np.array(length)))
        return self.gain * float(self.truth.unloading(np.array(min(length, self.top)), self.top))

    def length(self, force: float, branch: BranchName) -> float:
        """Length at which the cycle pulls with a force, by bisection. [m]"""
        low, high = self.truth.rest * 1.0001, self.top if branch == "unloading" else self.truth.rest * 3.2
        for _ in range(50):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if self.force(middle, branch) < force else (low, middle)
        return 0.5 * (low + high)


def _cycle(world: World, truth: TrueBand, errors: GearErrors, cycle: int, rng: np.random.Generator) -> list[Row]:
    spread = world.spread
    shift = errors.length_offset + spread.hook_shift * rng.standard_normal()
    gain = 1 + spread.cycle_gain * rng.standard_normal()
    by_weight = world.gear.method == "hung-weight"
    pull = _Pull(truth, gain, truth.top)
    rows, drift = [], spread.drift * rng.standard_normal()
    for nominal, branch in _plan(world, truth):
        drift = DRIFT_MEMORY * drift + (1 - DRIFT_MEMORY**2) ** 0.5 * spread.drift * rng.standard_normal()
        noise = 1 + drift + spread.reading * rng.standard_normal()
        slack = world.gear.u_reading * rng.standard_normal()
        if by_weight:
            row, length = _weigh(world.gear, errors, pull, nominal, branch, noise, shift + slack, rng)
        else:
            length = nominal * (1 + errors.tape_scale) + shift + slack
            swing = spread.swing * G_STANDARD * rng.standard_t(4) / 2**0.5
            force = pull.force(length, branch) * noise + swing
            row = Row(0, cycle=cycle, branch=branch, length=nominal, force=shown(world.gear, errors, force))
        if branch == "loading":
            pull = replace(pull, top=length)
        rows.append(replace(row, cycle=cycle))
    return rows


def _plan(world: World, truth: TrueBand) -> list[tuple[float, BranchName]]:
    """Lengths to visit in one cycle, to the millimetre."""
    up = np.round(np.linspace(1.1 * truth.rest, truth.top, world.lengths), 3)
    plan: list[tuple[float, BranchName]] = [(float(x), "loading") for x in up]
    if world.unloading is None:
        return plan
    down = up[:-1][::-1]
    if world.unloading_lengths:
        down = down[np.round(np.linspace(0, len(down) - 1, world.unloading_lengths)).astype(int)]
    return plan + [(float(x), "unloading") for x in down]


def shown(gear: Gear, errors: GearErrors, force: float) -> float:
    """Indication of the scale for a pull, rounded as it rounds. [N]"""
    on_scale = ANCHOR * G_STANDARD - force if gear.method == "anchor-on-scale" else force
    return _rounded(gear, on_scale * (1 + errors.gain) + errors.zero)


def _rounded(gear: Gear, indication: float) -> float:
    step = gear.resolution * G_STANDARD
    return float(np.round(indication / step) * step)


def _weigh(
    gear: Gear,
    errors: GearErrors,
    pull: _Pull,
    nominal: float,
    branch: BranchName,
    noise: float,
    shift: float,
    rng: np.random.Generator,
) -> tuple[Row, float]:
    """Hang the weight that the band should carry at a length, and read the length it settles at."""
    mean = pull.truth.loading if branch == "loading" else pull.truth.unloading
    local = G_STANDARD * (1 + errors.gravity)
    hung = float(mean(np.array(nominal))) / G_STANDARD - HOOK_MASS - BAND_MASS / 2
    mass = max(round(hung / SMALLEST_PLATE) * SMALLEST_PLATE, SMALLEST_PLATE)
    true_mass = mass * (1 + errors.gain) + errors.of_load(mass, gear.u_each, rng) + HOOK_MASS
    length = pull.length((true_mass + BAND_MASS / 2) * local / noise, branch)
    read = (length - shift) / (1 + errors.tape_scale)
    return Row(0, branch=branch, length=round(read, 3), mass=mass), length
