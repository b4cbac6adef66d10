"""The plan against every plan tried one by one, and a lifter's choices against every combination. Invented numbers."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from calib.use.lineup.choices import Choices, Plan, best_plan
from calib.use.lineup.lifters_table import Turn
from calib.use.lineup.lineup import _laid, line_up
from calib.use.rig.plates import Plates, loadings
from calib.use.rig.solve import Sought, Wish
from calib.use.rig.statics import calculate
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
        plan: Plan = best_plan(turns)
        found = worth(turns, plan.rows)
        assert found == min(worth(turns, rows) for rows in every), seed
        assert (sum(plan.moves), sum(plan.plates)) == found[2:4]
        assert plan.fewer_moves == 0


def test_more_choices_than_are_held_against_each_other_come_with_a_bound() -> None:
    turns = made_up(3)
    many = turns[0].only(np.zeros(3500, dtype=int))
    plan = best_plan([replace(many, miss=np.linspace(0, 1, 3500)), *turns[1:]])
    assert 0 <= plan.fewer_moves <= sum(plan.moves)


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
        up = calculate(rig, [base.candidates[c].profile for c in pair]).ways["up"].load.value
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
