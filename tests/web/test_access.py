"""Who is let in: a code once, a cookie from then on, nothing from elsewhere."""

import asyncio
import subprocess
import sys
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from calib.web import access
from calib.web.access import BURST, HEADERS, LARGEST_BODY, MOST_SESSIONS, Doorkeeper
from calib.web.bands import bands
from calib.web.pages import build, site_of

HOST = "127.0.0.1:8765"
HERE = {"origin": f"http://{HOST}"}


def opened(folder: Path, *, clock: float = 0.0) -> tuple[TestClient, Doorkeeper]:
    """A browser at a page of which one address changes something."""
    door = Doorkeeper(frozenset({HOST}), clock=lambda: clock)
    app = build(site_of(folder), door, {"/": bands}, {"/change": bands})
    return TestClient(app, base_url=f"http://{HOST}"), door


def let_in(folder: Path) -> tuple[TestClient, Doorkeeper]:
    browser, door = opened(folder)
    assert browser.get("/enter", params={"code": door.new_code()}).status_code == 200
    return browser, door


def test_a_code_opens_the_page_and_works_once(tmp_path: Path) -> None:
    browser, door = opened(tmp_path)
    code = door.new_code()
    assert browser.get("/").status_code == 403
    assert "No band" in browser.get("/enter", params={"code": code}).text
    assert browser.get("/").status_code == 200
    assert browser.get("/enter", params={"code": code}).status_code == 200, "the same browser may open its link again"
    stranger, _ = TestClient(browser.app, base_url=f"http://{HOST}"), None
    assert stranger.get("/enter", params={"code": code}).status_code == 403
    assert stranger.get("/").status_code == 403


@pytest.mark.parametrize("code", ["", "x", "é", "a" * 5000, "%00", "../../etc/passwd"])
def test_a_wrong_code_is_one_sentence(tmp_path: Path, code: str) -> None:
    browser, door = opened(tmp_path)
    door.new_code()
    answer = browser.get("/enter", params={"code": code})
    assert answer.status_code == 403
    assert answer.text.count("\n") == 1


def test_a_made_up_cookie_is_not_let_in(tmp_path: Path) -> None:
    browser, door = opened(tmp_path)
    door.new_code()
    assert browser.get("/", headers={"cookie": "bandcurve=abc; other=1"}).status_code == 403


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(tmp_path: Path) -> None:
    browser, door = opened(tmp_path)
    given = browser.get("/enter", params={"code": door.new_code()}, follow_redirects=False).headers["set-cookie"]
    assert "HttpOnly" in given
    assert "SameSite=lax" in given


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "127.0.0.1:1", "localhost.evil.example:8765", ""])
def test_another_name_that_points_here_gets_nothing(tmp_path: Path, host: str) -> None:
    browser, _ = let_in(tmp_path)
    assert browser.get("/", headers={"host": host}).status_code == 421


@pytest.mark.parametrize(
    "sent",
    [
        {},
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": f"https://{HOST}"},
        {**HERE, "sec-fetch-site": "cross-site"},
        {**HERE, "sec-fetch-site": "same-site"},
    ],
)
def test_nothing_is_changed_from_elsewhere(tmp_path: Path, sent: dict[str, str]) -> None:
    browser, _ = let_in(tmp_path)
    assert browser.post("/change", headers=sent).status_code == 403
    assert browser.post("/change", headers={**HERE, "sec-fetch-site": "same-origin"}).status_code == 200


def test_a_large_body_is_refused_whatever_length_it_claims(tmp_path: Path) -> None:
    browser, _ = let_in(tmp_path)
    assert browser.post("/change", headers=HERE, content=b"x" * (LARGEST_BODY + 1)).status_code == 413


@pytest.mark.parametrize("length", ["x", "-1", "1_6", "+5", "\u0663", "9" * 5000])
def test_a_length_that_is_no_number_is_refused(tmp_path: Path, length: str) -> None:
    browser, _ = let_in(tmp_path)
    headers = [(name.encode(), value.encode()) for name, value in {**HERE, "content-length": length}.items()]
    answer = browser.post("/change", headers=headers, content=b"a=1")
    assert answer.status_code == 413


def test_a_body_in_chunks_is_refused_where_it_grows_too_large(tmp_path: Path) -> None:
    browser, _ = let_in(tmp_path)
    answer = browser.post("/change", headers=HERE, content=iter(5 * [b"x" * (LARGEST_BODY // 4)]))
    assert answer.status_code == 413
    assert answer.text == "That is more than the page accepts at once.\n"


def test_a_flood_is_slowed_down(tmp_path: Path) -> None:
    browser, _ = let_in(tmp_path)
    statuses = [browser.get("/static/icon.svg").status_code for _ in range(int(BURST) + 5)]
    assert statuses[-1] == 429
    assert statuses.count(200) <= BURST


def test_only_so_many_browsers(tmp_path: Path) -> None:
    _, door = opened(tmp_path)
    for _ in range(MOST_SESSIONS):
        assert door.enter(door.new_code())
    assert door.enter(door.new_code()) is None


def test_every_answer_carries_the_headers(tmp_path: Path) -> None:
    browser, _ = let_in(tmp_path)
    for address in ("/", "/nowhere", "/static/page.css", "/enter?code=x"):
        answer = browser.get(address)
        assert {name: answer.headers.get(name) for name in HEADERS} == HEADERS
    assert "unsafe" not in HEADERS["Content-Security-Policy"]


@pytest.mark.parametrize(
    "address", ["/static/../pages.py", "/static/%2e%2e/pages.py", "/static//etc/passwd", "/band/../../etc/passwd"]
)
def test_nothing_outside_is_served(tmp_path: Path, address: str) -> None:
    browser, _ = let_in(tmp_path)
    answer = browser.get(address)
    assert answer.status_code == 404
    assert "import" not in answer.text


def test_a_body_that_says_no_length_ends_where_it_grows_too_large() -> None:
    async def endless() -> dict[str, object]:
        return {"type": "http.request", "body": b"x" * (access.LARGEST_BODY // 4), "more_body": True}

    receive = access._bounded(endless)

    async def read() -> list[object]:
        return [(await receive())["type"] for _ in range(5)]

    assert asyncio.run(read()) == [*4 * ["http.request"], "http.disconnect"]


def test_the_first_page_waits_for_nothing_that_only_others_need() -> None:
    heavy = "{'numpy', 'scipy', 'matplotlib'}"
    code = f"import sys, calib.web.views, calib.web.server; print(sorted({heavy} & set(sys.modules)))"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    assert said.stdout.strip() == "[]"
