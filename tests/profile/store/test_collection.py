"""A folder as the store: what is in it, what is due, folders merged by copying, use logs, drift, the quick check."""

import json
import shutil
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from calib.errors import DataError, OutOfRangeError
from calib.profile.document import save_profile
from calib.profile.store.collection import read_collection
from calib.profile.store.rechecks import Hung
from calib.profile.store.uses import Use, counted_once, new_log, parse_uses, reps_between, row_of, whole_day
from calib.scale import Scale, save_scale
from calib.stamp import Stamp, instant
from calib.units import G_STANDARD
from calib.use.bands.history import LATEST, BandDrift, drift, history, look_again
from calib.use.bands.recheck import expect, recheck
from calib.use.bands.repeat_calibrations import GAIN, calibrations, with_plate
from calib.verbs.app import run
from tests.campaigns.comparing.plates import try_plate
from tests.campaigns.simulated_bands.worlds import BY_NAME
from tests.use.bands.made import band

Capture = pytest.CaptureFixture[str]
SAMPLES = Path(__file__).parents[3] / "sample_runs"
USE = Use("B07", date(2026, 4, 1), 60, 'squats, "doubled"', Stamp("00000000000a", instant("2026-04-01T18:00:00Z")))
LATER = Stamp("00000000000b", instant("2026-04-01T18:00:01Z"))


def later(days: int) -> dict[str, str]:
    return {"measured_at": (date(2026, 3, 1) + timedelta(days)).isoformat()}


def test_a_log_reads_back_what_was_written() -> None:
    text = new_log("B07") + row_of(USE) + row_of(replace(USE, reps=45, note=""))
    assert parse_uses(text.encode(), "x") == [USE, replace(USE, reps=45, note="")]


def test_a_row_that_was_cut_off_is_passed_over() -> None:
    text = new_log("B07") + row_of(USE) + row_of(USE)[:20]
    assert parse_uses(text.encode(), "x") == [USE]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("hello", "not a use log"),
        (new_log("B07").replace("/2", "/3"), "newer than this program"),
        (new_log("../x"), "cannot be a name"),
        (new_log("B07") + "00000000000a,2026-04-01T18:00:00Z,2026-04-01,-3,\n", "not a number of repetitions"),
        (new_log("B07") + "00000000000a,2026-04-01T18:00:00Z,1 April,3,\n", "x:4: a day is not written"),
        (new_log("B07") + "x,2026-04-01T18:00:00Z,2026-04-01,3,\n", "x:4: the entry's id 'x' is not 12 hex digits"),
        (new_log("B07") + "60\n", "has 1 cells"),
    ],
)
def test_a_log_that_cannot_be_read_is_one_sentence(text: str, said: str) -> None:
    with pytest.raises(DataError) as caught:
        parse_uses(text.encode(), "x")
    assert said in str(caught.value)


def test_entries_that_come_together_again_are_counted_once() -> None:
    other = replace(USE, stamp=LATER)
    assert reps_between(counted_once([USE, other, USE]), None, None) == 120
    assert reps_between([USE, other], whole_day(date(2026, 4, 1)), None) == 0


@pytest.fixture
def store(tmp_path: Path) -> Path:
    mine, hers = tmp_path / "mine", tmp_path / "hers"
    for folder, level, names in ((mine, 1.0, ("B01", "B02")), (hers, 1.1, ("C01",))):
        folder.mkdir()
        for name in names:
            save_profile(band(name, level), folder / f"{name}.profile.json")
    scale = {"format": "bandcurve-scale/1", "id": "hook", "kind": "hanging-scale", "resolution_N": 0.5}
    save_scale(Scale.model_validate(scale), mine / "hook.scale.json")
    (mine / "B01.uses.csv").write_text(new_log("B01") + row_of(replace(USE, band="B01")), "utf-8")
    return tmp_path


def test_two_peoples_folders_merge_by_copying(store: Path) -> None:
    shutil.copytree(store / "hers", store / "mine" / "from her")
    shutil.copytree(store / "mine", store / "mine" / "from her" / "a copy of mine", ignore=lambda *_: ["from her"])
    found = read_collection(store / "mine")
    assert [(b.id, len(b.profiles)) for b in found.bands] == [("B01", 1), ("B02", 1), ("C01", 1)]
    assert reps_between(found.band("B01").uses, None, None) == 60
    assert [s.id for _, s in found.scales] == ["hook"]


def test_one_id_for_two_bands_is_said(store: Path, capsys: Capture) -> None:
    other = band("B01", band={"flat_length_m": 0.9, "rest_half_path_m": 0.898}, made=later(5))
    save_profile(other, store / "mine" / "B01.other.profile.json")
    assert run(["list", str(store / "mine")]) == 0
    assert "B01 stands for two bands" in capsys.readouterr().out
    assert run(["history", "B01", "--folder", str(store / "mine")]) == 1
    assert "stands for two bands" in capsys.readouterr().err


def test_a_bad_file_is_named_and_passed_over(store: Path, capsys: Capture) -> None:
    (store / "mine" / "broken.profile.json").write_text("{", "utf-8")
    assert run(["list", str(store / "mine"), "--json"]) == 1
    said = capsys.readouterr()
    document = json.loads(said.out)
    assert [b["band"] for b in document["bands"]] == ["B01", "B02"]
    assert document["scales"][0]["due"] is True
    assert "broken.profile.json" in said.err
    assert said.err.count("\n") == 1


def test_list_of_an_empty_folder_says_how_to_begin(tmp_path: Path, capsys: Capture) -> None:
    assert run(["list", str(tmp_path)]) == 0
    assert "bandcurve record" in " ".join(capsys.readouterr().out.split())
    assert run(["list", str(tmp_path / "none")]) == 1


def test_list_takes_its_folder_as_other_commands_do(store: Path, capsys: Capture) -> None:
    assert run(["list", str(store), "--json"]) == run(["list", "--folder", str(store), "--json"])
    first, second = capsys.readouterr().out.split("}\n{")
    assert "{" + second == first + "}\n"


def test_log_adds_and_sums(tmp_path: Path, capsys: Capture) -> None:
    save_profile(band("B07"), tmp_path / "B07.profile.json")
    for reps in ("60", "45"):
        assert run(["log", "B07", "--reps", reps, "--on", "2026-04-01", "--folder", str(tmp_path)]) == 0
    assert "105 in all" in capsys.readouterr().out
    assert run(["log", "B07", "--reps", "many"]) == 2
    assert run(["log", "B07", "--reps", "5", "--on", "2999-01-01"]) == 2
    assert run(["log", "../x", "--reps", "5", "--folder", str(tmp_path)]) == 1


def test_drift_is_the_slope_of_levels_that_lie_on_a_line() -> None:
    """Levels that fall by exactly 1 % in the logarithm a month: the fit has to say so whatever the weights."""
    months = np.array([0.0, 3.0, 5.0])
    changes = [{}, {"a": 0.01, "shared": 0.02}, {"b": 0.03, "shared": 0.02}]
    found = drift(months, -0.01 * months, changes)
    assert found is not None
    assert found.value == pytest.approx(-0.01)


def test_drift_of_two_is_their_difference_over_the_time() -> None:
    found = drift(np.array([0.0, 4.0]), np.array([0.0, -0.04]), [{}, {"a": 0.02}])
    assert found is not None
    assert (found.value, found.u) == pytest.approx((-0.01, 0.005))


def test_a_drift_that_no_line_describes_is_not_stated_as_if_one_did() -> None:
    """5 % lost in the first month and nothing after, against as much lost evenly; each day is known to 1 %."""
    months = np.array([0.0, 1.0, 6.0, 12.0])
    days = [{}, *({"first": -0.01, f"day {i}": 0.01} for i in (1, 2, 3))]
    early, even = (drift(months, seen, days) for seen in (np.array([0, -0.05, -0.05, -0.05]), -0.05 * months / 12))
    assert early is not None
    assert even is not None
    assert even.u < 0.0012
    assert early.u > 2 * even.u


def test_history_of_a_band_that_loses_a_percent_each_quarter() -> None:
    profiles = [band("B07", 0.99**i, made=later(91 * i)) for i in range(5)]
    uses = [Use("B07", date(2026, 3, 1) + timedelta(30 * i), 100) for i in range(1, 13)]
    found = history(profiles, uses)
    assert found.days[-1].level_ratio == pytest.approx(0.99**4, rel=1e-5)
    assert found.per_month is not None
    assert found.per_month.value == pytest.approx(np.log(0.99) / (91 / 30.4), rel=0.02)
    assert found.per_thousand is not None
    assert found.per_thousand.value == pytest.approx(4 * np.log(0.99) / 1.2, rel=0.1)
    assert found.days[-1].reps == 1200


def test_a_plate_weighed_on_each_of_four_days_takes_out_what_the_scale_was_off() -> None:
    """The scale was checked again each time, and shows band and plate alike too large or too small: nothing changed."""
    off = (1.0, 1.02, 0.97, 1.015)
    profiles = [
        band(
            "B07",
            shown,
            made=later(91 * i),
            check=f"hook{i}/2026-03-01",
            gear={"scale": f"hook{i}", "check": f"hook{i}/2026-03-01"},
            check_load={"id": "P10", "shown_N": 98.0 * shown, "u_N": 0.05},
        )
        for i, shown in enumerate(off)
    ]
    found = history(profiles, [])
    assert [d.level_ratio for d in found.days] == pytest.approx([1.0] * 4, abs=0.003)
    assert found.per_month is not None
    assert found.per_month.value == pytest.approx(0.0, abs=0.0005)


def test_what_a_plate_told_one_day_bears_on_what_it_tells_the_next() -> None:
    """Day by day against all days at once: the posterior of the sources by the textbook."""
    checks = [f"hook/{year}-03-01" for year in (2026, 2027, 2028)]
    loads = [{"id": "P10", "shown_N": 98.0 * x, "u_N": 0.2} for x in (1.0, 1.006, 0.997)]
    profiles = [
        band("B07", made=later(365 * i), check=check, gear={"check": check}, check_load=load)
        for i, (check, load) in enumerate(zip(checks, loads, strict=True))
    ]
    lengths = np.array([1.4, 1.6, 1.9])
    curves = calibrations(profiles, lengths, "loading")
    told = with_plate(profiles, curves, curves)
    keys = sorted({key for c in curves for key in c.sources})
    shifts = np.array([[c.sources.get(key, 0.0 * lengths) for key in keys] for c in curves])  # days, sources, lengths
    gains = np.array([[c.sources[key] / c.force if key in c.sources else 0 * lengths for key in keys] for c in curves])
    is_gain = np.array([key.startswith(GAIN) for key in keys])
    is_zero = np.array([[key.startswith(f"own:{i}:") and key.endswith(":zero") for key in keys] for i in range(3)])
    of_gain = np.where(is_gain, gains.mean(axis=2), 0.0)
    shown = np.array([98.0, 98.0 * 1.006, 98.0 * 0.997])
    on_plate = of_gain + np.where(is_zero, shifts.mean(axis=2), 0.0) / shown[:, None]
    less = on_plate[1:] - on_plate[0]
    noise = (0.2 / shown[0]) ** 2 + np.diag((0.2 / shown[1:]) ** 2)
    gain = less.T @ np.linalg.inv(less @ less.T + noise)
    sources, covariance = gain @ np.log(shown[1:] / shown[0]), np.eye(len(keys)) - gain @ less
    for i, (was, now) in enumerate(zip(curves, told, strict=True)):
        assert now.force == pytest.approx(was.force - sources @ shifts[i], rel=1e-9)
        assert now.u**2 == pytest.approx(np.einsum("ij,ik,kj->j", shifts[i], covariance, shifts[i]), rel=0.01)


def test_a_fast_drift_calls_for_an_early_look_and_a_slow_one_within_a_year() -> None:
    last = date(2026, 3, 1)
    assert look_again(last, BandDrift(-0.03, 0.003)) == last + timedelta(42)  # 5 % at 3 % + 1.96 * 0.3 % a month
    assert look_again(last, BandDrift(0.0, 0.0001)) == last + timedelta(LATEST)
    assert look_again(None) is None


def test_history_in_words_and_as_json(store: Path, capsys: Capture) -> None:
    save_profile(band("B01", 0.8, made=later(200)), store / "mine" / "B01.later.profile.json")
    assert run(["history", "B01", "--folder", str(store / "mine")]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "80.0 %" in said
    assert "Retire it" in said
    assert "throw it away" in said
    assert run(["history", "B01", "--folder", str(store / "mine"), "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)["calibrations"]) == 2
    assert run(["history", "Z9", "--folder", str(store / "mine")]) == 1
    assert "known here: B01, B02" in capsys.readouterr().err


HUNG = Hung(10.0, 0.02, "half-path", (), 21.0)


def test_a_plate_at_the_expected_length_passes_and_one_far_off_does_not() -> None:
    profile = band("B07")
    there = expect(profile, HUNG)
    assert profile.force(there.length) == pytest.approx(10 * G_STANDARD)
    assert recheck(profile, HUNG, there.length).level_ratio == pytest.approx(1.0)
    assert recheck(profile, HUNG, there.length).passed
    assert recheck(profile, HUNG, there.length + 0.9 * there.half_width).passed
    assert not recheck(profile, HUNG, there.length + 1.2 * there.half_width).passed


def test_a_plate_beyond_the_tested_pulls_is_refused_with_one_that_would_do() -> None:
    with pytest.raises(OutOfRangeError, match="200 kg stretches B07") as caught:
        expect(band("B07"), replace(HUNG, mass=200.0))
    assert "hang one between" in caught.value.remedy


@pytest.mark.slow
def test_unchanged_bands_pass_the_quick_check() -> None:
    """20 bands of the hanging-scale world on another day, fixed seed; 4 sqrt(p (1 - p) / N) of room."""
    passed = [f.passed for n in range(20) if (f := try_plate(BY_NAME["hook"], "plates", 0.0, n))]
    assert len(passed) > 15
    assert np.mean(passed) >= 0.95 - 4 * (0.95 * 0.05 / 20) ** 0.5


def test_the_quick_check_in_words_and_as_json(store: Path, capsys: Capture) -> None:
    folder = ["--folder", str(store / "mine"), "--fittings", "12,12"]
    assert run(["recheck", "B01", "--plate", "10kg", "--length", "1.38m", *folder]) == 0
    assert capsys.readouterr().out.startswith("PASS: B01 pulls ")
    assert run(["recheck", "B01", "--plate", "10kg", "--length", "1.6m", "--json", *folder]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["passed"] is False
    assert document["level"]["level_ratio"] < 0.9
    assert run(["recheck", "B01", "--plate", "10", "--length", "1.6m", *folder]) == 2
    assert run(["recheck", "B01", "--plate", "10kg", "--load", "air", *folder]) == 2


def test_what_is_pulled_on_the_day_of_measuring_counts_after_it(tmp_path: Path, capsys: Capture) -> None:
    """The run says at which instant it was begun; where it is not there, all of that day counts as before."""
    shutil.copy(SAMPLES / "KNEE.profile.json", tmp_path)
    log = tmp_path / "KNEE.uses.csv"
    rows = ("aaaaaaaaaaaa,2026-03-01T06:00:00Z,2026-03-01,7,", "bbbbbbbbbbbb,2026-03-01T20:00:00Z,2026-03-01,60,")
    log.write_text(new_log("KNEE") + "\n".join([*rows, ""]), "utf-8")
    for with_run, reps in ((False, 0), (True, 60)):
        if with_run:
            shutil.copy(SAMPLES / "KNEE.run.csv", tmp_path)
        assert run(["history", "KNEE", "--folder", str(tmp_path), "--json"]) == 0
        assert json.loads(capsys.readouterr().out)["reps_since"] == reps
        assert run(["list", str(tmp_path), "--json"]) == 0
        assert json.loads(capsys.readouterr().out)["bands"][0]["reps_since"] == reps
