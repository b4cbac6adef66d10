"""Rigs on the page: the numbers of `bandcurve rig FILE --json`, to the last digit shown; nothing outside is read."""

import json
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from calib.profile.document import save_profile
from calib.verbs.app import run
from tests.use.rig.made import band_text, linear
from tests.web.phone import let_in

JSON = {"accept": "application/json"}
BAR = 'format = "bandcurve-rig/1"\n[bar]\nmass_kg = 20\nplates_kg = 60\nbottom_mm = 1200\ntop_mm = 1800\n'


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    save_profile(linear("B"), tmp_path / "B.profile.json")
    (tmp_path / "squat.rig.toml").write_text(BAR + band_text(side="left") + band_text(side="right"), "utf-8")
    return tmp_path


@pytest.fixture
def phone(folder: Path) -> TestClient:
    return let_in(folder)


def test_every_height_is_that_of_the_command(
    phone: TestClient, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["rig", str(folder / "squat.rig.toml"), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    found = phone.get("/rig/squat", headers=JSON).json()
    assert found["answer"] == told
    for i, here in enumerate(found["heights"]):
        for way in ("up", "down"):
            assert here[way]["load"] == f"{told[way]['bar_load_kg'][i]:.1f}"
            assert here[way]["next_set"] == f"{told[way]['u95_next_set_kg'][i]:.1f}"
            left = told[way]["sides"]["left"]["vertical_N"][i] / told["gravity_m_s2"]
            assert here[way]["left"] == f"{left:.1f}"


def test_the_first_sight_needs_no_script(phone: TestClient) -> None:
    page = phone.get("/rig/squat").text
    top = phone.get("/rig/squat", headers=JSON).json()["heights"][-1]
    assert top["up"]["load"] in page
    assert "If a band lets go" in page


def test_a_profile_outside_the_folder_is_not_read(phone: TestClient, folder: Path) -> None:
    outside = folder.parent / "outside.profile.json"
    save_profile(linear("OUT"), outside)
    text = BAR + band_text(side="left").replace("B.profile.json", "../outside.profile.json")
    (folder / "odd.rig.toml").write_text(text, "utf-8")
    answer = phone.get("/rig/odd", headers=JSON)
    assert answer.status_code == 422
    assert "outside this folder" in answer.json()["error"]


@pytest.mark.parametrize("name", ["../squat", "nope", "/etc/passwd", "<b>"])
def test_only_rigs_of_the_folder(phone: TestClient, name: str) -> None:
    assert phone.get(f"/rig/{name}", headers=JSON).status_code in (404, 422)


def test_pounds(phone: TestClient) -> None:
    kg = phone.get("/rig/squat", headers=JSON).json()["heights"][0]["up"]["load"]
    phone.get("/rig/squat", params={"unit": "lb"})
    lb = phone.get("/rig/squat", headers=JSON).json()["heights"][0]["up"]["load"]
    assert float(lb) == pytest.approx(float(kg) / 0.45359237, abs=0.2)  # NIST SP 811
