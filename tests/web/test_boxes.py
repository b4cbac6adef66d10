"""A box of bands on the page: band after band, each taped in hand, as `bandcurve batch record` walks through it."""

from pathlib import Path

import pytest
from starlette.testclient import TestClient

from calib.acquire.files.run_file import read_run
from calib.acquire.recording.batch_plan import UNTAPED, heads
from calib.acquire.recording.new_file import new_writer
from calib.acquire.recording.state import Recording
from tests.acquire.recording.test_state_machine import begun
from tests.web.phone import HERE, let_in


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    box = tmp_path / "box"
    box.mkdir()
    for head in heads(begun().head, ["B01", "B02", "B03"], 1):
        new_writer(box / f"{head.band.id}.run.csv", Recording(head)).close()
    return tmp_path


@pytest.fixture
def phone(folder: Path) -> TestClient:
    return let_in(folder)


def test_the_next_band_is_warmed_up_taped_and_measured(phone: TestClient, folder: Path) -> None:
    assert 'href="/box/box"' in phone.get("/boxes").text
    page = phone.get("/box/box").text
    assert "0 of 3 bands done" in page
    assert "Next: B01, in full" in page
    assert "Eyes covered" in page
    readings = phone.post(
        "/box/box", headers=HERE, data={"band": "B01", "careful": "yes", "flat": "1003", "mass": "310"}
    )
    assert "Zero the scale" in readings.text
    head = read_run(folder / "box" / "B01.run.csv").head
    assert head.band.flat_length == pytest.approx(1.003)
    assert head.band.mass == 0.31
    assert head.procedure.conditioning_pulls == 5
    assert UNTAPED not in head.extensions
    assert "Go on with B01" in phone.get("/box/box").text
    assert "Next: B02, three lengths" in phone.get("/box/box", params={"band": "B02"}).text


def test_no_band_begins_without_the_cautions_and_a_far_length_is_asked_about(phone: TestClient, folder: Path) -> None:
    assert phone.post("/box/box", headers=HERE, data={"band": "B01", "flat": "1003"}).status_code == 422
    far = {"band": "B01", "careful": "yes", "flat": "1300"}
    answer = phone.post("/box/box", headers=HERE, data=far)
    assert answer.status_code == 422
    assert "The others are said to be 1000 mm long" in answer.text
    assert UNTAPED in read_run(folder / "box" / "B01.run.csv").head.extensions
    assert phone.post("/box/box", headers=HERE, data={**far, "sure": "yes"}).status_code == 200
    again = phone.post("/box/box", headers=HERE, data={"band": "B01", "careful": "yes", "flat": "1003"})
    assert again.status_code == 422, "what was begun is not begun anew"


NO_BOX = ["%2e%2e", "%2e%2e%2f%2e%2e", "/etc", "nope", "<b>", "%00", "x" * 3000, "box/B01.run.csv"]


@pytest.mark.parametrize("name", NO_BOX)
def test_only_boxes_of_the_folder(phone: TestClient, name: str) -> None:
    assert phone.get(f"/box/{name}").status_code in (404, 422)
