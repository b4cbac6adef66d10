"""The parts of a profile: band, gear, conditions, branches, factors, and what else was found; each checks itself.

What holds between them, and what is worked out from them, is the business of `document`.
"""

from typing import Annotated, Any, Literal

from calib.checked import After, Field, Limits, Part
from calib.errors import DataError
from calib.half_path import LengthKind
from calib.identity import PATTERN, check_id
from calib.versioned import IsoDate, NotNegatives, Numbers

MOST_POINTS = 2000

# Physical bounds: no band, gear or room comes near them, so a number beyond one is a slip (per cent for a share,
# millimetres for metres) that would go into an answer unseen. They are wide on purpose; findings say what is unusual.
LARGEST_FORCE = 1e6  # [N] beyond it squares and drawings fail
LONGEST = 1e3  # [m] likewise
SHORTEST = 1e-3  # [m]
_Length = Annotated[float, Limits(ge=SHORTEST, le=LONGEST)]  # [m]
_Size = Annotated[float, Limits(ge=1e-6, le=10)]  # [m] thickness, width, of a band or a pin
_ULength = Annotated[float, Limits(ge=0, le=1)]  # [m]
_Mass = Annotated[float, Limits(ge=1e-6, le=1e4)]  # [kg]
_Pull = Annotated[float, Limits(ge=-LARGEST_FORCE, le=LARGEST_FORCE)]  # [N] signed: a shift, a reading
_UPull = Annotated[float, Limits(ge=0, le=LARGEST_FORCE)]  # [N]
_Pulls = tuple[_Pull, ...]
_UPulls = tuple[_UPull, ...]
_Seconds = Annotated[float, Limits(ge=0, le=1e7), After(lambda s: s if s == 0 else max(s, 1e-3))]  # [s]
_Spread = Annotated[float, Limits(ge=0, le=1)]  # relative
_Energy = Annotated[float, Limits(ge=-1e6, le=1e6)]  # [J]
_Share = Annotated[float, Limits(ge=-1, le=2)]  # of a variance; a sum with signs may leave 0 to 1 a little
PER_K = 0.02
"""Largest relative change of pull for a degree. Rubber has about 0.003 (one over the absolute temperature; L. R. G.
Treloar, The Physics of Rubber Elasticity, 3rd ed. 1975); 0.25 is 0.25 % written as a number."""

BandId = Annotated[str, After(check_id, pattern=PATTERN)]


class ProfileBand(Part):
    """The band as a thing."""

    id: BandId
    flat_length_m: _Length = Field(description="End to end lying flat, as taped, after conditioning.")
    u_flat_length_m: _ULength = Field(description="Standard uncertainty (k = 1).")
    rest_half_path_m: _Length = Field(description="Half of the closed path along mid-thickness, unloaded: L0.")
    thickness_m: _Size | None = None
    width_m: _Size | None = None
    mass_kg: _Mass | None = None
    layers: Annotated[int, Limits(ge=1, le=1000)] | None = None
    material: str | None = None
    batch: str | None = None
    note: str | None = None
    strands: Literal[1, 2] = Field(description="2 is a loop, 1 a single strand.")


class SourceFile(Part):
    """A file the profile was made from."""

    file: str
    sha256: Annotated[str, Limits(pattern=r"^[0-9a-f]{64}$")] | None


class Made(Part):
    """When, with what and from what."""

    measured_at: IsoDate | None
    by: str
    from_: tuple[SourceFile, ...] = Field(alias="from")
    assumed: dict[str, float] = Field(default_factory=dict, description="Assumptions changed, docs/assumptions.md.")


class ProfileGear(Part):
    """Identities of what was measured with."""

    scale: str | None
    check: str | None
    tape: str | None
    known_loads: str | None
    fitting_diameters_m: tuple[Annotated[float, Limits(ge=0, le=2)], ...]
    tape_kind: LengthKind | None = Field(default=None, description="Where the tape was held; null or absent: unknown.")


METHOD_WORDS = {  # of `Conditions.method`, for people
    "scale-in-line": "scale in line",
    "hung-weight": "hung weights",
    "anchor-on-scale": "anchor on a scale",
}


class Conditions(Part):
    """How the band was pulled."""

    method: Literal["scale-in-line", "hung-weight", "anchor-on-scale"]
    temperature_C: Annotated[float, Limits(gt=-60, lt=100)] | None
    dwell_s: _Seconds | None
    conditioned_to_m: _Length | None = Field(description="Half-path length.")
    cycles: Annotated[int, Limits(ge=1, le=10_000)]


class LengthMeaning(Part):
    """What lengths mean in this document."""

    kind: Literal["half-path"]


class Branch(Part):
    """One branch on its grid; a straight line between points is off by less than a tenth of u."""

    length_m: Numbers = Field(description="Rising; the first and last are the tested range.")
    force_N: Numbers = Field(description="Both legs together.")
    u_N: NotNegatives = Field(description="Standard uncertainty of the mean curve (k = 1).")
    u95_N: NotNegatives = Field(description="Half-width of the 95 % interval; interpolate u95 / u.")

    def __post_init__(self) -> None:
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


class Branches(Part):
    """Both branches; null where unloading was not measured."""

    loading: Branch
    unloading: Branch | None

    def __post_init__(self) -> None:
        if self.unloading:
            a, b = self.loading.length_m, self.unloading.length_m
            first, last = max(a[0], b[0]), min(a[-1], b[-1])
            if [x for x in a if first <= x <= last] != [x for x in b if first <= x <= last]:
                raise DataError("both branches need the same lengths where they overlap")


class ProfileFactor(Part):
    """The signed shift of both branches that one standard deviation of one independent source causes."""

    source: str
    key: str | None = Field(description="Identity of what is shared with other profiles; null is this band's own.")
    loading_N: _Pulls
    unloading_N: _Pulls | None


class Rest(Part):
    """What the factors leave of u, point by point: u^2 = sum of factors^2 + rest^2."""

    loading: _UPulls
    unloading: _UPulls | None


class ProfileRepeatability(Part):
    """How much a cycle or a day differs from the mean curve."""

    cycle_gain: _Spread
    hook_shift_m: _ULength
    between_day_gain: _Spread = Field(description="Of another day against this curve, relative.")
    between_day_assumed: bool
    u_between_day_gain: _Spread | None = Field(
        default=None, description="How well the size of one day's gain is known."
    )
    days: Annotated[int, Limits(ge=1, le=10_000)] = Field(default=1, description="The curve is the mean over so many.")


class ProfileHysteresis(Part):
    """Energy put in and lost between two lengths."""

    from_m: _Length
    to_m: _Length
    energy_in_J: _Energy
    energy_lost_J: _Energy
    loss_ratio: Annotated[float, Limits(ge=-1, le=1)]
    u_loss_ratio: Annotated[float, Limits(ge=0, le=10)]
    set_m: Annotated[float, Limits(ge=-10, le=10)] | None


class ProfileRelaxation(Part):
    """Loss of force with time at a held length, per tenfold time."""

    percent_per_decade: Annotated[float, Limits(ge=-100, le=100)]
    u: Annotated[float, Limits(ge=0, le=100)]
    measured: bool


class ProfileCheckLoad(Part):
    """What a known plate read on the day, corrected as pulls are: it makes a later comparison legitimate."""

    id: str
    shown_N: _Pull
    u_N: _UPull


class TemperatureCoefficient(Part):
    """Relative change of force at a held length."""

    per_K: Annotated[float, Limits(ge=-PER_K, le=PER_K)]
    u_per_K: Annotated[float, Limits(ge=0, le=PER_K)]


class Model(Part):
    """The fitted law, for the curious and for refits; readers use the tables."""

    name: str
    version: int
    coefficients: dict[str, Any]


class Three(Part):
    """A value at the lowest, middle and largest length of the loading branch."""

    low: _Pull
    middle: _Pull
    top: _Pull


class Shares(Part):
    """Shares of the variance at the lowest, middle and largest length of the loading branch."""

    low: _Share
    middle: _Share
    top: _Share


class ProfileBudgetLine(Part):
    """One source of uncertainty."""

    source: str
    type: Literal["A", "B"]
    u_N: Three
    share: Shares = Field(description="Of the variance.")


class ProfileFinding(Part):
    """One doubt about the result."""

    code: str
    text: str


def same_length(name: str, values: tuple[float, ...], n: int) -> None:
    """Refuse values that are not one for each length."""
    if len(values) != n:
        raise DataError(f"{name} has {len(values)} values for {n} lengths")
