"""The table of what is assumed: its page, its bounds, and that a fit takes another value and says so."""

import json
import re
from pathlib import Path

import pytest

from calib import assumptions
from calib.assumptions import FIT, SERIES, TABLE, assuming, page, parse, parse_file, value
from calib.errors import DataError
from calib.verbs.app import run

ROOT = Path(__file__).parents[2]
SOURCES = {p: p.read_text("utf-8") for p in (ROOT / "calib").rglob("*.py") if p.name != "assumptions.py"}


def test_the_page_is_made_of_the_table() -> None:
    assert (ROOT / "docs" / "assumptions.md").read_text("utf-8") == page(), "write assumptions.page() there"


@pytest.mark.parametrize("constant", TABLE, ids=lambda c: c.name)
def test_each_is_within_its_bounds_said_and_used(constant: assumptions.Constant) -> None:
    assert constant.least <= constant.value <= constant.most
    assert constant.meaning
    assert constant.source
    used = [p for p, text in SOURCES.items() if f'"{constant.name}"' in text]
    assert used, f"nobody asks for {constant.name}"
    rooms = {FIT: ("fit", "profile"), SERIES: ("series.py",)}
    asked_in = [p for p in used if re.search(rf'value\(\s*"{constant.name}"\)', SOURCES[p])]
    askers = {who for who, parts in rooms.items() for p in asked_in if set(parts) & set(p.parts)}
    assert askers == ({constant.asked_by} - {""})


def test_it_is_as_before_after_a_with() -> None:
    before = value("u_gain_unchecked")
    with assuming({"u_gain_unchecked": 0.01}), assuming({"relaxation": 3.0}):
        assert (value("u_gain_unchecked"), value("relaxation")) == (0.01, 3.0)
    assert value("u_gain_unchecked") == before
    assert assumptions.changed() == {}


WRONG = (
    "",
    "between_day_gain",
    "relaxation=",
    "relaxation=much",
    "x=1",
    "retire=0.2",
    "relaxation=90",
    "relaxation=nan",
)


@pytest.mark.parametrize("text", WRONG)
def test_what_cannot_be_taken_is_one_sentence(text: str) -> None:
    with pytest.raises(DataError) as caught:
        parse(text)
    assert caught.value.remedy
    assert "\n" not in str(caught.value)


def test_a_per_cent_sign_is_understood() -> None:
    assert parse("between_day_gain = 2%") == ("between_day_gain", 0.02)


def test_fit_takes_it_and_the_profile_names_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    knee = str(ROOT / "sample_runs" / "KNEE.run.csv")
    assert run(["fit", knee, "--out", str(tmp_path), "--assume", "between_day_gain=2%", "-q"]) == 0
    made = json.loads((tmp_path / "KNEE.profile.json").read_text("utf-8"))
    assert made["made"]["assumed"] == {"between_day_gain": 0.02}
    assert made["repeatability"]["between_day_gain"] > 0.03
    assert run(["fit", knee, "--out", str(tmp_path), "--assume", "between_day_gane=2%"]) == 2
    assert "did you mean 'between_day_gain'" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"between_day_gain = 0.02\nrelaxation = '3'\n", None),
        (b'between_day_gain = "2%"\n', None),
        (b"", "sets nothing"),
        (b"between_day_gain =\n", "is not TOML"),
        (b"between_day_gain = 3.0\n", "is out of its range"),
        (b"between_day_gain = [0.02]\n", "is not an assumption"),
        (b"series_law = 0.12\n", "is not used by a fit"),
        (b"\xff\xfea\x00", "UTF-16"),
    ],
)
def test_a_file_of_them_is_read_or_refused_in_one_sentence(text: bytes, said: str | None) -> None:
    if said is None:
        assert parse_file(text, "box.toml")["between_day_gain"] == 0.02
        return
    with pytest.raises(DataError, match=said) as caught:
        parse_file(text, "box.toml")
    assert str(caught.value).startswith("box.toml")
    assert "\n" not in str(caught.value)


def test_fit_takes_a_file_of_them_and_what_is_typed_behind_it_counts(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    knee, box = str(ROOT / "sample_runs" / "KNEE.run.csv"), tmp_path / "box.toml"
    box.write_text('between_day_gain = "2%"\nrelaxation = 3\n', "utf-8")
    assumed = ["--assume", str(box), "--assume", "relaxation=1"]
    assert run(["fit", knee, "--out", str(tmp_path), "-q", *assumed]) == 0
    made = json.loads((tmp_path / "KNEE.profile.json").read_text("utf-8"))
    assert made["made"]["assumed"] == {"between_day_gain": 0.02, "relaxation": 1.0}
    assert run(["fit", knee, "--out", str(tmp_path), "--assume", str(tmp_path / "none.toml")]) == 2
    assert "none.toml" in capsys.readouterr().err
