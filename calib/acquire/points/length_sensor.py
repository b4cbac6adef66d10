"""A length read by a sensor while it is held: tied to the tape at two marks, and never trusted further than they go.

A draw-wire, an encoder or a distance sensor sends a number in whatever unit; a line through two marks makes metres of
it. Between the marks its u is that of the two tape readings, beyond them it grows. No port and no file.
"""

from bisect import bisect_left
from collections import deque
from math import hypot
from statistics import median, pstdev

from calib.errors import DataError
from calib.frozen import dataclass
from calib.units import LENGTH

LEAST_APART = 0.1  # m between the marks
KEPT_S = 60.0
STEP_SHARE = 0.289  # a step's standard deviation: 1 / sqrt(12)
NEAR_UNIT = 0.02  # relative: so near to a unit the sensor speaks it


@dataclass(frozen=True)
class Mark:
    """The sensor and the tape at one place."""

    reading: float  # in the sensor's own unit
    sd: float  # of it
    tape: float  # [m]


@dataclass(frozen=True)
class LengthSensor:
    """What a reading is in metres.

    Args:
        first, second: The two marks.
        u_tape: Of one reading of the tape. [m]
    """

    first: Mark
    second: Mark
    u_tape: float

    @property
    def metre_each(self) -> float:
        """Metres for one of the sensor's unit."""
        return (self.second.tape - self.first.tape) / (self.second.reading - self.first.reading)

    def length(self, reading: float) -> float:
        """The length of a reading. [m]"""
        return self.first.tape + self.metre_each * (reading - self.first.reading)

    def u(self, reading: float, sd: float = 0.0) -> float:
        """Standard uncertainty of that, with the scatter of the reading itself. [m]"""
        share = (reading - self.first.reading) / (self.second.reading - self.first.reading)
        marks = hypot((1 - share) * self._u_of(self.first), share * self._u_of(self.second))
        return hypot(marks, self.metre_each * sd)

    def _u_of(self, mark: Mark) -> float:
        return hypot(self.u_tape, self.metre_each * mark.sd)

    def described(self) -> str:
        """What the marks say of the sensor."""
        each = abs(self.metre_each)
        for unit, metre in LENGTH.items():
            if abs(each / metre - 1) < NEAR_UNIT:
                return f"it counts in {unit}, {100 * (metre / each - 1):+.2f} % off between the marks"
        return f"one of its steps is {1000 * each:.4g} mm"


def tied(first: Mark, second: Mark, u_tape: float) -> LengthSensor:
    """A sensor tied to the tape.

    Raises:
        DataError: The marks are too near each other, or the sensor says the same at both.
    """
    if abs(second.tape - first.tape) < LEAST_APART:
        apart = f"{1000 * abs(second.tape - first.tape):.0f} mm"
        raise DataError(
            f"the two marks are {apart} apart", remedy="choose one near the shortest length and one near the longest"
        )
    if abs(second.reading - first.reading) <= 5 * (first.sd + second.sd):
        raise DataError(
            "the length sensor reads the same at both marks", remedy="is the right number taken (--format)?"
        )
    return LengthSensor(first, second, u_tape)


@dataclass(frozen=True)
class HeldLength:
    """A length while it was held."""

    length: float  # [m]
    u: float  # [m]
    crept: float  # [m] by which it changed meanwhile


class LengthTrace:
    """The newest minute of a sensor; what it keeps does not grow faster than time."""

    def __init__(self, sensor: LengthSensor) -> None:
        self.sensor = sensor
        self._seen: deque[tuple[float, float]] = deque()

    def add(self, at_s: float, reading: float) -> None:
        """Take one reading."""
        self._seen.append((at_s, reading))
        while self._seen[0][0] < at_s - KEPT_S:
            self._seen.popleft()

    def newest(self) -> float | None:
        """The length now, None before there is one. [m]"""
        return self.sensor.length(self._seen[-1][1]) if self._seen else None

    def held(self, begin_s: float, end_s: float) -> HeldLength | None:
        """The length between two times, None where the sensor said nothing. [s]"""
        times = [at for at, _ in self._seen]
        part = [r for _, r in list(self._seen)[bisect_left(times, begin_s) : bisect_left(times, end_s)]]
        if not part:
            return None
        middle, third = median(part), max(1, len(part) // 3)
        crept = abs(self.sensor.metre_each) * abs(median(part[-third:]) - median(part[:third]))
        u = self.sensor.u(middle, pstdev(part))
        return HeldLength(self.sensor.length(middle), hypot(u, STEP_SHARE * crept), crept)
