"""From the command line: a year of use, two coaches' folders, a folder half synced: right, or a plain warning."""

import json
import re
import shlex
from pathlib import Path

import pytest

from calib.verbs.app import run
from tests.profile.store.folders import put
from tests.use.rig.made import band_text, rig_text

Capture = pytest.CaptureFixture[str]


def rig(profile: str) -> str:
    bands = (band_text(side=side, profile=profile) for side in ("left", "right"))
    return rig_text(*bands, bottom=1350, top=1900)


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_predict_by_name_answers_from_the_full_recording_and_says_its_day(here: Path, capsys: Capture) -> None:
    put(here / "B07.profile.json", "B07", 1.15, codes=["few-lengths"], wider=2)
    full = put(here / "B07.2026-03-01.profile.json", "B07")
    assert run(["predict", "b07", "--length", "1.6m", "--json"]) == 0
    by_name = capsys.readouterr()
    assert "B07, calibrated 2026-03-01 (B07.2026-03-01.profile.json)" in by_name.err
    assert run(["predict", str(full), "--length", "1.6m", "--json"]) == 0
    assert by_name.out == capsys.readouterr().out
    assert run(["predict", "B07.profile.json", "--length", "1.6m", "--json"]) == 0
    assert "ask for B07 [older-profile]" in capsys.readouterr().err


EACH = ("predict --length 1.6m", "show", "export --csv", "recheck --plate 10kg", "history", "log --reps 5", "compare")


@pytest.mark.parametrize("words", EACH)
def test_two_coaches_bands_of_one_name_are_asked_apart(words: str, here: Path, capsys: Capture) -> None:
    put(here / "ann" / "B03.profile.json", "B03")
    put(here / "bob" / "B03.profile.json", "B03", 1.248)
    before = sorted(here.rglob("*"))
    command, *options = words.split()
    assert run([command, "B03", *options]) == 1
    assert "B03 is the name of 2 bands: ann/B03" in capsys.readouterr().err
    assert sorted(here.rglob("*")) == before


def test_export_without_an_option_is_the_table_with_commas(here: Path, capsys: Capture) -> None:
    put(here / "B03.profile.json", "B03")
    assert run(["export", "B03", "--csv"]) == 0
    asked = capsys.readouterr().out
    assert asked.startswith("branch,length_m,tape_m,force_N")
    assert run(["export", "B03"]) == 0
    assert capsys.readouterr().out == asked
    assert run(["export", "B03", "--csv", "--json"]) == 2


def test_a_recheck_and_a_log_of_one_coachs_band_stay_with_it(here: Path, capsys: Capture) -> None:
    put(here / "ann" / "B03.profile.json", "B03")
    put(here / "bob" / "B03.profile.json", "B03", 1.248)
    assert run(["log", "bob/B03", "--reps", "40"]) == 0
    assert (here / "bob" / "B03.uses.csv").exists()
    assert run(["recheck", "ann/b03", "--plate", "10kg", "--length", "1432mm", "--json"]) in (0, 1)
    capsys.readouterr()
    assert run(["list", "--json"]) == 0
    bands = {b["band"]: b for b in json.loads(capsys.readouterr().out)["bands"]}
    assert (bands["ann/B03"]["reps_since"], bands["bob/B03"]["reps_since"]) == (0, 40)
    assert (bands["ann/B03"]["calibrations"], bands["bob/B03"]["calibrations"]) == (1, 1)


def test_one_run_fitted_twice_is_one_calibration_in_history(here: Path, capsys: Capture) -> None:
    put(here / "profiles" / "B01.profile.json", "B01", runs=["B01"])
    put(here / "box" / "B01.profile.json", "B01", 1.001, runs=["B01"])
    assert run(["history", "B01", "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)["calibrations"]) == 1


def test_a_softened_and_an_outlying_band_are_paired_last_and_said(here: Path, capsys: Capture) -> None:
    for name, level in (("A1", 1.0), ("A2", 0.93), ("A3", 1.0), ("A4", 0.94)):
        put(here / f"{name}.profile.json", name, level)
    put(here / "A3.old.profile.json", "A3", 1.233, "2025-03-01")  # A3 has lost 18.9 %; by its curve it is A1's twin
    assert run(["pair", "A1", "A2", "A3", "A4", "--json"]) == 0
    made = json.loads(capsys.readouterr().out)
    assert made["pairs"][0]["bands"] == ["A2", "A4"]
    assert any(f["code"] == "band-softened" and "18.9%" in f["text"] for f in made["findings"])
    put(here / "A4.profile.json", "A4", 0.94, codes=["outlying-band"])
    assert run(["pair", "A1", "A2", "A3", "A4", "--json"]) == 0
    made = json.loads(capsys.readouterr().out)
    assert set(made["pairs"][0]["bands"]) == {"A1", "A2"}
    assert "outlying-band" in [f["code"] for f in made["findings"]]


def test_solve_a_year_later_takes_the_newest_of_each_band_and_says_so(here: Path, capsys: Capture) -> None:
    """As the shell hands over *.profile.json: B04 is there twice."""
    put(here / "B04.profile.json", "B04")
    put(here / "B04.2027-03-01.profile.json", "B04", 0.97, "2027-03-01")
    put(here / "B05.profile.json", "B05", 0.96)
    (here / "here.rig.toml").write_text(rig("B04"), "utf-8")
    files = sorted(p.name for p in here.glob("*.profile.json"))
    assert run(["rig", "solve", "here.rig.toml", *files, "--top", "80", "--within", "60", "--json"]) == 0
    said = capsys.readouterr()
    assert "B04: its newest profile is taken, of 2027-03-01" in said.err
    assert "B04.profile.json" not in said.out


def test_a_rig_names_a_band_and_warns_of_an_older_file(here: Path, capsys: Capture) -> None:
    put(here / "B04.profile.json", "B04")
    put(here / "B04.2027-03-01.profile.json", "B04", 0.9, "2027-03-01")
    for profile, warned in (("B04", False), ("B04.profile.json", True)):
        (here / "here.rig.toml").write_text(rig(profile), "utf-8")
        assert run(["rig", "here.rig.toml", "--json"]) == 0
        codes = [f["code"] for f in json.loads(capsys.readouterr().out)["findings"]]
        assert ("older-profile" in codes) == warned


@pytest.mark.parametrize(
    "words", ["rig here.rig.toml", "rig weight here.rig.toml", 'rig here.rig.toml --lifters "A 140cm 180cm"']
)
def test_a_rig_warns_of_a_band_that_did_not_pass_whatever_else_is_said(words: str, here: Path, capsys: Capture) -> None:
    put(here / "B04.profile.json", "B04")
    (here / "here.rig.toml").write_text(rig("B04"), "utf-8")
    assert run(shlex.split(words)) == 0
    assert "recheck-failed" not in capsys.readouterr().err
    assert run(["recheck", "B04", "--plate", "10kg", "--length", "1500mm"]) == 0
    capsys.readouterr()
    assert run(shlex.split(words)) == 0
    assert "B04 did not pass its re-check of" in capsys.readouterr().err


RECHECKS = """\
# format = "bandcurve-rechecks/1"
# band = "B07"
written_at,on,mass_kg,u_mass_kg,length_mm,length_kind,fitting_diameters_mm,temperature_C,calibrated_on,note
"""
PASSED = "2026-10-25T02:30:00+02:00,2026-10-25,10,0.129,1365,band-inner,12 12,21,,\n"
FAILED = "2026-10-25T02:10:00+01:00,2026-10-25,10,0.129,1500,band-inner,12 12,21,,\n"


@pytest.mark.parametrize("rows", [PASSED + FAILED, FAILED + PASSED], ids=["as noted", "merged"])
def test_a_band_that_failed_last_is_not_passed_by_a_clock_set_back(rows: str, here: Path, capsys: Capture) -> None:
    """Half past two in summer time comes before ten past two in winter time, in whatever order the rows were merged."""
    put(here / "B07.profile.json", "B07")
    (here / "B07.rechecks.csv").write_text(RECHECKS + PASSED, "utf-8")
    assert run(["predict", "B07", "--length", "1.6m"]) == 0
    assert "recheck-failed" not in capsys.readouterr().err
    (here / "B07.rechecks.csv").write_text(RECHECKS + rows, "utf-8")
    assert run(["predict", "B07", "--length", "1.6m"]) == 0
    assert "B07 did not pass its re-check of 2026-10-25" in capsys.readouterr().err


def test_names_in_another_case_are_the_same_band_in_every_command(here: Path, capsys: Capture) -> None:
    put(here / "B07.profile.json", "B07")
    put(here / "b07.2027.profile.json", "b07", 0.98, "2027-03-01")
    for words in ("predict b07 --length 1.6m", "show B07", "history b07", "compare B07", "log b07 --reps 3"):
        assert run(words.split()) == 0, capsys.readouterr().err
    assert run(["list", "--json"]) == 0
    capsys.readouterr()
    assert run(["retire", "b07"]) == 0
    capsys.readouterr()
    assert run(["predict", "B07", "--length", "1.6m"]) == 0
    assert "[band-retired]" in capsys.readouterr().err
    assert run(["undo", "B07"]) == 0
    assert run(["rename", "B07", "b07x"]) == 0
    assert run(["undo", "B07X"]) == 0
    capsys.readouterr()
    assert run(["predict", "b07", "--length", "1.6m"]) == 0
    said = capsys.readouterr()
    assert "calibrated 2027-03-01" in said.err
    assert "band-retired" not in said.err


def test_two_coaches_bands_settled_as_two_are_paired_and_hung_as_two(here: Path, capsys: Capture) -> None:
    put(here / "ann" / "B03.profile.json", "B03")
    put(here / "bob" / "B03.profile.json", "B03", 1.248)
    assert run(["pair", "ann/B03", "bob/B03", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["pairs"][0]["bands"] == ["ann/B03", "bob/B03"]
    assert run(["merge", "B03", "--two", "bob-B03"]) == 0
    capsys.readouterr()
    assert run(["pair", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["pairs"][0]["bands"] == ["B03", "bob-B03"]
    assert run(["predict", "bob-B03", "--length", "1.6m"]) == 0
    assert "bob-B03 at" in capsys.readouterr().out
    (here / "here.rig.toml").write_text(rig("B03"), "utf-8")
    solve = ["rig", "solve", "here.rig.toml", "--top", "80", "--within", "60", "--json"]
    assert run([*solve, "B03", "bob-B03"]) == 0
    found = json.loads(capsys.readouterr().out)["proposals"]
    assert {band["band"] for one in found for band in one["bands"]} == {"B03", "bob-B03"}


def test_two_names_of_one_band_have_one_history_and_one_change(here: Path, capsys: Capture) -> None:
    put(here / "B07.profile.json", "B07")
    put(here / "R7.profile.json", "R7", 0.97, "2027-03-01")
    assert run(["merge", "B07", "R7", "--one"]) == 0
    assert run(["rename", "B07", "red7"]) == 0
    for name in ("red7", "B07", "R7"):
        capsys.readouterr()
        assert run(["history", name, "--json"]) == 0
        told = json.loads(capsys.readouterr().out)
        assert (told["band"], len(told["calibrations"])) == ("red7", 2)
        assert run(["compare", name, "--json"]) == 0
        assert json.loads(capsys.readouterr().out)["level"]["level_ratio"] == pytest.approx(0.97, abs=0.005)


def test_a_renamed_band_leaves_no_second_one_behind_that_was_never_measured(here: Path, capsys: Capture) -> None:
    (here / "KNEE.run.csv").write_bytes((Path(__file__).parents[2] / "sample_runs" / "KNEE.run.csv").read_bytes())
    assert run(["fit", "KNEE.run.csv"]) == 0
    assert run(["rename", "KNEE", "red3"]) == 0
    capsys.readouterr()
    assert run(["list", "--json"]) == 0
    assert [b["band"] for b in json.loads(capsys.readouterr().out)["bands"]] == ["red3"]
    assert run(["undo", "red3"]) == 0
    capsys.readouterr()
    assert run(["list", "--json"]) == 0
    assert [b["band"] for b in json.loads(capsys.readouterr().out)["bands"]] == ["KNEE"]


def test_what_a_sync_has_not_brought_and_a_version_to_come_are_said_and_the_whole_file_answers(
    here: Path, capsys: Capture
) -> None:
    whole = put(here / "B05.profile.json", "B05").read_text("utf-8")
    (here / "B05.2.profile.json").write_text(whole[:700], "utf-8")
    (here / "B05.3.profile.json").write_text('{"format": "bandcurve-profile/9"}', "utf-8")
    assert run(["predict", "B05", "--length", "1.6m"]) == 0
    said = capsys.readouterr()
    assert "B05.2.profile.json: is incomplete" in said.err
    assert "B05.3.profile.json: is of version 9, newer than this program reads" in said.err
    assert "B05 at" in said.out


def test_history_and_predict_say_what_could_not_be_read_in_a_folder_with_a_colon(here: Path, capsys: Capture) -> None:
    put(here / "2026: box" / "B07.profile.json", "B07")
    (here / "2026: box" / "B07.rechecks.csv").write_text("half", "utf-8")
    assert run(["history", "B07"]) == 1
    assert "left out, 2026: box/B07.rechecks.csv" in capsys.readouterr().err
    assert run(["predict", "B07", "--length", "1.6m"]) == 0
    assert "[file-not-read]" in capsys.readouterr().err


def test_compare_of_a_name_is_of_its_first_and_its_newest_calibration(here: Path, capsys: Capture) -> None:
    put(here / "B07.profile.json", "B07")
    assert run(["compare", "B07"]) == 1
    assert "B07 was calibrated once" in capsys.readouterr().err
    put(here / "B07.2.profile.json", "B07", 0.9, "2026-09-01")
    put(here / "B07.3.profile.json", "B07", 0.8, "2027-03-01")
    assert run(["compare", "B07", "--json"]) == 0
    said = capsys.readouterr()
    assert json.loads(said.out)["level"]["level_ratio"] == pytest.approx(0.8, abs=0.01)
    assert "[band-softened]" in said.err


def test_list_says_what_is_retired_and_gone_soft(here: Path, capsys: Capture) -> None:
    put(here / "B05.profile.json", "B05", 1.0, "2025-03-01")
    put(here / "B05.2026.profile.json", "B05", 0.811, "2026-03-01")
    put(here / "B06.profile.json", "B06")
    assert run(["retire", "B06", "--note", "nick"]) == 0
    capsys.readouterr()
    assert run(["list"]) == 0
    said = capsys.readouterr().out
    assert re.search(r"^  B06 .* retired$", said, re.MULTILINE)
    assert "B05: Retire it" in said
    assert run(["list", "--full"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "B05 has lost 18.9% of its pull since 2025-03-01" in said
    assert "B06 was retired on" in said
    assert run(["list", "--json"]) == 0
    found = {b["band"]: [f["code"] for f in b["findings"]] for b in json.loads(capsys.readouterr().out)["bands"]}
    assert "band-softened" in found["B05"]
    assert "band-retired" in found["B06"]
