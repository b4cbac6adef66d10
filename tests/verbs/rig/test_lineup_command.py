"""`bandcurve lineup` as a coach uses it: a table in, a plan of 80 columns out, one sentence for a mistake."""

import json
import re
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from calib.profile.document import save_profile
from calib.use.lineup.lifters_table import parse_lifters
from calib.use.report.answer_schema import answer_schema
from calib.verbs.app import run
from tests.use.rig.made import band_text, rig_text
from tests.use.rig.test_solve import bands

Capture = pytest.CaptureFixture[str]
HEAD = "lifter,bottom_mm,top_mm,want_bottom_kg,want_top_kg,order,day,exercise\n"
EVENING = HEAD + (
    "Ana,1350,1850,52,70,2,Mon,press\n"
    "<b>Bo</b> $x$,1360,1860,60,78,1,Mon,press\n"
    "Cy,1340,1840,300,322,1,Tue,press\n"
    "Low,300,500,60,70,2,Tue,press\n"
)
OWNED = ["--plates", "20x4,10x2,5x2,2.5x2,1.25x2", "--anchor-heights", "80:230:50mm"]


@pytest.fixture
def box(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for candidate in bands(60, 61, 120, 123):
        save_profile(candidate.profile, tmp_path / candidate.name)
    press = rig_text(band_text(side="left"), band_text(side="right"), bottom=1350, top=1900)
    (tmp_path / "press.rig.toml").write_text(press, "utf-8")
    (tmp_path / "evening.csv").write_text(EVENING, "utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_an_evening_is_planned_in_eighty_columns(box: Path, capsys: Capture) -> None:
    assert run(["lineup", "evening.csv", *OWNED]) == 0
    out = capsys.readouterr().out
    assert max(map(len, out.splitlines())) <= 80
    assert (bo := re.search(r"  <b>B\S*~ \(1\) ", out))  # however long the name, the number of its caution stays
    assert bo.start() < out.index("  Ana")  # as `order` says, and as it was written
    said = " ".join(out.split())
    assert re.search(r"Cy: 300\.0 kg at the bottom and 322\.0 kg at the top is missed by \d+\.\d kg; plates of", said)
    assert "Low: no band can hang there" in said
    assert "qualified people come first" in said
    assert "[anchor-may-lift]" in said or "(1) " in said
    assert run(["lineup", "evening.csv", *OWNED, "--full", "--unit", "lb"]) == 0
    told = capsys.readouterr().out
    assert told.count("Check number") == 3
    assert "Coming down:" in told


def test_the_document_is_as_the_schema_says_and_its_loads_are_those_of_the_rig(box: Path, capsys: Capture) -> None:
    assert run(["lineup", "evening.csv", *OWNED, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    Draft202012Validator(answer_schema("lineup")).validate(told)
    monday, tuesday = told["days_planned"]
    assert [t["lifter"] for t in monday["turns"]] == ["<b>Bo</b> $x$", "Ana"]
    for turn in monday["turns"]:
        reached = turn["proposal"]["loads"]["top"]
        assert abs(reached["bar_load_kg"] - turn["wanted"][-1]["load_kg"]) <= 3 * reached["u95_mean_kg"]
    assert monday["fewer_moves"] == 0
    assert tuesday["turns"][1]["proposal"] is None
    assert len(told["pairs_used"]) == 2


def test_a_retired_band_is_not_used_and_that_is_said(box: Path, capsys: Capture) -> None:
    assert run(["retire", "S120", "--note", "a nick"]) == 0
    capsys.readouterr()
    assert run(["lineup", "evening.csv", *OWNED]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert re.search(r"S120: left out: S120 was retired on .*a nick", said)
    assert "S120 |" not in said
    assert "| S120" not in said


WRONG = {
    r"evening\.csv:2: Ana has no height at the top": "lifter,bottom_mm,want_top_kg\nAna,1350,80\n",
    r"evening\.csv:2: no load is wanted for Ana": "lifter,bottom_mm,top_mm\nAna,1350,1850\n",
    r"evening\.csv:2: the bottom of Ana is not below the top": HEAD + "Ana,1850,1350,1,2,1,,press\n",
    r"evening\.csv:1: 'squat' is not known": "lifter,squat\nAna,3\n",
    r"evening\.csv:2: a lifter has no name": HEAD + ",1350,1850,60,80,1,,press\n",
    r"evening\.csv:2: want_top_kg: 'much' is not": HEAD + "Ana,1350,1850,60,much,1,,press\n",
    r"evening\.csv: holds 0 lifters": HEAD,
    r"no rig is named": "lifter,bottom_mm,top_mm,want_top_kg\nAna,1350,1850,80\n",
    r"evening\.csv:2: order 'x' is not a number": HEAD + "Ana,1350,1850,60,80,x,,press\n",
    r"has a character that|is not a name|letters": HEAD + "Ana,1350,1850,60,80,1,,../press\n",
}


@pytest.mark.parametrize("sentence", WRONG)
def test_a_mistake_in_the_table_is_one_sentence(sentence: str, box: Path, capsys: Capture) -> None:
    (box / "evening.csv").write_text(WRONG[sentence], "utf-8")
    assert run(["lineup", "evening.csv", *OWNED]) in (1, 2)
    out, err = capsys.readouterr()
    assert not out
    assert re.search(sentence, err), err
    assert err.count("\n") == 1


def test_toml_says_the_same_as_csv() -> None:
    text = 'format = "bandcurve-lineup/1"\n[[lifter]]\nlifter = "Ana"\nbottom_cm = 135\ntop_mm = 1850\n'
    (told,) = parse_lifters((text + 'want_share_of_top = "25%"\nwant_bottom_lb = 100\n').encode(), "a.toml")
    same = "lifter;bottom_cm;top_mm;want_share_of_top;want_bottom_lb\nAna;135;1850;25%;100\n"
    (read,) = parse_lifters(same.encode(), "a.csv")
    assert (told.bottom, told.top) == (read.bottom, read.top)
    assert set(told.wishes) == set(read.wishes)


def test_a_name_that_would_paint_the_terminal_is_shown_literally(box: Path, capsys: Capture) -> None:
    (box / "evening.csv").write_text(HEAD + "\x1b[31mRed,1350,1850,300,310,,\x1b[2J,press\n", "utf-8")
    assert run(["lineup", "evening.csv", *OWNED, "--full"]) == 0
    assert "\x1b" not in capsys.readouterr().out


def test_more_lifters_than_bands_are_no_trouble_and_one_band_is(box: Path, capsys: Capture) -> None:
    rows = "".join(f"L{n},1350,1850,52,70,,,press\n" for n in range(7))
    (box / "evening.csv").write_text(HEAD + rows, "utf-8")
    assert run(["lineup", "evening.csv", *OWNED]) == 0
    capsys.readouterr()
    assert run(["lineup", "evening.csv", "S60", *OWNED]) == 1
    assert "one band cannot hang on both sides" in capsys.readouterr().err


def test_plates_that_make_no_side_are_one_sentence_and_the_plan_goes_without_them(box: Path, capsys: Capture) -> None:
    assert run(["lineup", "evening.csv", "--plates", "20x1,5x2", "--json"]) == 0
    out, err = capsys.readouterr()
    assert err == "bandcurve: one plate of 20 kg has no twin and stays off: both sides are loaded equally\n"
    plates = {m for d in json.loads(out)["days_planned"] for t in d["turns"] if t["proposal"]
              for m in t["proposal"]["plates_a_side_kg"]}  # fmt: skip
    assert plates <= {5.0}
    assert run(["lineup", "evening.csv", "--plates", "20x0"]) == 2
    assert capsys.readouterr().err.count("\n") == 1
