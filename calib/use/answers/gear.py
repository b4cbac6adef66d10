"""Answers about gear and plans: what to measure at, a scale and its check, ports. See `parts` for the common head."""

from collections.abc import Mapping
from typing import Any, ClassVar

from calib.frozen import dataclass
from calib.use.answers.parts import Answer


@dataclass(frozen=True)
class PlannedSetting:
    """One length to set, or one load to hang."""

    length_m: float | None
    mass_kg: float | None
    stretch: float | None
    hole: int | None
    expected_N: float | None


@dataclass(frozen=True, kw_only=True)
class PlanAnswer(Answer):
    """What to measure of a band; lengths are as the tape reads them."""

    question: ClassVar[str] = "plan"
    method: str
    tape_kind: str | None
    settings: tuple[PlannedSetting, ...]
    cycles: int
    way_back: bool
    notes: tuple[str, ...]
    form: str | None
    next: str


@dataclass(frozen=True)
class PlannedReading:
    """One reading to take."""

    cycle: int
    branch: str
    length_m: float


@dataclass(frozen=True, kw_only=True)
class PlanUntilAnswer(Answer):
    """Which readings should bring the pull to a wanted uncertainty."""

    question: ClassVar[str] = "plan-until"
    length_m: float
    wanted_relative_u95: float
    expected_relative_u95: float
    best_relative_u95: float
    hindrance: str | None
    readings: tuple[PlannedReading, ...]


@dataclass(frozen=True)
class SerialPort:
    """A serial port of this computer."""

    name: str
    description: str
    vid: int | None
    pid: int | None
    serial_number: str | None
    location: str | None
    manufacturer: str | None
    lasting_name: str | None
    trouble: str


@dataclass(frozen=True, kw_only=True)
class PortsAnswer(Answer):
    """Where a load cell may be plugged in."""

    question: ClassVar[str] = "ports"
    ports: tuple[SerialPort, ...]


@dataclass(frozen=True, kw_only=True)
class ScaleAnswer(Answer):
    """A scale's file; `scale` is the file itself."""

    question: ClassVar[str] = "scale"
    file: str
    scale: Mapping[str, Any]


@dataclass(frozen=True)
class CheckedPoint:
    """One known load of a check."""

    force_N: float
    excess_N: float
    u_N: float
    u95_excess_N: float


@dataclass(frozen=True)
class FitTest:
    """Scatter of the loads' means about a curve, over the scatter of repeats."""

    F: float
    p: float
    dof: tuple[int, int]


@dataclass(frozen=True)
class FitTests:
    """A straight line, and a curve with a bend."""

    line: FitTest | None
    quadratic: FitTest | None


@dataclass(frozen=True)
class PlainFit:
    """An ordinary least-squares fit of what was shown, for comparison with textbooks."""

    coefficients: tuple[float, ...]
    sd: tuple[float, ...]
    residual_sd_N: float
    dof: int


@dataclass(frozen=True, kw_only=True)
class ScaleCheckAnswer(Answer):
    """What known loads say of a scale."""

    question: ClassVar[str] = "scale-check"
    check: str
    file: str
    coefficients: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    residual_sd_N: float
    max_N: float | None
    known_loads: str | None
    factor_known_loads: tuple[float, ...]
    points: tuple[CheckedPoint, ...]
    order: int
    lack_of_fit: FitTests
    plain: PlainFit
    repeatability_N: float | None
    prior_share: float
    relative_reversibility: float | None
    zero_return_N: float | None
    gravity_m_s2: float | None
    remarks: tuple[str, ...]
