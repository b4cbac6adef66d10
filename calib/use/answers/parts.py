"""What all answers have in common: the head, the two limits, findings with what to do about them.

An answer is an edge of the program, so its names carry their unit and are the names of the JSON document. Two limits
stand beside every value, both half-widths of 95 %: `u95_mean_...` of the band's own curve, `u95_next_set_...` of what
one set on another day may show; `u_...` is the standard uncertainty (k = 1) of the curve. A limit is null where it
has no meaning. Nothing is worked out, written or printed here, and nothing heavy is loaded.
"""

from collections.abc import Iterable
from typing import ClassVar, Protocol

from calib.frozen import dataclass
from calib.use.answers.next_steps import next_step

FORMAT = "bandcurve-answer/1"


class Coded(Protocol):
    """A finding, of a fit or as a profile stores it."""

    @property
    def code(self) -> str: ...  # noqa: D102
    @property
    def text(self) -> str: ...  # noqa: D102


@dataclass(frozen=True)
class Doubt:
    """A finding with what to do about it."""

    code: str
    text: str
    do: str


@dataclass(frozen=True, kw_only=True)
class Answer:
    """The head of every answer.

    Attributes:
        question: What was asked: the name of the answer in JSON and in the schema.
        band: The band it is about; None where it is about several, each named where it is spoken of, or about none.
        day: Of the calibration the answer rests on, as 2026-03-01; None where there is none or it was not noted.
        findings: What is doubtful.
    """

    question: ClassVar[str]
    band: str | None = None
    day: str | None = None
    findings: tuple[Doubt, ...] = ()


@dataclass(frozen=True)
class Pull:
    """A pull of both legs with its limits."""

    force_N: float
    u_N: float
    u95_mean_N: float
    u95_next_set_N: float


@dataclass(frozen=True)
class PlaceOnTape:
    """A length with its limits."""

    length_m: float
    tape_m: float | None
    u_m: float
    u95_mean_m: float
    u95_next_set_m: float


@dataclass(frozen=True)
class Level:
    """A ratio of average pulls with its limits."""

    level_ratio: float
    u_level_ratio: float
    u95_mean_level_ratio: float
    u95_next_set_level_ratio: float | None


@dataclass(frozen=True)
class Failure:
    """A file that could not be used."""

    file: str
    error: str


def doubts(findings: Iterable[Coded]) -> tuple[Doubt, ...]:
    """Findings as answers carry them."""
    return tuple(Doubt(f.code, f.text, next_step(f.code)) for f in findings)
