"""A real Chromium at a real page: the server in a process of its own, the browser at phone or desktop size."""

import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, sync_playwright

PHONE, DESK = (390, 844), (1280, 800)
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
needs_chromium = pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed (Debian: apt install chromium)")
QUIET = ("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync")  # fmt: skip


@contextmanager
def serving(folder: Path, *options: str) -> Iterator[str]:
    """`bandcurve page` on a folder; gives the link that lets one browser in."""
    command = [sys.executable, "-m", "calib", "page", str(folder), "--no-browser", *options]
    server = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
    try:
        assert server.stderr is not None
        found = re.search(r"http\S+", server.stderr.readline())
        assert found is not None
        yield found[0]
    finally:
        server.terminate()
        server.wait(10)
        assert server.stderr is not None
        server.stderr.close()


@contextmanager
def chromium() -> Iterator[Browser]:
    """The browser, without a window."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        yield browser
        browser.close()


@contextmanager
def looking(
    browser: Browser, link: str, size: tuple[int, int] = PHONE, *, drops: bool = False, touch: bool = False
) -> Iterator[Page]:
    """A page that has come in by the link; whatever a script complains of fails the test, but for a lost connection."""
    context = browser.new_context(viewport={"width": size[0], "height": size[1]}, has_touch=touch, is_mobile=touch)
    page = context.new_page()
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("console", lambda said: wrong.append(said.text) if said.type == "error" and not drops else None)
    page.goto(link)
    yield page
    context.close()
    assert not wrong, wrong


def violations(page: Page) -> list[str]:
    """What axe-core finds wrong for people who cannot see or hold well; empty is good."""
    found = Axe().run(page).response["violations"]
    return [f"{v['id']}: {v['help']} ({v['nodes'][0]['html'][:120]})" for v in found]
