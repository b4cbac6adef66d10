"""The profile, the document other tools read: what holds between its parts, what it answers, loading and saving.

Its parts are described in `parts`. Nothing is fitted here.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Self

from pydantic import Field, model_validator

from calib import versioned
from calib.errors import BandcurveError, DataError, OutOfRangeError
from calib.finding import CODES
from calib.half_path import offset_over
from calib.profile import table
from calib.profile.parts import (
    Band,
    Branch,
    Branches,
    BudgetLine,
    CheckLoad,
    Conditions,
    Factor,
    Finding,
    Gear,
    Hysteresis,
    LengthMeaning,
    Made,
    Model,
    Relaxation,
    Repeatability,
    Rest,
    TemperatureCoefficient,
    same_length,
)
from calib.profile.table import BranchName, ForceEstimate, LengthEstimate, Place
from calib.safe_write import write_atomically
from calib.strict_json import parse_json, read_json
from calib.versioned import Part

FORMAT = versioned.Version("bandcurve-profile", 1, 1)
CAP_BYTES = 4_000_000
MOST_FACTORS = 16
_KNOWN_FORMATS = ("bandcurve-profile/1", "bandcurve-profile/1.0", "bandcurve-profile/1.1")


@dataclass(frozen=True)
class Prediction:
    """What a band pulls at one half-path length; a branch is None where it was not measured or does not reach."""

    length: float  # [m]
    loading: ForceEstimate | None
    unloading: ForceEstimate | None
    extrapolated: bool


class Profile(Part):
    """The tension curve of one band: force against half-path length, with its uncertainty."""

    format: Annotated[str, Field(pattern=r"^bandcurve-profile/1(\.[0-9]+)?$")]
    band: Band
    made: Made
    gear: Gear
    conditions: Conditions
    length_meaning: LengthMeaning = Field(alias="length")
    branches: Branches
    factors: Annotated[tuple[Factor, ...], Field(strict=False, max_length=MOST_FACTORS)]
    rest_N: Rest
    repeatability: Repeatability
    hysteresis: Hysteresis | None
    relaxation: Relaxation | None
    check_load: CheckLoad | None
    temperature_coefficient: TemperatureCoefficient
    model: Model
    budget: Annotated[tuple[BudgetLine, ...], Field(strict=False)]
    findings: Annotated[tuple[Finding, ...], Field(strict=False)]
    extensions: dict[str, Any] = Field(default_factory=dict, description="Free space for other programs.")

    @model_validator(mode="after")
    def _check(self) -> Self:
        self._check_shapes()
        self._check_sums()
        known = self.format in _KNOWN_FORMATS
        for finding in self.findings if known else ():
            if finding.code not in CODES:
                raise DataError(f"unknown finding code {finding.code[:40]!r}", remedy="docs/findings.md lists them")
        return self

    def _check_shapes(self) -> None:
        for name in table.BRANCHES:
            branch = self.branch(name)
            listed = {f"factors[{i}].{name}_N": getattr(f, f"{name}_N") for i, f in enumerate(self.factors)}
            listed[f"rest_N.{name}"] = getattr(self.rest_N, name)
            for path, values in listed.items():
                if (values is None) != (branch is None):
                    raise DataError(f"{path} and branches.{name} must both be there or both be null")
                if branch is not None:
                    same_length(path, values, len(branch.length_m))

    def _check_sums(self) -> None:
        """u^2 = sum of factors^2 + rest^2, to the digits that are stored."""
        for name in table.BRANCHES:
            branch = self.branch(name)
            for i, u in enumerate(branch.u_N if branch else ()):
                parts = [getattr(f, f"{name}_N")[i] for f in self.factors] + [getattr(self.rest_N, name)[i]]
                if abs(sum(p * p for p in parts) - u * u) > 1e-3 * u * u + 1e-18:
                    raise DataError(
                        f"branches.{name}.u_N[{i}] is not the root sum of squares of its factors and rest_N"
                    )

    @property
    def half_path_less_tape(self) -> float | None:
        """Half-path length less what the tape reads over the pins it was measured on, None where that is not known. [m]

        A tape held as a half-path length reads it straight away.
        """
        kind, pins = self.gear.tape_kind, self.gear.fitting_diameters_m
        if kind is None or (kind != "half-path" and not pins):
            return None
        return offset_over(kind, pins, self.band.thickness_m)

    def branch(self, name: BranchName) -> Branch | None:
        """One branch's table, None where it was not measured."""
        return self.branches.loading if name == "loading" else self.branches.unloading

    def estimate(self, length: float, branch: BranchName = "loading", *, extrapolate: bool = False) -> ForceEstimate:
        """Pull with its uncertainty at a half-path length.

        Args:
            length: Half-path length. [m]
            branch: "loading" or "unloading".
            extrapolate: Go beyond the tested lengths, with a growing uncertainty; the unloading branch never goes
                beyond its turning point.

        Raises:
            DataError: The branch was not measured.
            OutOfRangeError: The length was not tested.
        """
        branch_table = self._measured(branch)
        beyond_turn = branch == "unloading" and length > branch_table.length_m[-1]
        try:
            if extrapolate and not beyond_turn:
                return table.continued(branch_table, length, self.band.rest_half_path_m)
            return table.estimate(branch_table, length)
        except OutOfRangeError as error:
            raise error.at(f"{self.band.id} {branch}") from None

    def force(self, length_m: float, branch: BranchName = "loading", extrapolate: bool = False) -> float:
        """Pull of both legs at a half-path length. [N]

        Args:
            length_m: Half-path length. [m]
            branch: "loading" or "unloading".
            extrapolate: Go beyond the tested lengths.

        >>> round(profile.force(1.6), 1)
        143.2
        """
        return self.estimate(length_m, branch, extrapolate=extrapolate).force

    def length(self, force_N: float, branch: BranchName = "loading") -> LengthEstimate:
        """Half-path length at which a branch reaches a pull.

        Args:
            force_N: The pull. [N]
            branch: "loading" or "unloading".

        >>> round(profile.length(profile.force(1.6)).length, 4)
        1.6
        """
        try:
            return table.length_at(self._measured(branch), force_N)
        except (OutOfRangeError, DataError) as error:
            raise error.at(f"{self.band.id} {branch}") from None

    def predict(self, length_m: float, extrapolate: bool = False) -> Prediction:
        """Both branches at a half-path length.

        Args:
            length_m: Half-path length. [m]
            extrapolate: Go beyond the tested lengths, marked as such.

        >>> print(profile.predict(1.6).loading.u95 < 5)
        True

        Raises:
            OutOfRangeError: No branch reaches there.
        """
        found: dict[BranchName, ForceEstimate | None] = {}
        refused: list[BandcurveError] = []
        for name in table.BRANCHES:
            try:
                found[name] = self.estimate(length_m, name, extrapolate=extrapolate) if self.branch(name) else None
            except OutOfRangeError as error:
                found[name] = None
                refused.append(error)
        if found["loading"] is None and found["unloading"] is None:
            raise refused[0]
        inside = [table.holds(t, length_m) for n in table.BRANCHES if found[n] and (t := self.branch(n))]
        return Prediction(length_m, found["loading"], found["unloading"], not all(inside))

    def covariance(self, first: Place, second: Place) -> float:
        """Covariance of the pulls at two points of this curve. [N2]"""
        return table.covariance(self, first, second)

    def u_next(self, at: ForceEstimate) -> float:
        """Standard uncertainty of the next set, wider than that of the mean curve. [N]

        Args:
            at: The mean curve there.
        """
        spread = self.repeatability
        relative = spread.cycle_gain**2 + spread.between_day_gain**2
        return float((at.u**2 + relative * at.force**2 + (spread.hook_shift_m * at.slope) ** 2) ** 0.5)

    def u95_next(self, at: ForceEstimate) -> float:
        """Half-width of the 95 % interval of the next set, as much wider than its u as that of the mean is. [N]

        Args:
            at: The mean curve there.
        """
        return self.u_next(at) * (at.u95 / at.u if at.u else 2.0)

    def to_json(self) -> str:
        """The document as text: the same content gives the same bytes."""
        return versioned.to_json(self)

    def _measured(self, name: BranchName) -> Branch:
        if name not in table.BRANCHES:
            raise DataError(f"there is no branch {name!r}", remedy="it is 'loading' or 'unloading'")
        found = self.branch(name)
        if found is None:
            raise DataError(f"the {name} branch was not measured", where=self.band.id, remedy="use the loading branch")
        return found


def parse_profile(data: bytes, name: str) -> Profile:
    """Make a profile of a file's bytes.

    Args:
        data: The whole file.
        name: What to call it in an error.
    """
    return versioned.validate(Profile, parse_json(data, name, CAP_BYTES), FORMAT, name)


def load_profile(path: Path | str) -> Profile:
    """Read a profile from a file.

    Args:
        path: The file.

    Raises:
        FileError: It cannot be read.
        DataError: It is no profile, or one this program cannot read.
    """
    where = Path(path)
    return versioned.validate(Profile, read_json(where, CAP_BYTES), FORMAT, where.name)


def save_profile(profile: Profile, path: Path | str) -> None:
    """Write a profile, whole or not at all.

    Args:
        profile: What to write.
        path: Where to; an existing file is replaced.
    """
    write_atomically(Path(path), profile.to_json())
