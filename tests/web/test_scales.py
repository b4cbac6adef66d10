"""A scale is checked on the page: each line kept at once, the check the same as that of the command."""

import json
import re
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from calib.acquire.files.check_table import parse_check_table
from calib.acquire.files.run_file import read_run
from calib.scale import load_scale
from calib.verbs.app import run
from tests.web.phone import HERE, form_of, let_in

HOOK = {"format": "bandcurve-scale/1", "id": "hook", "kind": "hanging-scale", "resolution_N": 0.49, "capacity_N": 490.0}
LINES = [("0", "0"), ("10", "10.05"), ("20", "20.15"), ("40", "40.3"), ("20", "20.1"), ("10", "10.05"), ("0", "0")]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("hook", "other"):
        (tmp_path / f"{name}.scale.json").write_text(json.dumps(HOOK), "utf-8")
    return tmp_path


@pytest.fixture
def phone(folder: Path) -> TestClient:
    return let_in(folder)


def test_the_check_is_that_of_the_command(phone: TestClient, folder: Path) -> None:
    for known, shown in LINES:
        assert phone.post("/scale/hook", headers=HERE, data={"known": known, "shown": shown}).status_code == 200
    assert (folder / "hook.check.csv").is_file()
    page = phone.post("/scale/hook", headers=HERE, data={"do": "end", "loads": "plates"})
    assert page.status_code == 200, page.text
    assert "high at" in page.text
    assert not (folder / "hook.check.csv").exists()
    table = folder / "typed.csv"
    ways = ["loading"] * 4 + ["unloading"] * 3
    lines = [f"{k},{s},{way}" for (k, s), way in zip(LINES, ways, strict=True)]
    table.write_text("known_kg,shown_kg,branch\n" + "\n".join(lines) + "\n", "utf-8")
    assert run(["scale", "check", str(folder / "other.scale.json"), "--from", str(table)]) == 0
    mine, theirs = (load_scale(folder / f"{n}.scale.json").checks[0] for n in ("hook", "other"))
    assert mine.correction == theirs.correction
    assert mine.readings == theirs.readings


def test_a_line_is_taken_back_and_too_few_end_nothing(phone: TestClient, folder: Path) -> None:
    phone.post("/scale/hook", headers=HERE, data={"known": "0", "shown": "0"})
    phone.post("/scale/hook", headers=HERE, data={"known": "10", "shown": "100"})
    assert "shows 100 kg" in phone.get("/scale/hook").text
    phone.post("/scale/hook", headers=HERE, data={"do": "undo"})
    assert "shows 100 kg" not in phone.get("/scale/hook").text
    assert phone.post("/scale/hook", headers=HERE, data={"do": "end"}).status_code == 422
    assert not load_scale(folder / "hook.scale.json").checks


def test_lines_of_two_phones_at_once_are_all_kept(phone: TestClient, folder: Path) -> None:
    def send(kilos: int) -> int:
        return phone.post("/scale/hook", headers=HERE, data={"known": f"{kilos}", "shown": f"{kilos}"}).status_code

    with ThreadPoolExecutor(8) as both:
        assert set(both.map(send, range(1, 17))) == {200}
    rows = parse_check_table((folder / "hook.check.csv").read_bytes(), "x").rows
    assert sorted(row.pieces for row in rows) == [(float(kilos),) for kilos in range(1, 17)]


def test_a_check_ended_by_several_phones_at_once_is_kept_once(phone: TestClient, folder: Path) -> None:
    for known, shown in LINES:
        phone.post("/scale/hook", headers=HERE, data={"known": known, "shown": shown})
    with ThreadPoolExecutor(6) as all_at_once:
        ends = [all_at_once.submit(phone.post, "/scale/hook", headers=HERE, data={"do": "end"}) for _ in range(6)]
    assert sorted(end.result().status_code for end in ends) == [200, *[422] * 5]
    assert len(load_scale(folder / "hook.scale.json").checks) == 1


@pytest.mark.parametrize("line", [("", ""), ("x", "1"), ("10", "<b>"), ("10", "nan"), ("1e9", "1"), ("10", "9" * 40)])
def test_a_line_that_says_nothing_is_one_sentence(phone: TestClient, folder: Path, line: tuple[str, str]) -> None:
    answer = phone.post("/scale/hook", headers=HERE, data={"known": line[0], "shown": line[1]})
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    assert "<b>" not in answer.text
    assert not (folder / "hook.check.csv").exists()


@pytest.mark.parametrize("name", ["%2e%2e/hook", "/etc/passwd", "nope", "hook.scale.json"])
def test_only_scales_of_the_folder(phone: TestClient, name: str) -> None:
    assert phone.get(f"/scale/{name}").status_code in (404, 422)


def test_a_line_sent_twice_counts_once(phone: TestClient, folder: Path) -> None:
    form = form_of(phone.get("/scale/hook").text)
    for _ in range(2):
        sent = {"known": "0", "shown": "0", "form": form}
        assert phone.post("/scale/hook", headers=HERE, data=sent).status_code == 200
    assert len(parse_check_table((folder / "hook.check.csv").read_bytes(), "x").rows) == 1


def test_an_ended_check_says_what_it_found_and_what_comes_next(phone: TestClient) -> None:
    for known, shown in LINES:
        phone.post("/scale/hook", headers=HERE, data={"known": known, "shown": shown})
    page = phone.post("/scale/hook", headers=HERE, data={"do": "end", "loads": "plates"}).text
    said = re.findall(r"<p>(It reads [^<]+)</p>", page)
    assert [re.findall(r"% high at (\d+) kg\b", words) for words in said] == [["10"], ["20"], ["40"]]
    assert all(re.search(r"\+- [\d.]+ kg", words) for words in said)
    assert "So far" not in page
    assert 'href="/measure"' in page


def test_a_new_scale_is_that_of_the_command_and_a_band_may_be_measured_with_it(phone: TestClient, folder: Path) -> None:
    sent = {"name": "garage", "step": "0.1 lb", "most": "110", "locks": "peak", "kind": "hanging-scale"}
    answer = phone.post("/scales", headers=HERE, data=sent, follow_redirects=False)
    assert answer.headers["location"] == "/scale/garage"
    theirs = folder.parent / "theirs"
    options = ["--resolution", "0.1lb", "--capacity", "110lb", "--locks", "peak", "--out", str(theirs)]
    assert run(["scale", "new", "garage", *options]) == 0
    assert (folder / "garage.scale.json").read_bytes() == (theirs / "garage.scale.json").read_bytes()
    form = phone.get("/measure", params={"band": "B1", "occasion": "quick", "scale": "garage"}).text
    assert 'name="q.max"' not in form
    answers = {"band": "B1", "occasion": "quick", "scale": "garage", "q.flat": "100 cm"}
    ready = phone.post("/measure", headers=HERE, data=answers)
    assert '<input type="hidden" name="scale" value="garage">' in ready.text
    begun = phone.post("/begin", headers=HERE, data={**answers, "careful": "yes"}, follow_redirects=False)
    assert begun.headers["location"] == "/measure/B1"
    head = read_run(folder / "B1.run.csv").head
    assert head.scale is not None and head.scale.id == "garage"


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"name": "../x"}, "letters"),
        ({"name": "hook"}, "hook.scale.json"),
        ({"step": "<b>"}, "&lt;b&gt;"),
        ({"most": "0.05"}, "swapped"),
    ],
)
def test_a_new_scale_that_cannot_be_is_refused(
    phone: TestClient, folder: Path, wrong: dict[str, str], words: str
) -> None:
    before = sorted(folder.iterdir())
    answer = phone.post("/scales", headers=HERE, data={"name": "new", "step": "0.1", "most": "50", **wrong})
    assert answer.status_code == 422
    assert words in answer.text
    assert "<b>" not in answer.text
    assert sorted(folder.iterdir()) == before
