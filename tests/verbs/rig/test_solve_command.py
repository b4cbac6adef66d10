"""`bandcurve rig solve` and `rig weight` as a coach uses them: words, documents, files, one sentence for a mistake."""

import json
import re
import sys
import time
from pathlib import Path

import pytest

from calib.profile.document import parse_profile, save_profile
from calib.units import POUND
from calib.verbs.app import run
from calib.verbs.terminal import progress
from tests.profile.invented import document
from tests.use.rig.made import band_text, rig_text

Capture = pytest.CaptureFixture[str]

PRESS = rig_text(band_text(side="left"), band_text(side="right"), bottom=1350, top=1900)
BENCH = rig_text(
    *(band_text(anchor_mm=2300, side=side, source="above") for side in ("left", "right")), bottom=750, top=1100
)
OWNED = ["--plates", "20x4,10x2,5x2,2.5x2,1.25x2"]


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for band, strength in (("B", 125.0), ("THIN", 60.0), ("WIDE", 240.0)):
        made = parse_profile(json.dumps(document(band, strength)).encode(), band)
        save_profile(made, tmp_path / f"{band}.profile.json")
    (tmp_path / "press.rig.toml").write_text(PRESS, "utf-8")
    (tmp_path / "bench.rig.toml").write_text(BENCH, "utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


BANDS = ["B.profile.json", "THIN.profile.json", "WIDE.profile.json"]


def test_a_wanted_load_is_answered_in_words(place: Path, capsys: Capture) -> None:
    assert run(["rig", "solve", "press.rig.toml", *BANDS, "--top", "80", "--bottom", "68", *OWNED, "--full"]) == 0
    out, err = capsys.readouterr()
    assert not err
    assert out.isascii()
    assert "Wanted: 68.0 kg at the bottom and 80.0 kg at the top, going up, within 2.5 kg." in out
    assert re.search(r"^  1  THIN +straight +", out, re.MULTILINE)
    assert "Number 1: THIN straight, anchor at 0.100 m\n" in out
    assert max(map(len, out.splitlines())) <= 80
    assert "Check number" in out
    assert "Not reachable" in out
    assert "exact twin" in out
    assert "Reminders only" in out


def test_the_same_in_pounds_with_plates_in_pounds(place: Path, capsys: Capture) -> None:
    asked = ["--top", "175", "--plates", "45x4,25x2,10x2,5x2,2.5x2", "--unit", "lb", "--json"]
    assert run(["rig", "solve", "press.rig.toml", *BANDS, *asked]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["wanted"] == [{"of": "top", "load_kg": pytest.approx(175 * POUND), "share": None, "maximum_kg": None}]
    side = told["proposals"][0]["plates_a_side_kg"]
    assert all(mass / POUND == pytest.approx(round(mass / POUND, 1), abs=1e-5) for mass in side)
    assert run(["rig", "solve", "press.rig.toml", *BANDS, *asked[:-1]]) == 0
    assert "175.0 lb at the top, going up, within 5.5 lb" in capsys.readouterr().out


def test_the_document_says_what_other_programs_need(place: Path, capsys: Capture) -> None:
    assert run(["rig", "solve", "press.rig.toml", *BANDS, "--top", "80", *OWNED, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    best = told["proposals"][0]
    assert best["miss_kg"] == pytest.approx(abs(best["loads"]["top"]["bar_load_kg"] - 80), abs=1e-5)
    assert (
        best["loads"]["top"]["u95_next_set_kg"] > best["loads"]["top"]["u95_mean_kg"] > best["loads"]["top"]["u_kg"] > 0
    )
    assert best["plates_kg"] == 2 * sum(best["plates_a_side_kg"])
    assert set(best["check_number"]["sides"]) == {"left", "right"}
    assert set(best["band_share"]) == {"bottom", "top", "average", "weight"}
    assert {row["why"] for row in told["not_reachable"]} >= {"too long"}
    assert told["twins_assumed"] is True


def test_the_first_is_written_as_a_rig_that_shows_the_same(place: Path, capsys: Capture) -> None:
    (place / "new").mkdir()
    asked = ["rig", "solve", "press.rig.toml", *BANDS, "--top", "80", *OWNED, "--out", "new/found.rig.toml"]
    assert run([*asked, "--json"]) == 0
    best = json.loads(capsys.readouterr().out)["proposals"][0]
    assert run(["rig", "new/found.rig.toml", "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert shown["up"]["bar_load_kg"][-1] == pytest.approx(best["loads"]["top"]["bar_load_kg"], rel=1e-6)
    assert shown["up"]["u95_mean_kg"][-1] == pytest.approx(best["loads"]["top"]["u95_mean_kg"], rel=1e-6)
    assert run(asked) == 1
    assert "found.rig.toml" in capsys.readouterr().err


def test_a_rig_is_rebuilt_elsewhere_with_its_load(place: Path, capsys: Capture) -> None:
    lower = PRESS.replace("anchor_height_mm = 100", "anchor_height_mm = 20").replace("plates_kg = 40", "plates_kg = 0")
    (place / "there.rig.toml").write_text(lower, "utf-8")
    assert run(["rig", "press.rig.toml", "--json"]) == 0
    load = json.loads(capsys.readouterr().out)["up"]["bar_load_kg"]
    asked = ["--like", "press.rig.toml", *OWNED, "--anchor-heights", "20:220:20mm", "--json"]
    assert run(["rig", "solve", "there.rig.toml", *BANDS, *asked]) == 0
    best = json.loads(capsys.readouterr().out)["proposals"][0]
    assert best["bands"][0]["anchor_height_m"] == 0.1
    assert best["loads"]["bottom"]["bar_load_kg"] == pytest.approx(load[0], abs=1e-4)
    assert best["loads"]["top"]["bar_load_kg"] == pytest.approx(load[-1], abs=1e-4)


def test_the_straight_weight_stands_beside_the_nearest_there_is(place: Path, capsys: Capture) -> None:
    assert run(["rig", "press.rig.toml", "--json"]) == 0
    load = json.loads(capsys.readouterr().out)["up"]
    assert run(["rig", "weight", "press.rig.toml", *OWNED, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["straight_weight"]
    for of, at in (("bottom", 0), ("top", -1)):
        assert told[of]["bar_load_kg"] == load["bar_load_kg"][at]
        assert told[of]["u95_mean_kg"] == load["u95_mean_kg"][at]
        assert abs(told[of]["nearest"]["bar_and_plates_kg"] - told[of]["bar_load_kg"]) <= 1.25
    assert told["bottom"]["bar_load_kg"] < told["average"]["bar_load_kg"] < told["top"]["bar_load_kg"]
    assert run(["rig", "weight", "press.rig.toml", "--full"]) == 0
    out = capsys.readouterr().out
    assert re.search(r"^  on average +\d+\.\d +\d+\.\d +\d+\.\d +\d+\.\d$", out, re.MULTILINE)
    assert "Check number" in out


def test_from_above_the_loading_order_is_said_beside_each_proposal(place: Path, capsys: Capture) -> None:
    assert (
        run(["rig", "solve", "bench.rig.toml", *BANDS, "--top", "35", "--within", "30", *OWNED, "--few", "5", "--full"])
        == 0
    )
    out = capsys.readouterr().out.partition("\nWarnings (")[0]
    parts = out.split("\nNumber ")[1:]
    assert len(parts) == 5
    assert all(part.count("[loading-order]") == 2 for part in parts)
    assert "[bar-may-lift]" in parts[-1]


def test_what_cannot_be_had_is_one_sentence_with_the_nearest(place: Path, capsys: Capture) -> None:
    assert run(["rig", "solve", "press.rig.toml", *BANDS, "--top", "400", *OWNED]) == 1
    out, err = capsys.readouterr()
    assert not out
    assert err.count("\n") == 1
    near = re.search(
        r"400\.0 kg at the top cannot be reached within 2\.5 kg; the nearest is ([\d.]+) kg at the top, with WIDE "
        r"straight, anchor at 0\.100 m and 2 x 20 \+ 10 \+ 5 \+ 2\.5 \+ 1\.25 kg a side; ask for that, or try more",
        err,
    )
    assert near, err
    assert run(["rig", "solve", "press.rig.toml", *BANDS, "--top", near[1], *OWNED]) == 0


WRONG_USAGE = {
    "no load is wanted": [],
    "--like cannot be combined with another wanted load": ["--top", "80", "--like", "bench.rig.toml"],
    r"--top 'much': .*not a": ["--top", "much"],
    r"--plates '20' is not a mass and a number": ["--top", "80", "--plates", "20"],
    r"--plates '20x0' names 0 plates": ["--top", "80", "--plates", "20x0"],
    r"--plates '20stone': 'stone' is not a unit of mass; for example --plates 20kg": [
        "--top",
        "80",
        "--plates",
        "20stonex2",
    ],
    "a share has several meanings; name one with --share-of": ["--share", "25%"],
    r"--share '0\.25' is not a share": ["--share", "0.25", "--share-of", "top"],
    r"--share-of 'all' is not known": ["--share", "25%", "--share-of", "all"],
    "--share-of maximum and --maximum go together": ["--share", "25%", "--share-of", "maximum"],
    "belong to --share": ["--top", "80", "--share-of", "top"],
    r"--arrangements 'knotted' is not known": ["--top", "80", "--arrangements", "knotted"],
    r"--anchor-heights '80' has no unit": ["--top", "80", "--anchor-heights", "80"],
    r"--anchor-heights '80:20mm' is not first:last:step": ["--top", "80", "--anchor-heights", "80:20mm"],
    r"--anchor-heights '80:20:5mm' ends before it begins": ["--top", "80", "--anchor-heights", "80:20:5mm"],
    r"--pegs-apart '1:9000:1mm' names more than": ["--top", "80", "--pegs-apart", "1:9000:1mm"],
    r"--pairs 'B' is not two bands": ["--top", "80", "--pairs", "B"],
    r"--unit 'stone' is not known": ["--top", "80", "--unit", "stone"],
    r"--top '1e9'": ["--top", "1e9"],
    r"--top '20000' is more than any bar holds": ["--top", "20000"],
    r"--plates ',' is not a mass and a number": ["--top", "80", "--plates", ","],
    r"--plates '' is not a mass and a number": ["--top", "80", "--plates", ""],
    r"--top ''": ["--top", ""],
    r"--pegs-apart '' has no unit": ["--top", "80", "--pegs-apart", ""],
    r"--within .*0.*": ["--top", "80", "--within", "0"],
}


@pytest.mark.parametrize("sentence", WRONG_USAGE)
def test_a_wrong_option_is_one_sentence_and_exit_2(sentence: str, place: Path, capsys: Capture) -> None:
    assert run(["rig", "solve", "press.rig.toml", *BANDS, *WRONG_USAGE[sentence]]) == 2
    out, err = capsys.readouterr()
    assert not out
    assert re.match(rf"bandcurve: .*{sentence}", err), err
    assert err.count("\n") == 1
    assert ";" in err


UNUSABLE = {
    r"no-such\.rig\.toml": ["no-such.rig.toml", "B.profile.json", "--top", "80"],
    r"no-such\.profile\.json": ["press.rig.toml", "no-such.profile.json", "--top", "80"],
    r"press\.rig\.toml: B on the left: anchor_height_mm: .*run into it": [
        "press.rig.toml", "B.profile.json", "--top", "80", "--anchor-heights", "1600mm"],
    r"press\.rig\.toml: band: no band can hang across there": [
        "press.rig.toml", "B.profile.json", "--top", "80", "--arrangements", "across"],
    r"press\.rig\.toml: .*the nearest, B doubled: would be": [
        "press.rig.toml", "B.profile.json", "--top", "80", "--arrangements", "doubled"],
    r"press\.rig\.toml: one band cannot hang on both sides": [
        "press.rig.toml", "B.profile.json", "--top", "80", "--each-once"],
}  # fmt: skip


@pytest.mark.parametrize("sentence", UNUSABLE)
def test_what_cannot_be_used_is_one_sentence_and_exit_1(sentence: str, place: Path, capsys: Capture) -> None:
    (place / "C.profile.json").write_bytes((place / "B.profile.json").read_bytes())
    assert run(["rig", "solve", *UNUSABLE[sentence]]) == 1
    out, err = capsys.readouterr()
    assert not out
    assert re.match(rf"bandcurve: .*{sentence}", err), err
    assert err.count("\n") == 1
    assert ";" in err


def test_odd_plates_are_said_to_be_left_over(place: Path, capsys: Capture) -> None:
    asked = ["--top", "80", "--within", "20", "--plates", "20x3,5x3"]
    assert run(["rig", "solve", "press.rig.toml", *BANDS, *asked, "--full"]) == 0
    assert "one plate of 20, 5 kg each is left over" in capsys.readouterr().out


def test_the_bands_of_the_file_are_tried_where_none_are_named(place: Path, capsys: Capture) -> None:
    assert run(["rig", "solve", "press.rig.toml", "--top", "86", "--within", "30", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert {band["band"] for p in told["proposals"] for band in p["bands"]} == {"B"}
    assert {p["plates_kg"] for p in told["proposals"]} == {40.0}


def test_the_bar_of_progress_shows_after_a_second_and_wipes_itself_away(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = [0.0]
    monkeypatch.setattr(time, "monotonic", lambda: now[0])
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    bar = progress.Progress("Trying")
    bar.tell(0.2)
    assert not capsys.readouterr().err
    now[0] = 1.1
    bar.tell(0.5)
    shown = capsys.readouterr().err
    assert "[###############...............]  50 %" in shown
    bar.close()
    assert capsys.readouterr().err == f"\r{' ' * (len(shown) - 1)}\r"


def test_cautions_are_in_the_unit_of_the_words_and_in_kg_in_the_document(place: Path, capsys: Capture) -> None:
    plates = ["--plates", "45x4,25x2,10x2"]
    asked = ["rig", "solve", "bench.rig.toml", *BANDS, "--top", "120", *plates, "--within", "20kg", "--unit", "lb"]
    assert run([*asked, "--full"]) == 0
    left = r"(at least \d+\.\d lb of|no) plates are needed .*; \d+\.\d lb is then left on"
    assert re.search(left, " ".join(capsys.readouterr().out.split()))
    assert run([*asked, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    orders = [f["text"] for f in told["proposals"][0]["findings"] if f["code"] == "loading-order"]
    assert all(re.search(left.replace("lb", "kg"), text) for text in orders)


def test_a_lift_that_begins_slack_is_answered_where_it_is_asked_for_marked(place: Path, capsys: Capture) -> None:
    (place / "low.rig.toml").write_text(PRESS.replace("bottom_mm = 1350", "bottom_mm = 1000"), "utf-8")
    asked = ["rig", "solve", "low.rig.toml", *BANDS, "--top", "80", *OWNED, "--arrangements", "straight"]
    assert run(asked) == 1
    assert "--extrapolate" in capsys.readouterr().err
    assert run([*asked, "--extrapolate", "--full"]) == 0
    out = capsys.readouterr().out
    assert "[outside-tested]" in out
    assert "[band-slack]" in out
    assert run(["rig", "weight", "low.rig.toml"]) == 1
    assert run(["rig", "weight", "low.rig.toml", "--extrapolate", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["straight_weight"]["bottom"]["bar_load_kg"] == 60


def test_a_nearest_that_may_fly_up_is_not_named_without_saying_so(place: Path, capsys: Capture) -> None:
    asked = ["rig", "solve", "bench.rig.toml", "WIDE.profile.json", "--bottom", "1", "--plates", "2.5x2"]
    assert run(asked) == 1
    near = re.search(r"the nearest is (-?[\d.]+) kg at the bottom", err := capsys.readouterr().err)
    assert near
    assert float(near[1]) < 0
    assert "if you let go, the bar flies up" in err
