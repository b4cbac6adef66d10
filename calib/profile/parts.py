"""The parts of a profile: band, gear, conditions, branches, factors, and what else was found; each checks itself.

What holds between them, and what is worked out from them, is the business of `document`.
"""

from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from calib.errors import DataError
from calib.half_path import LengthKind
from calib.identity import PATTERN, check_id
from calib.versioned import IsoDate, NotNegative, NotNegatives, Numbers, Part, Positive

LARGEST_FORCE = 1e6  # [N] beyond it squares and drawings fail
LONGEST = 1e3  # [m] likewise
MOST_POINTS = 2000

BandId = Annotated[str, Field(json_schema_extra={"pattern": PATTERN}), AfterValidator(check_id)]


class Band(Part):
    """The band as a thing."""

    id: BandId
    flat_length_m: Positive = Field(description="End to end lying flat, as taped, after conditioning.")
    u_flat_length_m: NotNegative
    rest_half_path_m: Positive = Field(description="Half of the closed path along mid-thickness, unloaded: L0.")
    thickness_m: Positive | None = None
    width_m: Positive | None = None
    mass_kg: Positive | None = None
    layers: Annotated[int, Field(ge=1)] | None = None
    material: str | None = None
    batch: str | None = None
    note: str | None = None
    strands: Literal[1, 2] = Field(description="2 is a loop, 1 a single strand.")


class SourceFile(Part):
    """A file the profile was made from."""

    file: str
    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")] | None


class Made(Part):
    """When, with what and from what."""

    measured_at: IsoDate | None
    by: str
    from_: Annotated[tuple[SourceFile, ...], Field(strict=False, alias="from")]
    assumed: dict[str, float] = Field(default_factory=dict, description="Assumptions set anew, docs/assumptions.md.")


class Gear(Part):
    """Identities of what was measured with."""

    scale: str | None
    check: str | None
    tape: str | None
    known_loads: str | None
    fitting_diameters_m: NotNegatives
    tape_kind: LengthKind | None = Field(default=None, description="Where the tape was held; null or absent: unknown.")


METHOD_WORDS = {  # of `Conditions.method`, for people
    "scale-in-line": "scale in line",
    "hung-weight": "hung weights",
    "anchor-on-scale": "anchor on a scale",
}


class Conditions(Part):
    """How the band was pulled."""

    method: Literal["scale-in-line", "hung-weight", "anchor-on-scale"]
    temperature_C: Annotated[float, Field(gt=-60, lt=100)] | None
    dwell_s: NotNegative | None
    conditioned_to_m: Positive | None = Field(description="Half-path length.")
    cycles: Annotated[int, Field(ge=1)]


class LengthMeaning(Part):
    """What lengths mean in this document."""

    kind: Literal["half-path"]


class Branch(Part):
    """One branch on its grid; a straight line between points is off by less than a tenth of u."""

    length_m: Numbers = Field(description="Rising; the first and last are the tested range.")
    force_N: Numbers = Field(description="Both legs together.")
    u_N: NotNegatives = Field(description="Standard uncertainty of the mean curve (k = 1).")
    u95_N: NotNegatives = Field(description="Half-width of the 95 % interval; interpolate u95 / u.")

    @model_validator(mode="after")
    def _check(self) -> Self:
        n = len(self.length_m)
        if not 2 <= n <= MOST_POINTS:
            raise DataError(f"a branch needs 2 to {MOST_POINTS} points, not {n}")
        for name in ("force_N", "u_N", "u95_N"):
            same_length(name, getattr(self, name), n)
        if max(map(abs, (*self.force_N, *self.u95_N))) > LARGEST_FORCE or self.length_m[-1] > LONGEST:
            raise DataError("a force or a length is more than any band has")
        if min(self.force_N) < 0:
            raise DataError(f"a force of {min(self.force_N):g} N is below zero: a band only pulls")
        if self.length_m[0] <= 0 or any(b <= a for a, b in zip(self.length_m, self.length_m[1:], strict=False)):
            raise DataError("the lengths must be positive and rise from each to the next")
        if any(wide < narrow for wide, narrow in zip(self.u95_N, self.u_N, strict=True)):
            raise DataError("u95_N is below u_N somewhere", remedy="u is k = 1, u95 the wider one; were they swapped?")
        return self


class Branches(Part):
    """Both branches; null where unloading was not measured."""

    loading: Branch
    unloading: Branch | None

    @model_validator(mode="after")
    def _one_grid(self) -> Self:
        if self.unloading:
            a, b = self.loading.length_m, self.unloading.length_m
            first, last = max(a[0], b[0]), min(a[-1], b[-1])
            if [x for x in a if first <= x <= last] != [x for x in b if first <= x <= last]:
                raise DataError("both branches need the same lengths where they overlap")
        return self


class Factor(Part):
    """The signed shift of both branches that one standard deviation of one independent source causes."""

    source: str
    key: str | None = Field(description="Identity of what is shared with other profiles; null is this band's own.")
    loading_N: Numbers
    unloading_N: Numbers | None


class Rest(Part):
    """What the factors leave of u, point by point: u^2 = sum of factors^2 + rest^2."""

    loading: NotNegatives
    unloading: NotNegatives | None


class Repeatability(Part):
    """How much a cycle or a day differs from the mean curve."""

    cycle_gain: NotNegative
    hook_shift_m: NotNegative
    between_day_gain: NotNegative = Field(description="Of another day against this curve, relative.")
    between_day_assumed: bool
    u_between_day_gain: NotNegative | None = Field(None, description="How well the size of one day's gain is known.")
    days: Annotated[int, Field(ge=1)] = Field(1, description="The curve is the mean over so many.")

    @model_validator(mode="after")
    def _check(self) -> Self:
        if max(self.cycle_gain, self.between_day_gain) > 10 or self.hook_shift_m > LONGEST:
            raise DataError("a spread is more than any band has")
        return self


class Hysteresis(Part):
    """Energy put in and lost between two lengths."""

    from_m: Positive
    to_m: Positive
    energy_in_J: float
    energy_lost_J: float
    loss_ratio: float
    u_loss_ratio: NotNegative
    set_m: float | None


class Relaxation(Part):
    """Loss of force with time at a held length, per tenfold time."""

    percent_per_decade: float
    u: NotNegative
    measured: bool


class CheckLoad(Part):
    """What a known plate read on the day, corrected as pulls are: it makes a later comparison legitimate."""

    id: str
    shown_N: float
    u_N: NotNegative


class TemperatureCoefficient(Part):
    """Relative change of force at a held length."""

    per_K: float
    u_per_K: NotNegative


class Model(Part):
    """The fitted law, for the curious and for refits; readers use the tables."""

    name: str
    version: int
    coefficients: dict[str, Any]


class Three(Part):
    """A value at the lowest, middle and largest length of the loading branch."""

    low: float
    middle: float
    top: float


class BudgetLine(Part):
    """One source of uncertainty."""

    source: str
    type: Literal["A", "B"]
    u_N: Three
    share: Three = Field(description="Of the variance.")


class Finding(Part):
    """One doubt about the result."""

    code: str
    text: str


def same_length(name: str, values: tuple[float, ...], n: int) -> None:
    """Refuse values that are not one for each length."""
    if len(values) != n:
        raise DataError(f"{name} has {len(values)} values for {n} lengths")
