"""The plan against every plan tried one by one, and a lifter's choices against every combination. Invented numbers."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import combinations, product
from math import ceil, hypot
from typing import cast

import numpy as np
import pytest

from calib.records import Array
from calib.use.lineup import lineup
from calib.use.lineup.choices import Choices, LineupPlan, best_plan
from calib.use.lineup.lifters_table import Turn
from calib.use.lineup.lineup import CLOSEST, _laid, line_up
from calib.use.rig.plates import Plates, loadings
from calib.use.rig.rig_average import Of as RigOf
from calib.use.rig.rig_average import load_of
from calib.use.rig.solve import Proposal, Sought, Team, Wish
from calib.use.rig.statics import RigLoad, calculate
from tests.campaigns.lineup_speed import planned
from tests.use.rig.made import band_text, rig
from tests.use.rig.test_solve import asked, bands

CASES = 200


def made_up(seed: int) -> list[Choices]:
    """A few lifters with a few choices each, of two pairs, two hooks and two kinds of plates."""
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(int(rng.integers(1, 5))):
        n = int(rng.integers(1, 7))
        pairs = rng.integers(0, 2, size=(n, 2))
        pairs[pairs.sum(axis=1) == 0, 0] = 1
        found.append(
            Choices(
                rng.integers(0, 2, n),
                rng.integers(0, 2, n),
                rng.uniform(0, 4, n).round(3),
                np.hstack([pairs, pairs]).astype(float),
                rng.integers(0, 2, n),
                rng.integers(0, 3, size=(n, 2)).astype(float),
            )
        )
    return found


Worth = tuple[float, ...]


def worth(turns: list[Choices], rows: tuple[int, ...]) -> Worth:
    """What the documentation says counts, written out turn by turn, in its order of importance."""
    beyond = unlike = moves = plates = 0
    miss = 0.0
    for n, (turn, row) in enumerate(zip(turns, rows, strict=True)):
        beyond += int(turn.beyond[row])
        unlike += int(turn.unlike[row])
        miss += float(turn.miss[row])
        before = turns[n - 1] if n else None
        for k in range(4):
            moves += int(turn.hung[row, k] != (before.hung[rows[n - 1], k] if before else 0))
        moves += 2 * int(before is not None and before.hook[rows[n - 1]] != turn.hook[row])
        for k in range(2):
            plates += int(abs(turn.plates[row, k] - (before.plates[rows[n - 1], k] if before else 0)))
    return beyond, unlike, moves, plates, round(miss, 6)


def test_two_hundred_small_evenings_are_planned_as_trying_everything_does() -> None:
    for seed in range(CASES):
        turns = made_up(seed)
        every = product(*[range(len(turn.miss)) for turn in turns])
        plan: LineupPlan = best_plan(turns)
        found = worth(turns, plan.rows)
        assert found == min(worth(turns, rows) for rows in every), seed
        assert (sum(plan.moves), sum(plan.plates)) == found[2:4]
        assert plan.fewer_moves == 0


def test_more_choices_than_are_held_against_each_other_come_with_a_bound() -> None:
    """Five thousand ways to hang the bands, all alike in what comes first."""
    turns = made_up(3)
    one = turns[0].with_rows(np.zeros(5000, dtype=int))
    many = replace(one, miss=np.linspace(0, 1, 5000), hook=np.arange(5000))
    assert best_plan([one, *turns[1:]]).fewer_moves == 0
    plan = best_plan([many, *turns[1:]])
    assert 0 < plan.fewer_moves <= sum(plan.moves)


PAIRED = bands(78, 80, 118, 121, 160, 163)
ENDS = ((1.30, 1.60), (1.33, 1.66), (1.28, 1.65))
HOLES = (0.1, 0.2)


@cache
def pulled(team: Team, hole: float, ends: tuple[float, float]) -> tuple[RigLoad, Array, Array]:
    """A set of bands worked out as a rig without plates: its answer, what it pulls and how far its sides are apart."""
    sides = [(side, c) for side, members in zip(("left", "right"), team, strict=True) for c in members]
    made = rig(*(band_text(side=side, anchor_mm=1000 * hole) for side, _ in sides))
    bar = replace(made.bar, bottom=ends[0], top=ends[1], plates=0.0)
    answer = calculate(replace(made, bar=bar), [PAIRED[c].profile for _, c in sides], ways=("up",))
    up = answer.known_ways["up"]
    return answer, up.load.value - bar.mass, abs(up.difference.value) / answer.gravity


Combination = tuple[Team, float, tuple[float, ...]]  # bands, hole, plates on a side


@dataclass(frozen=True)
class Tried:
    """One combination, of all there are."""

    what: Combination
    miss: float
    apart: float
    u95: float


def tried(sought: Sought, turn: Turn) -> list[Tried]:
    """Every combination that the documentation allows, one by one."""
    found = []
    teams: list[Team] = [((a,), (b,)) for a, b in sought.pairs or ()]
    if sought.most == 2:
        for (a, b), (c, d) in combinations(sought.pairs or (), 2):
            teams += [((a, c), (b, d)), ((a, d), (b, c))]
    ends = turn.bottom, turn.top
    for team, hole in product(teams, [way.anchor_height for way in sought.ways]):
        answer, pull, apart = pulled(team, hole or 0.0, ends)
        for plates in sought.loads.a_side:
            load = pull + sought.place.rig.bar.mass + 2 * sum(plates)
            at = {"bottom": load[0], "top": load[-1], "average": np.trapezoid(load) / (len(load) - 1)}
            miss = max(abs(float(at[wish.of]) - (wish.load or 0.0)) for wish in turn.wishes)
            u95 = max(
                float(load_of(answer, answer.known_ways["up"], cast("RigOf", wish.of)).u95[0]) for wish in turn.wishes
            )
            if (apart <= 0.03 * load).all() and (load > 0).all():
                found.append(Tried((team, hole or 0.0, plates), miss, float(apart.max()), u95))
    return found


def rated(every: Sequence[Tried]) -> dict[Combination, tuple[int, int, float]]:
    """Miss beyond U, difference of the sides, miss of each: U is that of the one that may be off least."""
    best: dict[object, Tried] = {}
    for one in sorted(every, key=lambda t: t.miss):
        best.setdefault(one.what[:2], one)
    near = list(best.values())[:CLOSEST]
    known = min(near, key=lambda t: hypot(t.miss, t.u95)).u95
    return {
        t.what: (ceil(max(hypot(t.miss, known) - 2**0.5 * known, 0) / 0.5 - 1e-9), int(t.apart / 0.5), t.miss)
        for t in every
    }


def changes(one: Combination | None, two: Combination) -> tuple[int, int]:
    """Bands and anchors moved, and plates of a side, from one lifter to the next."""
    hung = [{(s, c) for s, side in enumerate(what[0]) for c in side} if what else set() for what in (one, two)]
    anchors = 2 if one is not None and one[1] != two[1] else 0
    was, now = Counter(one[2] if one else ()), Counter(two[2])
    return len(hung[0] ^ hung[1]) + anchors, ((was - now) + (now - was)).total()


def worth_of(plan: Sequence[Combination], rates: Sequence[dict[Combination, tuple[int, int, float]]]) -> Worth:
    """What the documentation says counts, in its order of importance."""
    beyond, unlike, miss = (sum(rate[what][k] for what, rate in zip(plan, rates, strict=True)) for k in range(3))
    moved = [changes(plan[n - 1] if n else None, what) for n, what in enumerate(plan)]
    return beyond, unlike, sum(m for m, _ in moved), sum(p for _, p in moved), round(miss, 6)


@pytest.mark.slow
def test_two_hundred_small_boxes_are_planned_as_trying_every_combination_does(monkeypatch: pytest.MonkeyPatch) -> None:
    """From the profiles on: pulls, U, plates, up to two bands a side, one to three lifters.

    What would reach what cannot be reached changes no plan and takes long; it is left out here.
    """
    monkeypatch.setattr(lineup, "_what_reaches", lambda *_: "")
    two_a_side = 0
    for seed in range(CASES):
        rng = np.random.default_rng(seed)
        pairs = ((0, 1), (2, 3), (4, 5))[: int(rng.integers(1, 4))]
        holes, kinds, most = (int(rng.integers(1, 3)) for _ in range(3))
        plates = [Plates(20, 2), Plates(5, 2)][:kinds]
        base = asked(candidates=PAIRED, heights=HOLES[:holes], arrangements=["straight"], plates=plates, most=most)
        base = replace(base, pairs=pairs, wishes=())
        turns = []
        for n in range(int(rng.integers(1, 3 if base.most == 2 else 4))):
            wish = Wish(("bottom", "top", "average")[int(rng.integers(3))], round(rng.uniform(30, 150), 1))
            more = (Wish("top", (wish.load or 0) + 10.0),) if wish.of == "bottom" else ()
            turns.append(Turn(f"L{n}", *ENDS[int(rng.integers(3))], (wish, *more)))
        told = [p.proposal for p in line_up(base, turns).turns]
        found = [_combination(p) for p in told if p is not None]
        assert len(found) == len(turns)
        rates = [rated(tried(base, turn)) for turn in turns]
        best = [[what for what in rate if rate[what][:2] == min(r[:2] for r in rate.values())] for rate in rates]
        assert worth_of(found, rates) == min(worth_of(plan, rates) for plan in product(*best)), seed
        two_a_side += any(len(what[0][0]) == 2 for what in found)
    assert two_a_side > 20


def _combination(p: Proposal) -> Combination:
    names = [c.name for c in PAIRED]
    team = tuple(tuple(names.index(b.profile) for b in p.rig.band if b.side == side) for side in ("left", "right"))
    return team, p.rig.band[0].anchor_height, p.plates_a_side


def place() -> Sought:
    base = asked(candidates=bands(80, 81, 160, 163), heights=(0.1, 0.2), arrangements=["straight"])
    return replace(
        base, pairs=((0, 1), (2, 3)), loads=loadings([Plates(10, 8), Plates(5, 2), Plates(2.5, 2)]), wishes=()
    )


def test_a_lifters_choices_are_those_that_working_out_each_combination_finds() -> None:
    base, turn = place(), Turn("Ana", 1.3, 1.6, (Wish("top", 82.0), Wish("bottom", 70.0)))
    laid = _laid(base, turn)
    assert not isinstance(laid, str)
    told = {(laid.teams[r.team], r.way, r.load): r.miss for r in laid.rows}
    near: dict[object, float] = {}
    for pair, way, load in product(base.pairs or (), range(len(base.ways)), range(len(base.loads.totals))):
        slots = [replace(s, anchor_height=base.ways[way].anchor_height or 0.1) for s in base.place.slots]
        bar = replace(base.place.rig.bar, bottom=1.3, top=1.6, plates=float(base.loads.totals[load]))
        rig = replace(base.place.rig, bar=bar, band=tuple(slots))
        up = calculate(rig, [base.candidates[c].profile for c in pair]).known_ways["up"].load.value
        near[((pair[0],), (pair[1],)), way, load] = max(abs(up[-1] - 82.0), abs(up[0] - 70.0))
    expected = {key: miss for key, miss in near.items() if miss <= laid.known}
    assert expected
    assert set(told) == set(expected)
    assert told == pytest.approx(expected, abs=1e-9)


def test_bands_and_holes_stay_from_lifter_to_lifter_where_nothing_is_lost() -> None:
    turns = [Turn("Ana", 1.3, 1.6, (Wish("top", 82.0),)), Turn("Bo", 1.31, 1.62, (Wish("top", 83.0),))]
    found = line_up(place(), turns)
    assert [p.moves for p in found.turns] == [2, 0]
    first, second = (p.proposal for p in found.turns)
    assert first is not None
    assert second is not None
    assert [b.profile for b in first.rig.band] == [b.profile for b in second.rig.band]
    assert all(p.hold is not None and p.beyond_kg == 0 for p in found.turns)


def test_what_is_out_of_reach_says_by_how_much_and_what_would_reach_it() -> None:
    base = replace(place(), loads=loadings([Plates(1.25, 2)]))
    (told,) = line_up(base, [Turn("Ana", 1.3, 1.6, (Wish("bottom", 130.0),))]).turns
    assert told.beyond_kg > 10
    assert told.reach.startswith("plates of ")
    (low,) = line_up(base, [Turn("Low", 0.3, 0.5, (Wish("top", 70.0),))]).turns
    assert low.proposal is None
    assert "no band can hang there" in low.why


@pytest.mark.slow
def test_twenty_lifters_with_two_bands_a_side_are_planned_within_ten_seconds_of_computing() -> None:
    """Time of this process, as other work on the machine does not count; docs/lineup.md has what it took."""
    found, busy, _ = planned(most=2)
    assert busy < 10
    assert found.fewer_moves == 0
    assert all(p.beyond_kg == 0 for p in found.turns)
