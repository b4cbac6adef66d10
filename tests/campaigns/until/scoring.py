"""Readings until the wanted uncertainty: chosen one by one, and evenly spaced; and whether the interval then holds."""

from dataclasses import dataclass

import numpy as np

from calib.errors import DataError
from calib.fit.curve.estimate import fit_runs
from calib.fit.curve.next_reading import Aim, first_readings, outlook, places_over, stated
from calib.records import BranchName
from tests.campaigns.simulated_bands.worlds import World
from tests.campaigns.until.measured import Bench

MOST = 60  # readings, after which it counts as not reached
EVEN_LENGTHS = 8
PLACES = 7


@dataclass(frozen=True)
class Outcome:
    """One band, one way of choosing."""

    readings: int
    reached: bool
    relative_error: float
    relative_u95: float

    @property
    def whole_sweeps(self) -> int:
        """Readings of an evenly spaced plan with its last sweep finished: eight out, seven back."""
        cycles, rest = divmod(self.readings, 2 * EVEN_LENGTHS - 1)
        ends = 0 if not rest else EVEN_LENGTHS if rest <= EVEN_LENGTHS else 2 * EVEN_LENGTHS - 1
        return cycles * (2 * EVEN_LENGTHS - 1) + ends

    @property
    def holds(self) -> bool:
        """Whether the interval at the stop holds the truth."""
        return abs(self.relative_error) <= self.relative_u95


def aim_of(bench: Bench, wanted: float) -> Aim:
    """Working lengths from 1.3 times the rest length to the top less a tenth of the range."""
    rest, top = bench.truth.rest, bench.truth.top
    over = 1.3 * rest, top - 0.1 * (top - rest)
    return Aim(0.5 * sum(over), wanted, places_over(bench.run, over, PLACES, 0.001))


def chosen(world: World, wanted: float, number: int) -> Outcome:
    """Let the program choose."""
    bench = Bench.draw(world, number)
    aim = aim_of(bench, wanted)
    for reading in first_readings(aim):
        bench.read(reading.cycle, reading.branch, reading.length)
    while (now := stated(bench.run, aim)) > wanted and len(bench.run.rows) < MOST:
        reading = outlook(bench.run, aim).next
        bench.read(reading.cycle, reading.branch, reading.length)
    return _outcome(bench, aim, reached=now <= wanted)


def even(world: World, wanted: float, number: int) -> Outcome:
    """Eight evenly spaced lengths out and back, cycle after cycle, looked at after every reading."""
    bench = Bench.draw(world, number)
    aim = aim_of(bench, wanted)
    up = np.round(np.linspace(1.1 * bench.truth.rest, bench.truth.top, EVEN_LENGTHS), 3).tolist()
    cycle: list[tuple[float, BranchName]] = [(x, "loading") for x in up] + [(x, "unloading") for x in up[-2::-1]]
    count = 0
    while count < MOST:
        length, branch = cycle[count % len(cycle)]
        bench.read(1 + count // len(cycle), branch, length)
        count += 1
        if max(row.length or 0.0 for row in bench.run.rows) < aim.length:
            continue
        try:
            if stated(bench.run, aim) <= wanted:
                return _outcome(bench, aim, reached=True)
        except DataError:
            continue
    return _outcome(bench, aim, reached=False)


def _outcome(bench: Bench, aim: Aim, *, reached: bool) -> Outcome:
    table = fit_runs([bench.run]).curve.loading
    true = float(bench.truth.loading(np.array(aim.length)))
    force, u95 = (float(np.interp(aim.length, table.length, v)) for v in (table.force, table.u95))
    return Outcome(len(bench.run.rows), reached, (force - true) / true, u95 / force)
