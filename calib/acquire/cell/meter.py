"""What a load cell's line says, as a force: units, counts, sign, and how sure a single value is. No port is opened."""

from collections.abc import Iterable
from math import sqrt
from statistics import median

from calib.acquire.cell.lines import Record
from calib.frozen import dataclass
from calib.units import FORCE, G_STANDARD

NEWTON = {
    "N": 1.0,
    "kN": 1000.0,
    "daN": 10.0,
    "mN": 1e-3,
    "t": 1000 * FORCE["kg"],
    "kg": FORCE["kg"],
    "kgf": FORCE["kgf"],
    "g": G_STANDARD / 1000,
    "gf": G_STANDARD / 1000,
    "lb": FORCE["lb"],
    "lbf": FORCE["lbf"],
    "oz": FORCE["lb"] / 16,
}
FLOOR_N = 0.1  # no change up to here is a motion, however quiet the line
FLOOR_STEPS, FLOOR_NOISES = 3, 8


@dataclass(frozen=True)
class Meter:
    """How a number of the line becomes a value: newton where that is known, else counts.

    Args:
        per_count: Newton of one count; None where nothing says so, or the line names its unit.
        zero: Newton at no counts.
        reversed: The cell is the other way round: numbers change their sign.
        step: One step of the line, in the unit of the value.
        noise: Standard deviation of one value, in that unit.
        in_counts: Values are counts: no check says what a count is.
    """

    per_count: float | None = None
    zero: float = 0.0
    reversed: bool = False
    step: float = 0.0
    noise: float = 0.0
    in_counts: bool = False

    def value(self, record: Record) -> float | None:
        """The value of a reading, None for what is no reading or of another kind than the line had at first. [N]"""
        sign = -1.0 if self.reversed else 1.0
        if record.kind != "reading":
            return None
        if record.counts is not None:
            if self.per_count is not None:
                return self.zero + self.per_count * record.counts
            return sign * record.counts if self.in_counts else None
        if record.value is None or self.in_counts or self.per_count is not None:
            return None
        return sign * record.value * NEWTON[record.unit or "N"]

    def counts(self, value: float) -> float | None:
        """The counts behind a value, with the line's own sign; None where the line names its unit."""
        if self.per_count is not None:
            return (value - self.zero) / self.per_count
        return (-value if self.reversed else value) if self.in_counts else None

    @property
    def floor(self) -> float:
        """A change that is no motion, in the unit of the value."""
        of_line = max(FLOOR_STEPS * self.step, FLOOR_NOISES * self.noise)
        return of_line if self.in_counts else max(FLOOR_N, of_line)

    @property
    def newton(self) -> float:
        """One newton in the unit of the value; infinite where that is not known."""
        return float("inf") if self.in_counts else 1.0


def step_of(readings: Iterable[Record]) -> float:
    """One step of a line from some of its readings: the last place they print. [their unit]

    >>> step_of([Record(0.0, "reading", "0.00 kg", 0.0, "kg", step=0.01)])
    0.01
    """
    return min((r.step for r in readings if r.step is not None), default=1.0)


def noise_of(values: list[float]) -> float:
    """Standard deviation of one number of a line, whether or not the force moves meanwhile. [their unit]

    From the median size of the second differences: an even motion leaves none.
    """
    bends = [abs(a - 2 * b + c) for a, b, c in zip(values, values[1:], values[2:], strict=False)]
    return median(bends) / (0.6745 * sqrt(6)) if bends else 0.0
