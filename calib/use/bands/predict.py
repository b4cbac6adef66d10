"""Questions a lifter asks of a profile: what does it pull there, where does it pull that, and how sure is the next set.

Files, options and the terminal are not known here.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from calib.errors import BandcurveError, DataError, OutOfRangeError
from calib.half_path import LengthKind, offset_over
from calib.profile.document import Prediction, Profile
from calib.profile.table import BRANCHES, BranchName, ForceEstimate, LengthEstimate
from calib.units import SHOWN, Shown

WORDS: dict[BranchName, str] = {"loading": "on the way out", "unloading": "on the way back"}


@dataclass(frozen=True)
class Inverse:
    """Where each branch reaches a pull; None where it was not measured or does not reach it."""

    force: float  # [N]
    loading: LengthEstimate | None
    unloading: LengthEstimate | None


def half_path_between(profile: Profile, reading: float, kind: LengthKind, fitting_diameters: Sequence[float]) -> float:
    """Half-path length of a band over two fittings, from what a tape reads. [m]

    Args:
        profile: For the band's thickness; 4.5 mm where it was not measured.
        reading: What the tape reads. [m]
        kind: What the tape was laid along.
        fitting_diameters: One for both, or two. [m]

    >>> round(half_path_between(profile, 1.5, "centres", [0.025, 0.050]), 4)
    1.566
    """
    if kind == "half-path":
        return reading
    if not fitting_diameters:
        raise DataError("the diameters of the fittings are needed", remedy="give them, for example --fittings 25,50")
    return reading + offset_over(kind, fitting_diameters, profile.band.thickness_m)


def invert(profile: Profile, force: float) -> Inverse:
    """Half-path lengths at which the band reaches a pull.

    Args:
        profile: The band.
        force: The pull of both legs together. [N]

    Raises:
        OutOfRangeError: Neither branch reaches it.
    """
    found: dict[BranchName, LengthEstimate | None] = {"loading": None, "unloading": None}
    refused: list[BandcurveError] = []
    for name in BRANCHES:
        if profile.branch(name) is not None:
            try:
                found[name] = profile.length(force, name)
            except OutOfRangeError as error:
                refused.append(error)
    if found["loading"] is None and found["unloading"] is None:
        raise refused[0]
    return Inverse(force, found["loading"], found["unloading"])


def prediction_json(prediction: Prediction) -> dict[str, Any]:
    """The prediction as other programs read it."""
    return {
        "length_m": _rounded(prediction.length),
        "extrapolated": prediction.extrapolated,
        **{
            name: None if e is None else {"force_N": _rounded(e.force), "u_N": _rounded(e.u), "u95_N": _rounded(e.u95)}
            for name, e in (("loading", prediction.loading), ("unloading", prediction.unloading))
        },
    }


def inverse_json(inverse: Inverse) -> dict[str, Any]:
    """The lengths as other programs read them."""
    return {
        "force_N": _rounded(inverse.force),
        **{
            name: None
            if e is None
            else {"length_m": _rounded(e.length), "u_m": _rounded(e.u), "u95_m": _rounded(e.u95)}
            for name, e in (("loading", inverse.loading), ("unloading", inverse.unloading))
        },
    }


def prediction_text(profile: Profile, prediction: Prediction, shown: Shown = SHOWN["kg"]) -> str:
    """The prediction in plain words, the mean curve and the next set told apart.

    Args:
        profile: The band.
        prediction: What it says of a length.
        shown: Units for people; newtons stand beside.
    """
    stretch = prediction.length / profile.band.rest_half_path_m
    length = f"{shown.tape(prediction.length)} {shown.length}"
    lines = [f"Band {profile.band.id} at half-path length {length} ({stretch:.2f} times its rest length)"]
    lines += _branch_lines(profile, WORDS["loading"], prediction.loading, shown)
    lines += _branch_lines(profile, WORDS["unloading"], prediction.unloading, shown)
    assumed = "; the change from day to day is assumed" if profile.repeatability.between_day_assumed else ""
    lines.append('"Mean" is how well the band\'s own curve is known, "next set" what one set may')
    lines.append(f"show{assumed}. Both are 95 % limits.")
    strands = "both legs together" if profile.band.strands == 2 else "the single strand"
    lines.append(f"{shown.force} is what a scale shows (1 {shown.force} = {shown.newton:.6g} N), {strands}.")
    if prediction.extrapolated:
        lines.append("EXTRAPOLATED: this length was not tested. The limits grow with the distance from")
        lines.append("the tested lengths, because the curve out there is a guess, not a measurement.")
    return "\n".join(lines)


def inverse_text(profile: Profile, inverse: Inverse, shown: Shown = SHOWN["kg"]) -> str:
    """The lengths in plain words."""
    pull = f"{shown.pull(inverse.force)} {shown.force} ({inverse.force:.1f} N)"
    lines = [f"Band {profile.band.id} pulls {pull} at a half-path length of"]
    for words, found in ((WORDS["loading"], inverse.loading), (WORDS["unloading"], inverse.unloading)):
        value = (
            "not measured or not reached"
            if found is None
            else f"{shown.tape(found.length)} {shown.length}, give or take {shown.tape(found.u95)} {shown.length}"
        )
        lines.append(f"  {words:<15}  {value}")
    lines.append("Give or take is a 95 % limit of the mean curve.")
    return "\n".join(lines)


def _branch_lines(profile: Profile, words: str, found: ForceEstimate | None, shown: Shown) -> list[str]:
    if found is None:
        return [f"  {words:<15}  not measured, or not at this length"]
    wide = profile.u95_next(found)
    return [
        f"  {words:<15}  {shown.pull(found.force):>6} {shown.force}  ({found.force:.1f} N)",
        f"  {'':<15}    mean      give or take {shown.pull(found.u95)} {shown.force}  ({found.u95:.1f} N)",
        f"  {'':<15}    next set  give or take {shown.pull(wide)} {shown.force}  ({wide:.1f} N)",
    ]


def _rounded(value: float) -> float:
    return float(f"{value:.7g}")
