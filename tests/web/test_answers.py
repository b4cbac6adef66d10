"""Pages of answers: pairs, what to hang, lifters, re-checks; what the commands say, to the last digit of their JSON."""

import json
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Event
from typing import Any

import pytest
from starlette.testclient import TestClient

from calib.profile.document import Profile, load_profile, save_profile
from calib.profile.store.rechecks import parse_rechecks
from calib.use.bands import pair
from calib.use.lineup import evening
from calib.use.rig import from_python
from calib.verbs.app import run
from tests.use.rig.made import band_text, linear
from tests.web.phone import HERE, form_of, let_in

JSON = {"accept": "application/json"}
BAR = 'format = "bandcurve-rig/1"\n[bar]\nmass_kg = 20\nplates_kg = 60\nbottom_mm = 1200\ntop_mm = 1800\n'
TABLE = "lifter,bottom_mm,top_mm,want_bottom_kg,want_top_kg\n{name},1200,1700,90,110\n"


MANY_KINDS = ",".join(f"{n}x2" for n in range(1, 22))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("B", "C"):
        save_profile(linear(name), tmp_path / f"{name}.profile.json")
    (tmp_path / "squat.rig.toml").write_text(BAR + band_text(side="left") + band_text(side="right"), "utf-8")
    (tmp_path / "evening.csv").write_text(TABLE.format(name="Ann"), "utf-8")
    return tmp_path


@pytest.fixture
def phone(folder: Path) -> TestClient:
    return let_in(folder)


def told(capsys: pytest.CaptureFixture[str], *command: str) -> object:
    run([*command, "--json"])
    found: object = json.loads(capsys.readouterr().out)
    return found


def test_pairs_are_those_of_the_command(phone: TestClient, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert phone.get("/pairs", headers=JSON).json() == told(capsys, "pair", "B", "C", "--folder", str(folder))
    assert "B" in phone.get("/pairs").text


def test_one_band_makes_no_pair_and_leads_to_measuring(phone: TestClient, folder: Path) -> None:
    (folder / "C.profile.json").unlink()
    answer = phone.get("/pairs")
    assert answer.status_code == 422
    assert 'href="/measure"' in answer.text


def test_what_to_hang_for_a_wanted_load(phone: TestClient, folder: Path) -> None:
    assert "Find what to hang" in phone.get("/solve/squat").text
    found = phone.get("/solve/squat", params={"top": "110", "plates": "20x4, 10x4, 5x2"}, headers=JSON).json()
    assert found["proposals"][0]["loads"]["top"]["bar_load_kg"] == pytest.approx(110, abs=2.5)
    assert "kilos" in phone.get("/solve/squat", params={"top": "110", "plates": "20x4, 10x4, 5x2"}).text


@pytest.mark.parametrize(
    ("typed", "words"),
    [({"top": "many"}, "many"), ({"top": "9000"}, ""), ({"top": "110", "plates": "20"}, "mass and a number"),
     ({"top": "110", "plates": "20x-1"}, "mass and a number"),
     ({"top": "110", "plates": MANY_KINDS}, "21 kinds of plates"), ({"top": "<b>"}, "&lt;b&gt;")],
)  # fmt: skip
def test_what_cannot_be_hung_is_one_sentence_above_the_form(
    phone: TestClient, typed: dict[str, str], words: str
) -> None:
    answer = phone.get("/solve/squat", params=typed)
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    assert words in answer.text
    assert "Find what to hang" in answer.text


def test_lifters_are_planned_as_by_the_command(
    phone: TestClient, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    typed = {"table": "evening.csv", "rig": "squat", "plates": "20x4,10x4,5x2"}
    found = phone.get("/lifters", params=typed, headers=JSON).json()
    rig = str(folder / "squat.rig.toml")
    options = ["--rig", rig, "--plates", typed["plates"], "--folder", str(folder)]
    assert found == told(capsys, "lineup", str(folder / "evening.csv"), *options)
    assert "Ann" in phone.get("/lifters", params=typed).text


def test_a_lifters_name_is_shown_literally(phone: TestClient, folder: Path) -> None:
    (folder / "evening.csv").write_text(TABLE.format(name="<script>alert(1)</script>\u202e"), "utf-8")
    page = phone.get("/lifters", params={"table": "evening.csv", "rig": "squat", "plates": "20x4,10x4"}).text
    assert "<script>alert" not in page
    assert "&lt;script&gt;" in page


@pytest.mark.parametrize("table", ["../evening.csv", "/etc/passwd", "B.profile.json", "<b>"])
def test_only_tables_of_the_folder(phone: TestClient, table: str) -> None:
    assert phone.get("/lifters", params={"table": table, "rig": "squat"}).status_code == 422


def test_a_recheck_says_what_it_means_and_is_kept(phone: TestClient, folder: Path) -> None:
    profile = load_profile(folder / "B.profile.json")
    kilos = profile.branches.loading.force_N[len(profile.branches.loading.force_N) // 2] / 9.80665
    first = phone.get("/recheck/B", params={"plate": f"{kilos:.2f}"})
    assert first.status_code == 200, first.text
    assert "close to the floor" in first.text
    tape = 100 * (profile.length(kilos * 9.80665).length - (profile.half_path_less_tape or 0.0))
    done = phone.post("/recheck/B", headers=HERE, data={"plate": f"{kilos:.2f}", "length": f"{tape:.1f}"})
    assert done.status_code == 200, done.text
    kept = parse_rechecks((folder / "B.rechecks.csv").read_bytes(), "B.rechecks.csv")
    assert [round(r.hung.mass, 2) for r in kept] == [round(kilos, 2)]


@pytest.mark.parametrize("typed", [{"plate": "0"}, {"plate": "900"}, {"plate": "x"}, {"plate": "<b>"}])
def test_a_plate_that_says_nothing_is_one_sentence(phone: TestClient, folder: Path, typed: dict[str, str]) -> None:
    answer = phone.get("/recheck/B", params=typed)
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    assert not list(folder.glob("*.rechecks.csv"))


def test_lifters_under_one_rig_are_those_of_the_command(
    phone: TestClient, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    people = "Ana 120cm 170cm, Bo 1.3m 1.8m"
    found = phone.get("/heights/squat", params={"lifters": people}, headers=JSON).json()
    assert found == told(capsys, "rig", str(folder / "squat.rig.toml"), "--lifters", people)
    assert "Ana" in phone.get("/heights/squat", params={"lifters": people}).text


@pytest.mark.parametrize("people", ["", "Ana", "<b> 1m 2m x", "Ana 1m"])
def test_lifters_that_say_no_heights_are_one_sentence(phone: TestClient, people: str) -> None:
    answer = phone.get("/heights/squat", params={"lifters": people})
    assert answer.status_code == 422
    assert "<b>" not in answer.text
    assert 'href="/rigs"' in answer.text


def test_a_recheck_sent_twice_is_kept_once(phone: TestClient, folder: Path) -> None:
    form = form_of(phone.get("/recheck/B", params={"plate": "30"}).text)
    sent = {"plate": "30", "length": "140", "form": form}
    with ThreadPoolExecutor(4) as at_once:
        answers = [at_once.submit(phone.post, "/recheck/B", headers=HERE, data=sent) for _ in range(4)]
    assert {answer.result().status_code for answer in answers} == {200}
    assert len({answer.result().text for answer in answers}) == 1
    path = folder / "B.rechecks.csv"
    assert len(parse_rechecks(path.read_bytes(), path.name)) == 1
    phone.post("/recheck/B", headers=HERE, data={**sent, "length": "141"})
    phone.post("/recheck/B", headers=HERE, data={**sent, "form": form_of(phone.get("/recheck/B?plate=30").text)})
    assert len(parse_rechecks(path.read_bytes(), path.name)) == 3, (
        "another length, or another form, is another re-check"
    )


def test_an_answer_asked_again_is_kept_and_none_is_stale(
    phone: TestClient, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever an answer depends on changes, and so does the answer: a band, the rig, the table, what is typed."""
    worked: list[str] = []
    for module, name in ((from_python, "solve_for"), (evening, "plan_evening")):
        real = getattr(module, name)

        def noted(*given: object, real: Any = real, name: str = name, **more: object) -> object:
            worked.append(name)
            return real(*given, **more)

        monkeypatch.setattr(module, name, noted)
    load = {"top": "110", "plates": "20x4, 10x4, 5x2"}
    plan = {"table": "evening.csv", "rig": "squat", "plates": "20x4,10x4,5x2"}

    def both() -> tuple[Any, Any]:
        solved = phone.get("/solve/squat", params=load, headers=JSON).json()
        return solved, phone.get("/lifters", params=plan, headers=JSON).json()

    first = both()
    assert both() == first
    assert worked == ["solve_for", "plan_evening"]
    rig, table = folder / "squat.rig.toml", folder / "evening.csv"

    def weaker() -> None:
        for name in ("B", "C"):
            save_profile(linear(name, stiffness=190.0), folder / f"{name}.profile.json")

    def heavier() -> None:
        rig.write_text(rig.read_text().replace("mass_kg = 20", "mass_kg = 24"), "utf-8")

    def other() -> None:
        table.write_text(table.read_text("utf-8").replace("1200,1700", "1210,1690"), "utf-8")

    for change, new in ((weaker, (True, True)), (heavier, (True, True)), (other, (False, True))):
        before = both()
        change()
        after = both()
        assert (after[0] != before[0], after[1] != before[1]) == new
    assert phone.get("/solve/squat", params=load | {"top": "112"}, headers=JSON).json() != after[0]


def test_a_form_of_more_fields_than_any_of_the_page_is_refused(phone: TestClient) -> None:
    form = {"headers": {**HERE, "content-type": "application/x-www-form-urlencoded"}}
    answer = phone.post("/recheck/B", content="&".join(f"f{n}=1" for n in range(101)), **form)  # type: ignore[arg-type]
    assert answer.status_code == 422
    assert "could not be read" in answer.text


def test_pairs_of_many_bands_are_worked_out_while_the_list_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for i in range(12):
        save_profile(linear(f"B{i:02d}"), tmp_path / f"B{i:02d}.profile.json")
    worked: list[int] = []
    work, done = pair._paired_up, Event()

    def counted(profiles: list[Profile], *rest: object) -> object:
        found = work(profiles, *rest)  # type: ignore[arg-type]
        worked.append(len(profiles))
        done.set()
        return found

    monkeypatch.setattr(pair, "_paired_up", counted)
    pair._kept.cache_clear()
    phone = let_in(tmp_path)
    phone.get("/")
    assert done.wait(20)
    time.sleep(0.2)  # it is kept once the work has returned
    assert "B11" in phone.get("/pairs").text
    phone.get("/")
    assert worked == [12]
    save_profile(linear("NEW"), tmp_path / "NEW.profile.json")
    assert "NEW" in phone.get("/pairs").text
    assert worked == [12, 13]
