"""Bands on the page: the numbers are those of the commands, names are shown literally, nothing outside is opened."""

import json
import shutil
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from calib.acquire.files.run_file import RunWriter
from calib.profile.build import fit_profile
from calib.profile.document import load_profile, save_profile
from calib.profile.store.memory import remember
from calib.use.ask.memory import GEAR
from calib.use.bands.predict import pull_answer
from calib.use.report.document import document
from tests.acquire.recording.test_state_machine import begun
from tests.fit.curve.test_unread import FOUR, taken
from tests.web.phone import let_in

ROOT = Path(__file__).parents[2]
JSON = {"accept": "application/json"}


@pytest.fixture
def phone(tmp_path: Path) -> TestClient:
    for name in ("KNEE", "LONG"):
        shutil.copy(ROOT / "sample_runs" / f"{name}.profile.json", tmp_path)
    return let_in(tmp_path)


def test_a_band_read_at_a_few_lengths_says_that_between_them_the_margins_are_wider(
    phone: TestClient, tmp_path: Path
) -> None:
    profile = fit_profile([taken(FOUR)])
    save_profile(profile, tmp_path / "few.profile.json")
    said = "Between them the margins are wider"
    assert said in phone.get(f"/band/{profile.band.id}").text
    assert said not in phone.get("/band/KNEE").text


def test_the_slider_says_what_the_command_says(phone: TestClient) -> None:
    profile = load_profile(ROOT / "sample_runs" / "KNEE.profile.json")
    offset = profile.half_path_less_tape
    assert offset is not None
    for tape in (1.2, 1.5, 2.0):
        found = phone.get("/band/KNEE", params={"tape": f"{100 * tape:g}"}, headers=JSON).json()
        answer = pull_answer(profile, profile.predict(tape + offset))
        assert answer.loading is not None
        assert found["answer"]["loading"] == document(answer)["loading"]
        assert found["loading"]["pull"] == f"{answer.loading.force_N / 9.80665:.2f}"
        assert found["tape"] == f"{100 * tape:.1f}", "the tape is taken as marked in centimetres where nothing says so"


def test_pounds_and_inches_stay_chosen(phone: TestClient) -> None:
    metric = phone.get("/band/KNEE", headers=JSON).json()
    assert "lb" in phone.get("/band/KNEE", params={"unit": "lb"}).text
    found = phone.get("/band/KNEE", headers=JSON).json()
    assert float(found["tape"]) == pytest.approx(float(metric["tape"]) / 2.54, abs=0.05)  # NIST SP 811: 25.4 mm
    assert float(found["loading"]["pull"]) == pytest.approx(float(metric["loading"]["pull"]) / 0.45359237, abs=0.02)


@pytest.mark.parametrize("tape", ["0.1", "9900", "nan", "inf", "-1", "1e308", "x", "<b>"])
def test_a_length_that_was_not_tested_is_one_sentence(phone: TestClient, tape: str) -> None:
    answer = phone.get("/band/KNEE", params={"tape": tape}, headers=JSON)
    assert answer.status_code == 422
    assert answer.json()["error"]
    assert answer.json()["help"] == {"words": "Band KNEE", "address": "/band/KNEE"}
    assert "<b>" not in phone.get("/band/KNEE", params={"tape": tape}).text


@pytest.mark.parametrize("name", ["B99", "KNEE.profile.json", "../KNEE", "/etc/passwd", "<script>alert(1)</script>"])
def test_only_bands_of_the_folder(phone: TestClient, name: str) -> None:
    answer = phone.get(f"/band/{name}")
    assert answer.status_code in (404, 422)
    assert "<script>alert" not in answer.text


def test_hostile_words_are_shown_literally(phone: TestClient, tmp_path: Path) -> None:
    kept = json.loads((ROOT / "sample_runs" / "LONG.profile.json").read_text("utf-8"))
    kept["findings"] = [{"code": "thickness-assumed", "text": '<img src=x onerror="alert(1)">\u202eevil'}]
    kept["band"]["note"] = "<script>alert(2)</script>"
    (tmp_path / "LONG.profile.json").write_text(json.dumps(kept), "utf-8")
    page = phone.get("/band/LONG").text
    assert "<img" not in page
    assert "&lt;img" in page
    assert "<script>alert" not in page
    assert "\u202e" not in page


def test_a_broken_file_is_said_and_the_others_are_listed(phone: TestClient, tmp_path: Path) -> None:
    (tmp_path / "B09.profile.json").write_text("{", "utf-8")
    page = phone.get("/").text
    assert "B09" in page
    assert "KNEE" in page


@pytest.mark.parametrize(("unit", "per"), [("in", 0.0254), ("cm", 0.01), ("mm", 0.001)])
def test_lengths_are_in_the_unit_of_the_folders_tape_and_a_tap_changes_the_loads_alone(
    phone: TestClient, tmp_path: Path, unit: str, per: float
) -> None:
    first = float(phone.get("/band/KNEE", headers=JSON).json()["tape"]) * 0.01
    remember(tmp_path, {GEAR: {"unit": unit}})
    for force in ("kg", "lb"):
        page = phone.get("/band/KNEE", params={"unit": force}).text
        assert f"Tape reads, {unit}:" in page
        assert float(phone.get("/band/KNEE", headers=JSON).json()["tape"]) * per == pytest.approx(first, abs=per)


def test_a_band_never_fitted_leads_to_measuring_it(phone: TestClient, tmp_path: Path) -> None:
    RunWriter.create(tmp_path / "B1.run.csv", begun().head).close()
    answer = phone.get("/band/B1")
    assert answer.status_code == 422
    assert 'href="/measure?band=B1&amp;occasion=quick">Measure B1</a>' in answer.text


def test_a_band_is_opened_by_its_name_and_never_by_the_path_of_a_file(phone: TestClient, tmp_path: Path) -> None:
    """A sound profile lies there each time: inside the folder, beside it, named in full."""
    beside = tmp_path.parent / f"{tmp_path.name}.profile.json"
    shutil.copy(ROOT / "sample_runs" / "THIN.profile.json", beside)
    for name in ("KNEE.profile.json", f"../{beside.name}", f"..%2f{beside.name}", f"/{beside}", str(beside)):
        assert phone.get(f"/band/{name}").status_code in (404, 422), name
        assert phone.get(f"/band/{name.replace('..', '%2e%2e')}").status_code in (404, 422), name
