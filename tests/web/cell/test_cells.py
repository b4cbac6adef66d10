"""Choosing a load cell: only ports that are there, questions as at the terminal, one recording at a time."""

import json
import re
import time
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from calib.acquire.files.run_file import read_run
from tests.firmware.fake_board import FakeBoard
from tests.firmware.script import Event, Hold, Pull, Script
from tests.web.cell.made import SLACK_S, at_a_cell
from tests.web.phone import HERE, let_in

JSON = {**HERE, "accept": "application/json"}


@pytest.fixture
def captured(tmp_path: Path) -> str:
    """A captured line, which is listened to like a port: forty readings near nothing."""
    path = tmp_path.parent / f"{tmp_path.name}.line"
    path.write_text("".join(f"{n / 10:.1f},{0.004 * (n % 3):.3f},kg\n" for n in range(400)), "utf-8")
    return str(path)


@pytest.fixture
def phone(tmp_path: Path, captured: str) -> TestClient:
    return let_in(tmp_path, (captured,))


@pytest.mark.parametrize("port", ["", "/etc/passwd", "/dev/null", "socket://127.0.0.1:1", "<script>", "x" * 500])
def test_no_other_file_or_address_is_opened(phone: TestClient, port: str) -> None:
    answer = phone.post("/cell", headers=HERE, data={"band": "B07", "port": port, "capacity": "50"})
    assert answer.status_code == 422
    assert "there is no port" in answer.text
    assert "<script>" not in answer.text.replace('<script type="module"', "")


def test_without_a_scale_file_the_most_it_takes_is_needed(phone: TestClient, captured: str) -> None:
    answer = phone.post("/cell", headers=HERE, data={"band": "B07", "port": captured, "capacity": ""})
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text


def test_the_questions_are_those_of_a_cell_and_the_run_keeps_its_line(
    phone: TestClient, tmp_path: Path, captured: str
) -> None:
    form = phone.post("/cell", headers=HERE, data={"band": "B07", "port": captured, "capacity": "50", "grip": "hand"})
    assert form.status_code == 200
    assert 'name="cell" value="1"' in form.text
    assert 'name="q.max"' not in form.text, "a cell's own step and range are known"
    fields = {"band": "B07", "occasion": "full", "cell": "1", "q.flat": "100 cm"}
    assert "Eyes covered" in phone.post("/measure", headers=HERE, data=fields).text
    begun = phone.post("/begin", headers=HERE, data={**fields, "careful": "yes"})
    assert begun.status_code == 200
    head = read_run(tmp_path / "B07.run.csv").head
    assert head.extensions["cell"]["grip"] == "hand"
    assert head.procedure.dwell_s == 6.0
    assert json.loads(phone.get("/measure/B07", headers=JSON).text)["done"] is False


def test_a_recording_of_a_cell_takes_no_typed_reading_and_leads_to_the_cell(
    phone: TestClient, tmp_path: Path, captured: str
) -> None:
    test_the_questions_are_those_of_a_cell_and_the_run_keeps_its_line(phone, tmp_path, captured)
    again = let_in(tmp_path)
    seen = again.get("/measure/B07", headers=JSON).json()
    assert seen["connect"] is True
    answer = again.post("/measure/B07", headers=JSON, json={"entry": "3", "id": "a"})
    assert answer.status_code == 422
    assert "connect it again" in answer.json()["error"]
    assert not read_run(tmp_path / "B07.run.csv").readings


def test_the_questions_of_a_cell_need_one(phone: TestClient) -> None:
    answer = phone.get("/measure", params={"band": "B07", "occasion": "full", "cell": "1"})
    assert answer.status_code == 422
    assert "No load cell is connected" in answer.text
    assert 'href="/cell"' in answer.text


def test_a_cable_pulled_before_anything_was_read_is_said_without_a_script(tmp_path: Path) -> None:
    at_a_cell(tmp_path)
    script = Script(Pull((Hold(0.01, 60.0, 60.0, 0.0),), SLACK_S), 60.0, (Event(3.0, "hang-up", 20.0),))
    with FakeBoard(script, 10.0, paced=True) as board:
        phone = let_in(tmp_path, (board.port,))
        sent = {"run": "B1", "port": board.port, "scale": "cell", "grip": "strap"}
        assert phone.post("/cell", headers=HERE, data=sent).status_code == 200
        begun_s, seen = time.monotonic(), phone.get("/measure/B1", headers=JSON).json()
        while not seen["trouble"] and time.monotonic() - begun_s < 10:
            time.sleep(0.1)
            seen = phone.get("/measure/B1", headers=JSON).json()
        assert "Plug it in again" in seen["trouble"]
        assert time.monotonic() - begun_s < 6
        page = phone.get("/measure/B1").text
        assert re.search(r'role="alert">The load cell is gone', page)
        assert 'http-equiv="refresh"' in page
