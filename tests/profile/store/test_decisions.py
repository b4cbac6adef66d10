"""Retired, suspect, renamed, merged, taken back; and a register that says what the files do not."""

import json
import re
from datetime import date
from pathlib import Path

import pytest

from calib.errors import DataError
from calib.profile.store.decide import decide
from calib.profile.store.decisions import NAME, begun, parse_decisions
from calib.profile.store.register import read_register
from calib.use.bands.lookup import find
from calib.verbs.app import run
from tests.profile.store.folders import put

Capture = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def codes(name: str) -> list[str]:
    return [f.code for f in find(name).findings]


def test_a_retired_band_says_so_and_is_not_paired(here: Path, capsys: Capture) -> None:
    for name in ("A1", "A2", "A3"):
        put(here / f"{name}.profile.json", name, 1.0 + 0.01 * int(name[1]))
    files = {p: p.read_bytes() for p in here.iterdir()}
    assert run(["retire", "a1", "--note", "nick near the seam"]) == 0
    assert codes("A1") == ["band-retired"]
    assert "nick near the seam" in find("A1").findings[0].text
    capsys.readouterr()
    assert run(["pair", "A1", "A2", "A3", "--json"]) == 0
    made = json.loads(capsys.readouterr().out)
    assert [set(p["bands"]) for p in made["pairs"]] == [{"A2", "A3"}]
    assert "band-retired" in [f["code"] for f in made["findings"]]
    assert run(["retire", "A1"]) == 1
    assert run(["undo", "A1"]) == 0
    assert codes("A1") == []
    assert {p: p.read_bytes() for p in files} == files


def test_suspect_is_said_and_undo_takes_back_one_thing_at_a_time(here: Path, capsys: Capture) -> None:
    put(here / "A1.profile.json", "A1")
    assert run(["retire", "A1", "--suspect"]) == 0
    assert run(["retire", "A1"]) == 0
    assert run(["log", "A1", "--reps", "30"]) == 0
    for said, left in (("30 repetitions", ["band-retired"]), ("A1 retired", ["band-suspect"]), ("A1 suspect", [])):
        capsys.readouterr()
        assert run(["undo", "A1"]) == 0
        assert said in capsys.readouterr().out
        assert codes("A1") == left
    assert read_register(here).band("A1").uses == ()
    assert run(["undo", "A1"]) == 1
    assert "there is nothing to undo for A1" in capsys.readouterr().err


def test_a_calibration_set_aside_is_not_answered_from(here: Path) -> None:
    put(here / "B07.profile.json", "B07")
    slip = put(here / "B07.b.profile.json", "B07", 1.3, "2026-03-05")
    assert run(["retire", str(slip)]) == 0
    assert find("B07").day == "2026-03-01"
    assert "one-day-apart" not in codes("B07")
    assert run(["undo", "B07"]) == 0
    assert find("B07").day == "2026-03-05"


def test_a_new_name_leads_to_the_band_and_so_does_the_old_one(here: Path, capsys: Capture) -> None:
    put(here / "B07.profile.json", "B07")
    assert run(["log", "B07", "--reps", "20"]) == 0
    assert run(["rename", "b07", "red-07"]) == 0
    assert find("RED-07").name == find("B07").name == "red-07"
    assert run(["log", "red-07", "--reps", "5"]) == 0
    assert sum(u.reps for u in read_register(here).band("red-07").uses) == 25
    put(here / "new" / "B07.profile.json", "B07", 1.4, "2027-01-01")  # a new band gets the old label
    assert find("B07").name == "B07"
    assert find("red-07").profile.force(1.6) < find("B07").profile.force(1.6)
    assert sum(u.reps for u in read_register(here).band("red-07").uses) == 25
    capsys.readouterr()
    assert run(["rename", "red-07", "b07"]) == 1
    assert "there is a band B07 already" in capsys.readouterr().err
    assert run(["rename", "red-07", "../x"]) == 1


def test_two_coaches_settle_their_bands_for_good(here: Path, capsys: Capture) -> None:
    put(here / "ann" / "B03.profile.json", "B03")
    put(here / "bob" / "B03.profile.json", "B03", 1.248)
    assert run(["merge", "B03"]) == 2
    assert "say --one, or --two NAME" in capsys.readouterr().err
    assert run(["merge", "B03", "--two", "bob-B03"]) == 0
    assert find("B03").path.parent.name == "ann"
    assert find("bob-b03").path.parent.name == "bob"
    assert codes("B03") == codes("bob-B03") == []
    assert run(["undo", "bob-B03"]) == 0
    with pytest.raises(DataError, match="2 bands"):
        find("B03")
    assert run(["merge", "B03", "--one"]) == 0
    assert find("B03").band is not None
    assert "one-day-apart" in codes("B03")


def test_one_band_in_two_folders_is_said_until_it_is_settled(here: Path) -> None:
    put(here / "2026" / "B07.profile.json", "B07")
    put(here / "2027" / "B07.profile.json", "B07", 0.95, "2027-03-01")
    assert codes("B07") == ["several-folders"]
    assert run(["merge", "B07", "--one"]) == 0
    assert codes("B07") == []
    assert run(["undo", "B07"]) == 0
    assert run(["merge", "B07", "--two", "B17"]) == 0
    assert (find("B07").day, find("B17").day) == ("2026-03-01", "2027-03-01")


def test_two_names_of_one_band_are_merged_and_another_loop_is_not(here: Path, capsys: Capture) -> None:
    put(here / "B07.profile.json", "B07")
    put(here / "R7.profile.json", "R7", 0.97, "2027-03-01")
    put(here / "Z.profile.json", "Z", 0.97, "2027-03-01", flat=0.9)
    assert run(["merge", "B07", "R7", "--one"]) == 0
    assert find("b07").day == find("R7").day == "2027-03-01"
    assert run(["merge", "B07", "Z", "--one"]) == 1
    assert "cannot be one band" in capsys.readouterr().err


def test_a_register_that_contradicts_the_files_loses_and_that_is_said(here: Path, capsys: Capture) -> None:
    profile = put(here / "B07.profile.json", "B07")
    decide(here, "retired", "B07", ["0123456789ab"])  # of calibrations that are not here
    decide(here, "renamed", "B99", [read_register(here).band("B07").calibrations[0].key], to="X1")
    found = find("B07")
    assert [f.code for f in found.findings] == ["register-differs", "register-differs"]
    assert all("the files count" in f.text for f in found.findings)
    assert not found.is_retired
    assert profile.exists()


def test_a_register_of_the_future_or_half_synced_is_said_and_not_written_to(here: Path, capsys: Capture) -> None:
    put(here / "B07.profile.json", "B07")
    for text, said in (
        (begun().replace("/1", "/2"), "newer than this program reads"),
        ("half", "not a register of bands"),
    ):
        (here / NAME).write_text(text + "\n", "utf-8")
        assert run(["retire", "B07"]) == 1
        assert said in capsys.readouterr().err
        assert (here / NAME).read_text("utf-8") == text + "\n"
        assert find("B07").day == "2026-03-01"
        assert any(said in p.text for p in read_register(here).problems)


def test_decisions_of_a_copy_the_sync_left_count_and_a_row_cut_off_goes(here: Path) -> None:
    put(here / "B07.profile.json", "B07")
    assert run(["retire", "B07"]) == 0
    path = here / NAME
    path.rename(here / "bandcurve.bands (laptop).csv")
    put(here / "B08.profile.json", "B08")
    assert run(["retire", "B08", "--suspect"]) == 0
    assert (codes("B07"), codes("B08")) == (["band-retired"], ["band-suspect"])
    path.write_bytes(path.read_bytes() + b"5d0f3a91c2")
    assert run(["undo", "B08"]) == 0
    assert len(parse_decisions(path.read_bytes(), NAME)) == 2


def test_a_clock_set_back_loses_no_decision_and_undo_takes_back_what_was_noted_last(
    here: Path, capsys: Capture
) -> None:
    put(here / "A1.profile.json", "A1")
    assert run(["retire", "A1", "--suspect"]) == 0
    register = here / NAME
    register.write_text(register.read_text().replace(f",{date.today().year}-", ",2099-"))
    assert run(["retire", "A1"]) == 0
    assert codes("A1") == ["band-retired"]
    assert run(["log", "A1", "--reps", "30"]) == 0
    for said, left in (("30 repetitions", ["band-retired"]), ("A1 retired", ["band-suspect"]), ("A1 suspect", [])):
        capsys.readouterr()
        assert run(["undo", "A1"]) == 0
        assert said in capsys.readouterr().out
        assert codes("A1") == left


def test_an_entry_of_the_end_of_time_stops_no_later_one(here: Path) -> None:
    put(here / "A1.profile.json", "A1")
    assert run(["retire", "A1", "--suspect"]) == 0
    register = here / NAME
    lines = register.read_text().splitlines()
    cells = lines[-1].split(",")
    cells[1] = "9999-12-31T23:59:59.999999Z"
    register.write_text("\n".join([*lines[:-1], ",".join(cells), ""]))
    assert run(["retire", "A1"]) == 0


def test_a_decision_of_a_day_still_to_come_is_ignored_and_said(here: Path, capsys: Capture) -> None:
    put(here / "A1.profile.json", "A1")
    assert run(["retire", "A1"]) == 0
    register = here / NAME
    register.write_text(re.sub(r"\b20\d\d-", "2199-", register.read_text("utf-8")), "utf-8")
    found = find("A1")
    assert [f.code for f in found.findings] == ["register-differs"]
    assert "is in the future" in found.findings[0].text
    assert run(["retire", "A1"]) == 0
    assert set(codes("A1")) == {"band-retired", "register-differs"}
    assert read_register(here).newest.year < 2199
