"""Answers about rigs: load on the bar, a check with a scale, what to hang, the same weight without bands.

Lists go with `heights_m`, bottom to top. "up" is loading where bands hang from below. See `parts` for the common head.
"""

from collections.abc import Mapping
from typing import ClassVar

from calib.frozen import dataclass
from calib.use.answers.parts import Answer

Listed = tuple[float, ...]


@dataclass(frozen=True)
class PullsAlong:
    """What bands pull down at each height; a difference or a pull upward is negative."""

    vertical_N: Listed
    u_N: Listed
    u95_mean_N: Listed
    u95_next_set_N: Listed


@dataclass(frozen=True)
class BandAlong:
    """One band at each height."""

    band: str
    tension_N: Listed
    vertical_N: Listed
    sideways_N: Listed
    fore_N: Listed
    angle_deg: Listed
    slack: tuple[bool, ...]


@dataclass(frozen=True)
class RigWay:
    """One way of the lift: load on the bar at each height, and what the bands do to it."""

    bar_load_kg: Listed
    u_kg: Listed
    u95_mean_kg: Listed
    low95_mean_kg: Listed
    high95_mean_kg: Listed
    u95_next_set_kg: Listed
    band_share_of_load: tuple[float | None, ...]
    added_kg_per_10cm: float
    sides: Mapping[str, PullsAlong]
    left_less_right: PullsAlong
    bands: tuple[BandAlong, ...]


@dataclass(frozen=True)
class RigBandUsed:
    """A band of a rig with the calibration that was used."""

    band: str
    day: str | None
    side: str
    arrangement: str
    hangs_from: str


@dataclass(frozen=True, kw_only=True)
class RigAnswer(Answer):
    """What the bands of a rig put on the bar."""

    question: ClassVar[str] = "rig"
    heights_m: Listed
    gravity_m_s2: float
    place_given: bool
    bar_and_plates_kg: float
    used: tuple[RigBandUsed, ...]
    up: RigWay | None
    down: RigWay | None


@dataclass(frozen=True)
class LifterLoads:
    """One lifter's loads."""

    lifter: str
    bottom_m: float
    top_m: float
    rig: RigAnswer | None
    error: str | None


@dataclass(frozen=True, kw_only=True)
class LiftersAnswer(Answer):
    """What a rig puts on the bar for several lifters."""

    question: ClassVar[str] = "rig-lifters"
    lifters: tuple[LifterLoads, ...]


@dataclass(frozen=True)
class CheckReading:
    """One height of a check: the bands' pull as worked out and as shown."""

    height_m: float
    expected_N: float
    u_expected_N: float
    shown_N: float
    u_shown_N: float


@dataclass(frozen=True)
class SlackFound:
    """Slack length of one band of a rig."""

    number: int
    slack_length_before_m: float | None
    slack_length_m: float
    u_slack_length_m: float


@dataclass(frozen=True)
class GripFound:
    """How far the bands grip their pins: 0 slip, 1 grip."""

    share: float
    u_share: float


@dataclass(frozen=True)
class LevelFound:
    """The bands' own pull against their profiles."""

    relative: float
    u_relative: float


@dataclass(frozen=True, kw_only=True)
class RigCheckAnswer(Answer):
    """What a scale in a rig says of it."""

    question: ClassVar[str] = "rig-check"
    how: str
    agrees: bool
    misfit: float
    misfit_limit: float
    readings: tuple[CheckReading, ...]
    slack_length: tuple[SlackFound, ...]
    grip: GripFound | None
    level: LevelFound
    before: RigAnswer
    after: RigAnswer
    file: str | None = None


@dataclass(frozen=True)
class LoadAt:
    """One load on the bar."""

    bar_load_kg: float
    u_kg: float
    u95_mean_kg: float
    u95_next_set_kg: float


@dataclass(frozen=True)
class SidePull:
    """What a scale shows on one side."""

    pull_kg: float
    u95_mean_kg: float
    u95_next_set_kg: float


@dataclass(frozen=True)
class CheckNumber:
    """What a scale in place of the bar shows where a rig is as it was worked out."""

    height_m: float
    wait_s: float
    both_ends: bool
    sides: Mapping[str, SidePull]


@dataclass(frozen=True)
class Wanted:
    """A load that is wanted, or a share of it."""

    of: str
    load_kg: float | None
    share: float | None
    maximum_kg: float | None


@dataclass(frozen=True)
class ProposedBand:
    """A band of a proposal and how it hangs."""

    band: str
    day: str | None
    side: str
    file: str
    hangs_from: str
    arrangement: str
    anchor_height_m: float
    pegs_apart_m: float


@dataclass(frozen=True, kw_only=True)
class Proposed(Answer):
    """One way to have the load that is wanted."""

    question: ClassVar[str] = "proposal"
    miss_kg: float
    plates_kg: float
    plates_a_side_kg: Listed
    bar_and_plates_kg: float
    bands: tuple[ProposedBand, ...]
    loads: Mapping[str, LoadAt]
    sides_apart_kg: float
    u95_mean_sides_apart_kg: float
    band_share: Mapping[str, float | None]
    check_number: CheckNumber | None


@dataclass(frozen=True)
class NotReachable:
    """What cannot be reached, and why."""

    bands: str
    arrangement: str
    why: str
    text: str | None
    miss_kg: float | None


@dataclass(frozen=True, kw_only=True)
class SolveAnswer(Answer):
    """Which bands and plates put a wanted load on the bar, best first."""

    question: ClassVar[str] = "rig-solve"
    wanted: tuple[Wanted, ...]
    within_kg: float
    looked_at: int
    twins_assumed: bool
    uneven_pairs: int
    plates_stay: bool
    left_over_plates_kg: Listed
    more_within: int
    proposals: tuple[Proposed, ...]
    not_reachable: tuple[NotReachable, ...]
    file: str | None = None


@dataclass(frozen=True)
class NearestPlates:
    """Plates that come nearest to a straight weight."""

    bar_and_plates_kg: float
    plates_a_side_kg: Listed


@dataclass(frozen=True)
class StraightWeight:
    """A weight without bands that puts the same load on the bar."""

    bar_load_kg: float
    u_kg: float
    u95_mean_kg: float
    u95_next_set_kg: float
    nearest: NearestPlates | None


@dataclass(frozen=True, kw_only=True)
class WeightAnswer(Answer):
    """The straight weight that equals a rig."""

    question: ClassVar[str] = "rig-weight"
    bar_and_plates_kg: float
    straight_weight: Mapping[str, StraightWeight]
    check_number: CheckNumber | None


@dataclass(frozen=True, kw_only=True)
class FileAnswer(Answer):
    """A file that was written."""

    question: ClassVar[str] = "written"
    file: str
