"""What a band pulls, asked from the command line and from Python; the answer in kg, N and JSON."""

import json
import subprocess
import sys
from math import pi
from pathlib import Path
from typing import Any

import pytest

import calib
from calib.errors import DataError, OutOfRangeError
from calib.profile.document import Profile, save_profile
from calib.units import SHOWN
from calib.use.bands.predict import half_path_between, invert, length_answer, pull_answer
from calib.use.report.as_text import text_of
from calib.use.report.curve_views import pull_view
from calib.verbs.app import run
from tests.profile.invented import document

STORED = Path(__file__).parents[2] / "data" / "profiles" / "invented-1.0.profile.json"


@pytest.fixture(scope="module")
def band() -> Profile:
    return calib.load_profile(STORED)


def _json(capsys: pytest.CaptureFixture[str], *arguments: str) -> Any:
    assert run(["predict", str(STORED), *arguments, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_json_holds_exactly_the_documented_keys(capsys: pytest.CaptureFixture[str], band: Profile) -> None:
    found = _json(capsys, "--length", "1.6m")
    head = ["format", "question", "band", "day"]
    own = ["length_m", "tape_m", "tape_kind", "stretch", "extrapolated", "between_days_assumed", "strands"]
    assert list(found) == [*head, *own, "loading", "unloading", "findings"]
    assert list(found["loading"]) == list(found["unloading"]) == ["force_N", "u_N", "u95_mean_N", "u95_next_set_N"]
    assert (found["format"], found["question"], found["band"]) == ("bandcurve-answer/1", "predict", "B07")
    assert found["length_m"] == 1.6
    assert found["extrapolated"] is False
    assert found["loading"]["force_N"] == pytest.approx(band.force(1.6), rel=1e-6)


def test_the_inverse_gives_lengths_by_branch(capsys: pytest.CaptureFixture[str], band: Profile) -> None:
    found = _json(capsys, "--force", "15kg")
    assert [key for key in found if key in ("force_N", "loading", "unloading")] == ["force_N", "loading", "unloading"]
    assert list(found["loading"]) == ["length_m", "tape_m", "u_m", "u95_mean_m", "u95_next_set_m"]
    assert found["loading"]["u95_next_set_m"] > found["loading"]["u95_mean_m"]
    assert found["force_N"] == pytest.approx(147.09975)  # 15 x 9.80665
    assert band.force(found["loading"]["length_m"]) == pytest.approx(found["force_N"], rel=1e-5)
    assert found["unloading"]["length_m"] > found["loading"]["length_m"]


@pytest.mark.parametrize(
    "text", ["1.6m", "160cm", "1600mm", "1600 mm", "62.992126in", "5.2493438ft", "1,6m", "5'2.992126"]
)
def test_a_length_wears_any_unit(capsys: pytest.CaptureFixture[str], text: str) -> None:
    assert _json(capsys, "--length", text)["length_m"] == pytest.approx(1.6, abs=1e-6)


def test_what_a_tape_reads_between_fittings_is_converted(capsys: pytest.CaptureFixture[str]) -> None:
    found = _json(capsys, "--between", "1.5m", "--kind", "centres", "--fittings", "25,50")
    assert found["length_m"] == pytest.approx(1.5 + pi * (0.0375 + 0.0045) / 2, abs=1e-6)


def test_pins_and_tape_are_those_of_the_recording_unless_said_otherwise(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The stored profile knows its pins (12 mm), one of version 1.1 also where the tape was held."""
    found = _json(capsys, "--between", "1.5m", "--kind", "centres")
    assert found["length_m"] == pytest.approx(1.5 + pi * (0.012 + 0.0045) / 2, abs=1e-6)
    content = document()
    content["gear"]["tape_kind"] = "band-inner"
    content["format"] = "bandcurve-profile/1.1"
    path = tmp_path / "B07.profile.json"
    save_profile(Profile.model_validate(content), path)
    for option in ("--length", "--between"):
        assert run(["predict", str(path), option, "1.5m", "--json"]) == 0
        found = json.loads(capsys.readouterr().out)
        assert found["length_m"] == pytest.approx(1.5 + ((pi - 2) * 0.012 + pi * 0.0045) / 2, abs=1e-6)
        assert found["tape_m"] == pytest.approx(1.5, abs=1e-6)
    assert run(["predict", str(path), "--length", "68in", "--unit", "lb"]) == 0
    assert "at 68.00 in on the tape" in capsys.readouterr().out
    assert run(["predict", str(path), "--length", "2.5m"]) == 1
    assert "1.116 to 2.086 m on the tape would have worked" in capsys.readouterr().err


def test_an_unmeasured_thickness_is_taken_as_the_default_and_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    content = document()
    del content["band"]["thickness_m"]
    band = Profile.model_validate(content)
    assert half_path_between(band, 1.5, "centres", [0.05]) == pytest.approx(1.5 + pi * (0.05 + 0.0045) / 2)
    path = tmp_path / "B07.profile.json"
    save_profile(band, path)
    assert run(["predict", str(path), "--between", "1.5m", "--kind", "centres", "--fittings", "50"]) == 0
    assert "Assuming the band is 4.5 mm thick" in capsys.readouterr().err


def test_fittings_are_needed_unless_the_reading_is_half_path(band: Profile) -> None:
    assert half_path_between(band, 1.5, "half-path", []) == 1.5
    with pytest.raises(DataError, match="give the pins' diameters"):
        half_path_between(band, 1.5, "centres", [])


def test_outside_the_tested_range_is_refused_with_what_would_have_worked(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["predict", str(STORED), "--length", "2.5m"]) == 1
    said = capsys.readouterr()
    assert said.out == ""
    assert "from 1.13 to 2.1 m would have worked" in said.err
    assert "--extrapolate" in said.err
    assert run(["predict", str(STORED), "--force", "60kg"]) == 1
    assert "a pull from 3.493 to 23.01 kg (34.25 to 225.7 N) would have worked" in capsys.readouterr().err


def test_extrapolation_is_marked_and_wider(capsys: pytest.CaptureFixture[str]) -> None:
    found = _json(capsys, "--length", "2.3m", "--extrapolate")
    assert found["extrapolated"] is True
    assert found["unloading"] is None
    inside = _json(capsys, "--length", "2.1m", "--extrapolate")
    assert inside["extrapolated"] is False
    assert found["loading"]["u95_mean_N"] > 3 * inside["loading"]["u95_mean_N"]
    assert run(["predict", str(STORED), "--length", "2.3m", "--extrapolate"]) == 0
    assert "EXTRAPOLATED" in capsys.readouterr().out


def test_a_branch_that_does_not_reach_is_null(band: Profile) -> None:
    content = document()
    keep = slice(0, 40)
    content["branches"]["unloading"] = {k: v[keep] for k, v in content["branches"]["unloading"].items()}
    content["rest_N"]["unloading"] = content["rest_N"]["unloading"][keep]
    for factor in content["factors"]:
        factor["unloading_N"] = factor["unloading_N"][keep]
    short = Profile.model_validate(content)
    assert pull_answer(short, short.predict(2.0)).unloading is None
    assert pull_answer(short, short.predict(2.0)).extrapolated is False
    assert length_answer(short, invert(short, band.force(2.0))).unloading is None
    with pytest.raises(OutOfRangeError):
        invert(short, 1e4)


def test_the_words_tell_the_mean_from_the_next_set(band: Profile) -> None:
    text = text_of(pull_view(pull_answer(band, band.predict(1.6)), SHOWN["kg"]), full=True)
    at = band.estimate(1.6)
    wide = band.u_next(at) * at.u95 / at.u
    assert f"{at.force / 9.80665:.2f} kg loading" in text.splitlines()[0]
    row = ["loading", f"{at.force / 9.80665:.2f}", f"{at.force / 4.4482216152605:.1f}"]
    assert [*row, f"{at.u95 / 9.80665:.2f}", f"{wide / 9.80665:.2f}"] in [line.split() for line in text.splitlines()]
    newtons = ["loading", f"{at.force:.1f}", f"{at.u:.1f}", f"{at.u95:.1f}", f"{wide:.1f}"]
    assert newtons in [line.split() for line in text.splitlines()]
    assert wide > at.u95
    assert text.isascii()
    assert max(map(len, text.splitlines())) <= 80


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["--length", "1.6"],
        ["--length", "1.6 parsec"],
        ["--length", "-1m"],
        ["--length", "0m"],
        ["--length", "nan m"],
        ["--length", "1,405m"],
        ["--length", "1.6m", "--force", "15kg"],
        ["--length", "1.6m", "--kind", "centres"],
        ["--between", "1.5m"],
        ["--between", "1.5m", "--kind", "center"],
        ["--between", "1.5m", "--kind", "centres", "--fittings", "25,50,75"],
        ["--between", "1.5m", "--kind", "centres", "--fittings", "thick"],
        ["--force", "15kg", "--extrapolate"],
        ["--force", "15m"],
    ],
)
def test_an_option_that_cannot_be_read_is_wrong_usage(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["predict", str(STORED), *arguments]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("bandcurve: ")
    assert said.err.count("\n") == 1


def test_a_missing_file_and_a_folder_are_unusable_input(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["predict", str(tmp_path / "none.profile.json"), "--length", "1.6m"]) == 1
    assert "no such file" in capsys.readouterr().err
    assert run(["predict", str(tmp_path), "--length", "1.6m"]) == 1
    assert "is a folder" in capsys.readouterr().err


def test_export_prints_or_writes_a_new_file_only(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "B07.csv"
    assert run(["export", str(STORED), "--csv"]) == 0
    printed = capsys.readouterr().out
    assert run(["export", str(STORED), "--csv", "--out", str(out)]) == 0
    assert out.read_text() == printed
    assert run(["export", str(STORED), "--csv", "--out", str(out)]) == 1
    assert "exists and is not overwritten" in capsys.readouterr().err
    assert run(["export", str(STORED)]) == 0
    assert capsys.readouterr().out == printed, "without an option it is the table with commas"


def test_a_narrow_code_page_does_not_break_the_answer() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "calib", "predict", str(STORED), "--length", "1.6m"],
        capture_output=True,
        env={"PYTHONIOENCODING": "cp1252", "PATH": ""},
        cwd=STORED.parents[3],
        check=True,
    )
    assert b"kg" in done.stdout


def test_the_package_offers_its_verbs_and_nothing_by_accident() -> None:
    assert {"load_profile", "fit_profile", "read_run", "save_profile"} <= set(dir(calib))
    assert calib.load_profile(STORED).force(1.6) == pytest.approx(143.2, abs=0.1)
    with pytest.raises(AttributeError, match="no attribute 'load_profle'"):
        calib.load_profle  # noqa: B018
