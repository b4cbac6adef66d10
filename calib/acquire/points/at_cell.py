"""What is known at a load cell while a band is recorded: the zero, the pull, what is wanted next, and how it is said.

What follows from a record or a key is decided in `hands_free`.
"""

from collections.abc import Callable
from math import isfinite, sqrt
from statistics import median

from calib.acquire.cell.meter import Meter
from calib.acquire.points.drift import ZeroDrift
from calib.acquire.points.held import Grip, HeldPoint
from calib.acquire.points.length_sensor import HeldLength, LengthTrace
from calib.acquire.recording.entry_check import Judge
from calib.acquire.recording.state import Recording
from calib.acquire.recording.typed_entry import number_in_unit
from calib.records import Row
from calib.units import FORCE, G_STANDARD, LENGTH

ZERO_S = 8.0  # a zero is the mean about this time after everything came to rest
SLACK_N = 3.0  # less pull than this is no reading but a slack band
FAR_M, FAR_SHARE = 0.02, 0.03  # of the planned length: so far off it a length that was read is questioned
COARSE_N = 15.0  # a coarse line raises that to no more
NEAR_N = 2.0  # so near to the zero before, nothing hangs there
NEAR_SHARE = 0.02  # of the largest reading: the same
WARMING_N = 0.3  # in ten minutes: more is said
TARED = 20.0  # a zero less than so many times "near" may be one that the board makes itself at each start
LAGS = 3  # stops behind a filter, or without one, from which on the device's lag is taken as known


class AtCell:
    """A recording at a load cell as it stands; arguments as of `HandsFree`."""

    def __init__(self, state: Recording, meter: Meter, grip: Grip, u_sensor: Callable[[float], float]) -> None:
        self.state, self.meter, self.grip, self.u_sensor = state, meter, grip, u_sensor
        self.value: float | None = None
        self.lengths: LengthTrace | None = None  # of a length sensor, where there is one
        self._zero, self._u_zero = self._last_zero(), 0.0
        self._lost = self._armed = False
        self._lags: list[float] = []  # of the device, one of each stop
        self._drift = ZeroDrift()
        self.forecast: float | None = None

    @property
    def want(self) -> str:
        """What is captured next."""
        if self._lost:
            return "zero"
        return self.state.slot.kind if self.state.slot else ""

    @property
    def zero(self) -> float:
        """What is shown with nothing pulling, as far as it is known. [unit of the value]"""
        return self._zero or 0.0

    @property
    def sign(self) -> float:
        """A pull takes weight off an anchor's scale."""
        return -1.0 if self.state.head.procedure.method == "anchor-on-scale" else 1.0

    @property
    def pull(self) -> float | None:
        """The newest value less the zero, None before there is one. [unit of the value]"""
        return None if self.value is None or self._zero is None else self.sign * (self.value - self._zero)

    def zero_words(self) -> tuple[str, ...]:
        """What to do for the next zero."""
        if self._zero is None or self._maybe_tared or self._lost:
            how = "then press Enter: the zero is taken while nothing moves"
            return (f"Let the band go slack, {how}.",)
        return ("Let the band go slack: the zero is taken automatically.",)

    def _may_be_zero(self, value: float) -> bool:
        if self._armed:
            return True
        return self._zero is not None and not self._maybe_tared and abs(value - self._zero) <= self._zero_tolerance

    def _strange_zero(self, value: float) -> bool:
        """Neither near the zero before nor near zero, as a board that sets itself to zero shows."""
        asks = self._lost or self.meter.in_counts  # else the recording asks
        return asks and self._zero is not None and min(abs(value - self._zero), abs(value)) > self._zero_tolerance

    @property
    def _maybe_tared(self) -> bool:
        """After an interruption a board may show zero whatever hangs on it; told by a zero that is not zero."""
        return self._lost and (self._zero is None or abs(self._zero) < TARED * self._zero_tolerance)

    def _warming(self, point: HeldPoint) -> list[str]:
        blocks = max(point.n, 2)
        u = point.sd * sqrt(12 / blocks) / ZERO_S + 1e-12
        ten_minutes = 600 * abs(point.per_s)
        least = 10 * self.meter.floor if self.meter.in_counts else WARMING_N
        if abs(point.per_s) < 5 * u or ten_minutes < least:
            return []
        moving = self.value_text(60 * abs(point.per_s))
        return [f"  The zero is still moving, {moving} a minute. Is the cell warming up? Give it ten minutes."]

    def _place(self, length: float) -> str:
        return f"{number_in_unit(length, self.state.course.length_unit, LENGTH)} {self.state.course.length_unit}"

    def _top(self) -> float:
        return max((r.length or 0.0 for r in self.state.run.readings if r.branch == "loading"), default=0.0)

    def _forecast(self) -> float | None:
        """Pull that the readings so far lead to expect at the length that is set next, None where they do not."""
        slot, judge = self.state.slot, Judge(self.state.run, self.state.course)
        if self.want != "reading" or slot is None or slot.setting is None or not judge.standing_readings:
            return None
        found = judge.expected(Row(0, branch=slot.branch), slot.setting)
        return None if found is None else found.force

    def _last_zero(self) -> float | None:
        zeros = self.state.run.standing("zero")
        if not zeros:
            return None
        last = zeros[-1]
        if self.meter.in_counts:
            return None if last.counts is None else (-last.counts if self.meter.reversed else last.counts)
        return last.force

    def _net(self, value: float) -> float:
        sign = self.sign if self.want == "reading" else 1.0
        return sign * (value - (self._zero or 0.0))

    @property
    def _slack(self) -> float:
        return 10 * self.meter.floor if self.meter.in_counts else max(SLACK_N, min(3 * self.meter.floor, COARSE_N))

    @property
    def _zero_tolerance(self) -> float:
        least = 5 * self.meter.floor if self.meter.in_counts else max(NEAR_N, self.meter.floor)
        largest = [abs((r.counts if self.meter.in_counts else r.force) or 0.0) for r in self.state.run.readings]
        return max(least, NEAR_SHARE * abs(max(largest, default=0.0) - abs(self._zero or 0.0)))

    def words_of_load(self) -> str:
        """The check load in the user's unit."""
        load = self.state.head.check_load
        return f"{self._number(load.mass * G_STANDARD)} {self.state.course.force_unit}" if load else ""

    def words_of_forecast(self) -> str:
        """The pull to expect next in the user's unit, as roughly as it is known."""
        unit = self.state.course.force_unit
        return f"{float(f'{(self.forecast or 0.0) / FORCE[unit]:.2g}'):g} {unit}"

    def value_text(self, value: float) -> str:
        """A value in the user's unit, or in counts."""
        if self.meter.in_counts:
            return f"{round(value)} counts"
        return f"{self._number(value)} {self.state.course.force_unit}"

    def _number(self, value: float) -> str:
        text = number_in_unit(value, self.state.course.force_unit, FORCE) if isfinite(value) else "-"
        return "0" if text == "-0" else text

    @property
    def _lag(self) -> float | None:
        """The device's lag, once several stops have told it; None until then. [s]"""
        return (median(self._lags) or None) if len(self._lags) >= LAGS else None  # a mean is told from each stop

    def _no_length(self, held: HeldLength | None, planned: float) -> str:
        """Why a length that is held is not taken, "" where it is."""
        if held is None:
            return "  Not taken: the length sensor sent nothing meanwhile; Enter takes the planned length."
        if abs(held.length - planned) <= max(FAR_M, FAR_SHARE * planned):
            return ""
        what = f"the sensor reads {self._place(held.length)}, {self._place(planned)} is planned"
        return f"  Not taken: {what}. Set it, or press Enter to take the length it reads."
