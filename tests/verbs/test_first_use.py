"""What a newcomer ran into: help, a folder that is a file, another scale's check, tables as people type them."""

import io
import re
import shutil
import sys
from pathlib import Path

import pytest

from calib.acquire.files.run_file import read_run
from calib.profile.document import load_profile
from calib.verbs.app import run
from calib.verbs.front_door import open_door

SAMPLES = Path(__file__).parents[2] / "sample_runs"
OPTIONS = ["--flat", "41in", "--kind", "half-path", "--scale", "hook", "--strands", "2"]
TABLE = """Length (in);Pull (lb);up/down;Weather
45 1/2";11,2;u;wet
4'2";23,1;u;wet
4'8 1/4";33,4;u;wet
62;41,5;u;wet
56;29,4;d;wet
50;19,7;d;wet
45,5;9,0;d;wet
"""


@pytest.mark.parametrize("name", ["import", "fit", "show", "predict", "export", "schema", "demo", "plan", "record"])
def test_help_shows_examples_line_by_line(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    run([name, "--help"])
    said = capsys.readouterr().out
    assert "\\b" not in said
    assert f"\n    bandcurve {name}" in said


def test_a_folder_that_is_a_file_is_said_in_one_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "out").touch()
    assert run(["fit", str(SAMPLES / "KNEE.run.csv"), "--out", str(tmp_path / "out")]) == 1
    assert "is a file, not a folder; name another folder" in capsys.readouterr().err


def test_the_check_of_another_scale_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plates = tmp_path / "plates.csv"
    plates.write_text("known_kg,shown_kg,branch\n0,0,up\n10,10.1,up\n20,20.15,up\n10,10.1,down\n0,0,down\n", "utf-8")
    scale = tmp_path / "other.scale.json"
    assert run(["scale", "new", "other", "--resolution", "0.05kg", "--capacity", "50kg", "--out", str(tmp_path)]) == 0
    assert run(["scale", "check", str(scale), "--from", str(plates), "--loads-kind", "weighed"]) == 0
    capsys.readouterr()
    assert run(["fit", str(SAMPLES / "KNEE.run.csv"), "--scale", str(scale), "--out", str(tmp_path)]) == 1
    assert "read on the scale 'garage-hook', but the check is of 'other'" in capsys.readouterr().err
    assert not (tmp_path / "KNEE.profile.json").exists()


def test_a_table_with_up_down_and_feet(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table, target = tmp_path / "t.csv", tmp_path / "B07.run.csv"
    table.write_text(TABLE, "utf-8")
    assert run(["import", str(table), "--id", "B07", *OPTIONS, "--out", str(target)]) == 0
    said = " ".join(capsys.readouterr().err.split())
    assert "(by column 'up/down')" in said
    assert "Not used: column 'Weather'." in said
    lengths = [row.length for row in read_run(target).readings]
    assert lengths == pytest.approx([inches * 0.0254 for inches in (45.5, 50, 56.25, 62, 56, 50, 45.5)])


def test_a_run_that_exists_is_said_before_the_questions(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table, target = tmp_path / "t.csv", tmp_path / "B07.run.csv"
    table.write_text(TABLE, "utf-8")
    target.touch()
    assert run(["import", str(table), "--id", "B07", "--out", str(target)]) == 1
    assert "exists already, and nothing is overwritten; name another with --out" in capsys.readouterr().err


def test_what_one_cycle_cannot_show_is_not_called_seen(tmp_path: Path) -> None:
    table, target = tmp_path / "t.csv", tmp_path / "B07.run.csv"
    table.write_text(TABLE, "utf-8")
    assert run(["import", str(table), "--id", "B07", *OPTIONS, "--out", str(target)]) == 0
    assert run(["fit", str(target), "--out", str(tmp_path), "--quiet"]) == 0
    types = {line.source: line.type for line in load_profile(tmp_path / "B07.profile.json").budget}
    assert types["cycle gain"] == types["hook shift"] == "B"
    assert types["repeatability"] == "A"


def test_a_prediction_fits_a_terminal_and_speaks_of_no_thickness(capsys: pytest.CaptureFixture[str]) -> None:
    profile = str(SAMPLES / "KNEE.profile.json")
    assert run(["predict", profile, "--between", "1.5m", "--kind", "half-path"]) == 0
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 80
    assert run(["predict", profile, "--between", "1.5m", "--kind", "half-path", "--fittings", "12,12"]) == 2
    assert "a half-path length has no pins" in capsys.readouterr().err


@pytest.mark.parametrize(("back", "measured"), [("50;19,7;d;", True), ("62;41,0;d;", False)])
def test_one_length_on_the_way_back_is_a_profile(back: str, measured: bool, tmp_path: Path) -> None:
    table, target = tmp_path / "t.csv", tmp_path / "B07.run.csv"
    table.write_text("".join(line for line in TABLE.splitlines(keepends=True) if ";d;" not in line) + back, "utf-8")
    assert run(["import", str(table), "--id", "B07", *OPTIONS, "--out", str(target)]) == 0
    assert run(["fit", str(target), "--out", str(tmp_path), "--quiet"]) == 0
    found = load_profile(tmp_path / "B07.profile.json").branches.unloading
    assert (found is not None) is measured
    if found is not None:
        assert (found.length_m[0], found.length_m[-1]) == pytest.approx((50 * 0.0254, 62 * 0.0254))


def test_a_pipe_is_told_at_once_of_all_that_is_missing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = tmp_path / "readings.csv"
    table.write_text(TABLE, "utf-8")
    assert run(["import", str(table), "--method", "anchor-on-scale", "--id", "B7"]) == 1
    assert "--flat, --strands, --kind, --scale, --zero are missing; give them" in capsys.readouterr().err


def test_an_imported_run_keeps_day_temperature_wait_and_zero(tmp_path: Path) -> None:
    table, made = tmp_path / "readings.csv", tmp_path / "B7.run.csv"
    table.write_text(TABLE, "utf-8")
    noted = ["--date", "2026-03-01", "--temperature", "17.5", "--dwell", "5", "--zero", "0,4"]
    assert run(["import", str(table), "--id", "B7", *OPTIONS, *noted, "--out", str(made)]) == 0
    imported = read_run(made)
    procedure, started = imported.head.procedure, imported.head.started
    assert (procedure.temperature, procedure.dwell_s) == (17.5, 5.0)
    assert started is not None
    assert started.date().isoformat() == "2026-03-01"
    assert imported.standing("zero")[0].force == pytest.approx(0.4 * 4.4482216152605)
    assert [row.number for row in imported.rows] == list(range(1, 9))


@pytest.mark.parametrize("day", ["2999-01-01", "0206-03-01", "1st of May"])
def test_a_day_to_come_or_long_ago_is_a_slip_of_the_pen(
    day: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table, made = tmp_path / "readings.csv", tmp_path / "B7.run.csv"
    table.write_text(TABLE, "utf-8")
    assert run(["import", str(table), "--id", "B7", *OPTIONS, "--date", day, "--out", str(made)]) == 2
    assert "like 2026-03-01" in capsys.readouterr().err
    assert not made.exists()


def test_units_are_named_as_people_name_them(tmp_path: Path) -> None:
    table = tmp_path / "readings.csv"
    table.write_text("length,force\n60,10\n62,12\n64,14\n", "utf-8")
    described = ["--flat", "40in", "--kind", "half-path", "--scale", "hook", "--strands", "2"]
    forces = []
    for force_unit in ("lb", "Pounds"):
        made = tmp_path / f"{force_unit}.run.csv"
        units = ["--length-unit", "inches", "--force-unit", force_unit]
        assert run(["import", str(table), "--id", "B7", *described, *units, "--out", str(made)]) == 0
        forces.append([row.force for row in read_run(made).readings])
    assert forces[0] == forces[1]


def test_kilos_or_pounds_as_the_reader_likes(capsys: pytest.CaptureFixture[str]) -> None:
    """1 lb = 0.45359237 kg, exact (NIST SP 811)."""
    knee = str(SAMPLES / "KNEE.profile.json")
    assert run(["predict", knee, "--length", "1.524m"]) == 0  # 60 in, exact
    kilos = capsys.readouterr().out
    assert run(["predict", knee, "--length", "60in", "--unit", "lb"]) == 0
    pounds = capsys.readouterr().out
    assert "half-path length 60.00 in" in pounds or "60.00 in on the tape" in pounds
    shown = [float(text.split("\n  loading")[1].split()[0]) for text in (kilos, pounds)]
    assert shown[1] == pytest.approx(shown[0] / 0.45359237, abs=0.02)
    assert run(["show", knee, "--unit", "stone"]) == 2
    assert "use kg or lb" in capsys.readouterr().err


def test_hung_weights_take_no_check_of_a_scale(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scale = tmp_path / "other.scale.json"
    assert run(["scale", "new", "other", "--resolution", "0.05kg", "--capacity", "50kg", "--out", str(tmp_path)]) == 0
    plates = tmp_path / "plates.csv"
    plates.write_text("known_kg,shown_kg,branch\n0,0,up\n10,10.1,up\n20,20.15,up\n10,10.1,down\n0,0,down\n", "utf-8")
    assert run(["scale", "check", str(scale), "--from", str(plates), "--loads-kind", "weighed"]) == 0
    capsys.readouterr()
    assert run(["fit", str(SAMPLES / "THIN.run.csv"), "--scale", str(scale), "--out", str(tmp_path)]) == 1
    assert "no scale; fit it without --scale" in capsys.readouterr().err


def test_what_to_do_next_keeps_the_unit(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["fit", str(SAMPLES / "THIN.run.csv"), "--unit", "lb", "--out", str(tmp_path)]) == 0
    said = capsys.readouterr().out.split("Next:")[1]
    assert said.count("--unit lb") == 1


@pytest.mark.parametrize("given", ["1.2..1.8", "1.2m..1.8", "1.2m-1.8m"])
def test_what_two_lengths_look_like_is_said_with_two_lengths(given: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["record", "B07", "--until", "2%", "--over", given]) == 2
    assert "for example --over 1.2m..1.8m" in capsys.readouterr().err


def test_what_holds_for_all_bands_of_a_table_is_asked_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = [
        f"{band},{x},{pull}" for band in ("C1", "C2", "C3") for x, pull in ((120, 5), (150, 11), (180, 16), (210, 20))
    ]
    (tmp_path / "box.csv").write_text("\n".join(["band,length (cm),pull (kg)", *rows]), "utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("calib.verbs.terminal.prompts.at_terminal", lambda: True)
    monkeypatch.setattr(sys, "stdin", io.StringIO("band-inner\n12,20\nhook\n\n"))
    assert run(["import", "box.csv", "--flat", "102.9cm"]) == 0
    said = capsys.readouterr().err
    for words in ("The tape was held", "Diameters", "Name of the scale", "Strands", "Band C1:", "Band C3:"):
        assert said.count(words) == 1
    heads = [read_run(tmp_path / f"C{i}.run.csv").head for i in (1, 2, 3)]
    assert [head.length.fitting_diameters for head in heads] == [(0.012, 0.020)] * 3
    assert {head.band.strands for head in heads} == {2}


def test_a_recheck_typed_in_another_unit_is_told_which(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    run(["fit", str(SAMPLES / "KNEE.run.csv"), "--out", str(tmp_path)])
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("calib.verbs.terminal.prompts.at_terminal", lambda: True)
    monkeypatch.setattr(sys, "stdin", io.StringIO("140.3\n9\n"))
    run(["recheck", "KNEE", "--plate", "10kg"])
    said = " ".join(capsys.readouterr().err.split())
    assert re.search(r"with this load it should reach about \d+ mm\. Typed in cm\?", said)
    assert said.count("Typed in") == 1  # 9 is no length in any unit


def test_a_name_is_asked_for_and_helped_with_in_the_word_name(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("1\n?\nbig red/1\n"))
    assert open_door() == 130
    said = " ".join(capsys.readouterr().err.split())
    assert "hyphen. The band's files start with this name" in said
    assert "'big red/1' cannot be a name; use letters" in said


def test_only_recordings_that_are_not_at_their_end_are_offered_to_go_on_with(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    whole = SAMPLES / "KNEE.run.csv"
    shutil.copy(whole, tmp_path / "DONE.run.csv")
    head, row, rows = whole.read_text("utf-8").partition("\nrow,")
    plan = "\n# [extensions]\n# settings = [1.13, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2]"
    (tmp_path / "CUT.run.csv").write_text(head + plan + row + rows.partition("\n8,")[0] + "\n", "utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "stdin", io.StringIO("3\n"))
    assert open_door() == 130
    said = capsys.readouterr().err
    assert "CUT.run.csv" in said
    assert "DONE.run.csv" not in said
