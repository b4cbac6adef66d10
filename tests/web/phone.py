"""A phone that was let in to the page of a folder."""

import re
from pathlib import Path

from starlette.testclient import TestClient

from calib.web.access import Doorkeeper
from calib.web.views import page_of

HOST = "127.0.0.1:8765"
HERE = {"origin": f"http://{HOST}"}


def let_in(folder: Path, ports: tuple[str, ...] = ()) -> TestClient:
    """Its cookie is set; `ports` are those the page may open."""
    door = Doorkeeper(frozenset({HOST}))
    browser = TestClient(page_of(folder, door, ports), base_url=f"http://{HOST}")
    assert browser.get("/enter", params={"code": door.new_code()}).status_code == 200
    return browser


def form_of(page: str) -> str:
    """The name that was made for the form of a page."""
    found = re.search(r'name="form" value="([0-9a-f]{16})"', page)
    assert found
    return found[1]
