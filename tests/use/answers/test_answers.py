"""Answers: one head, one naming, schemas that hold for what is printed, and a gate no nonsense passes."""

import json
import math
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from calib.errors import DataError
from calib.finding import CODES
from calib.use.answers.bands import LengthAnswer, PullAnswer
from calib.use.answers.next_steps import NEXT_STEPS
from calib.use.answers.parts import Doubt, Pull
from calib.use.report.answer_schema import answer_schema, answer_types
from calib.use.report.as_html import html_of
from calib.use.report.as_text import text_of
from calib.use.report.document import document, headed, json_text
from calib.use.report.view import Grid, Section, View
from calib.verbs.app import run
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
    monkeypatch.chdir(tmp_path)
    return tmp_path


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
    "rig-check": "rig check a.rig.toml --how platform --alone 130kg --read 1.4m=149.5kg --read 190cm=170.9kg",
}


@pytest.mark.parametrize("question", COMMANDS)
def test_what_is_printed_is_as_the_schema_says(question: str, here: Path, capsys: Capture) -> None:
    words = [word.replace("Bo,", "Bo ").replace("mm,", "mm ") for word in COMMANDS[question].split()]
    run([*words, "--json"])
    told = json.loads(capsys.readouterr().out)
    assert (told["format"], told["question"]) == ("bandcurve-answer/1", question)
    assert list(told)[:4] == ["format", "question", "band", "day"]
    Draft202012Validator(answer_schema(question)).validate(told)
    Draft202012Validator(answer_schema()).validate(told)
    for name in names(told):
        assert name not in ("id", "u95_N", "u95_kg", "low95", "upper95_N", "next_u95_kg"), name


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


def test_the_gate_holds_for_what_has_no_type_too() -> None:
    with pytest.raises(DataError, match="not a finite number"):
        headed("plan", {"settings": [{"expected_N": math.nan}]})
    assert json.loads(headed("plan", {"band": "B07"}))["band"] == "B07"


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
    assert "<!-- length on the tape [in] -->" in drawn
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
