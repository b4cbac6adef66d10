"""The start of a measurement on the page: asked as at the terminal, remembered, nothing begun without the cautions."""

from pathlib import Path

import pytest
from starlette.testclient import TestClient

from calib.acquire.files.run_file import read_run
from calib.profile.store.memory import remember
from calib.use.ask.memory import GEAR
from tests.web.phone import HERE, let_in

SAMPLES = Path(__file__).parents[2] / "sample_runs"
ANSWERS = {"band": "B07", "occasion": "quick", "q.way": "level", "q.max": "50 kg", "q.step": "0.05", "q.flat": "100 cm"}


@pytest.fixture
def phone(tmp_path: Path) -> TestClient:
    return let_in(tmp_path)


def test_what_is_missing_is_asked_beside_its_field(phone: TestClient) -> None:
    answer = phone.post("/measure", headers=HERE, data={"band": "B07", "occasion": "quick", "q.max": "fifty"})
    assert answer.status_code == 422
    assert answer.text.count('class="doubt"') >= 2
    assert 'value="fifty"' not in answer.text


def test_the_cautions_come_first_and_must_be_acknowledged(phone: TestClient, tmp_path: Path) -> None:
    ready = phone.post("/measure", headers=HERE, data=ANSWERS)
    assert "Eyes covered" in ready.text
    assert "Stop at 40 kg" in ready.text
    assert phone.post("/begin", headers=HERE, data=ANSWERS).status_code == 422
    assert not list(tmp_path.glob("*.run.csv"))


def test_a_run_is_begun_and_the_gear_is_remembered(phone: TestClient, tmp_path: Path) -> None:
    begun = phone.post("/begin", headers=HERE, data={**ANSWERS, "careful": "yes"})
    assert "Zero the scale" in begun.text
    run = read_run(tmp_path / "B07.run.csv")
    assert run.head.band.flat_length == 1.0
    assert run.head.procedure.conditioning_pulls == 3
    again = phone.get("/measure", params={"band": "B08", "occasion": "full"})
    assert "As last time" in again.text
    assert 'value="50 kg"' in again.text


@pytest.mark.parametrize("gear", [{"unit": []}, {"unit": {}, "force_unit": []}, {"unit": "furlong"}, [], 5])
def test_a_remembered_unit_that_is_none_breaks_no_view(phone: TestClient, tmp_path: Path, gear: object) -> None:
    remember(tmp_path, {GEAR: gear})
    (tmp_path / "KNEE.profile.json").write_bytes((SAMPLES / "KNEE.profile.json").read_bytes())
    assert "cm" in phone.get("/band/KNEE").text
    assert phone.get("/measure", params={"band": "B08", "occasion": "full"}).status_code == 200


def test_the_same_band_twice_makes_two_files(phone: TestClient, tmp_path: Path) -> None:
    for _ in range(2):
        assert phone.post("/begin", headers=HERE, data={**ANSWERS, "careful": "yes"}).status_code == 200
    assert len(list(tmp_path.glob("B07*.run.csv"))) == 2


def test_the_flat_length_after_the_pulls_counts(phone: TestClient, tmp_path: Path) -> None:
    full = {**ANSWERS, "occasion": "full", "careful": "yes"}
    assert phone.post("/begin", headers=HERE, data={**full, "flat_after": "150 cm"}).status_code == 422
    assert phone.post("/begin", headers=HERE, data={**full, "flat_after": "101 cm"}).status_code == 200
    assert read_run(tmp_path / "B07.run.csv").head.band.flat_length == pytest.approx(1.01)


@pytest.mark.parametrize("name", ["../B07", "a/b", "CON", "<b>", "x" * 300, "\u202eB07", ".hidden"])
def test_a_name_that_can_be_no_name_is_one_sentence(phone: TestClient, tmp_path: Path, name: str) -> None:
    answer = phone.post("/begin", headers=HERE, data={**ANSWERS, "band": name, "careful": "yes"})
    assert answer.status_code == 422
    assert "<b>" not in answer.text
    assert not list(tmp_path.rglob("*.run.csv"))


def test_a_folder_that_vanished_is_said(phone: TestClient, tmp_path: Path) -> None:
    tmp_path.rmdir()
    answer = phone.post("/begin", headers=HERE, data={**ANSWERS, "careful": "yes"})
    assert answer.status_code in (200, 422)
    assert phone.get("/").status_code in (200, 422)


def test_only_unfinished_recordings_are_offered_to_go_on_with(phone: TestClient, tmp_path: Path) -> None:
    phone.post("/begin", headers=HERE, data={**ANSWERS, "careful": "yes"})
    assert "Go on with a recording" in phone.get("/measure").text
    for n in range(40):
        seen = phone.post(
            "/measure/B07", headers={**HERE, "accept": "application/json"}, json={"entry": "skip", "id": f"{n}"}
        ).json()
        if seen["done"]:
            break
    assert seen["done"]
    assert "Go on with a recording" not in phone.get("/measure").text


def test_a_band_that_was_never_fitted_leads_to_measuring_it(phone: TestClient, tmp_path: Path) -> None:
    phone.post("/begin", headers=HERE, data={**ANSWERS, "careful": "yes"})
    assert "/measure?band=B07" in phone.get("/").text
