"""The profile, the document other tools read: what holds between its parts, what it answers, loading and saving.

Its parts are described in `parts`. Nothing is fitted here.
"""

from functools import lru_cache
from operator import mul
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, overload

from calib import versioned
from calib.checked import Field, Limits, Part
from calib.errors import BandcurveError, DataError, OutOfRangeError
from calib.finding import CODES
from calib.frozen import dataclass
from calib.half_path import offset_over
from calib.profile import table
from calib.profile.parts import (
    Branch,
    Branches,
    Conditions,
    LengthMeaning,
    Made,
    Model,
    ProfileBand,
    ProfileBudgetLine,
    ProfileCheckLoad,
    ProfileFactor,
    ProfileFinding,
    ProfileGear,
    ProfileHysteresis,
    ProfileRelaxation,
    ProfileRepeatability,
    Rest,
    TemperatureCoefficient,
    same_length,
)
from calib.profile.table import BranchName, CurvePlace, ForceEstimate, LengthEstimate
from calib.safe_read import read_capped
from calib.safe_write import write_atomically
from calib.strict_json import parse_json
from calib.versioned import MOST_FACTORS

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas
    from numpy.typing import NDArray

    from calib.profile.arrays import Predictions, Pulls

FORMAT = versioned.Version("bandcurve-profile", 1, 1)
CAP_BYTES = 4_000_000
MOST_KEPT, KEPT_BYTES = 512, 60_000  # parsed profiles: some 40 MB of usual ones, 150 MB of the largest
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

    format: Annotated[str, Limits(pattern=r"^bandcurve-profile/1(\.[0-9]+)?$")]
    band: ProfileBand
    made: Made
    gear: ProfileGear
    conditions: Conditions
    length_meaning: LengthMeaning = Field(alias="length")
    branches: Branches
    factors: Annotated[tuple[ProfileFactor, ...], Limits(max_length=MOST_FACTORS)]
    rest_N: Rest
    repeatability: ProfileRepeatability
    hysteresis: ProfileHysteresis | None
    relaxation: ProfileRelaxation | None
    check_load: ProfileCheckLoad | None
    temperature_coefficient: TemperatureCoefficient
    model: Model
    budget: tuple[ProfileBudgetLine, ...]
    findings: tuple[ProfileFinding, ...]
    extensions: dict[str, Any] = Field(default_factory=dict, description="Free space for other programs.")

    def __post_init__(self) -> None:
        self._check_shapes()
        self._check_sums()
        known = self.format in _KNOWN_FORMATS
        for finding in self.findings if known else ():
            if finding.code not in CODES:
                raise DataError(f"unknown finding code {finding.code[:40]!r}", remedy="docs/findings.md lists them")

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
            told = [*(getattr(f, f"{name}_N") for f in self.factors), getattr(self.rest_N, name)] if branch else []
            for i, (u, *parts) in enumerate(zip(branch.u_N, *told, strict=True) if branch else ()):
                if abs(sum(map(mul, parts, parts)) - u * u) > 1e-3 * u * u + 1e-18:
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
            raise error.placed_at(f"{self.band.id} {branch}") from None

    @overload
    def force(self, length_m: float, branch: BranchName = "loading", extrapolate: bool = False) -> float: ...

    @overload
    def force(
        self, length_m: "Sequence[float] | NDArray[Any]", branch: BranchName = "loading", extrapolate: bool = False
    ) -> "NDArray[Any]": ...

    def force(self, length_m: Any, branch: BranchName = "loading", extrapolate: bool = False) -> Any:
        """Pull of both legs at a half-path length, or at many. [N]

        Args:
            length_m: Half-path length, a number or an array of any shape. [m]
            branch: "loading" or "unloading".
            extrapolate: Go beyond the tested lengths.

        Returns:
            A number for a number, an array of the same shape for an array. With its limits: `pulls`.

        Raises:
            DataError: The branch was not measured, or a length is not a number.
            OutOfRangeError: A length was not tested.

        >>> round(profile.force(1.6), 1)
        143.2
        >>> profile.force([1.5, 1.6]).round(1).tolist()
        [123.9, 143.2]
        """
        if isinstance(length_m, int | float):
            return self.estimate(length_m, branch, extrapolate=extrapolate).force
        return self.pulls(length_m, branch, extrapolate=extrapolate).force_N

    def pulls(self, lengths_m: Any, branch: BranchName = "loading", *, extrapolate: bool = False) -> "Pulls":
        """Pulls at many half-path lengths with u and both limits, as arrays.

        Args:
            lengths_m: Half-path lengths, any shape. [m]
            branch: "loading" or "unloading".
            extrapolate: Go beyond the tested lengths, with a growing uncertainty.

        Raises:
            DataError: The branch was not measured, or a length is not a number.
            OutOfRangeError: A length was not tested.

        >>> at = profile.pulls([1.5, 1.6])
        >>> at.u95_mean_N.round(2).tolist(), at.u95_next_set_N.round(2).tolist()
        ([1.59, 1.73], [3.42, 3.88])
        """
        from calib.profile.arrays import Spread, pulls_of

        measured, spread = self._measured(branch), self.repeatability
        one_set = Spread((spread.cycle_gain**2 + spread.between_day_gain**2) ** 0.5, spread.hook_shift_m)
        beyond = self.band.rest_half_path_m if extrapolate else None
        try:
            return pulls_of(measured, lengths_m, one_set, beyond)
        except OutOfRangeError as error:
            raise error.placed_at(f"{self.band.id} {branch}") from None

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
            raise error.placed_at(f"{self.band.id} {branch}") from None

    @overload
    def predict(self, length_m: float, extrapolate: bool = False) -> Prediction: ...

    @overload
    def predict(self, length_m: "Sequence[float] | NDArray[Any]", extrapolate: bool = False) -> "Predictions": ...

    def predict(self, length_m: Any, extrapolate: bool = False) -> Any:
        """Both branches at a half-path length, or at many.

        Args:
            length_m: Half-path length, a number or an array of any shape. [m]
            extrapolate: Go beyond the tested lengths, marked as such.

        Returns:
            A Prediction for a number. For an array Predictions: its `loading` and `unloading` are `Pulls`, arrays with
            u and both limits; `unloading` is None where it was not measured or does not reach all of the lengths.

        >>> print(profile.predict(1.6).loading.u95 < 5)
        True
        >>> profile.predict([1.5, 1.6]).loading.force_N.round(1).tolist()
        [123.9, 143.2]

        Raises:
            OutOfRangeError: No branch reaches there; of many lengths, the loading branch does not reach one of them.
        """
        if not isinstance(length_m, int | float):
            return self._predict_all(length_m, extrapolate)
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

    def _predict_all(self, lengths: Any, extrapolate: bool) -> "Predictions":
        from calib.profile.arrays import Predictions, outside

        loading, unloading = self.pulls(lengths, "loading", extrapolate=extrapolate), None
        if self.branches.unloading is not None and not outside(self.branches.unloading, loading.length_m).any():
            unloading = self.pulls(loading.length_m, "unloading")
        return Predictions(loading.length_m, loading, unloading, outside(self.branches.loading, loading.length_m))

    def to_dataframe(self) -> "pandas.DataFrame":
        """The curve on its grid as a table of pandas (which has to be installed): one row a length and branch.

        >>> profile.to_dataframe().query("branch == 'loading'").force_N.is_monotonic_increasing
        True

        Raises:
            DataError: pandas is not installed.
        """
        from calib.profile.arrays import frame_of

        columns: dict[str, list[Any]] = {"branch": []}
        for name in table.BRANCHES:
            branch = self.branch(name)
            if branch is not None:
                columns["branch"] += [name] * len(branch.length_m)
                for field, values in vars(self.pulls(branch.length_m, name)).items():
                    columns.setdefault(field, []).extend(values.tolist())
        return frame_of(columns)

    def plot(self, ax: Any = None) -> Any:
        """Draw both branches with the 95 % limits of the mean, pull in N against half-path length in m.

        Args:
            ax: Axes of matplotlib; None makes a figure.

        Returns:
            The axes.

        >>> import matplotlib; matplotlib.use("Agg")
        >>> len(profile.plot().lines)
        2
        """
        if ax is None:
            from matplotlib import pyplot

            ax = pyplot.figure().subplots()
        for name, line in zip(table.BRANCHES, ("-", "--"), strict=True):
            branch = self.branch(name)
            if branch is not None:
                at = self.pulls(branch.length_m, name)
                (drawn,) = ax.plot(at.length_m, at.force_N, line, label=f"{self.band.id}, {name}")
                low, high = at.force_N - at.u95_mean_N, at.force_N + at.u95_mean_N
                ax.fill_between(at.length_m, low, high, color=drawn.get_color(), alpha=0.25, linewidth=0)
        ax.set(xlabel="half-path length [m]", ylabel="pull [N]")
        ax.legend()
        return ax

    def __repr__(self) -> str:
        first, last = table.tested_range(self.branches.loading)
        low, high = (self.branches.loading.force_N[i] for i in (0, -1))
        ways = "loading and unloading" if self.branches.unloading else "loading"
        count = len(self.findings)
        return (
            f"<Profile {self.band.id[:64]}, {self.made.measured_at or 'no date'}: {ways}, {first:.4g} to {last:.4g} m, "
            f"{low:.4g} to {high:.4g} N, {count} finding{'s' * (count != 1)}>"
        )

    __str__ = __repr__

    def covariance(self, first: tuple[BranchName, float], second: tuple[BranchName, float]) -> float:
        """Covariance of the pulls at two points of this curve, each as ("loading", 1.6). [N2]"""
        return table.covariance(self, CurvePlace(*first), CurvePlace(*second))

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
        DataError: It is not a profile, or one this program cannot read.
    """
    where = Path(path)
    return parse_profile(read_capped(where, CAP_BYTES), where.name)


def load_again(path: Path) -> Profile:
    """The same for files that one answer after another needs: bytes that were parsed before are not parsed again.

    Args:
        path: The file; it is read each time.
    """
    data = read_capped(path, CAP_BYTES)
    return _kept(data, path.name) if len(data) <= KEPT_BYTES else parse_profile(data, path.name)


_kept = lru_cache(maxsize=MOST_KEPT)(parse_profile)  # by all of the bytes, so that none is stale


def save_profile(profile: Profile, path: Path | str) -> None:
    """Write a profile, whole or not at all.

    Args:
        profile: What to write.
        path: Where to; an existing file is replaced.
    """
    write_atomically(Path(path), profile.to_json())
