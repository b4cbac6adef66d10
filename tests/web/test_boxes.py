"""A box of bands on the page: band after band, each taped in hand, as `bandcurve batch record` walks through it."""

from pathlib import Path

import pytest
from starlette.testclient import TestClient

from calib.acquire.files.run_file import read_run
from calib.acquire.recording.batch_plan import UNTAPED, heads
from calib.acquire.recording.new_file import new_writer
from calib.acquire.recording.state import Recording
from calib.profile.batch_document import load_batch
from calib.verbs.app import run
from tests.acquire.recording.test_state_machine import begun
from tests.web.phone import HERE, form_of, let_in
from tests.web.test_flows import answer_to

JSON = {**HERE, "accept": "application/json"}


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


SAID = {"box": "blue", "count": "3", "prefix": "K", "full": "3", "q.flat": "100 cm", "q.tape": "band-inner",
        "q.way": "level", "q.max": "100 kg", "q.step": "0.02"}  # fmt: skip


def read_all(phone: TestClient, run: str, level: float) -> None:
    """Every reading of a band that pulls so much more than the invented one, a little off each time."""
    seen = phone.get(f"/measure/{run}", headers=JSON).json()
    for n in range(80):
        if seen["done"]:
            return
        typed = answer_to(seen)
        if seen["asks"]["kind"] == "reading":
            typed = f"{float(typed) * level * (1 + 0.004 * ((n * 7) % 5 - 2)):.2f}"
        seen = phone.post(f"/measure/{run}", headers=JSON, json={"entry": typed, "id": f"{n}"}).json()
        if seen["question"]:
            seen = phone.post(f"/measure/{run}", headers=JSON, json={"entry": "keep", "id": f"k{n}"}).json()
    raise AssertionError("it does not end")


def test_a_box_is_laid_out_measured_and_every_band_gets_its_verdict(tmp_path: Path) -> None:
    phone = let_in(tmp_path)
    assert 'href="/boxes/new"' in phone.get("/boxes").text
    page = phone.get("/boxes/new").text
    sent = {**SAID, "form": form_of(page)}
    for _ in range(2):
        assert "0 of 3 bands done" in phone.post("/boxes", headers=HERE, data=sent).text
    box = tmp_path / "blue"
    assert sorted(p.name for p in box.iterdir()) == [*(f"K0{n}.run.csv" for n in range(1, 4)), "labels.pdf"]
    assert {read_run(p).head.band.batch for p in box.glob("*.run.csv")} == {"blue"}
    for band, level in (("K01", 1.0), ("K02", 1.02), ("K03", 0.97)):
        begun_now = {"band": band, "careful": "yes", "flat": "100"}
        assert phone.post("/box/blue", headers=HERE, data=begun_now).status_code == 200
        read_all(phone, f"blue/{band}", level)
    page = phone.post("/curves/blue", headers=HERE).text
    assert 'href="/box/blue"' in phone.get("/boxes").text
    mine = load_batch(box / "batch.json")
    assert [one.id for one in mine.bands] == ["K01", "K02", "K03"]
    for one in mine.bands:
        assert one.verdict and one.verdict in page
        assert f'href="/band/{one.id}"' in page
        assert phone.get(f"/band/{one.id}").status_code == 200
    assert run(["batch", "fit", str(box)]) == 0
    assert load_batch(box / "batch.json") == mine, "as the command has it"


@pytest.mark.parametrize(
    ("typed", "words"),
    [({"box": "../blue"}, "blue"), ({"box": ""}, "name"), ({"count": "0"}, "number of bands"),
     ({"count": "9" * 9}, "number of bands"), ({"prefix": "<b>"}, "&lt;b&gt;"), ({"q.flat": "far"}, "wrong-flat"),
     ({"q.max": ""}, "This is needed"), ({"box": "box"}, "holds runs already")],
)  # fmt: skip
def test_a_box_that_cannot_be_laid_out_is_one_sentence_and_no_folder(
    phone: TestClient, folder: Path, typed: dict[str, str], words: str
) -> None:
    before = sorted(folder.rglob("*"))
    answer = phone.post("/boxes", headers=HERE, data={**SAID, **typed})
    assert answer.status_code == 422
    assert words in answer.text
    assert "<b>" not in answer.text
    assert sorted(folder.rglob("*")) == before
