"""Other ways to measure, from the form to the kilos: until the pull is known well enough, plates, a floor scale."""

import errno
import os
import re
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from calib.acquire.files.run_file import read_run
from tests.acquire.recording.test_state_machine import shown
from tests.web.phone import HERE, let_in

JSON = {**HERE, "accept": "application/json"}
FULL = {"band": "B07", "occasion": "full", "careful": "yes", "q.flat": "100 cm", "q.tape": "band-inner"}
SCALE = {"q.way": "level", "q.max": "100 kg", "q.step": "0.02", "q.locks": "no"}
ANCHOR = 60.0  # kg that stands on the floor scale


@pytest.fixture
def phone(tmp_path: Path) -> TestClient:
    return let_in(tmp_path)


def pull(tape_cm: float) -> float:
    """Of the invented band at what the tape reads between two 12 mm pins. [kg]"""
    return shown(tape_cm / 100 + 0.014)


def answer_to(seen: dict[str, object]) -> str:
    """What a person types for what the page asks."""
    asks = seen["asks"]
    assert isinstance(asks, dict)
    place, back = asks["place"], 0.95 if re.search("Come back|Take plates off", asks["task"]) else 1.0
    floor = "weight on the scale" in asks["task"]
    if asks["kind"] == "zero":
        return f"{ANCHOR}" if floor else "0"
    if asks["kind"] != "reading":
        return "skip"
    if asks["label"].startswith("Tape"):
        kilos = float(place.split()[0])
        return f"{min(range(1020, 2600), key=lambda mm: abs(pull(mm / 10) - kilos / back)) / 10}"
    return f"{back * pull(float(place.split()[0])):.2f}"


def measured(phone: TestClient, name: str, *, floor: bool = False) -> dict[str, object]:
    """Answer all that is asked."""
    seen: dict[str, object] = phone.get(f"/measure/{name}", headers=JSON).json()
    for n in range(120):
        if seen["done"]:
            return seen
        typed = answer_to(seen)
        if floor and seen["asks"]["kind"] == "reading":  # type: ignore[index]
            typed = f"{ANCHOR - float(typed):.2f}"
        seen = phone.post(f"/measure/{name}", headers=JSON, json={"entry": typed, "id": f"{n}"}).json()
        assert not seen["question"], (typed, seen["say"])
    raise AssertionError("it does not end")


def test_readings_are_chosen_until_the_pull_is_known_as_wanted(phone: TestClient, tmp_path: Path) -> None:
    begun = phone.post("/begin", headers=HERE, data={**FULL, **SCALE, "until": "10"})
    assert begun.status_code == 200, begun.text
    measured(phone, "B07")
    kinds = [row.kind for row in read_run(tmp_path / "B07.run.csv").rows]
    assert "enough" in kinds
    assert kinds.count("chosen") == kinds.count("reading")
    assert phone.post("/curve/B07", headers=HERE).status_code == 200
    assert (tmp_path / "B07.profile.json").is_file()


@pytest.mark.parametrize("over", ["120 cm to 160 cm", "1.2..1.6m", "120 - 160", "120cm .. 160cm"])
def test_the_lengths_that_matter_are_kept_as_those_of_the_command(phone: TestClient, tmp_path: Path, over: str) -> None:
    typed = {**FULL, **SCALE, "until": "10", "over": over}
    assert 'name="over"' in phone.post("/measure", headers=HERE, data=typed).text
    assert phone.post("/begin", headers=HERE, data=typed).status_code == 200
    assert read_run(tmp_path / "B07.run.csv").head.extensions["until"] == {"U": 0.1, "over_m": [1.2, 1.6]}


@pytest.mark.parametrize("over", ["160 to 120", "120", "a to b", "<b>", "1 to 2 to 3"])
def test_lengths_that_say_nothing_are_one_sentence_beside_their_field(phone: TestClient, over: str) -> None:
    answer = phone.post("/measure", headers=HERE, data={**FULL, **SCALE, "until": "10", "over": over})
    assert answer.status_code == 422
    assert 'id="wrong-over"' in answer.text
    assert "<b>" not in answer.text


@pytest.mark.parametrize("until", ["many", "0", "99", "<b>"])
def test_a_wish_that_cannot_be_is_said_beside_its_field(phone: TestClient, tmp_path: Path, until: str) -> None:
    answer = phone.post("/measure", headers=HERE, data={**FULL, **SCALE, "until": until})
    assert answer.status_code == 422
    assert 'id="wrong-until"' in answer.text
    assert "<b>" not in answer.text


def test_plates_are_hung_and_lengths_read(phone: TestClient, tmp_path: Path) -> None:
    typed = {**FULL, "q.way": "plates", "q.loads": "5 10 15 20 kg", "q.hook": "0"}
    assert "hang 20 kg" in phone.post("/measure", headers=HERE, data=typed).text
    assert phone.post("/begin", headers=HERE, data=typed).status_code == 200
    measured(phone, "B07")
    assert all(row.mass for row in read_run(tmp_path / "B07.run.csv").readings)
    page = phone.post("/curve/B07", headers=HERE)
    assert page.status_code == 200, page.text


def test_a_floor_scale_under_the_anchor(phone: TestClient, tmp_path: Path) -> None:
    typed = {**FULL, **SCALE, "q.way": "floor"}
    assert phone.post("/begin", headers=HERE, data=typed).status_code == 200
    seen = phone.get("/measure/B07", headers=JSON).json()
    assert "weight on the scale" in seen["asks"]["task"]
    measured(phone, "B07", floor=True)
    page = phone.post("/curve/B07", headers=HERE)
    assert page.status_code == 200, page.text


def test_two_recordings_at_once_stay_apart(phone: TestClient, tmp_path: Path) -> None:
    for band in ("B07", "B08"):
        assert phone.post("/begin", headers=HERE, data={**FULL, **SCALE, "band": band}).status_code == 200
    for band in ("B07", "B08", "B07", "B08"):
        seen = phone.get(f"/measure/{band}", headers=JSON).json()
        phone.post(
            f"/measure/{band}", headers=JSON, json={"entry": answer_to(seen), "id": f"{band}{len(seen['rows'])}"}
        )
    for band in ("B07", "B08"):
        assert [row.kind for row in read_run(tmp_path / f"{band}.run.csv").rows] == ["zero", "reading"]


def test_a_full_disk_is_said_and_the_entry_counts_once_when_there_is_room(
    phone: TestClient, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    phone.post("/begin", headers=HERE, data={**FULL, **SCALE})
    phone.post("/measure/B07", headers=JSON, json={"entry": "0", "id": "a"})

    def full(descriptor: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    place = phone.get("/measure/B07", headers=JSON).json()["asks"]["place"]
    reading = f"{pull(float(place.split()[0])):.2f}"
    with monkeypatch.context() as disk:
        disk.setattr(os, "fsync", full)
        answer = phone.post("/measure/B07", headers=JSON, json={"entry": reading, "id": "b"})
    assert answer.status_code == 422
    assert "disk is full" in answer.json()["error"]
    assert answer.json()["help"]["address"] == "/measure/B07"
    assert len(read_run(tmp_path / "B07.run.csv").rows) == 1
    for _ in range(2):
        phone.post("/measure/B07", headers=JSON, json={"entry": reading, "id": "b"})
    assert len(read_run(tmp_path / "B07.run.csv").readings) == 1


def test_a_folder_that_vanishes_in_the_middle_is_said(phone: TestClient, tmp_path: Path) -> None:
    phone.post("/begin", headers=HERE, data={**FULL, **SCALE})
    (tmp_path / "B07.run.csv").unlink()
    answer = phone.post("/measure/B07", headers=JSON, json={"entry": "0", "id": "a"})
    assert answer.status_code == 422
    assert answer.json()["help"]["address"]
    assert phone.get("/").status_code == 200


def test_a_hostile_note_is_shown_literally(phone: TestClient, tmp_path: Path) -> None:
    phone.post("/begin", headers=HERE, data={**FULL, **SCALE})
    note = "note <img src=x onerror=alert(1)>\u202e" + "x" * 400
    phone.post("/measure/B07", headers=JSON, json={"entry": note, "id": "a"})
    page = phone.get("/measure/B07").text
    assert "<img" not in page
    assert "&lt;img" in page
    assert "\u202e" not in page
