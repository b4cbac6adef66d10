"""A band by its name: the newest good calibration answers, its day is said, and what speaks against it is a finding."""

from datetime import date, timedelta
from pathlib import Path

import pytest

from calib.errors import DataError, FileError
from calib.profile.store.log_file import add_entry
from calib.profile.store.rechecks import KIND, Hung, Recheck, row_of
from calib.stamp import stamp
from calib.use.bands.lookup import Found, Lookup, find
from calib.use.bands.recheck import expect
from calib.verbs.app import run as bandcurve
from tests.profile.store.folders import put

SAMPLES = Path(__file__).parents[3] / "sample_runs"
HUNG = Hung(10.0, 0.0129, "band-inner", (0.012, 0.012), 21.0)


def codes(found: Found) -> list[str]:
    return [f.code for f in found.findings]


def said(found: Found, code: str) -> str:
    return next(f.text for f in found.findings if f.code == code)


def test_a_name_is_answered_from_the_full_recording_and_the_quick_file_says_there_is_a_newer(tmp_path: Path) -> None:
    """The quick look was mistyped: 15 % too high, and twice as wide."""
    quick = put(tmp_path / "B07.profile.json", "B07", 1.15, codes=["few-lengths"], wider=2)
    full = put(tmp_path / "B07.2026-03-01.profile.json", "B07")
    by_name = find("b07", tmp_path)
    assert (by_name.path, by_name.day) == (full, "2026-03-01")
    by_file = find(quick)
    assert by_file.profile.force(1.6) == pytest.approx(1.15 * by_name.profile.force(1.6))
    assert said(by_file, "older-profile").endswith(
        "calibrated again that day (B07.2026-03-01.profile.json): ask for B07"
    )
    assert "older-profile" not in codes(by_name)


def test_the_newest_of_several_days_answers_whatever_the_files_are_called(tmp_path: Path) -> None:
    put(tmp_path / "zz.profile.json", "B07", 1.0, "2026-03-01")
    put(tmp_path / "deep" / "er" / "a.profile.json", "b07", 0.95, "2027-03-01")
    put(tmp_path / "B08.profile.json", "B08", 1.0, "2028-03-01")
    found = find("B07", tmp_path)
    assert (found.day, found.path.name) == ("2027-03-01", "a.profile.json")
    assert "several-folders" in codes(found)


def test_two_coaches_bands_of_one_name_are_two_bands(tmp_path: Path) -> None:
    put(tmp_path / "ann" / "B03.profile.json", "B03", 1.0)
    put(tmp_path / "bob" / "B03.profile.json", "B03", 1.248)
    with pytest.raises(DataError) as caught:
        find("B03", tmp_path)
    assert "B03 is the name of 2 bands: ann/B03 (flat 1.029 m, measured 2026-03-01) and bob/B03" in str(caught.value)
    assert "bandcurve merge B03" in str(caught.value)
    hers, his = find("ann/B03", tmp_path), find("Bob/b03", tmp_path)
    assert his.profile.force(1.6) == pytest.approx(1.248 * hers.profile.force(1.6))
    assert codes(hers) == codes(his) == []


def test_profiles_of_one_run_are_one_calibration_and_that_of_the_batch_knows_more(tmp_path: Path) -> None:
    put(tmp_path / "profiles" / "B01.profile.json", "B01", 1.0, runs=["B01"])
    batch = put(tmp_path / "box" / "B01.profile.json", "B01", 1.01, runs=["B01"])
    text = batch.read_text("utf-8").replace('"sha256": "423031', '"sha256": "423031', 1)
    batch.write_text(text.replace('"from": [', '"from": [{"file": "B02.profile.json", "sha256": null}, '), "utf-8")
    found = find("B01", tmp_path)
    assert found.path == batch
    assert found.band is not None
    assert len(found.band.calibrations) == 1
    assert "older-profile" not in codes(find(tmp_path / "profiles" / "B01.profile.json"))


def test_a_softened_band_gets_a_finding(tmp_path: Path) -> None:
    put(tmp_path / "B05.profile.json", "B05", 1.0, "2025-03-01")
    put(tmp_path / "B05.2026.profile.json", "B05", 0.811, "2026-03-01")
    found = find("B05", tmp_path)
    assert "B05 has lost 18.9% of its pull since 2025-03-01" in said(found, "band-softened")
    assert found.is_doubtful
    put(tmp_path / "B06.profile.json", "B06", 1.0, "2025-03-01")
    put(tmp_path / "B06.2026.profile.json", "B06", 0.9, "2026-03-01")
    assert codes(find("B06", tmp_path)) == []


def check(folder: Path, name: str, off: float, days: int = 100) -> None:
    profile = find(name, folder).profile
    on = date(2026, 3, 1) + timedelta(days)
    kept = Recheck(name, on, HUNG, expect(profile, HUNG).length * off, date(2026, 3, 1), stamp=stamp())
    add_entry(folder / f"{name}.rechecks.csv", KIND, name, lambda version: row_of(kept, version))


def test_a_failed_recheck_is_said_until_it_passes_or_the_band_is_measured(tmp_path: Path) -> None:
    put(tmp_path / "B07.profile.json", "B07")
    check(tmp_path, "B07", 1.10)
    assert "B07 did not pass its re-check of 2026-06-09" in said(find("B07", tmp_path), "recheck-failed")
    check(tmp_path, "B07", 1.0)
    assert codes(find("B07", tmp_path)) == []
    check(tmp_path, "B07", 1.10, days=120)
    assert codes(find("B07", tmp_path)) == ["recheck-failed"]
    put(tmp_path / "B07.new.profile.json", "B07", 0.9, "2026-07-15")
    assert codes(find("B07", tmp_path)) == []


def test_an_outlying_band_keeps_its_finding(tmp_path: Path) -> None:
    put(tmp_path / "B07.profile.json", "B07", codes=["outlying-band"])
    found = find("B07", tmp_path)
    assert codes(found) == ["outlying-band"]
    assert found.is_doubtful


def test_a_folder_half_synced_is_answered_from_what_is_whole_and_said(tmp_path: Path) -> None:
    put(tmp_path / "B07.profile.json", "B07")
    newer = put(tmp_path / "B07.2027-03-01.profile.json", "B07", 0.9, "2027-03-01")
    whole = newer.read_bytes()
    for cut in (b"", whole[:500], whole[: len(whole) // 2], whole.replace(b"profile/1", b"profile/2", 1)):
        newer.write_bytes(cut)
        found = find("B07", tmp_path)
        assert found.day == "2026-03-01"
        assert "B07.2027-03-01.profile.json" in said(found, "file-not-read")
    newer.write_bytes(whole)
    assert find("B07", tmp_path).day == "2027-03-01"


def test_a_profile_whole_at_a_glance_that_is_none_is_passed_over(tmp_path: Path) -> None:
    put(tmp_path / "B07.profile.json", "B07")
    newer = put(tmp_path / "B07.b.profile.json", "B07", 1.0, "2027-03-01")
    newer.write_text(newer.read_text("utf-8").replace('"cycles": 3', '"cycles": -3'), "utf-8")
    found = find("B07", tmp_path)
    assert found.day == "2026-03-01"
    assert "an older calibration is used" in said(found, "file-not-read")


def test_a_folder_name_with_a_colon_loses_no_warning(tmp_path: Path) -> None:
    folder = tmp_path / "2026: box 3"
    put(folder / "B07.profile.json", "B07")
    (folder / "B07.new.profile.json").write_text("{", "utf-8")
    assert codes(find("B07", tmp_path)) == ["file-not-read"]


def test_unknown_names_say_what_is_known(tmp_path: Path) -> None:
    put(tmp_path / "B07.profile.json", "B07")
    with pytest.raises(DataError, match=r"there is no band 'B70'.*did you mean B07"):
        find("B70", tmp_path)
    (tmp_path / "B09.run.csv").write_text("# nothing yet\n", "utf-8")
    with pytest.raises(DataError, match="B09 was never calibrated; measure it: bandcurve record B09"):
        find("B09", tmp_path)
    with pytest.raises(FileError):
        find("none.profile.json", tmp_path)
    with pytest.raises(FileError):
        find("B07", tmp_path / "none")


def test_several_files_of_one_band_are_one_band_and_the_newest_answers(tmp_path: Path) -> None:
    """As a shell's *.profile.json hands them over a year later."""
    for name in ("B04", "B05"):
        put(tmp_path / f"{name}.profile.json", name, 1.0, "2026-03-01")
    put(tmp_path / "B04.2027.profile.json", "B04", 0.95, "2027-03-01")
    files = sorted(tmp_path.glob("*.profile.json"))
    found = Lookup(tmp_path).find_all(files)
    assert [(f.name, f.day) for f in found] == [("B04", "2027-03-01"), ("B05", "2026-03-01")]
    assert "its newest profile is taken, of 2027-03-01, not that of 2026-03-01" in said(found[0], "older-profile")
    assert [f.path for f in Lookup(tmp_path).find_all(["b05", "B04", files[0]])] == [
        tmp_path / "B05.profile.json",
        tmp_path / "B04.2027.profile.json",
    ]


def test_strands_and_flat_lengths_tell_bands_of_one_folder_apart(tmp_path: Path) -> None:
    put(tmp_path / "B07.profile.json", "B07")
    put(tmp_path / "B07.b.profile.json", "B07", 1.0, "2026-04-01", flat=0.9)
    with pytest.raises(DataError, match="B07 stands for two bands: flat lengths of 0"):
        find("B07", tmp_path)


def test_a_slip_within_one_folder_is_said_and_not_taken_for_a_second_band(tmp_path: Path) -> None:
    put(tmp_path / "B07.profile.json", "B07", 1.25)
    put(tmp_path / "B07.b.profile.json", "B07", 1.0, "2026-03-02")
    assert "differ by 20%: one contains a slip, or they are two bands" in said(find("B07", tmp_path), "one-day-apart")


@pytest.mark.parametrize("question", ["predict B07 --length 1.6m", "history B07", "recheck B07 --plate 10kg"])
def test_a_band_whose_calibration_cannot_be_read_is_not_called_unmeasured(
    question: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("B07.profile.json").write_text("{", encoding="utf-8")
    Path("B07.run.csv").write_bytes((SAMPLES / "LONG.run.csv").read_bytes().replace(b"LONG", b"B07"))
    assert bandcurve(question.split()) == 1
    assert "no calibration of B07 can be read: B07.profile.json: is incomplete" in capsys.readouterr().err
