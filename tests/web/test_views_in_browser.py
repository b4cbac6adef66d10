"""Every view of the page for everybody: screen readers, large text, dark and light, keyboard alone; and soon there."""

import os
import re
import subprocess
import sys
from http.cookiejar import CookieJar
from pathlib import Path
from urllib.request import HTTPCookieProcessor, build_opener

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.acquire.recording.test_state_machine import shown
from tests.web.browser import DESK, PHONE, looking, needs_chromium, serving, violations
from tests.web.stocked import VIEWS, stocked

pytestmark = [needs_chromium, pytest.mark.browser, pytest.mark.slow]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Something for every view."""
    return stocked(tmp_path_factory.mktemp("folder"))


@pytest.mark.parametrize(("size", "scheme"), [(PHONE, "light"), (DESK, "dark")], ids=["phone", "desk"])
def test_every_view_reads_well_and_text_twice_as_large_fits(
    browser: Browser, folder: Path, size: tuple[int, int], scheme: str
) -> None:
    wrong = []
    with serving(folder) as link, looking(browser, link, size, drops=True) as page:
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        for view in VIEWS:
            page.goto(link.split("/enter")[0] + view)
            wrong += [f"{view}: {what}" for what in violations(page)]
            page.evaluate("document.documentElement.style.fontSize = '200%'")
            if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
                wrong.append(f"{view}: cut off at twice the size of text")
    assert wrong == []


def reach(page: Page, what: str) -> None:
    """Tab on until something of that name, or with that id, has the focus."""
    for _ in range(60):
        page.keyboard.press("Tab")
        told = page.evaluate(
            "() => { const e = document.activeElement;"
            " return [e.id, e.textContent, e.closest('label')?.textContent ?? ''].join('|'); }"
        )
        if what in told:
            return
    raise AssertionError(f"{what} is not reached by the keyboard")


def test_a_quick_look_by_keyboard_alone(browser: Browser, tmp_path: Path) -> None:
    with serving(tmp_path) as link, looking(browser, link, DESK) as page:
        reach(page, "name")
        page.keyboard.type("B07")
        page.keyboard.press("Enter")
        expect(page.locator("#q-max")).to_be_visible()
        for field, text in (("q-max", "50 kg"), ("q-step", "0.05"), ("q-flat", "100 cm")):
            reach(page, field)
            page.keyboard.type(text)
        page.keyboard.press("Enter")
        expect(page.locator("h1")).to_contain_text("Before you pull")
        reach(page, "All of this is so")
        page.keyboard.press("Space")
        reach(page, "Done: begin")
        page.keyboard.press("Enter")
        settled = page.locator("#recording:is([data-state=ready], [data-state=done])")
        settled.wait_for()
        reach(page, "value")
        while settled.get_attribute("data-state") == "ready":
            version = settled.get_attribute("data-version") or ""
            place = page.locator("#place").inner_text()
            kilos = shown(float(place.split()[0]) / 100 + 0.014) if place else 0.0
            page.keyboard.type(f"{round(kilos / 0.05) * 0.05:.2f}")
            page.keyboard.press("Enter")
            expect(settled).not_to_have_attribute("data-version", version)
        reach(page, "Show the kilos")
        page.keyboard.press("Enter")
        expect(page.locator("h1")).to_contain_text("Band B07")
    assert (tmp_path / "B07.profile.json").is_file()


@pytest.mark.skipif(not hasattr(os, "wait4"), reason="needs the processor time of a process")
def test_the_first_page_costs_less_than_a_second_of_computing(folder: Path) -> None:
    command = [sys.executable, "-m", "calib", "page", str(folder), "--no-browser"]
    server = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
    assert server.stderr is not None
    found = re.search(r"http\S+", server.stderr.readline())
    assert found is not None
    with build_opener(HTTPCookieProcessor(CookieJar())).open(found[0], timeout=20) as first:
        assert b"KNEE" in first.read()
    server.terminate()
    _, _, used = os.wait4(server.pid, 0)
    server.returncode = 0
    server.stderr.close()
    assert used.ru_utime + used.ru_stime < 0.7  # about 0.45 where nothing else runs
