"""From the command line: a year of use, two coaches' folders, a folder half synced: right, or a plain warning."""

import json
import re
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
