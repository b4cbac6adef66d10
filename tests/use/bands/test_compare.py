"""The same band later: the ratio decides, what both days share cancels, a known plate speaks for the scale."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calib.errors import DataError
from calib.fit.curve.estimate import fit_runs
from calib.profile.document import Profile, save_profile
from calib.records import CheckLoad, Correction, Row
from calib.units import G_STANDARD
from calib.use.bands.compare import compare
from calib.use.bands.shared_lengths import Curve, conditioned, curve_at, under_one_condition
from calib.verbs.app import run
from tests.campaigns.comparing.years import Case, shares, try_year
from tests.campaigns.simulated_bands.worlds import BY_NAME
from tests.fit.curve import made_runs
from tests.use.bands.made import band

Capture = pytest.CaptureFixture[str]
NEXT_YEAR = {"measured_at": "2027-03-05"}


def plate(shown: float, u: float = 0.05) -> dict[str, object]:
    return {"id": "P10", "shown_N": shown, "u_N": u}


def test_a_band_that_lost_five_percent_has_changed_by_five_percent() -> None:
    """The whole curve times 0.95, so that ratio, differences and their signs are known."""
    found = compare(band("B07"), band("B07", 0.95, made=NEXT_YEAR))
    assert found.level_ratio == pytest.approx(0.95, rel=1e-6)
    assert found.changed
    assert all(p.difference < 0 and p.e_n < 0 for p in found.points)
    assert {p.branch for p in found.points} == {"loading", "unloading"}


def test_an_unchanged_band_has_not_changed_and_is_wider_after_longer() -> None:
    day, year = (compare(band("B07"), band("B07", made={"measured_at": d})) for d in ("2026-03-02", "2027-03-02"))
    assert not day.changed
    assert not year.changed
    assert year.u_level_ratio > day.u_level_ratio > 0.021  # two days by themselves differ by 2.1 %
    walk = (year.u_level_ratio**2 - day.u_level_ratio**2) ** 0.5
    assert walk == pytest.approx(0.001 * (364 / 30.4) ** 0.5, rel=0.05)  # 0.1 % per root month


def test_another_check_of_the_scale_does_not_cancel() -> None:
    same = compare(band("B07"), band("B07", made=NEXT_YEAR))
    other = compare(band("B07"), band("B07", made=NEXT_YEAR, check="garage-hook/2027-03-01"))
    more = other.u_level_ratio**2 - same.u_level_ratio**2
    assert more == pytest.approx(2 * 0.004**2 - 0.001**2 * 369 / 30.4, rel=0.05)  # two gains of 0.4 %, no wandering


def test_a_known_plate_takes_a_scale_that_moved_out_of_the_comparison() -> None:
    """The new scale shows 2 % less of band and plate alike: the band did not change."""
    anew = {"check": "other/2027-03-01", "gear": {"scale": "other", "check": "other/2027-03-01"}}
    old, blind = band("B07", check_load=plate(98.0)), band("B07", 0.98, made=NEXT_YEAR, **anew)
    seeing = band("B07", 0.98, made=NEXT_YEAR, check_load=plate(98.0 * 0.98), **anew)
    assert compare(old, blind).level_ratio == pytest.approx(0.98, rel=1e-6)
    told = compare(old, seeing)
    assert told.level_ratio == pytest.approx(1.0, abs=0.003)
    assert told.plate == "P10"
    assert told.u_level_ratio < compare(old, blind).u_level_ratio


def test_conditioning_is_that_of_two_normal_variables() -> None:
    """x with sd 3, seen as x + e = 5 with sd 4: mean 5 * 9 / 25, variance 9 * 16 / 25, by the textbook."""
    curve = Curve("x", np.array([0.0]), np.array([1.96]), {"z": np.array([3.0])})
    (after,) = conditioned([curve], {"z": 3.0}, -5.0, 4.0)
    assert after.force[0] == pytest.approx(5 * 9 / 25)
    assert after.u[0] ** 2 == pytest.approx(9 * 16 / 25)


def test_what_a_plate_showed_is_corrected_as_pulls_are() -> None:
    """A scale that shows 2 % too little, and whose check says so: the plate reads true, like the band."""
    fixed = Correction("2026-02-27", (0.0, 1.02, 0.0), ((0.0,) * 3,) * 3)
    rows = [Row(1, "check-load", force=9.8 * G_STANDARD), *made_runs.readings()]
    scale = replace(made_runs.SCALE, correction=fixed)
    fit = fit_runs([made_runs.run(rows, scale=scale, check_load=CheckLoad("P10", 10.0))])
    assert fit.check_load is not None
    assert fit.check_load.shown == pytest.approx(9.8 * 1.02 * G_STANDARD)


def test_one_day_twice_has_no_day_effect() -> None:
    assert compare(band("B07"), band("B07")).u_level_ratio < 0.008


def test_a_warmer_day_is_taken_out() -> None:
    """10 K warmer pulls 2.5 % more (the profile's coefficient), and the coefficient's u of 0.1 % a kelvin remains."""
    warm = band("B07", 1.025, made=NEXT_YEAR, conditions={"temperature_C": 31.0})
    found = compare(band("B07"), warm)
    assert found.level_ratio == pytest.approx(1.0, abs=0.001)
    plain = compare(band("B07"), band("B07", made=NEXT_YEAR))
    assert (found.u_level_ratio**2 - plain.u_level_ratio**2) ** 0.5 == pytest.approx(0.01, rel=0.05)
    assert [f.code for f in found.findings] == ["different-conditions"]


def test_a_scale_that_was_never_checked_is_off_in_the_same_way_on_both_days() -> None:
    """Its gain cancels but for the wandering; a scale of another name does not."""
    old, new = (_unchecked("hook", f"{day}") for day in ("2026-03-01", "2026-03-31"))
    month = (30 / 30.4) ** 0.5 * 0.001
    plain = compare(old, old).u_level_ratio
    assert compare(old, new).u_level_ratio == pytest.approx((plain**2 + 2 * 0.015**2 + month**2) ** 0.5, rel=0.01)
    assert compare(old, _unchecked("other", "2026-03-31")).u_level_ratio > 1.01 * compare(old, new).u_level_ratio


def _unchecked(scale: str, day: str) -> Profile:
    profile = band("B07", made={"measured_at": day}, gear={"scale": scale, "check": None})
    gain = profile.factors[0].model_copy(update={"key": f"scale:{scale}/{day}"})
    return profile.model_copy(update={"factors": (gain, *profile.factors[1:])})


@pytest.mark.slow
def test_unchanged_bands_are_seldom_flagged_and_much_softened_ones_nearly_always() -> None:
    """An ordinary hanging scale and a known plate, days of 0.5 to 1.5 %; fixed seed, 24 bands, 25 days each."""
    found = [c for n in range(24) if (c := try_year(BY_NAME["hook"], Case(plate=True), n))]
    for day in (0.005, 0.01, 0.015):
        assert shares(found, 0.0, day).flagged <= 0.05 + 2 * (0.95 * 0.05 / 24) ** 0.5
        assert shares(found, -0.10, day).flagged >= 0.95
    assert shares(found, -0.05).flagged > 0.5


def test_a_mistake_is_one_sentence() -> None:
    with pytest.raises(DataError, match="B07 and B08 are two bands"):
        compare(band("B07"), band("B08"))
    with pytest.raises(DataError, match="before the old one"):
        compare(band("B07", made=NEXT_YEAR), band("B07"))


@pytest.fixture
def files(tmp_path: Path) -> list[str]:
    profiles: list[Profile] = [band("B07"), band("B07", 0.95, made=NEXT_YEAR)]
    for i, profile in enumerate(profiles):
        save_profile(profile, tmp_path / f"{i}.profile.json")
    return [str(tmp_path / f"{i}.profile.json") for i in range(2)]


def test_words_give_the_verdict_and_what_can_be_seen(files: list[str], capsys: Capture) -> None:
    assert run(["compare", *files, "--over", "1.2m..1.8m"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert said.startswith("B07 pulls 5.0 +- 4.4 % less than before")
    assert "369 days later" in said
    assert "It has changed" in said
    assert "would be noticed 19 times in 20" in said


def test_json_holds_what_is_promised(files: list[str], capsys: Capture) -> None:
    assert run(["compare", *files, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["changed"] is True
    level = document["level"]
    assert level["level_ratio"] == pytest.approx(0.95)
    assert 0 < level["u_level_ratio"] < level["u95_mean_level_ratio"] < level["u95_next_set_level_ratio"]
    assert set(document["points"][0]) == {"length_m", "branch", "difference_N", "u_N", "u95_mean_N", "E_n"}


def test_a_longer_wait_lowers_the_way_out_and_lifts_the_way_back() -> None:
    """2 % a decade, 10 s and 1000 s: brought to 100 s, what waited longer had lost one decade more. By arithmetic."""
    bands = [band("A1"), band("B1", conditions={"dwell_s": 1000})]
    at = np.array([1.5])
    for branch, sign in (("loading", -1), ("unloading", 1)):
        plain = [curve_at(b, at, branch) for b in bands]  # type: ignore[arg-type]
        short, long = under_one_condition(bands, plain, branch)  # type: ignore[arg-type]
        assert short.force == pytest.approx(plain[0].force * (1 + sign * 0.02))
        assert long.force == pytest.approx(plain[1].force * (1 - sign * 0.02))
