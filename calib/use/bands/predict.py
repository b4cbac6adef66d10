"""Questions a lifter asks of a profile: what does it pull there, where does it pull that, and how sure is the next set.

Files, options and the terminal are not known here.
"""

from collections.abc import Iterable, Sequence
from typing import Any

from calib.errors import BandcurveError, DataError, OutOfRangeError
from calib.frozen import dataclass
from calib.half_path import LengthKind, offset_over
from calib.profile.document import Prediction, Profile
from calib.profile.table import BRANCHES, BranchName, ForceEstimate, LengthEstimate
from calib.use.answers.lengths import LengthAnswer, PullAnswer
from calib.use.answers.parts import Coded, PlaceOnTape, Pull, doubts


@dataclass(frozen=True)
class Inverse:
    """Where each branch reaches a pull; None where it was not measured or does not reach it."""

    force: float  # [N]
    loading: LengthEstimate | None
    unloading: LengthEstimate | None


def half_path_between(
    profile: Profile,
    reading: float,
    kind: LengthKind | None = None,
    fitting_diameters: Sequence[float] | None = None,
) -> float:
    """Half-path length of a band over two pins, from what a tape reads. [m]

    Args:
        profile: For the band's thickness (4.5 mm where it was not measured) and how it was measured.
        reading: What the tape reads. [m]
        kind: Where the tape was held; None: as when the band was measured.
        fitting_diameters: Of the pins, one for both, or two; None: those the band was measured on. [m]

    Raises:
        DataError: It is not said, and the profile does not know it.

    >>> round(half_path_between(profile, 1.5, "centres", [0.025, 0.050]), 4)
    1.566
    """
    kind = kind or profile.gear.tape_kind
    if kind is None:
        raise DataError(
            "the profile does not say where the tape was held",
            where=profile.band.id,
            remedy="give it, for example --kind band-inner",
        )
    if kind == "half-path":
        return reading
    if fitting_diameters is None:
        fitting_diameters = profile.gear.fitting_diameters_m
    if not fitting_diameters:
        raise DataError(
            "the profile does not give the pins' diameters", where=profile.band.id, remedy="give them: --pins 25,50"
        )
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


def pull_at(profile: Profile, at: ForceEstimate) -> Pull:
    """A pull with both limits.

    Args:
        profile: The band.
        at: Its curve somewhere.
    """
    return Pull(at.force, at.u, at.u95, profile.u95_next(at))


def on_tape(profile: Profile, length: float) -> float | None:
    """What the tape reads at a half-path length, held as when the band was measured; None where that is unknown. [m]"""
    offset = profile.half_path_less_tape
    return None if offset is None or length <= offset else length - offset


def pull_answer(profile: Profile, prediction: Prediction, beside: Iterable[Coded] = ()) -> PullAnswer:
    """What a band pulls at a length, as an answer.

    Args:
        profile: The band.
        prediction: What it says of the length.
        beside: Findings of the band as a whole.
    """
    return PullAnswer(
        **_head(profile, beside),
        length_m=prediction.length,
        tape_m=on_tape(profile, prediction.length),
        tape_kind=profile.gear.tape_kind,
        stretch=prediction.length / profile.band.rest_half_path_m,
        extrapolated=prediction.extrapolated,
        between_days_assumed=profile.repeatability.between_day_assumed,
        strands=profile.band.strands,
        loading=pull_at(profile, prediction.loading) if prediction.loading else None,
        unloading=pull_at(profile, prediction.unloading) if prediction.unloading else None,
    )


def length_answer(profile: Profile, inverse: Inverse, beside: Iterable[Coded] = ()) -> LengthAnswer:
    """At which length a band reaches a pull, as an answer.

    Args:
        profile: The band.
        inverse: What it says of the pull.
        beside: Findings of the band as a whole.
    """
    return LengthAnswer(
        **_head(profile, beside),
        force_N=inverse.force,
        tape_kind=profile.gear.tape_kind,
        rest_half_path_m=profile.band.rest_half_path_m,
        loading=_place(profile, "loading", inverse.loading),
        unloading=_place(profile, "unloading", inverse.unloading),
    )


def _place(profile: Profile, branch: BranchName, found: LengthEstimate | None) -> PlaceOnTape | None:
    if found is None:
        return None
    at = profile.estimate(found.length, branch)
    return PlaceOnTape(
        found.length, on_tape(profile, found.length), found.u, found.u95, profile.u95_next(at) / abs(at.slope)
    )  # fmt: skip


def _head(profile: Profile, beside: Iterable[Coded]) -> dict[str, Any]:
    findings = doubts([*beside, *profile.findings])
    return {"band": profile.band.id, "day": profile.made.measured_at, "findings": findings}
