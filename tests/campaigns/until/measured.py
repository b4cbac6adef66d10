"""A simulated band that is read where it is asked: the truth, the gear's errors, and cycles that differ."""

from dataclasses import dataclass, field, replace

import numpy as np

from calib.half_path import rest_half_path
from calib.records import BranchName, Row, Run
from calib.units import G_STANDARD
from tests.campaigns.simulated_bands import measuring
from tests.campaigns.simulated_bands.measuring import (
    THICKNESS,
    U_FLAT,
    GearErrors,
    TrueBand,
    draw_band,
    draw_errors,
    generator,
)
from tests.campaigns.simulated_bands.worlds import World


@dataclass
class Bench:
    """One band on the bench; every cycle is hooked again."""

    world: World
    truth: TrueBand
    errors: GearErrors
    rng: np.random.Generator
    run: Run
    cycles: dict[int, tuple[float, float, float]] = field(default_factory=dict)  # gain, shift, where it turned

    @classmethod
    def draw(cls, world: World, number: int) -> "Bench":
        """The n-th band of a world; the same number gives the same band and gear."""
        rng = generator(world, number, purpose=7)
        truth, errors = draw_band(world, rng), draw_errors(world.gear, rng, shared_perfect=False)
        flat = truth.rest - rest_half_path(0.0, THICKNESS, 2) + U_FLAT * rng.standard_normal()
        name = f"{world.name}-{number}"
        head = measuring.head_of(world, name, round(float(flat), 3))
        return cls(world, truth, errors, rng, Run(name, head, ()))

    def read(self, cycle: int, branch: BranchName, nominal: float) -> None:
        """Take one reading, as taped (half-path here)."""
        spread, gear, rng = self.world.spread, self.world.gear, self.rng
        if cycle not in self.cycles:
            shift = self.errors.length_offset + spread.hook_shift * rng.standard_normal()
            self.cycles[cycle] = 1 + spread.cycle_gain * rng.standard_normal(), shift, self.truth.top
        gain, shift, top = self.cycles[cycle]
        length = nominal * (1 + self.errors.tape_scale) + shift + gear.u_reading * rng.standard_normal()
        if branch == "loading":
            force = float(self.truth.loading(np.array(length)))
            self.cycles[cycle] = gain, shift, length
        else:
            force = float(self.truth.unloading(np.array(min(length, top)), top))
        pull = gain * force * (1 + spread.reading * rng.standard_normal())
        step = gear.resolution * G_STANDARD
        shown = round((pull * (1 + self.errors.gain) + self.errors.zero) / step) * step
        row = Row(len(self.run.rows) + 1, cycle=cycle, branch=branch, length=nominal, force=shown)
        self.run = replace(self.run, rows=(*self.run.rows, row))
