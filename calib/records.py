"""The types that pass from stage to stage: what was recorded, what was fitted. They hold values; they compute little.

SI and bare names throughout: metre, newton, kilogram, second, degree Celsius. Every `u_` is standard (k = 1).
"""

from dataclasses import field
from datetime import datetime
from functools import cached_property
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray

from calib.checked import Limits
from calib.finding import Finding
from calib.frozen import dataclass
from calib.half_path import LengthKind
from calib.units import LENGTH, as_read

Array = NDArray[np.float64]
BranchName = Literal["loading", "unloading"]
RowKind = Literal[
    "reading", "zero", "flat", "check-load", "gap", "strike",
    "zero-lost", "skipped", "left-out", "planned", "chosen", "enough", "note",
]  # fmt: skip
Method = Literal["scale-in-line", "hung-weight", "anchor-on-scale"]
Locks = Literal["no", "peak", "steady"]
Display = Literal["rounds", "cuts-off"]
Zeroed = Literal["hook-only", "band-free", "band-both-ends"]

Positive = Annotated[float, Limits(gt=0)]
NotNegative = Annotated[float, Limits(ge=0)]
# Bounds no band, tape or scale comes near: a value beyond them was typed in another unit, and would overflow the fit.
BandLength = Annotated[float, Limits(gt=0, le=100)]  # [m]
SmallLength = Annotated[float, Limits(gt=0, le=2)]  # [m]
ULength = Annotated[float, Limits(ge=0, le=1)]  # [m]
URelative = Annotated[float, Limits(ge=0, le=0.5)]
UForce = Annotated[float, Limits(ge=0, le=10_000)]  # [N]
Mass = Annotated[float, Limits(gt=0, le=10_000)]  # [kg]
UMass = Annotated[float, Limits(ge=0, le=1_000)]  # [kg]
_STRICT = {"extra": "forbid", "strict": True, "allow_inf_nan": False}


@dataclass(frozen=True)
class Band:
    """The band as a thing: its identity and what a tape and a kitchen scale say of it."""

    __pydantic_config__ = _STRICT
    id: str
    flat_length: BandLength  # [m] end to end, lying flat, after conditioning
    u_flat_length: ULength = 0.002  # [m]
    thickness: SmallLength | None = None  # [m]
    width: SmallLength | None = None  # [m]
    mass: Mass | None = None  # [kg]
    layers: Annotated[int, Limits(ge=1)] | None = None
    material: str | None = None
    batch: str | None = None
    note: str | None = None
    strands: Annotated[int, Limits(ge=1, le=2)] = 2  # 2 = loop, 1 = single strand


@dataclass(frozen=True)
class LengthSetup:
    """How lengths were read, and how well."""

    __pydantic_config__ = _STRICT
    kind: LengthKind = "half-path"
    fitting_diameters: Annotated[tuple[Annotated[float, Limits(ge=0, le=2)], ...], Limits(max_length=2)] = ()  # [m]
    u_reading: ULength = 0.002  # [m] one reading
    u_common: ULength = 0.001  # [m] offset shared by all readings of this set-up
    u_scale: URelative = 0.0005  # relative, the tape as a whole
    tape: str | None = None


@dataclass(frozen=True)
class Correction:
    """One check of a scale, as an equation: force = zero + gain * shown + quadratic * shown^2."""

    __pydantic_config__ = _STRICT
    checked_on: str  # ISO date
    coefficients: tuple[float, float, float]  # zero [N], gain [1], quadratic [1/N]
    covariance: tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float]]  # whole
    residual_sd: UForce = 0.0  # [N]
    max: Positive | None = None  # [N] largest force checked
    known_loads: str | None = None  # identity of the set of known loads
    factor_known_loads: tuple[float, float, float] = (0.0, 0.0, 0.0)  # part of the covariance: shift per u of the set
    pieces: tuple[str, ...] = ()  # of that set, where each is known by name
    factor_pieces: tuple[tuple[float, float, float], ...] = ()  # likewise, per u of each of them

    def force(self, shown: float) -> float:
        """Force for an indication, both in newton."""
        zero, gain, quadratic = self.coefficients
        return zero + gain * shown + quadratic * shown * shown


@dataclass(frozen=True)
class ScaleInUse:
    """The scale as it stood when the run was recorded."""

    __pydantic_config__ = _STRICT
    id: str
    resolution: UForce  # [N]
    u_gain: URelative | None = None  # relative; None = never checked: 0.6 % is taken
    u_zero: UForce | None = None  # [N]; None = from the resolution
    check: str | None = None
    correction: Correction | None = None
    locks: Locks = "no"
    zeroed: Zeroed = "band-both-ends"
    display: Display | None = None  # what it does with what is less than a step; None = nobody looked


@dataclass(frozen=True)
class Procedure:
    """How the band was pulled."""

    __pydantic_config__ = _STRICT
    method: Method = "scale-in-line"
    orientation: Literal["horizontal", "vertical"] = "horizontal"
    scale_at: Literal["top", "bottom"] | None = None
    conditioning_pulls: Annotated[int, Limits(ge=0)] | None = None
    conditioned_to: Annotated[float, Limits(gt=0, le=1_000)] | None = None  # [m] as taped, same kind as the readings
    dwell_s: NotNegative | None = None
    temperature: Annotated[float, Limits(gt=-60, lt=100)] | None = None  # [degree Celsius]
    latitude_deg: Annotated[float, Limits(ge=-90, le=90)] | None = None
    altitude: Annotated[float, Limits(ge=-500, le=9000)] | None = None  # [m]


@dataclass(frozen=True)
class Loads:
    """The known weights of a hung-weight run."""

    __pydantic_config__ = _STRICT
    id: str
    u_common: URelative = 0.0  # relative, the whole set together
    u_each: UMass = 0.0  # [kg] each load by itself
    hook_mass: UMass = 0.0  # [kg] hangs with every load and is not in the column
    pieces: tuple[str, ...] = ()  # names; a row says which of them hung
    piece_masses: tuple[Mass, ...] = ()  # [kg]
    u_piece_masses: tuple[UMass, ...] = ()  # [kg] each piece

    def piece(self, name: str) -> tuple[float, float]:
        """Mass of a piece and its own uncertainty; KeyError where there is none. [kg]"""
        if name not in self.pieces:
            raise KeyError(name)
        at = self.pieces.index(name)
        return self.piece_masses[at], self.u_piece_masses[at]


@dataclass(frozen=True)
class CheckLoad:
    """One known plate, weighed at start and end."""

    __pydantic_config__ = _STRICT
    id: str
    mass: Mass  # [kg]
    u_mass: UMass = 0.0  # [kg]


@dataclass(frozen=True)
class RunHead:
    """Everything about a recording that is not a row."""

    __pydantic_config__ = _STRICT
    band: Band
    length: LengthSetup = LengthSetup()
    scale: ScaleInUse | None = None  # None for hung weights
    procedure: Procedure = Procedure()
    loads: Loads | None = None
    check_load: CheckLoad | None = None
    started: datetime | None = None
    extensions: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Row:
    """One row of a run file: raw, as read; corrections are applied when fitting."""

    number: int
    kind: RowKind = "reading"
    cycle: int | None = None  # 0 = conditioning: kept, shown, not fitted
    branch: BranchName | None = None
    length: float | None = None  # [m] as taped, not converted
    force: float | None = None  # [N] raw indication
    mass: float | None = None  # [kg] hung-weight runs: the load hung, hook not included
    pieces: tuple[str, ...] = ()  # names of the pieces it was made of; empty where nobody said
    counts: float | None = None  # a load cell without units
    at_s: float | None = None
    dwell_s: float | None = None
    note: str = ""  # a remark, and nothing else: it never changes a result
    about: str = ""  # what the kind is about: of a strike the row's number; acquire/files/run_events.py lists them
    n: int | None = None  # samples behind a load cell's value
    sd: float | None = None  # [N] their standard deviation
    relax_percent_per_decade: float | None = None  # loss of force with a decade of time; while unloading it is negative
    line: int = 0  # line in the file, 0 where there is none


@dataclass(frozen=True)
class Run:
    """One recording: head and rows, in order, nothing removed."""

    name: str  # as the user knows it, usually the file name
    head: RunHead
    rows: tuple[Row, ...]
    sha256: str | None = None
    findings: tuple[Finding, ...] = ()
    length_unit: str = "mm"  # of its table, so that a doubt can name what stands there
    force_unit: str = "kg"  # likewise; of masses that were hung too

    def pull(self, newton: float) -> str:
        """A pull in words, in the unit of the table."""
        return as_read(newton, self.force_unit)

    def tape(self, metre: float) -> str:
        """A length in words, in the unit of the table."""
        return f"{metre / LENGTH[self.length_unit]:.4g} {self.length_unit}"

    @cached_property
    def struck(self) -> dict[int, str]:
        """Row numbers struck out, with the reason given."""
        out: dict[int, str] = {}
        for row in self.rows:
            if row.kind == "strike":
                out[int(row.about)] = row.note
        return out

    def standing(self, kind: RowKind) -> tuple[Row, ...]:
        """Rows of one kind that were not struck out."""
        return tuple(r for r in self.rows if r.kind == kind and r.number not in self.struck)

    @cached_property
    def readings(self) -> tuple[Row, ...]:
        """Readings that count: not struck, not conditioning."""
        return tuple(r for r in self.standing("reading") if r.cycle)


@dataclass(frozen=True)
class BranchTable:
    """One branch of a curve on its grid of half-path lengths; every array has shape (n,)."""

    length: Array  # [m]
    force: Array  # [N] both legs together
    u: Array  # [N]
    u95: Array  # [N] half-width of the 95 % interval
    rest: Array  # [N] what the factors leave: u^2 = sum of factors^2 + rest^2


@dataclass(frozen=True)
class Factor:
    """The signed shift of both branches that one standard deviation of one independent source causes."""

    source: str
    key: str | None  # identity of what is shared with other profiles; None = this band's own
    loading: Array  # [N] shape (n,)
    unloading: Array | None


@dataclass(frozen=True)
class TensionCurve:
    """Both branches, with factors on the same grids."""

    loading: BranchTable
    unloading: BranchTable | None
    factors: tuple[Factor, ...]


@dataclass(frozen=True)
class Point:
    """A reading as the fitter saw it, beside what it made of it."""

    run: str
    row: int
    line: int
    cycle: int
    branch: BranchName
    length: float  # [m] half-path
    force: float  # [N] pull, corrected
    curve: float  # [N] the fitted curve there
    studentised: float  # deviation over its own standard deviation, the reading itself left out
    used: bool


@dataclass(frozen=True)
class Repeatability:
    """How much a cycle or a day differs from the mean curve."""

    cycle_gain: float  # relative
    hook_shift: float  # [m]
    between_day_gain: float  # relative, of another day against the curve
    between_day_assumed: bool
    u_between_day_gain: float = 0.0
    days: int = 1  # it was learnt from


@dataclass(frozen=True)
class Hysteresis:
    """Energy put in and lost between two lengths."""

    start: float  # [m]
    end: float  # [m]
    energy_in: float  # [J]
    energy_lost: float  # [J]
    loss_ratio: float
    u_loss_ratio: float
    set: float | None  # [m] lasting change of flat length, where measured


@dataclass(frozen=True)
class Relaxation:
    """Loss of force with time at a held length."""

    percent_per_decade: float
    u: float
    measured: bool


@dataclass(frozen=True)
class CheckLoadShown:
    """What the check load read, mean of the run."""

    id: str
    shown: float  # [N]
    u: float  # [N]


@dataclass(frozen=True)
class BudgetLine:
    """One source of uncertainty at the low, middle and top of the loading branch."""

    source: str
    type: Literal["A", "B"]
    u: tuple[float, float, float]  # [N]
    share: tuple[float, float, float]  # of the variance


@dataclass(frozen=True)
class Fit:
    """All that was learnt about one band from its runs."""

    runs: tuple[Run, ...]
    rest_half_path: float  # [m] L0, from the measured flat length
    curve: TensionCurve
    repeatability: Repeatability
    hysteresis: Hysteresis | None
    relaxation: Relaxation
    check_load: CheckLoadShown | None
    coefficients: dict[str, Any]
    budget: tuple[BudgetLine, ...]
    points: tuple[Point, ...]
    findings: tuple[Finding, ...]
