"""Answers about one length: what a band pulls there, or where it pulls that. Apart: predict starts faster."""

from typing import ClassVar

from calib.frozen import dataclass
from calib.use.answers.parts import Answer, PlaceOnTape, Pull


@dataclass(frozen=True, kw_only=True)
class PullAnswer(Answer):
    """What a band pulls at a length."""

    question: ClassVar[str] = "predict"
    length_m: float
    tape_m: float | None
    tape_kind: str | None
    stretch: float
    extrapolated: bool
    between_days_assumed: bool
    strands: int
    loading: Pull | None
    unloading: Pull | None


@dataclass(frozen=True, kw_only=True)
class LengthAnswer(Answer):
    """At which length a band reaches a pull."""

    question: ClassVar[str] = "length"
    force_N: float
    tape_kind: str | None
    rest_half_path_m: float
    loading: PlaceOnTape | None
    unloading: PlaceOnTape | None
