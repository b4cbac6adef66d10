"""Answers: one head, one naming, schemas that hold for what is printed, and a gate no nonsense passes."""

import io
import json
import math
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from calib.errors import DataError
from calib.finding import CODES
from calib.profile.schema import SCHEMAS
from calib.use.answers.bands import LengthAnswer, PullAnswer
from calib.use.answers.next_steps import NEXT_STEPS
from calib.use.answers.parts import Doubt, Pull
from calib.use.report.answer_schema import answer_schema, answer_types
from calib.use.report.as_html import html_of
from calib.use.report.as_text import text_of
from calib.use.report.document import document, json_text
from calib.use.report.view import Grid, Section, View
from calib.verbs.app import run
from tests.use.bands.hooked import head as series_head
from tests.use.rig.made import band_text, rig_text

Capture = pytest.CaptureFixture[str]
SAMPLES = Path(__file__).parents[3] / "sample_runs"


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name in ("KNEE", "THIN"):
        shutil.copy(SAMPLES / f"{name}.profile.json", tmp_path)
        shutil.copy(SAMPLES / f"{name}.run.csv", tmp_path)
    sides = zip(("left", "right"), ("KNEE", "THIN"), strict=True)
    bands = (band_text(anchor_mm=100, side=side, profile=f"{name}.profile.json") for side, name in sides)
    (tmp_path / "a.rig.toml").write_text(rig_text(*bands, bottom=1350, top=1900))
    (tmp_path / "hook.scale.json").write_text(SCALE, "utf-8")
    (tmp_path / "plates.csv").write_text(
        "known_kg,shown_kg,branch\n0,0,up\n10,10.05,up\n20,20.1,up\n0,0,down\n", "utf-8"
    )
    (tmp_path / "table.csv").write_text("length_mm,pull_kg\n1200,3.1\n1400,6.2\n1600,8.9\n1800,11.5\n", "utf-8")
    (tmp_path / "A+B.series.csv").write_text(series_head("A", "B", (1.029, 1.031)) + SERIES_ROWS, "utf-8")
    (tmp_path / "evening.csv").write_text("lifter,bottom_mm,top_mm,want_top_kg\nAna,1350,1850,90\n", "utf-8")
    later = json.loads((tmp_path / "THIN.profile.json").read_text("utf-8"))
    later["made"] |= {"measured_at": "2026-09-01", "from": [{"file": "K2.run.csv", "sha256": "a" * 64}]}
    (tmp_path / "THIN.2026-09-01.profile.json").write_text(json.dumps(later), "utf-8")
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n".join([*PRESS, ""])))
    monkeypatch.chdir(tmp_path)
    return tmp_path


SCALE = '{"format": "bandcurve-scale/1", "id": "hook", "kind": "hanging-scale", "resolution_N": 0.5, "locks": "no"}'
SERIES_ROWS = "1,1,3300,1652\n2,1,3300,1651\n"
PRESS = [
    "1",
    "n",
    "20",
    "y",
    "40",
    "135",
    "190",
    "",
    "",
    "18",
    "1",
    "1",
    "KNEE",
    "THIN",
    "1",
    "10",
    "",
    "",
    "",
    "",
    "n",
]
COMMANDS = {
    "predict": "predict KNEE --length 1.6m",
    "length": "predict KNEE --force 12kg",
    "curve": "show KNEE.profile.json",
    "run": "show KNEE.run.csv",
    "fit": "fit KNEE.run.csv --out out",
    "pair": "pair KNEE THIN",
    "history": "history KNEE",
    "list": "list",
    "recheck": "recheck KNEE --plate 10kg --length 1432mm --on 2026-09-01",
    "log": "log KNEE --reps 5",
    "demo": "demo new",
    "rig": "rig a.rig.toml",
    "rig-lifters": "rig a.rig.toml --lifters Bo,1350mm,1900mm",
    "rig-weight": "rig weight a.rig.toml",
    "rig-solve": "rig solve a.rig.toml --top 90kg --within 40kg",
    "plan": "plan B07 --flat 1029mm --width 30mm --thickness 4.5mm --form B07.pdf",
    "plan-until": "plan B07 --flat 1029mm --until 3% --over 1.2m..1.8m",
    "ports": "listen",
    "scale": "scale show hook.scale.json",
    "scale-check": "scale check hook.scale.json --from plates.csv",
    "import": "import table.csv --id B09 --flat 1029mm --strands 2 --kind half-path --scale hook",
    "compare": "compare THIN",
    "pair-by-tape": "pair --series A+B.series.csv",
    "compare-by-tape": "compare A+B.series.csv A+B.series.csv",
    "lineup": "lineup evening.csv --rig a.rig.toml",
    "written": "rig new press",
    "rig-check": "rig check a.rig.toml --how platform --alone 130kg --read 1.4m=149.5kg --read 190cm=170.9kg",
}


@pytest.mark.parametrize("question", COMMANDS)
def test_what_is_printed_is_as_the_schema_says(question: str, here: Path, capsys: Capture) -> None:
    words = [word.replace("Bo,", "Bo ").replace("mm,", "mm ") for word in COMMANDS[question].split()]
    assert run([*words, "--json"]) == (question == "lineup")  # KNEE and THIN are no pair: nobody can lift with them
    told = json.loads(capsys.readouterr().out)
    assert (told["format"], told["question"]) == ("bandcurve-answer/1", question)
    assert list(told)[:4] == ["format", "question", "band", "day"]
    Draft202012Validator(answer_schema(question)).validate(told)
    Draft202012Validator(answer_schema()).validate(told)
    for name in names({**told, "scale": None} if question == "scale" else told):  # a file keeps its own names
        assert name not in ("id", "u95_N", "u95_kg", "low95", "upper95_N", "next_u95_kg"), name


def test_every_answer_is_held_against_its_schema() -> None:
    assert set(COMMANDS) == set(answer_types()) - {"proposal"}  # part of what solve and a line-up answer


def test_the_record_of_a_batch_is_as_its_schema_says(here: Path, capsys: Capture) -> None:
    """batch fit --json prints the file it writes."""
    assert run(["batch", "fit", "KNEE.run.csv", "THIN.run.csv", "--out", "box", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    Draft202012Validator(SCHEMAS["batch"]()).validate(told)
    assert told == json.loads((here / "box" / "batch.json").read_text("utf-8"))


def names(told: Any) -> Iterator[str]:
    for key, value in told.items() if isinstance(told, dict) else ():
        yield key
        yield from names(value)
    for value in told if isinstance(told, list) else ():
        yield from names(value)


def test_a_newer_document_with_more_in_it_still_fits_the_schema() -> None:
    told = document(an_answer()) | {"format": "bandcurve-answer/1.3", "new": {"anything": 1}}
    Draft202012Validator(answer_schema("predict")).validate(told)


@pytest.mark.parametrize("question", sorted(answer_types()))
def test_every_field_of_a_schema_is_described(question: str) -> None:
    schema = answer_schema(question)
    Draft202012Validator.check_schema(schema)
    for part in (schema, *schema.get("$defs", {}).values()):
        assert part["description"].endswith(".")
        for name, field in part["properties"].items():
            assert name in ("format", "question") or len(field["description"]) > 5, name


def test_every_finding_has_its_next_step_and_no_other() -> None:
    assert set(NEXT_STEPS) == CODES


def an_answer(**changes: Any) -> PullAnswer:
    values: dict[str, Any] = {
        "band": "B07", "length_m": 1.6, "tape_m": 1.586, "tape_kind": "band-inner", "stretch": 1.5,
        "extrapolated": False, "between_days_assumed": True, "strands": 2,
        "loading": Pull(100.0, 0.5, 1.0, 2.0), "unloading": None,
    }  # fmt: skip
    return PullAnswer(**values | changes)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"length_m": math.nan}, "not a finite number at length_m"),
        ({"stretch": -math.inf}, "not a finite number at stretch"),
        ({"loading": Pull(-3.0, 0.5, 1.0, 2.0)}, "-3, below zero, at loading.force_N"),
        ({"loading": Pull(3.0, 0.5, -1.0, 2.0)}, "below zero, at loading.u95_mean_N"),
        ({"unloading": Pull(3.0, 0.5, 1.0, math.inf)}, "at unloading.u95_next_set_N"),
    ],
)
def test_nothing_leaves_that_cannot_be(changes: dict[str, Any], said: str) -> None:
    with pytest.raises(DataError, match=said):
        json_text(an_answer(**changes))


def test_an_inverse_has_both_limits() -> None:
    schema = answer_schema(LengthAnswer.question)["$defs"]["PlaceOnTape"]["properties"]
    assert {"u95_mean_m", "u95_next_set_m"} <= set(schema)


@pytest.mark.parametrize(
    ("words", "status", "question"),
    [
        ("predict nobody --length 1m", 1, "predict"),
        ("predict KNEE --length 9m", 1, "predict"),
        ("predict KNEE --length 1", 2, "predict"),
        ("predict KNEE --lenght 1m", 2, "predict"),
        ("rig none.rig.toml", 1, "rig"),
        ("rig solve a.rig.toml", 2, "rig-solve"),
        ("import none.csv", 1, "import"),
        ("log nobody --reps 3", 1, "log"),
        ("export nobody", 1, "export"),
        ("demo KNEE.run.csv", 1, "demo"),
        ("scale show none.scale.json", 1, "scale-show"),
        ("plan B07 --flat 3", 2, "plan"),
        ("history nobody", 1, "history"),
        ("batch new KNEE.run.csv", 2, "batch-new"),
    ],
)
def test_an_error_is_a_document_too(words: str, status: int, question: str, here: Path, capsys: Capture) -> None:
    assert run([*words.split(), "--json"]) == status
    said = capsys.readouterr()
    told = json.loads(said.out)
    assert told["question"] == question
    assert told["error"]["status"] == status
    assert told["error"]["what"]
    assert said.err
    Draft202012Validator(answer_schema()).validate(told)


SCREENS = ("predict", "length", "curve", "run", "fit", "pair", "history", "list", "recheck", "rig", "rig-weight",
           "rig-solve", "rig-check")  # fmt: skip
ONCE = 8  # lines at which the kilos are in sight without being said again


@pytest.mark.parametrize("question", SCREENS)
@pytest.mark.parametrize("unit", ["kg", "lb"])
def test_a_screen_begins_and_ends_with_the_kilos_and_has_a_dozen_lines(
    question: str, unit: str, here: Path, capsys: Capture
) -> None:
    run([*COMMANDS[question].split(), "--unit", unit])
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) <= 12
    assert max(map(len, lines)) <= 80
    assert any(lines[:n] == lines[-n:] for n in (1, 2)) or len(lines) <= ONCE


def test_pounds_and_inches_on_the_screen_and_in_the_figure(here: Path, capsys: Capture) -> None:
    assert run(["show", "KNEE", "--unit", "lb", "--full", "--figure", "k.svg"]) == 0
    said = capsys.readouterr().out
    assert "tape, in" in said
    assert "\nlb   o loading" in said
    drawn = (here / "k.svg").read_text("utf-8")
    assert ">length on the tape [in]<" in drawn
    assert "[lb as a scale shows it]" in drawn


def test_a_fragment_of_html_holds_other_peoples_words_harmlessly() -> None:
    view = View(
        kilos="B07: 3 kg <script>",
        grid=Grid(("", "kg"), (("loading", "3"),)),
        findings=(Doubt("few-lengths", 'a "b" <i>', "Do & look."),),
        sections=(Section("rows", "Rows", None, ("note",), "o < x"),),
    )
    made = html_of(view)
    assert made.startswith('<section class="answer"><p class="kilos">B07: 3 kg &lt;script&gt;</p>')
    assert "<i>" not in made
    assert "Do &amp; look." in made
    assert "o &lt; x" in made
    assert "Do & look. [few-lengths]" in text_of(view)


def test_rows_there_is_no_room_for_are_counted_and_shown_on_request() -> None:
    pairs = tuple((f"B{n} + B{n + 1}", "1.0") for n in range(1, 21, 2))
    doubt = Doubt("no-temperature", "A temperature is missing.", "Note it.")
    view = View("Nearest alike: B1 + B2", Grid(("pair", "kg"), pairs), ("Loading.",), (doubt,), cut_rows="pair")
    short = text_of(view).splitlines()
    assert len(short) <= 12
    shown = [line for line in short if line.startswith("  B")]
    assert f"  and {10 - len(shown)} more pairs: --full" in short
    assert len(shown) >= 3
    assert all(name in text_of(view, full=True) for name, _ in pairs)
    assert all(name in html_of(view) for name, _ in pairs)
