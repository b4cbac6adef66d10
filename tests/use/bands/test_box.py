"""What the record of a box and people say of its bands together: every verdict is gone by, kept pairs come first."""

import json
from pathlib import Path
from typing import Any

import pytest

from calib.profile.batch_document import load_batch
from calib.profile.store.register import read_register
from calib.use.bands.lookup import Lookup
from calib.verbs.app import run
from tests.profile.store.folders import put
from tests.use.rig.made import band_text, rig_text

Capture = pytest.CaptureFixture[str]
STORED = Path(__file__).parents[2] / "data" / "batches" / "invented-1.0.batch.json"
LEVELS = {"B01": 1.0, "B02": 1.01, "B03": 1.005, "B04": 1.012}


@pytest.fixture(autouse=True)
def box(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Four bands that are nearly alike, and a rig for two of them."""
    monkeypatch.chdir(tmp_path)
    for name, level in LEVELS.items():
        put(tmp_path / f"{name}.profile.json", name, level)
    sides = (band_text(side=side, profile="B01") for side in ("left", "right"))
    (tmp_path / "press.rig.toml").write_text(rig_text(*sides, bottom=1350, top=1900))
    (tmp_path / "evening.csv").write_text("lifter,bottom_mm,top_mm,want_top_kg\nAna,1350,1850,70\n")
    return tmp_path


def say(band: str, verdict: str, why: str) -> None:
    """The record of the box, with a verdict for one band and "pair" for the others."""
    made = json.loads(STORED.read_text("utf-8"))
    one = made["bands"][0]
    told = {name: (verdict, why) if name == band else ("pair", "") for name in LEVELS}
    bands = [one | {"id": n, "profile": f"{n}.profile.json", "verdict": v, "why": w} for n, (v, w) in told.items()]
    made |= {"format": "bandcurve-batch/1.1", "bands": bands}
    Path("batch.json").write_text(json.dumps(made))


def asked(capsys: Capture, *words: str) -> Any:
    capsys.readouterr()
    assert run([*words, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def paired(capsys: Capture, *names: str) -> tuple[list[list[str]], list[str], str]:
    told = asked(capsys, "pair", *(names or LEVELS))
    said = " ".join(f["text"] for f in told["findings"] if f["code"] == "box-verdict")
    return [p["bands"] for p in told["pairs"]], told["left_over"], said


@pytest.mark.parametrize("verdict", ["alone", "retire", "look at it", "measure again"])
def test_pair_goes_by_every_verdict_and_says_so(verdict: str, capsys: Capture) -> None:
    say("B03", verdict, "there is a reason")
    pairs, left, said = paired(capsys)
    assert f"B03: the record of its box says {verdict}: there is a reason" in said
    if verdict == "retire":
        assert "B03" not in [band for pair in pairs for band in pair]
    elif verdict == "alone":
        assert "B03" in left
        assert len(left) == 2
        assert "B03" not in pairs[0]
    else:
        assert "B03" in pairs[-1]
        assert len(pairs) == 2


def test_two_bands_that_are_named_are_answered_for_and_the_verdict_is_said(capsys: Capture) -> None:
    say("B03", "alone", "differs by 5 %")
    pairs, left, said = paired(capsys, "B03", "B04")
    assert (pairs, left) == ([["B03", "B04"]], [])
    assert "alone" in said


@pytest.mark.parametrize("verdict", ["alone", "retire", "look at it", "measure again"])
def test_solver_and_planner_go_by_it_and_say_so(verdict: str, capsys: Capture) -> None:
    say("B03", verdict, "there is a reason")
    wanted = ["rig", "solve", "press.rig.toml", *LEVELS, "--top", "70", "--each-once", "--within", "30", "--few", "9"]
    assert run(wanted) == 0
    out, err = capsys.readouterr()
    assert "B03" not in out
    assert f"B03: the record of its box says {verdict}" in " ".join(err.split())
    told = asked(capsys, "lineup", "evening.csv", "--rig", "press.rig.toml", "--plates", "10x4,5x2")
    assert "B03" not in [band for pair in told["pairs_used"] for band in pair]
    (left,) = told["not_used"]
    assert left["band"] == "B03"
    assert f"the record of its box says {verdict}: there is a reason" in left["why"]


def test_a_band_measured_anew_has_no_verdict_until_the_box_is_fitted_again(box: Path) -> None:
    say("B03", "measure again", "it was never pulled")
    assert [f.verdict for f in Lookup().find_all(list(LEVELS))] == ["", "", "measure again", ""]
    put(box / "B03.2026-04-01.profile.json", "B03", 1.005, "2026-04-01")
    assert [f.verdict for f in Lookup().find_all(list(LEVELS))] == ["", "", "", ""]


def test_a_pair_that_is_kept_comes_first_until_it_is_undone(capsys: Capture) -> None:
    free = asked(capsys, "pair", *LEVELS)
    assert not any(p["kept"] for p in free["pairs"])
    assert run(["pair", "B04", "B01", "--keep"]) == 0
    assert "Kept: B04 left, B01 right. Back: bandcurve undo B04" in capsys.readouterr().err
    known = read_register(Path())
    assert (known.band("B04").hangs, known.band("B01").hangs) == ("left", "right")
    kept = asked(capsys, "pair", *LEVELS)
    assert kept["pairs"][0]["bands"] == ["B04", "B01"]
    assert [p["kept"] for p in kept["pairs"]] == [True, False]
    told = asked(capsys, "lineup", "evening.csv", "--rig", "press.rig.toml", "--plates", "10x4,5x2")
    assert ["B04", "B01"] in told["pairs_used"]
    solved = asked(capsys, "rig", "solve", "press.rig.toml", *LEVELS, "--top", "70", "--each-once", "--within", "30")
    assert [b["band"] for b in solved["proposals"][0]["bands"]] == ["B04", "B01"]
    assert run(["undo", "b01"]) == 0
    assert "B04 paired with B01" in capsys.readouterr().out
    assert asked(capsys, "pair", *LEVELS) == free


def test_the_last_pairing_of_a_band_stands_and_survives_a_new_name(capsys: Capture) -> None:
    for pair in (("B01", "B02"), ("B02", "B03")):
        assert run(["pair", *pair, "--keep"]) == 0
    known = read_register(Path())
    assert (known.band("B01").partner, known.band("B02").hangs) == ("", "left")
    assert run(["rename", "B02", "red-02"]) == 0
    assert read_register(Path()).band("red-02").partner == read_register(Path()).band("B03").id
    before = Path("bandcurve.bands.csv").read_bytes()
    assert run(["pair", "red-02", "B03", "--keep"]) == 0  # it is so already
    assert Path("bandcurve.bands.csv").read_bytes() == before


def test_a_kept_pair_does_not_stand_while_one_of_it_is_retired_or_in_doubt(capsys: Capture) -> None:
    assert run(["pair", "B01", "B04", "--keep"]) == 0
    assert run(["retire", "B04", "--suspect"]) == 0
    told = asked(capsys, "pair", *LEVELS)
    assert not any(p["kept"] for p in told["pairs"])
    say("B01", "alone", "it is far from the others")
    assert run(["undo", "B04"]) == 0
    assert asked(capsys, "pair", *LEVELS)["pairs"][0]["bands"] == ["B01", "B04"]  # people decide


def test_a_stored_record_of_version_1_0_is_read_and_holds_nothing_back(capsys: Capture) -> None:
    made = load_batch(STORED)
    assert made.format == "bandcurve-batch/1.0"
    assert [(b.id, b.verdict, b.why) for b in made.bands] == [("B01", None, None), ("B02", None, None)]
    assert (made.bands[0].force_N, made.length_m) == (90.0, 1.5)
    Path("batch.json").write_bytes(STORED.read_bytes())
    assert paired(capsys, "B01", "B02")[1:] == ([], "")
    assert run(["report", ".", "--out", "r.html"]) == 0
    assert "B02" in Path("r.html").read_text("utf-8")
