"""What is known of a scale or load cell: the document, and the part a run carries along. Nothing is fitted here."""

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any, Literal

from calib import versioned
from calib.checked import After, Field, Limits, Part
from calib.errors import DataError, FileError
from calib.identity import PATTERN, check_id
from calib.records import Correction, Display, Locks, ScaleInUse, Zeroed
from calib.safe_write import update, write_atomically
from calib.strict_json import parse_json, read_json
from calib.versioned import IsoDate

FORMAT = versioned.Version("bandcurve-scale", 1, 2)
CAP_BYTES = 4_000_000
UNNAMED_CELL = "load-cell"  # id in a run recorded at a line without a scale's file
SHOWN_UNIT = "shown_unit"  # in the free space
U_CELL_UNCHECKED = 0.001  # of capacity: what a load cell is trusted to without a check; a bound of common practice

_HUGE = 1e8  # [N] no scale shows as much; a checked cell of 3 MN is the largest known
Shown = Annotated[float, Limits(ge=-_HUGE, le=_HUGE)]  # [N]
ForceUp = Annotated[float, Limits(gt=0, le=_HUGE)]  # [N]
Size = Annotated[float, Limits(ge=0, le=_HUGE)]  # [N] of a step, a scatter
Factor = Annotated[float, Limits(ge=-1e9, le=1e9)]  # a gain; of a bend in 1/N
Covariance = Annotated[float, Limits(ge=-1e18, le=1e18)]
Load = Annotated[float, Limits(gt=0, le=1e7)]  # [kg]
Three = tuple[Shown, Factor, Factor]
Row = tuple[Covariance, Covariance, Covariance]
Matrix = tuple[Row, Row, Row]
ScaleId = Annotated[str, After(check_id, pattern=PATTERN)]


def _not_nought(value: float) -> float:
    if value == 0.0:
        raise DataError("is 0: a count is some force", remedy="check the cell at its port again, in a new file")
    return value


class KnownLoad(Part):
    """One known load of a set."""

    id: str
    mass_kg: Load
    u_mass_kg: Annotated[float, Limits(ge=0, le=1e6)] = Field(
        default=0.0, description="By itself, beside what the whole set has in common."
    )


class StoredLoads(Part):
    """The set of known loads a check was made with."""

    id: str
    u_common: Annotated[float, Limits(ge=0, le=0.5)] = Field(
        default=0.0, description="Relative, the whole set together."
    )
    loads: tuple[KnownLoad, ...] = ()


class StoredReading(Part):
    """One known load on the scale, as it was going up or down."""

    mass_kg: Annotated[float, Limits(ge=0, le=1e7)] = Field(description="All loads together; 0 is a zero reading.")
    shown_N: Shown
    branch: Literal["loading", "unloading"]
    loads: tuple[str, ...] = Field(default=(), description="Ids of the loads that hung.")


class FittedCorrection(Part):
    """force = zero + gain * shown + quadratic * shown^2; the same table a run carries as [scale.correction]."""

    checked_on: IsoDate
    coefficients: Three = Field(description="[zero_N, gain, quadratic_per_N]")
    covariance: Matrix = Field(description="Of the coefficients, whole.")
    residual_sd_N: Size = 0.0
    max_N: ForceUp | None = Field(default=None, description="Largest force checked.")
    known_loads: str | None = None
    factor_known_loads: Three = Field(
        default=(0.0, 0.0, 0.0),
        description="Part of the covariance: shift of the coefficients per standard deviation of the set.",
    )
    pieces: tuple[str, ...] = Field(default=(), description="Pieces of that set, where each is known by name.")
    factor_pieces: tuple[Three, ...] = Field(
        default=(),
        description="Part of the covariance: shift of the coefficients per standard deviation of each piece.",
    )

    def __post_init__(self) -> None:
        c = self.covariance
        if any(abs(c[i][j] - c[j][i]) > 1e-6 * abs(c[i][i] * c[j][j]) ** 0.5 for i in range(3) for j in range(i)):
            raise DataError("the covariance is not symmetric")
        if any(c[i][i] < 0 for i in range(3)):
            raise DataError("the covariance has a negative variance")
        if self.coefficients[1] == 0:
            raise DataError("the gain is zero")

    @classmethod
    def from_correction(cls, correction: Correction) -> "FittedCorrection":
        """Make the document's part of a fitted correction."""
        return cls(
            checked_on=correction.checked_on,
            coefficients=correction.coefficients,
            covariance=correction.covariance,
            residual_sd_N=correction.residual_sd,
            max_N=correction.max,
            known_loads=correction.known_loads,
            factor_known_loads=correction.factor_known_loads,
            pieces=correction.pieces,
            factor_pieces=correction.factor_pieces,
        )

    def record(self) -> Correction:
        """The correction as the fitter takes it."""
        return Correction(
            checked_on=self.checked_on,
            coefficients=self.coefficients,
            covariance=self.covariance,
            residual_sd=self.residual_sd_N,
            max=self.max_N,
            known_loads=self.known_loads,
            factor_known_loads=self.factor_known_loads,
            pieces=self.pieces,
            factor_pieces=self.factor_pieces,
        )


class Creep(Part):
    """Change of the indication under a constant load."""

    at_N: ForceUp
    after_s: Annotated[float, Limits(gt=0, le=1e7)]
    change_N: Shown


class StoredCheck(Part):
    """One day's comparison with known loads."""

    id: ScaleId = Field(description="Usually the date; with the scale's id it names the check.")
    checked_on: IsoDate
    latitude_deg: Annotated[float, Limits(ge=-90, le=90)] | None = None
    altitude_m: Annotated[float, Limits(ge=-500, le=9000)] | None = None
    temperature_C: Annotated[float, Limits(gt=-60, lt=100)] | None = None
    known_loads: StoredLoads
    readings: tuple[StoredReading, ...]
    correction: FittedCorrection
    repeatability_N: Size | None = None
    reversibility_N: Shown | None = Field(
        default=None,
        description="Largest drop of the way down below the way up; below zero where it shows more at every load.",
    )
    zero_return_N: Shown | None = Field(default=None, description="Indication with nothing on, after less before.")
    creep: Creep | None = None

    def __post_init__(self) -> None:
        if self.correction.checked_on != self.checked_on:
            raise DataError("checked_on differs from that of its correction")


class CountsLine(Part):
    """force = zero + per_count * counts, for a load cell that sends counts."""

    zero_N: Shown
    per_count_N: Annotated[float, Limits(ge=-1e6, le=1e6), After(_not_nought, **{"not": {"const": 0}})]

    def force(self, counts: float) -> float:
        """Indication for a number of counts. [N]"""
        return self.zero_N + self.per_count_N * counts


class Scale(Part):
    """A scale or load cell and its checks."""

    format: Annotated[str, Limits(pattern=r"^bandcurve-scale/1(\.[0-9]+)?$")]
    id: ScaleId
    kind: Literal["hanging-scale", "platform-scale", "load-cell"]
    resolution_N: Size
    capacity_N: ForceUp | None = None
    locks: Locks = "no"
    display: Display | None = Field(
        default=None, description="What it does with less than a step; null where nobody looked."
    )
    counts: CountsLine | None = None
    checks: tuple[StoredCheck, ...] = ()
    note: str | None = None
    extensions: dict[str, Any] = Field(default_factory=dict, description="Free space for other programs.")

    def __post_init__(self) -> None:
        names = [check.id for check in self.checks]
        if len(set(names)) != len(names):
            raise DataError("two checks have the same id", remedy="give the later one another id")

    @property
    def shown_unit(self) -> str | None:
        """What its display shows: kg, lb or N; None where the file's free space does not say."""
        said = self.extensions.get(SHOWN_UNIT)
        return {"kg": "kg", "kgf": "kg", "lb": "lb", "lbf": "lb", "N": "N"}.get(said) if isinstance(said, str) else None

    def latest(self) -> StoredCheck | None:
        """The newest check; of one day the last listed."""
        in_order = sorted(self.checks, key=lambda check: check.checked_on)
        return in_order[-1] if in_order else None

    def check(self, name: str) -> StoredCheck:
        """The check of a name, with or without the scale's id before it.

        Raises:
            DataError: There is none.
        """
        bare = name.removeprefix(f"{self.id}/")
        for check in self.checks:
            if check.id == bare:
                return check
        known = ", ".join(check.id for check in self.checks) or "none yet"
        raise DataError(f"there is no check {bare!r}", where=f"scale {self.id}", remedy=f"its checks: {known}")

    def in_use(self, check: str | None = None, zeroed: Zeroed = "band-both-ends") -> ScaleInUse:
        """The part of this document that a run carries: the latest check, or a named one.

        Args:
            check: Name of the check; the latest where None.
            zeroed: What hung when the zero was taken.

        Without any check the gain is left unknown (None), and a load cell's zero is known to 0.1 % of its capacity.
        """
        found = self.check(check) if check else self.latest()
        u_zero = None
        if found is None and self.kind == "load-cell" and self.capacity_N:
            u_zero = U_CELL_UNCHECKED * self.capacity_N
        return ScaleInUse(
            id=self.id,
            resolution=self.resolution_N,
            u_gain=None,
            u_zero=u_zero,
            check=f"{self.id}/{found.id}" if found else None,
            correction=found.correction.record() if found else None,
            locks=self.locks,
            zeroed=zeroed,
            display=self.display,
        )

    def with_check(self, check: StoredCheck) -> "Scale":
        """The same scale with one more check."""
        return Scale.model_validate({**dict(self), "checks": (*self.checks, check)})

    def with_changes(self, before: "Scale", after: "Scale") -> "Scale":
        """The same scale with what was changed from one state of it to another, checks apart; the rest stays."""
        changed = {k: v for k, v in dict(after).items() if k != "checks" and v != getattr(before, k)}
        return Scale.model_validate({**dict(self), **changed})

    def to_json(self) -> str:
        """The document as text: the same content gives the same bytes."""
        return versioned.to_json(self)


def parse_scale(data: bytes, name: str) -> Scale:
    """Make a scale of a file's bytes.

    Args:
        data: The whole file.
        name: What to call it in an error.
    """
    return versioned.validate(Scale, parse_json(data, name, CAP_BYTES), FORMAT, name)


def load_scale(path: Path | str) -> Scale:
    """Read a scale from a file.

    Args:
        path: The file.

    Raises:
        FileError: It cannot be read.
        DataError: It is no scale, or one this program cannot read.
    """
    where = Path(path)
    return versioned.validate(Scale, read_json(where, CAP_BYTES), FORMAT, where.name)


def save_scale(scale: Scale, path: Path | str) -> None:
    """Write a scale, whole or not at all.

    Args:
        scale: What to write.
        path: Where to; an existing file is replaced.
    """
    write_atomically(Path(path), scale.to_json())


def update_scale(path: Path | str, change: Callable[[Scale], Scale]) -> Scale:
    """Change a scale's file as it is now, while nobody else does: a check that somebody finished meanwhile stays.

    Args:
        path: The file; it is there.
        change: Given what it holds now, what it shall hold.

    Returns:
        What it holds.

    Raises:
        FileError: It cannot be read or written.
        DataError: It is no scale.
    """
    where, made = Path(path), []

    def changed(there: bytes | None) -> str:
        if there is None:
            raise FileError("was moved or deleted meanwhile", where=str(where), remedy="restore its name")
        made.append(change(parse_scale(there, where.name)))
        return made[-1].to_json()

    update(where, changed, CAP_BYTES)
    return made[-1]
