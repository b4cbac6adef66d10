"""What cannot be paired or compared is one sentence with what would fix it, and nothing else."""

import json
from pathlib import Path
from typing import Any

import pytest

from calib.profile.document import Profile, save_profile
from calib.verbs.app import run
from tests.use.bands.hooked import head
from tests.use.bands.made import band

Capture = pytest.CaptureFixture[str]
RUN = Path(__file__).parents[3] / "sample_runs" / "KNEE.run.csv"
LATER = {"measured_at": "2027-03-05"}


def between(name: str, first: int, last: int, **changes: Any) -> Profile:
    """The invented band, tested over a part of its loading lengths only."""
    whole = band(name, **changes).model_dump(by_alias=True, mode="json")
    loading = whole["branches"]["loading"]
    whole["branches"] = {"loading": {k: v[first:last] for k, v in loading.items()}, "unloading": None}
    whole["rest_N"] = {"loading": whole["rest_N"]["loading"][first:last], "unloading": None}
    for factor in whole["factors"]:
        factor |= {"loading_N": factor["loading_N"][first:last], "unloading_N": None}
    return Profile.model_validate(whole | {"hysteresis": None}, strict=False)


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Bands in files of their own, each a way to go wrong."""
    bands = {
        "A1": band("A1"),
        "A1.later": band("A1", 0.97, made=LATER),
        "A1.same-day": band("A1", 0.97),
        "A1.other": band("A1", band={"flat_length_m": 0.93}, made=LATER),
        "A2": band("A2", 1.02),
        "A3": band("A3", 1.03),
        "C1": band("C1", 1.6),
        "short": between("S1", 0, 30),
        "far": between("F1", 31, 61),
        "far.later": between("S1", 31, 61, made=LATER),
    }
    for name, profile in bands.items():
        save_profile(profile, tmp_path / f"{name}.profile.json")
    (tmp_path / "K.run.csv").write_bytes(RUN.read_bytes())
    (tmp_path / "B+C.series.csv").write_text(head("B", "C"), "utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize(
    ("line", "said", "remedy"),
    [
        ("pair A1 A1.other A2", "A1 stands for two bands: flat lengths of 0.930 and 1.029 m", "another id"),
        ("pair A1 A1.later", "A1: one band makes no pair", "name the profiles of two bands"),
        ("pair short far A1", "S1 was tested up to 1.599 m and F1 only from 1.631 m", "leave one out"),
        ("pair A1 A2 --over 1.2m..2.5m", "A1: 1.2 to 2.5 m is outside the tested lengths", "1.130 to 2.100 m"),
        ("pair A1 gone", "gone.profile.json: cannot be read: there is no such file", "check the name"),
        ("pair A1 K.run.csv", "K.run.csv: is a run", "bandcurve fit K.run.csv"),
        ("pair A1 B+C.series.csv", "B+C.series.csv: is a file of series", "the right file?"),
        ("pair A1 A2 --series gone.series.csv", "gone.series.csv: there is no such file", "at a terminal"),
        ("compare A1 A2", "A1 and A2 are two bands", "pair says how far"),
        ("compare A1 A1.other", "A1 stands for two bands: flat lengths of 0.930 and 1.029 m", "one id given twice"),
        ("compare A1 A1", "A1.profile.json and A1.profile.json are one calibration", "an earlier and a later"),
        ("compare A1.later A1", "before the old one on 2027-03-05", "swap them"),
        ("compare short far.later", "S1 of 2026-03-01 was tested up to 1.599 m and S1 of 2027-03-05", "measure it"),
        ("compare A1 gone", "gone.profile.json: cannot be read: there is no such file", "check the name"),
        ("compare K.run.csv A1", "K.run.csv: is a run", "bandcurve fit K.run.csv"),
        ("compare gone.series.csv gone.series.csv", "gone.series.csv: cannot be read: there is no", "check the name"),
        ("history Z9", "there is no band 'Z9'", "known here: A1, A2, A3"),
        ("history A1", "A1 stands for two bands", "another name"),
        ("recheck A1 --plate 10kg --length 1.4m", "A1 stands for two bands", "another name"),
        ("recheck Z9 --plate 10kg --length 1.4m", "there is no band 'Z9'", "known here: A1, A2, A3"),
        ("fit gone.run.csv", "gone.run.csv: cannot be read: there is no such file", "check the name"),
        ("batch fit gone.run.csv", "gone.run.csv", "check the name"),
    ],
)
@pytest.mark.usefixtures("store")
def test_one_sentence_with_its_remedy(line: str, said: str, remedy: str, capsys: Capture) -> None:
    words = [w + ".profile.json" if w in NAMES and i > 1 else w for i, w in enumerate(line.split(), 1)]
    known = line.startswith(("history", "recheck"))
    assert run(line.split() if known else words) == 1
    out = capsys.readouterr()
    assert out.out == ""
    assert out.err.count("\n") == 1
    assert said in out.err
    assert remedy in out.err.split(";", 1)[1]


NAMES = {"A1", "A1.later", "A1.same-day", "A1.other", "A2", "A3", "C1", "short", "far", "far.later", "gone"}


@pytest.mark.usefixtures("store")
def test_an_odd_number_and_mixed_sizes_are_paired_all_the_same_and_said(capsys: Capture) -> None:
    files = [f"{name}.profile.json" for name in ("A1", "A2", "A3")]
    assert run(["pair", *files]) == 0
    assert "Measure one more band to find it a partner" in capsys.readouterr().out
    assert run(["pair", *files, "C1.profile.json", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["left_over"] == []
    (found,) = (f for f in document["findings"] if f["code"] == "mixed-sizes")
    assert found["code"] == "mixed-sizes"
    assert "C1" in found["text"]


def test_a_log_of_a_band_that_is_not_known_makes_no_file(store: Path, capsys: Capture) -> None:
    before = sorted(store.iterdir())
    assert run(["log", "A11", "--reps", "60"]) == 1
    assert "no band 'A11'" in (said := capsys.readouterr().err)
    assert "A1, A2, A3" in said
    assert sorted(store.iterdir()) == before
    assert run(["log", "a2", "--reps", "60"]) == 0
    assert "Band A2: 60 repetitions" in capsys.readouterr().out
    assert (store / "A2.uses.csv").exists()


def test_what_else_lies_in_the_folder_is_passed_over(store: Path, capsys: Capture) -> None:
    """As a shell's `profiles/*` hands it over, with a log, a scale and the record of a batch beside the profiles."""
    files = [f"{name}.profile.json" for name in ("A1", "A1.later", "A2")]
    assert run(["pair", *files, "--json"]) == 0
    without = capsys.readouterr().out
    others = ["A1.uses.csv", "A1.rechecks.csv", "hook.scale.json", "batch.json"]
    for name in others:
        (store / name).write_text("{}", "utf-8")
    assert run(["pair", *others, *files, "--json"]) == 0
    beside = json.loads(capsys.readouterr().out)
    assert beside["pairs"] == json.loads(without)["pairs"]
    assert "older-profile" in [f["code"] for f in json.loads(without)["findings"]]
    assert sum("A1.uses.csv" in f["text"] for f in beside["findings"] if f["code"] == "file-not-read") == 1


@pytest.mark.usefixtures("store")
def test_of_two_calibrations_of_one_day_one_is_taken_and_it_is_said_which(capsys: Capture) -> None:
    assert run(["pair", "A1.profile.json", "A1.same-day.profile.json", "A2.profile.json", "--json"]) == 0
    texts = [f["text"] for f in json.loads(capsys.readouterr().out)["findings"]]
    assert any("A1 was calibrated more than once on 2026-03-01" in text for text in texts)
