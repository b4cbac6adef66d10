"""A box, a plan and labels on one page: the same bytes each time, soon there, names as written, both units."""

import json
import re
from html import unescape
from itertools import product
from pathlib import Path
from time import process_time
from typing import Any

import pytest

from calib.profile.document import load_profile
from calib.units import SHOWN
from calib.verbs.app import run
from tests.profile.store.folders import put
from tests.use.rig.made import band_text, rig_text

Capture = pytest.CaptureFixture[str]
STORED = Path(__file__).parents[2] / "data" / "batches" / "invented-1.0.batch.json"
BANDS = {f"B{n:02d}": 1.0 + 0.004 * n for n in range(1, 7)}
PLAN = ["lineup", "evening.csv", "--rig", "press.rig.toml", "--plates", "20x4,10x4,5x2", "--sheet"]
ASKED = {
    "box": ["sheet", "box", "--out"],
    "labels": ["sheet", "box", "--labels", "--out"],
    "plan": PLAN,
    "band": ["sheet", "B01", "--folder", "box", "--out"],
    "rig": ["sheet", "press.rig.toml", "--out"],
    "lifters": ["sheet", "press.rig.toml", "--lifters", "who.csv", "--out"],
}


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A box of six bands with its record, a rig and two lifters, one of them with a hostile name."""
    monkeypatch.chdir(tmp_path)
    one = json.loads(STORED.read_text("utf-8"))
    told = {"B05": ("alone", "none is near"), "B06": ("look at it", "<b>$x$ nick")}
    rows = []
    for name, level in BANDS.items():
        put(tmp_path / "box" / f"{name}.profile.json", name, level)
        verdict, why = told.get(name, ("pair", ""))
        rows.append(one["bands"][0] | {"id": name, "profile": f"{name}.profile.json", "verdict": verdict, "why": why})
    (tmp_path / "box" / "batch.json").write_text(json.dumps(one | {"format": "bandcurve-batch/1.1", "bands": rows}))
    sides = (band_text(side=s, profile=f"box/{b}.profile.json") for s, b in (("left", "B01"), ("right", "B02")))
    (tmp_path / "press.rig.toml").write_text(rig_text(*sides, bottom=1350, top=1900))
    rows_of = "<b>Ana $x$,1350,1850,{}\nBo,1360,1860,{}\n"
    (tmp_path / "evening.csv").write_text("lifter,bottom_mm,top_mm,want_top_kg\n" + rows_of.format(70, 90))
    (tmp_path / "who.csv").write_text("lifter,bottom_mm,top_mm\n" + rows_of.format("", "").replace(",\n", "\n"))
    return tmp_path


def made(what: str, name: str, *more: str) -> bytes:
    folder = [] if what in ("band", "rig", "lifters") or what == "box" or what == "labels" else ["--folder", "box"]
    assert run([*ASKED[what], name, *more, *folder]) == 0
    return Path(name).read_bytes()


def words(page: bytes) -> list[str]:
    return [unescape(t) for t in re.findall(r"<text[^>]*>([^<]*)</text>", page.decode())]


@pytest.mark.parametrize(("what", "kind"), [*product(ASKED, ("pdf", "png", "html"))])
def test_every_sheet_is_one_page_that_comes_out_the_same_within_a_second_and_a_half(what: str, kind: str) -> None:
    first = made(what, f"1.{kind}")
    begun = process_time()
    assert made(what, f"2.{kind}") == first
    assert process_time() - begun < 1.5
    if kind == "pdf":
        assert first.count(b"/Type /Page\n") + first.count(b"/Type /Page ") == 1


def test_a_box_says_what_each_band_pulls_and_what_to_do_with_it() -> None:
    said = words(made("box", "b.html"))
    assert {"B01", "B06", "kg", "lb", "look at it"} <= set(said)
    text = " ".join(said)
    assert "B06: look at it, <b>$x$ nick." in text
    assert "B05: alone, none is near." in text
    assert re.search(r"Left \+ right, apart at most \(kg, 95 %, averages\): B0\d \+ B0\d \d", text)


def test_a_plan_says_who_hangs_what_and_its_loads_are_those_of_the_answer(capsys: Capture) -> None:
    said = words(made("plan", "p.html"))
    capsys.readouterr()
    assert run([*PLAN[:-1], "--folder", "box", "--json"]) == 0
    (day,) = json.loads(capsys.readouterr().out)["days_planned"]
    for turn in day["turns"]:
        assert turn["lifter"] in said
        assert {b["band"] for b in turn["proposal"]["bands"]} <= set(said)
        assert f"{turn['proposal']['loads']['top']['bar_load_kg']:.1f}" in said
    assert "B06" not in said


def test_labels_say_the_result_in_both_units_and_room_is_left_for_none() -> None:
    said = words(made("labels", "l.html"))
    profile = load_profile(Path("box/B03.profile.json"))
    at = profile.branches.loading.length_m[-1]
    force = profile.force(at)
    pair = f"{SHOWN['kg'].pull(force, 1)} kg / {SHOWN['lb'].pull(force, 0)} lb"
    assert any(word.endswith(pair) for word in said)
    assert "mass" not in said
    assert sum(word.startswith("flat ") for word in said) == len(BANDS)


BAD: dict[str, tuple[list[str], str]] = {
    "no record": (["sheet", ".", "--out", "x.pdf"], "holds no record of a box"),
    "labels of a rig": (["sheet", "press.rig.toml", "--labels"], "--labels is for bands"),
    "plan as a picture of no kind": ([*PLAN, "x.gif"], "not a kind of sheet"),
    "plan over a file": ([*PLAN, "evening.csv.html"], "is not overwritten"),
    "plan on odd paper": ([*PLAN, "x.pdf", "--paper", "a5"], "is not a size"),
}


@pytest.mark.parametrize("case", BAD)
def test_what_cannot_be_is_one_sentence(case: str, capsys: Capture) -> None:
    Path("evening.csv.html").write_text("mine")
    asked, said = BAD[case]
    assert run([*asked, "--folder", "box"]) in (1, 2)
    err = capsys.readouterr().err
    assert said in err
    assert err.count("\n") == 1


def test_more_bands_than_fit_are_refused(capsys: Capture) -> None:
    record: dict[str, Any] = json.loads(Path("box/batch.json").read_text())
    record["bands"] = [record["bands"][0] | {"id": f"C{n}"} for n in range(40)]
    Path("box/batch.json").write_text(json.dumps(record))
    for more in ([], ["--labels"]):
        assert run(["sheet", "box", *more]) == 2
        assert "do not fit on a page" in capsys.readouterr().err
