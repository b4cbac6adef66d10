"""What was worked out of a rig as answers: loads, several lifters, a check, proposals, the straight weight."""

from collections.abc import Iterable, Mapping, Sequence
from math import degrees

from calib.errors import DataError
from calib.finding import Finding
from calib.profile.document import Profile
from calib.records import Array
from calib.units import UNIT, Unit
from calib.use.answers.parts import doubts
from calib.use.answers.rigs import (
    BandAlong,
    CheckNumber,
    CheckReading,
    GripFound,
    LevelFound,
    LifterLoads,
    LiftersAnswer,
    Listed,
    LoadAt,
    NearestPlates,
    NotReachable,
    Proposed,
    ProposedBand,
    PullsAlong,
    RigAnswer,
    RigBandUsed,
    RigCheckAnswer,
    RigWay,
    SidePull,
    SlackFound,
    SolveAnswer,
    StraightWeight,
    Wanted,
    WeightAnswer,
)
from calib.use.rig.lifters import Lifted
from calib.use.rig.plates import Loadings
from calib.use.rig.rig_average import OFS, Of
from calib.use.rig.rig_check import Learned
from calib.use.rig.rig_file import Check
from calib.use.rig.rig_hold import Hold
from calib.use.rig.rig_sum import Known
from calib.use.rig.solve import Proposal, SolveResult, Wish
from calib.use.rig.statics import SIDES, Direction, RigLoad

TENTH = 0.1  # m


def rig_answer(answer: RigLoad, profiles: Sequence[Profile]) -> RigAnswer:
    """The load on the bar as an answer.

    Args:
        answer: What the rig does.
        profiles: One for each of its bands.
    """
    names = {p.band.id for p in profiles}
    days = {p.made.measured_at for p in profiles}
    return RigAnswer(
        band=names.pop() if len(names) == 1 else None,
        day=days.pop() if len(days) == 1 else None,
        findings=doubts(answer.findings),
        heights_m=_listed(answer.heights),
        gravity_m_s2=float(answer.gravity),
        place_given=answer.rig.bar.latitude_deg is not None,
        bar_and_plates_kg=float(answer.rig.weight_kg),
        used=tuple(
            RigBandUsed(p.band.id, p.made.measured_at, b.side, b.arrangement, b.source)
            for b, p in zip(answer.rig.band, profiles, strict=True)
        ),
        up=_rig_way(answer, answer.up, profiles),
        down=_rig_way(answer, answer.down, profiles),
    )


def _rig_way(answer: RigLoad, way: Direction | None, profiles: Sequence[Profile]) -> RigWay | None:
    if way is None:
        return None
    load = way.load
    share = load.value - answer.rig.weight_kg
    return RigWay(
        bar_load_kg=_listed(load.value),
        u_kg=_listed(load.u),
        u95_mean_kg=_listed(load.u95),
        low95_mean_kg=_listed(load.low),
        high95_mean_kg=_listed(load.high),
        u95_next_set_kg=_listed(load.next_u95),
        band_share_of_load=tuple(
            None if v <= 0 else float(s / v) for s, v in zip(share, load.value, strict=True)
        ),
        added_kg_per_10cm=_added(answer, load.value),
        sides={side: _pulls(way.sides[side]) for side in SIDES},
        left_less_right=_pulls(way.difference),
        bands=tuple(
            BandAlong(
                band=profile.band.id,
                tension_N=_listed(pull.tension),
                vertical_N=_listed(pull.down),
                sideways_N=_listed(pull.sideways),
                fore_N=_listed(pull.fore),
                angle_deg=tuple(degrees(a) for a in pull.angle),
                slack=tuple(bool(s) for s in pull.slack),
            )
            for pull, profile in zip(way.bands, profiles, strict=True)
        ),
    )  # fmt: skip


def refuse_flying(answer: RigLoad, unit: Unit = "kg") -> None:
    """Refuse a rig whose bands from above pull more than bar and plates weigh: there is no load to tell.

    Args:
        answer: What the rig does.
        unit: Of the sentence.

    Raises:
        DataError: The bar would fly up somewhere along the lift.
    """
    for way in answer.known_ways.values():
        least = int(way.load.value.argmin())
        missing = -float(way.load.value[least])
        if missing > 0:
            more = f"{missing / UNIT[unit]:.1f} {unit}"
            raise DataError(
                f"with the bar at {answer.heights[least]:.3f} m the bands from above pull {more} more than bar and "
                "plates weigh: if you let go, it flies up",
                where="bar.plates_kg",
                remedy=f"put at least {more} more on the bar before the bands, or hang weaker bands",
            )


def _added(answer: RigLoad, load: Array) -> float:
    """Added load for 10 cm of height, from bottom to top. [kg]"""
    return float((load[-1] - load[0]) / (answer.heights[-1] - answer.heights[0]) * TENTH)


def _pulls(known: Known) -> PullsAlong:
    return PullsAlong(_listed(known.value), _listed(known.u), _listed(known.u95), _listed(known.next_u95))


def _listed(values: Array) -> Listed:
    return tuple(float(v) + 0.0 for v in values)


def lifters_answer(
    lifted: Sequence[Lifted], profiles: Sequence[Profile], unit: Unit = "kg", beside: Iterable[Finding] = ()
) -> LiftersAnswer:
    """Several lifters' loads as an answer; no loads, and the reason, for one who cannot be told.

    Args:
        lifted: The loads.
        profiles: One for each band of the rig.
        unit: Of the reasons.
        beside: Findings of the bands as a whole.
    """
    return LiftersAnswer(findings=doubts(beside), lifters=tuple(_lifter(one, profiles, unit) for one in lifted))


def _lifter(one: Lifted, profiles: Sequence[Profile], unit: Unit) -> LifterLoads:
    found, error = None, one.error or None
    if one.answer is not None:
        try:
            refuse_flying(one.answer, unit)
            found = rig_answer(one.answer, profiles)
        except DataError as flying:
            error = f"{flying.what}; {flying.remedy}"
    return LifterLoads(one.lifter.name, one.lifter.bottom, one.lifter.top, found, error)


def check_answer(
    learned: Learned, check: Check, before: RigLoad, after: RigLoad, profiles: Sequence[Profile]
) -> RigCheckAnswer:
    """A check of a rig as an answer.

    Args:
        learned: What the readings say.
        check: What was read.
        before: The rig without the check.
        after: The rig in its light.
        profiles: One for each band of the rig.
    """
    now = rig_answer(after, profiles)
    return RigCheckAnswer(
        band=now.band,
        day=now.day,
        findings=now.findings,
        how=check.how,
        agrees=bool(learned.agrees),
        misfit=float(learned.misfit),
        misfit_limit=float(learned.limit),
        readings=tuple(
            CheckReading(float(h), float(e), float(ue), float(s), float(us))
            for h, e, ue, s, us in zip(
                check.heights, learned.expected, learned.u_expected, learned.shown, learned.u_shown, strict=True
            )
        ),
        slack_length=tuple(
            SlackFound(i, before.rig.band[i].slack_length, float(learned.rig.band[i].slack_length or 0.0), float(u))
            for i, u in learned.u_slack.items()
        ),
        grip=None if learned.grip is None else GripFound(*map(float, learned.grip)),
        level=LevelFound(*map(float, learned.level)),
        before=rig_answer(before, profiles),
        after=now,
    )


def solve_answer(solved: SolveResult, holds: Sequence[Hold | None]) -> SolveAnswer:
    """What was found for a wanted load as an answer.

    Args:
        solved: What was found.
        holds: The check number of each proposal.
    """
    return SolveAnswer(
        findings=(),
        wanted=tuple(wanted(wish) for wish in solved.sought.wishes),
        within_kg=float(solved.sought.within),
        looked_at=int(solved.looked_at),
        twins_assumed=solved.sought.twins,
        uneven_pairs=int(solved.uneven),
        plates_stay=len(solved.sought.loads.totals) == 1,
        left_over_plates_kg=tuple(map(float, solved.sought.loads.left_over)),
        more_within=int(solved.more),
        proposals=tuple(proposed(p, h) for p, h in zip(solved.proposals, holds, strict=True)),
        not_reachable=tuple(
            NotReachable(m.band, m.arrangement, m.why, m.text or None, None if m.miss is None else float(m.miss))
            for m in solved.missed
        ),
    )


def wanted(wish: Wish) -> Wanted:
    """What is wanted as an answer says it."""
    if wish.load is not None:
        return Wanted(wish.of, float(wish.load), None, None)
    return Wanted(wish.of, None, float(wish.share), float(wish.maximum) if wish.of == "maximum" else None)


def proposed(proposal: Proposal, hold: Hold | None) -> Proposed:
    """One proposal as an answer.

    Args:
        proposal: What was found.
        hold: Its check number.
    """
    apart, u95_apart = _apart(proposal)
    return Proposed(
        findings=doubts(proposal.answer.findings),
        miss_kg=float(proposal.miss),
        plates_kg=float(proposal.rig.bar.plates),
        plates_a_side_kg=tuple(map(float, proposal.plates_a_side)),
        bar_and_plates_kg=float(proposal.rig.weight_kg),
        bands=tuple(
            ProposedBand(
                p.band.id, p.made.measured_at, b.side, b.profile, b.source, b.arrangement, float(b.anchor_height),
                float(b.pegs_apart),
            )
            for b, p in zip(proposal.rig.band, proposal.profiles, strict=True)
        ),
        loads={of: load_at(proposal.loads[of]) for of in OFS},
        sides_apart_kg=apart,
        u95_mean_sides_apart_kg=u95_apart,
        band_share=shares(proposal),
        check_number=check_number(hold),
    )  # fmt: skip


def _apart(proposal: Proposal) -> tuple[float, float]:
    """By how much left and right differ where they differ most, with its 95 % limits. [kg]"""
    ways = [way.difference for way in proposal.answer.known_ways.values()]
    most = max(ways, key=lambda difference: float(abs(difference.value).max()))
    at = int(abs(most.value).argmax())
    gravity = proposal.answer.gravity
    return float(abs(most.value[at])) / gravity, float(most.u95[at]) / gravity


def shares(proposal: Proposal) -> dict[str, float | None]:
    """What the bands pull as a share, once for each meaning in use; negative where they take load off."""
    weight = proposal.rig.weight_kg
    pulled = {of: float(proposal.loads[of].value[0]) - weight for of in OFS}
    most = max(pulled["bottom"], pulled["top"], key=abs)
    loads = {of: float(proposal.loads[of].value[0]) for of in OFS}
    found: dict[str, float | None] = {of: pulled[of] / loads[of] if loads[of] > 0 else None for of in OFS}
    return found | {"weight": most / weight if weight > 0 else None}


def load_at(known: Known) -> LoadAt:
    """One load with its limits."""
    return LoadAt(*(float(v[0]) for v in (known.value, known.u, known.u95, known.next_u95)))


def check_number(hold: Hold | None) -> CheckNumber | None:
    """What a scale in place of the bar shows."""
    if hold is None:
        return None
    sides = {s.side: SidePull(s.value, s.u95, s.next_u95) for s in hold.sides}
    return CheckNumber(float(hold.height), float(hold.wait_s), hold.across, sides)


def weight_answer(
    answer: RigLoad,
    loads: Mapping[Of, Known],
    made: Loadings | None,
    hold: Hold | None,
    profiles: Sequence[Profile],
) -> WeightAnswer:
    """The straight weight that equals a rig as an answer.

    Args:
        answer: The rig.
        loads: Its loads going up.
        made: Loads that the plates there are make; None where none were named.
        hold: The check number.
        profiles: One for each band of the rig.
    """
    rig = rig_answer(answer, profiles)
    straight: dict[str, StraightWeight] = {}
    for of, known in loads.items():
        one, nearest = load_at(known), None
        if made is not None:
            at = made.nearest(one.bar_load_kg - answer.rig.bar.mass)
            total = float(answer.rig.bar.mass + made.totals[at])
            nearest = NearestPlates(total, tuple(map(float, made.a_side[at])))
        straight[of] = StraightWeight(one.bar_load_kg, one.u_kg, one.u95_mean_kg, one.u95_next_set_kg, nearest)
    return WeightAnswer(
        band=rig.band,
        day=rig.day,
        findings=rig.findings,
        bar_and_plates_kg=rig.bar_and_plates_kg,
        straight_weight=straight,
        check_number=check_number(hold),
    )
