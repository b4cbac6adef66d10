"""Pairs: the best of all pairings, limits that hold for the chosen ones, words, JSON, one sentence for a mistake."""

import json
from pathlib import Path
from time import process_time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from calib.errors import DataError, OutOfRangeError
from calib.profile.document import Profile, parse_profile, save_profile
from calib.profile.table import CurvePlace, difference
from calib.units import SHOWN
from calib.use.bands.matching import best_pairs, smallest_worst, upper_limits
from calib.use.bands.pair import difference_u, pair_answer, pair_up
from calib.use.bands.shared_lengths import common_lengths, curve_at
from calib.use.report.as_text import text_of
from calib.use.report.pair_views import pair_view
from calib.verbs.app import run
from tests.campaigns.pairing.boxes import try_box
from tests.campaigns.simulated_bands.worlds import BY_NAME
from tests.profile.invented import pull
from tests.use.bands.brute_force import any_costs, best_of_all, worst_and_sum
from tests.use.bands.made import band

Capture = pytest.CaptureFixture[str]
LATER = {"measured_at": "2027-03-05"}
COOL = {"temperature_C": 11.0}


def box(count: int, seed: int = 3) -> list[Profile]:
    rng = np.random.default_rng(seed)
    return [band(f"B{i + 1:02d}", 1 + 0.08 * rng.standard_normal()) for i in range(count)]


def test_pairing_equals_the_best_of_all_pairings_on_500_random_cases() -> None:
    rng = np.random.default_rng(1)
    for _ in range(500):
        cost = any_costs(rng)
        pairs, left = best_pairs(cost)
        assert worst_and_sum(cost, pairs) == best_of_all(cost), cost
        assert sorted([*sum(pairs, ()), *([left] if left is not None else [])]) == list(range(len(cost)))


@pytest.mark.parametrize("seed", range(6))
def test_pairing_of_forty_equals_that_of_an_integer_programme(seed: int) -> None:
    """Circles within circles: the same answer from a solver that branches (HiGHS) instead."""
    rng = np.random.default_rng(seed)
    level = rng.normal(0, 1000, 40)
    cost = np.abs(level[:, None] - level[None]).astype(np.int64) + np.triu(rng.integers(0, 300, (40, 40)), 1)
    cost = np.triu(cost, 1) + np.triu(cost, 1).T
    pairs, _ = best_pairs(cost)
    one, other = np.nonzero(np.triu(cost <= smallest_worst(cost), 1))
    each = np.array([(one == i) | (other == i) for i in range(40)], dtype=float)
    whole = np.ones(len(one), dtype=int)
    found = milp(cost[one, other], constraints=LinearConstraint(each, 1, 1), bounds=Bounds(0, 1), integrality=whole)
    assert found.fun is not None
    assert worst_and_sum(cost, pairs)[1] == round(found.fun)


def test_as_many_partners_as_there_can_be() -> None:
    """Two triangles joined by one edge: everybody finds one only if the triangles open there."""
    cost = np.full((6, 6), 9, dtype=np.int64)
    for a, b in [(0, 1), (1, 2), (0, 2), (2, 3), (3, 4), (4, 5), (3, 5)]:
        cost[a, b] = cost[b, a] = 1
    assert smallest_worst(cost) == 1
    assert sorted(best_pairs(cost)[0]) == [(0, 1), (2, 3), (4, 5)]
    odd, left = best_pairs(cost[:3, :3])
    assert (len(odd), left is not None) == (1, True)


@settings(max_examples=20, deadline=None)
@given(st.integers(2, 6), st.integers(0, 10_000))
def test_the_order_of_the_bands_changes_nothing(count: int, seed: int) -> None:
    bands = box(count, seed)
    there, back = pair_up(bands), pair_up(bands[::-1])
    assert {(frozenset(p.bands), round(p.upper95, 6)) for p in there.pairs} == {
        (frozenset(p.bands), round(p.upper95, 6)) for p in back.pairs
    }
    assert there.left_over == back.left_over


def test_two_hundred_bands_are_paired_in_two_seconds() -> None:
    bands = box(200)
    started = process_time()
    pairing = pair_up(bands)
    took = process_time() - started
    assert len(pairing.pairs) == 100
    assert (
        took < 4
    )  # seconds of the processor; 1.2 on a machine with nothing else to do, more on one that shares its caches


def test_u_of_a_difference_is_that_of_the_profiles_own_arithmetic() -> None:
    a, b = band("A1"), band("B1", 1.1)
    lengths = common_lengths([a, b], None, 7)
    ours = difference_u(curve_at(a, lengths), curve_at(b, lengths))
    theirs = [difference(a, CurvePlace("loading", x), b, CurvePlace("loading", x)).u for x in lengths]
    assert ours == pytest.approx(theirs, rel=1e-3)


def test_the_limit_of_two_equal_bands_is_that_of_a_normal_error() -> None:
    """Equal bands, one source of 1 N each: the 95 % limit of |N(0, 2 N2)| is 1.96 sqrt 2 N, by arithmetic."""
    a, b = (curve_at(band(name), np.array([1.5, 1.6])) for name in ("A1", "B1"))
    flat = {name: type(a)(name, a.force, 0 * a.ratio + 1.959964, {name: np.ones(2)}) for name in ("A1", "B1")}
    limit = upper_limits([flat["A1"], flat["B1"]], draws=40_000)[0, 1]
    assert limit == pytest.approx(1.959964 * 2**0.5, rel=0.02)
    assert b.force == pytest.approx(a.force)


def test_the_same_gear_makes_the_limit_sharper() -> None:
    same = pair_up([band("A1"), band("B1", 1.02)]).pairs[0]
    other = pair_up([band("A1"), band("B1", 1.02, check="other/2026-02-01")]).pairs[0]
    assert same.largest == pytest.approx(other.largest)
    assert same.upper95 < 0.95 * other.upper95
    assert same.u < 0.9 * other.u


def test_a_colder_day_is_allowed_for() -> None:
    """10 K at 0.25 % a kelvin: a band that shows 2.5 % less when colder pulls the same (the profile's coefficient)."""
    pair = pair_up([band("A1"), band("B1", 0.975, conditions=COOL)])
    assert abs(pair.pairs[0].largest) < 0.002 * pair.pairs[0].pull
    assert [f.code for f in pair.findings] == ["different-conditions"]


def test_two_sizes_in_one_pair_are_named() -> None:
    pairing = pair_up([band("A1"), band("A2", 1.01), band("C1", 1.5), band("C2", 2.2)])
    assert [f.code for f in pairing.findings] == ["mixed-sizes"]
    assert "C1 and C2 differ by 38% on average" in pairing.findings[0].text  # 0.7 over 1.85, by arithmetic


def test_a_longer_band_of_the_same_size_is_no_other_size() -> None:
    """4 % longer, the same rubber: a third less where the shorter one only begins to pull, little on average."""
    longer = band("A2").model_dump(by_alias=True, mode="json")
    grid = longer["branches"]["loading"]["length_m"]
    longer["branches"]["loading"]["force_N"] = [pull(x / 1.04, unloading=False) for x in grid]
    longer |= {"branches": longer["branches"] | {"unloading": None}, "hysteresis": None}
    longer["rest_N"]["unloading"] = None
    longer["factors"] = [f | {"unloading_N": None} for f in longer["factors"]]
    pairing = pair_up([band("A1"), parse_profile(json.dumps(longer).encode(), "A2")])
    (pair,) = pairing.pairs
    assert pair.at == pytest.approx(grid[0])
    assert pair.largest / pull(grid[0], unloading=False) > 0.3
    assert pair.apart < 0.15
    assert not pairing.findings


def test_of_a_band_measured_twice_the_newest_profile_is_taken_and_that_is_said() -> None:
    old, new, other = band("A1"), band("A1", 0.9, made=LATER), band("B1")
    for order in ((old, new, other), (other, new, old), (new, old, new, other)):
        pairing = pair_up(order)
        assert pairing.pairs[0].upper95 == pair_up([new, other]).pairs[0].upper95
        assert [f.code for f in pairing.findings] == ["older-profile"]
        assert pairing.findings[0].text == "A1: its newest profile is taken, of 2027-03-05, not that of 2026-03-01"


def test_one_profile_given_twice_is_one() -> None:
    assert pair_up([band("A1"), band("A1"), band("B1")]) == pair_up([band("A1"), band("B1")])


@pytest.mark.slow
def test_limits_of_the_chosen_pairs_hold_the_truth() -> None:
    """A fixed seed; 6 boxes of 6 are 18 pairs: at least 95 % less 4 sqrt(p (1 - p) / N)."""
    outcomes = [o for n in range(6) if (o := try_box(BY_NAME["tube"], n, bands=6))]
    held = [h for o in outcomes for h in o.held]
    assert np.mean(held) > 0.95 - 4 * (0.95 * 0.05 / len(held)) ** 0.5
    assert np.mean([x for o in outcomes for x in o.from_full_u]) > 1.1


def test_a_mistake_is_one_sentence() -> None:
    with pytest.raises(DataError, match="one band makes no pair"):
        pair_up([band("A1")])
    with pytest.raises(DataError, match=r"A1 has 2 profiles, two of 2026-03-01: it is unclear which is newest"):
        pair_up([band("A1"), band("A1", 1.1), band("B1")])
    with pytest.raises(DataError, match=r"A1 has 2 profiles, one without a day"):
        pair_up([band("A1"), band("A1", 1.1, made={"measured_at": None}), band("B1")])
    with pytest.raises(DataError, match=r"A1 stands for two bands: flat lengths of 0\.950 and 1\.029 m"):
        pair_up([band("A1"), band("A1", band={"flat_length_m": 0.95}, made=LATER), band("B1")])
    with pytest.raises(DataError, match="one band makes no pair"):
        pair_up([band("A1"), band("A1", 0.9, made=LATER)])
    with pytest.raises(OutOfRangeError, match=r"1 to 1\.5 m is outside"):
        pair_up([band("A1"), band("B1")], (1.0, 1.5))


def test_bands_without_a_common_length_are_refused() -> None:
    short = band("A1").model_copy(update={"branches": _up_to(band("A1"), 30)})
    far = band("B1").model_copy(update={"branches": _from(band("B1"), 31)})
    with pytest.raises(DataError, match=r"A1 was tested up to .* and B1 only from .* share no length"):
        pair_up([short, far])


def _up_to(profile: Profile, last: int) -> object:
    branch = profile.branches.loading
    cut = {name: getattr(branch, name)[:last] for name in ("length_m", "force_N", "u_N", "u95_N")}
    return profile.branches.model_copy(update={"loading": branch.model_copy(update=cut)})


def _from(profile: Profile, first: int) -> object:
    branch = profile.branches.loading
    cut = {name: getattr(branch, name)[first:] for name in ("length_m", "force_N", "u_N", "u95_N")}
    return profile.branches.model_copy(update={"loading": branch.model_copy(update=cut)})


@pytest.fixture
def files(tmp_path: Path) -> list[str]:
    for profile in box(5):
        save_profile(profile, tmp_path / f"{profile.band.id}.profile.json")
    return [str(p) for p in sorted(tmp_path.glob("*.profile.json"))]


def test_words_name_pairs_limits_and_who_is_left(files: list[str], capsys: Capture) -> None:
    assert run(["pair", *files, "--over", "1.2m..1.8m"]) == 0
    said = capsys.readouterr().out
    assert "from 1.200 to 1.800 m" in said
    assert sum(line.startswith("  B") and " + " in line for line in said.splitlines()) == 2
    assert "Left over: B" in said


def test_words_are_in_pounds_and_inches_when_asked(files: list[str], capsys: Capture) -> None:
    assert run(["pair", *files, "--over", "1.2m..1.8m", "--unit", "lb"]) == 0
    assert "from 47.24 to 70.87 in" in capsys.readouterr().out


def test_json_holds_what_is_promised(files: list[str], capsys: Capture) -> None:
    assert run(["pair", *files, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert len(document["pairs"]) == 2
    assert len(document["left_over"]) == 1
    for pair in document["pairs"]:
        assert {"bands", "max_difference_N", "u_N", "upper95_mean_N", "upper95_next_set_N", "distinguishable"} <= set(
            pair
        )
        assert pair["upper95_next_set_N"] > pair["upper95_mean_N"] > pair["max_difference_N"] + 1.5 * pair["u_N"]
    worst = [pair["upper95_mean_N"] for pair in document["pairs"]]
    assert worst == sorted(worst)


@pytest.mark.parametrize("over", ["1.2m", "1.8m..1.2m", "1.2..1.8", "x..y"])
def test_lengths_that_cannot_be_read_are_wrong_usage(over: str, files: list[str], capsys: Capture) -> None:
    assert run(["pair", *files, "--over", over]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_the_wider_of_two_curves_widens_their_limit() -> None:
    """u95 / u of 1.96 and of 3.92: the error is drawn twice as wide as a normal one, whichever comes first."""
    plain = curve_at(band("A1"), np.array([1.5, 1.6]))
    flat = [
        type(plain)(name, plain.force, 0 * plain.ratio + ratio, {name: np.ones(2)})
        for name, ratio in (("A1", 1.959964), ("B1", 2 * 1.959964))
    ]
    for two in (flat, flat[::-1]):
        assert upper_limits(two, draws=40_000)[0, 1] == pytest.approx(2 * 1.959964 * 2**0.5, rel=0.02)


def test_the_pull_of_a_pair_is_the_mean_of_its_bands() -> None:
    bands = [band("A1"), band("B1", 1.1)]
    pair = pair_up(bands).pairs[0]
    lengths = common_lengths(bands, None, 11)
    means = [float(np.trapezoid(curve_at(b, lengths).force, lengths) / np.ptp(lengths)) for b in bands]
    assert pair.pull == pytest.approx(np.mean(means))
    assert pair.apart == pytest.approx((means[1] - means[0]) / np.mean(means))


def test_lengths_are_the_tapes_where_all_bands_were_taped_alike_and_half_path_else() -> None:
    hooks = {"tape_kind": "band-inner", "fitting_diameters_m": [0.012, 0.012]}
    one, other = band("B01", gear=hooks), band("B02", 1.02, gear=hooks)
    answer = pair_answer(pair_up([one, other]))
    offset = answer.half_path_less_tape_m
    assert offset is not None
    assert offset == one.half_path_less_tape
    screen = text_of(pair_view(answer, SHOWN["kg"]))
    first, last = (x - offset for x in answer.over_m)
    assert f"tape {first:.3f} to {last:.3f} m (half-path {answer.over_m[0]:.3f} to {answer.over_m[1]:.3f} m)" in screen
    assert f"{answer.pairs[0].length_m - offset:.3f} m" in screen
    wider = band("B02", 1.02, gear=hooks | {"fitting_diameters_m": [0.016, 0.016]})
    unlike = pair_answer(pair_up([one, wider]))
    assert unlike.half_path_less_tape_m is None
    assert "half-path lengths from" in text_of(pair_view(unlike, SHOWN["kg"]))
    assert "tape" not in text_of(pair_view(unlike, SHOWN["kg"]))
