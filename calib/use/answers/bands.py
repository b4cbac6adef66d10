"""Answers about bands: predict, show, fit, pair, compare, history, list, recheck. See `parts` for the common head."""

from collections.abc import Mapping
from typing import ClassVar

from calib.frozen import dataclass
from calib.use.answers.lengths import LengthAnswer as LengthAnswer
from calib.use.answers.lengths import PullAnswer as PullAnswer
from calib.use.answers.parts import Answer, Doubt, Failure, Level, Pull


@dataclass(frozen=True)
class CurveRow:
    """One length of a curve's table."""

    length_m: float
    tape_m: float | None
    stretch: float
    loading: Pull | None
    unloading: Pull | None


@dataclass(frozen=True)
class BudgetRow:
    """One source of uncertainty at the lowest, middle and largest length."""

    source: str
    type: str
    u_low_N: float
    u_middle_N: float
    u_top_N: float
    share_low: float
    share_middle: float
    share_top: float


@dataclass(frozen=True)
class Loss:
    """Energy lost between two lengths."""

    from_m: float
    to_m: float
    energy_in_J: float
    energy_lost_J: float
    loss_ratio: float
    u_loss_ratio: float


@dataclass(frozen=True, kw_only=True)
class CurveAnswer(Answer):
    """A band's whole curve."""

    question: ClassVar[str] = "curve"
    file: str | None
    figure: str | None
    flat_length_m: float
    rest_half_path_m: float
    tape_kind: str | None
    half_path_less_tape_m: float | None
    strands: int
    method: str
    scale: str | None
    cycles: int
    dwell_s: float | None
    temperature_C: float | None
    note: str | None
    between_days_assumed: bool
    table: tuple[CurveRow, ...]
    loss: Loss | None
    budget: tuple[BudgetRow, ...]


@dataclass(frozen=True)
class RunRow:
    """One row of a run."""

    row: int
    kind: str
    cycle: int | None
    branch: str | None
    tape_m: float | None
    shown_N: float | None
    mass_kg: float | None
    counts: float | None
    note: str
    struck: str | None


@dataclass(frozen=True, kw_only=True)
class RunAnswer(Answer):
    """A run as it was recorded."""

    question: ClassVar[str] = "run"
    file: str
    figure: str | None
    method: str
    flat_length_m: float
    rows: tuple[RunRow, ...]
    not_fitted: str | None


@dataclass(frozen=True)
class FittedBand:
    """One band of a fit; its pull in the middle of the lengths measured."""

    band: str
    day: str | None
    file: str
    readings: int
    cycles: int
    length_m: float
    tape_m: float | None
    loading: Pull
    unloading: Pull | None
    findings: tuple[Doubt, ...]


@dataclass(frozen=True, kw_only=True)
class FitAnswer(Answer):
    """Profiles written by a fit."""

    question: ClassVar[str] = "fit"
    profiles: tuple[FittedBand, ...]
    failed: tuple[Failure, ...]


@dataclass(frozen=True)
class LeftAndRight:
    """Two bands for left and right."""

    bands: tuple[str, str]
    max_difference_N: float
    length_m: float
    u_N: float
    upper95_mean_N: float
    upper95_next_set_N: float
    pull_N: float
    distinguishable: bool
    stronger: str | None
    kept: bool = False


@dataclass(frozen=True, kw_only=True)
class PairAnswer(Answer):
    """Pairs out of a box of bands, best first."""

    question: ClassVar[str] = "pair"
    over_m: tuple[float, float]
    half_path_less_tape_m: float | None
    pairs: tuple[LeftAndRight, ...]
    left_over: tuple[str, ...]


@dataclass(frozen=True)
class ByTape:
    """Two bands hooked end to end."""

    bands: tuple[str, str]
    length_m: float
    relative_difference: float
    u_relative_difference: float
    u95_mean_relative_difference: float
    distinguishable: bool


@dataclass(frozen=True, kw_only=True)
class SeriesAnswer(Answer):
    """How bands hooked end to end differ, without a scale."""

    question: ClassVar[str] = "pair-by-tape"
    series: tuple[ByTape, ...]


@dataclass(frozen=True)
class ComparedPoint:
    """One length of a comparison, new less old."""

    length_m: float
    branch: str
    difference_N: float
    u_N: float
    u95_mean_N: float
    E_n: float


@dataclass(frozen=True, kw_only=True)
class CompareAnswer(Answer):
    """Whether a band has changed; `day` is that of the newer calibration."""

    question: ClassVar[str] = "compare"
    before: str | None
    days: int | None
    over_m: tuple[float, float]
    half_path_less_tape_m: float | None
    level: Level
    changed: bool
    smallest_change: float
    doubt_from: Mapping[str, float]
    check_load: str | None
    flat_length_change_m: float
    u_flat_length_change_m: float
    loss_ratio_change: float | None
    u_loss_ratio_change: float | None
    points: tuple[ComparedPoint, ...]


@dataclass(frozen=True, kw_only=True)
class CompareByTapeAnswer(Answer):
    """Whether a band has changed against one kept in a drawer, without a scale."""

    question: ClassVar[str] = "compare-by-tape"
    reference: str
    length_m: float
    level: Level
    changed: bool


@dataclass(frozen=True)
class PastCalibration:
    """One calibration of a history; its level is against the first."""

    day: str | None
    level: Level
    flat_length_m: float
    loss_ratio: float | None
    reps: int


@dataclass(frozen=True)
class PastRecheck:
    """One re-check of a history; its level is against the first calibration."""

    day: str
    passed: bool | None
    level: Level | None
    reps: int


@dataclass(frozen=True)
class DriftRate:
    """Relative change of level for each unit of time or use."""

    relative: float
    u_relative: float
    u95_mean_relative: float


@dataclass(frozen=True, kw_only=True)
class HistoryAnswer(Answer):
    """How a band has drifted, and when to look again; `loading` is the newest pull midway of the working lengths."""

    question: ClassVar[str] = "history"
    over_m: tuple[float, float]
    half_path_less_tape_m: float | None
    length_m: float
    tape_m: float | None
    loading: Pull
    calibrations: tuple[PastCalibration, ...]
    rechecks: tuple[PastRecheck, ...]
    drift_per_month: DriftRate | None
    drift_per_1000_reps: DriftRate | None
    failed_recheck: str | None
    reps_since: int
    look_again: str | None
    reps_left: int


@dataclass(frozen=True)
class ListedBand:
    """One band of a folder; its pull is that of loading at twice the rest length."""

    band: str
    status: str
    day: str | None
    calibrations: int
    rechecked: str | None
    recheck_passed: bool | None
    file: str | None
    flat_length_m: float | None
    length_m: float | None
    loading: Pull | None
    reps_since: int
    look_again: str | None
    due: bool
    two_bands: bool
    findings: tuple[Doubt, ...] = ()


@dataclass(frozen=True)
class ListedScale:
    """One scale of a folder."""

    scale: str
    kind: str
    checked_on: str | None
    due: bool


@dataclass(frozen=True, kw_only=True)
class ListAnswer(Answer):
    """What a folder holds and what is due."""

    question: ClassVar[str] = "list"
    folder: str
    bands: tuple[ListedBand, ...]
    scales: tuple[ListedScale, ...]
    failed: tuple[str, ...]
    left_out: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class RecheckAnswer(Answer):
    """Whether a band is as it was measured, by one known plate; `day` is that of the calibration."""

    question: ClassVar[str] = "recheck"
    on: str
    file: str
    passed: bool
    mass_kg: float
    shown_tape_m: float
    level: Level
    expected_tape_m: float
    u95_next_set_tape_m: float
    smallest_change: float


@dataclass(frozen=True, kw_only=True)
class LogAnswer(Answer):
    """Repetitions noted in a band's use log."""

    question: ClassVar[str] = "log"
    on: str
    file: str
    reps: int
    reps_in_all: int


@dataclass(frozen=True, kw_only=True)
class ImportAnswer(Answer):
    """A run made of a table."""

    question: ClassVar[str] = "import"
    file: str


@dataclass(frozen=True, kw_only=True)
class DemoAnswer(Answer):
    """An invented scenario, fitted in a new folder."""

    question: ClassVar[str] = "demo"
    folder: str
    profiles: tuple[FittedBand, ...]
