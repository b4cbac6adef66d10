"""One plan for several lifters at one place: bands, arrangement, hole, plates and loads of each, and what changes.

A lifter's choices are pairs of the box in every way to hang them with every load the plates make; `choices` finds the
plan. What cannot be reached is tried again with more holes, one more pair and other plates, to say what would reach it.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import hypot

import numpy as np

from calib.errors import BandcurveError, DataError
from calib.frozen import dataclass
from calib.records import Array
from calib.use.lineup.choices import Choices, LineupPlan, best_plan
from calib.use.lineup.lifters_table import Turn
from calib.use.rig.anchors import UNEQUAL_SHARE
from calib.use.rig.plates import Loadings
from calib.use.rig.rig_file import check_rig
from calib.use.rig.rig_hold import Hold, hold_number
from calib.use.rig.solve import (
    STEP,
    Best,
    Proposal,
    Sought,
    Team,
    all_pulls,
    beyond,
    known_of,
    proposal_of,
    teams_of,
)
from calib.use.rig.solve_place import Hanging, Unusable, hangings

CLOSEST = 12  # combinations that miss least: the U of the one that may be off least says what a tie is
PITCH, HOLES = 0.05, 10  # [m] holes that are tried beyond those named, where something cannot be reached
Tell = Callable[[float], None]
Pulls = tuple[Array, dict[tuple[int, int], Unusable]]  # of all bands in all ways to hang, and why some cannot


@dataclass(frozen=True)
class Planned:
    """What one lifter hangs."""

    turn: Turn
    proposal: Proposal | None  # None where nothing can hang there at all
    hold: Hold | None
    moves: int  # bands and anchors changed before this turn, each side by itself
    plates_moved: int  # on a side
    beyond_kg: float  # miss beyond U; 0 where what is wanted is reached
    reach: str  # what would reach it; empty where it is reached, or nothing that was tried does
    why: str = ""  # why nothing hangs


@dataclass(frozen=True)
class Lineup:
    """The plan of one chain: a day's exercise."""

    day: str
    exercise: str
    turns: tuple[Planned, ...]
    fewer_moves: int  # a better plan has at most so many moves fewer; 0 where none has


@dataclass(frozen=True)
class _Laid:
    """A lifter's choices with what each row stands for."""

    sought: Sought
    teams: Sequence[Team]
    rows: Sequence[Best]
    choices: Choices
    known: float  # [kg] U95 that makes a tie
    pulls: Pulls


def line_up(base: Sought, turns: Sequence[Turn], tell: Tell = lambda part: None) -> Lineup:
    """Plan one day's exercise.

    Args:
        base: Place, bands, pairs, ways and plates; its wishes and heights are replaced by each lifter's.
        turns: The lifters, in the order they lift.
        tell: Called with the part that is done.
    """
    laid: list[_Laid | str] = []
    for n, turn in enumerate(turns):
        laid.append(_laid(base, turn))
        tell(0.9 * (n + 1) / len(turns))
    there = [one for one in laid if isinstance(one, _Laid)]
    plan = best_plan([one.choices for one in there]) if there else LineupPlan((), (), (), 0)
    planned, at = [], 0
    for n, (turn, one) in enumerate(zip(turns, laid, strict=True)):
        if isinstance(one, str):
            planned.append(Planned(turn, None, None, 0, 0, 0.0, "", one))
        else:
            planned.append(_planned(turn, one, plan, at, base))
            at += 1
        tell(0.9 + 0.1 * (n + 1) / len(turns))
    return Lineup(turns[0].day, turns[0].exercise, tuple(planned), plan.fewer_moves)


def _sought_by(base: Sought, turn: Turn) -> Sought:
    rig = base.place.rig
    rig = replace(rig, bar=replace(rig.bar, bottom=turn.bottom, top=turn.top))
    place = replace(base.place, rig=rig)
    check_rig(replace(rig, band=place.slots))
    return replace(base, place=place, wishes=turn.wishes)


def _laid(base: Sought, turn: Turn, known: Pulls | None = None) -> _Laid | str:
    """A lifter's choices, or why there are none; `known` are pulls of the same bands in the same ways to hang."""
    try:
        sought = _sought_by(base, turn)
    except BandcurveError as error:
        return str(error)
    teams = teams_of(sought)
    pulled, bad = pulls = known or all_pulls(sought, lambda part: None)
    sides = [_sides(pulled[w], teams, sought) for w in range(len(sought.ways))]
    best = _best_loads(sought, sides)
    closest = sorted(best)[:CLOSEST]
    if not closest:
        least = min(bad.values(), key=lambda one: one.excess, default=None)
        return "no band can hang there" + (
            f": the nearest {least.text}" if least else ", left and right pull too differently"
        )
    tie = _least_off(sought, teams, closest)
    rows = _tied(sought, sides, best, tie)
    return _Laid(sought, teams, rows, _choices(sought, teams, rows, tie), tie, pulls)


def _least_off(sought: Sought, teams: Sequence[Team], closest: Sequence[Best]) -> float:
    """U95 of the combination that may be off least, of those that miss least, which come first. [kg]"""
    found, least = np.inf, np.inf
    for one in closest:
        if one.miss < least:  # what misses by more than that may be off by more, however well it is known
            u95 = known_of(sought, teams[one.team], one)
            if hypot(one.miss, u95) < least:
                found, least = u95, hypot(one.miss, u95)
    return found


def _sides(pulled: Array, teams: Sequence[Team], sought: Sought) -> Array:
    """What each set of bands pulls, shape (teams, sides, heights); NaN where it cannot hang. [kg]"""
    width, none = max(len(side) for team in teams for side in team), len(sought.candidates)
    chosen = np.array([[[*side, *[none] * (width - len(side))] for side in team] for team in teams], dtype=int)
    found: Array = pulled[chosen, np.arange(chosen.shape[1])[None, :, None]].sum(axis=2)
    return found


def _apart(sides: Array) -> Array:
    found: Array = abs(sides.max(axis=1) - sides.min(axis=1))
    return found


def _misses(sought: Sought, sides: Array) -> Array:
    """How far off each set of bands is with each load, shape (teams, loads); infinite where that is not allowed. [kg]

    Left and right may differ by a share of the load, and the bar must stay down, at every height.
    """
    weights = sought.place.rig.bar.mass + sought.loads.totals
    whole = sides.sum(axis=1)
    lines = [wish.miss(whole) for wish in sought.wishes]
    miss: Array = np.max([abs(slope * weights + offset[:, None]) for slope, offset in lines], axis=0)
    lightest = (_apart(sides) / UNEQUAL_SHARE - whole).max(axis=1)
    allowed = (weights >= lightest[:, None]) & (weights + whole.min(axis=1)[:, None] > 0)
    return np.where(allowed & np.isfinite(miss), miss, np.inf)


def _best_loads(sought: Sought, sides: Sequence[Array]) -> list[Best]:
    """Of each set of bands in each way to hang the load that misses least."""
    found: list[Best] = []
    for w, side in enumerate(sides):
        miss, apart = _misses(sought, side), _apart(side)
        at = miss.argmin(axis=1)
        for team in np.flatnonzero(np.isfinite(miss.min(axis=1))):
            found.append(Best(float(miss[team, at[team]]), float(apart[team].max()), int(team), w, int(at[team])))
    return found


def _tied(sought: Sought, sides: Sequence[Array], best: Sequence[Best], known: float) -> list[Best]:
    """Every choice whose miss beyond U is the least there is: sets of bands, ways to hang them, plates.

    All loads are taken to be as well known as the one that may be off least: U of each would take too long.
    """
    steps = beyond(np.array([one.miss for one in best]), known, known)
    found: list[Best] = []
    by_way: dict[int, list[Best]] = {}
    for one in (best[n] for n in np.flatnonzero(steps == steps.min()).tolist()):
        by_way.setdefault(one.way, []).append(one)
    for way, ones in by_way.items():
        miss = _misses(sought, sides[way][[one.team for one in ones]])
        for n, load in zip(*np.nonzero(beyond(miss, known, known) == steps.min()), strict=True):
            found.append(ones[n]._replace(miss=float(miss[n, load]), load=int(load)))
    return found


def _choices(sought: Sought, teams: Sequence[Team], rows: Sequence[Best], known: float) -> Choices:
    """The rows as numbers."""
    bands, slots = len(sought.candidates), len(sought.place.slots)
    masses = sorted({mass for side in sought.loads.a_side for mass in side})
    hung = np.zeros((len(rows), slots * bands))
    for n, row in enumerate(rows):
        for s, side in enumerate(teams[row.team]):
            hung[n, [s * bands + c for c in side]] = 1
    miss = np.array([row.miss for row in rows])
    plates = np.array([[side.count(m) for m in masses] for side in sought.loads.a_side], dtype=float)
    return Choices(
        beyond(miss, known, known).astype(int),
        (np.array([row.apart for row in rows]) / STEP).astype(int),
        miss,
        hung,
        np.array([row.way for row in rows]),
        plates.reshape(len(sought.loads.a_side), len(masses))[[row.load for row in rows]],
        slots,
    )


def _planned(turn: Turn, laid: _Laid, plan: LineupPlan, at: int, base: Sought) -> Planned:
    row = laid.rows[plan.rows[at]]
    proposal = proposal_of(laid.sought, laid.teams[row.team], row)
    hold = hold_number(proposal.rig, proposal.profiles, extrapolate=laid.sought.extrapolate)
    off = max(row.miss - laid.known, 0.0)
    reach = _what_reaches(base, turn, laid.pulls) if off > 0 else ""
    return Planned(turn, proposal, hold, plan.moves[at], plan.plates[at], off, reach)


def _what_reaches(base: Sought, turn: Turn, pulls: Pulls) -> str:
    """What would bring the wanted load within U, the first of what a coach can do that does."""
    heights = [way.anchor_height for way in base.ways if way.anchor_height is not None]
    own = heights or [slot.anchor_height for slot in base.place.slots]
    more = {round(h + n * PITCH, 3) for h in (min(own), max(own)) for n in range(-HOLES, HOLES + 1)} - {*own}
    trials: list[tuple[str, Sought]] = []
    ways = _ways_at(base, turn, sorted(more))
    if ways:
        trials.append(("hole", replace(base, ways=ways)))
    trials.append(("pair", replace(base, most=base.most + 1)))
    grid = np.arange(0.0, 400.5, 0.5)
    trials.append(("plates", replace(base, loads=Loadings(grid, tuple((x / 2,) for x in grid)))))
    for kind, trial in trials:
        try:
            laid = _laid(trial, turn, None if kind == "hole" else pulls)
        except DataError:
            continue
        if isinstance(laid, _Laid) and int(laid.choices.beyond.min()) == 0:
            return _reach_words(kind, laid)
    return ""


def _ways_at(base: Sought, turn: Turn, heights: Sequence[float]) -> list[Hanging]:
    try:
        place = _sought_by(base, turn).place
        arrangements = list(dict.fromkeys(way.arrangement for way in base.ways))
        pegs = sorted({way.pegs_apart for way in base.ways if way.pegs_apart})
        return hangings(place, arrangements, [h for h in heights if h > 0], pegs)
    except DataError:
        return []


def _reach_words(kind: str, laid: _Laid) -> str:
    row = min(laid.rows, key=lambda one: (int(one.apart / STEP), one.miss))
    way = laid.sought.ways[row.way]
    names = [" and ".join(laid.sought.candidates[c].profile.band.id for c in side) for side in laid.teams[row.team]]
    bands = " with ".join(dict.fromkeys(names))
    if kind == "hole":
        return f"a hole at {way.anchor_height:.2f} m would reach it ({bands} {way.arrangement})"
    if kind == "pair":
        return f"one more band a side would reach it ({bands} {way.arrangement})"
    total = float(laid.sought.loads.totals[row.load])
    return f"plates of {total:.1f} kg in all would reach it ({bands} {way.arrangement})"
