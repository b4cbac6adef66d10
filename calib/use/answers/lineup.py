"""The plan of an evening as an answer. See `parts` for the common head."""

from collections.abc import Mapping
from typing import ClassVar

from calib.frozen import dataclass
from calib.use.answers.parts import Answer
from calib.use.answers.rigs import LoadAt, Proposed, Wanted


@dataclass(frozen=True)
class LineupTurn:
    """What one lifter hangs."""

    lifter: str
    bottom_m: float
    top_m: float
    wanted: tuple[Wanted, ...]
    proposal: Proposed | None
    moves: int
    plates_moved: int
    beyond_kg: float
    would_reach: str | None
    error: str | None
    loads_down: Mapping[str, LoadAt] | None


@dataclass(frozen=True)
class LineupDay:
    """One day's exercise, lifter after lifter."""

    day_named: str | None
    exercise: str | None
    turns: tuple[LineupTurn, ...]
    moves: int
    fewer_moves: int


@dataclass(frozen=True)
class NotUsed:
    """A band that was left out."""

    band: str
    why: str


@dataclass(frozen=True, kw_only=True)
class LineupAnswer(Answer):
    """Who hangs what: one plan for several lifters."""

    question: ClassVar[str] = "lineup"
    pairs_used: tuple[tuple[str, str], ...]
    not_used: tuple[NotUsed, ...]
    days_planned: tuple[LineupDay, ...]
