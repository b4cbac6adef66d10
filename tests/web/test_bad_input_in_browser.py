"""What goes wrong in front of a person, seen in Chromium: one sentence, shown literally, nothing lost."""

from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from calib.acquire.files.run_file import RunWriter, read_run
from tests.acquire.recording.test_state_machine import begun, shown
from tests.web.browser import PHONE, looking, needs_chromium, serving

pytestmark = [needs_chromium, pytest.mark.browser]
SETTLED = "#recording:is([data-state=ready], [data-state=done])"
HOSTILE = "<img src=x onerror=\"document.title='broken'\"> \u202egnp.exe " + "w" * 400


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("B1", "B2"):
        RunWriter.create(tmp_path / f"{name}.run.csv", begun(cycles=1).head).close()
    return tmp_path


def fits(page: Page) -> bool:
    """Whether nothing sticks out to the side."""
    found: bool = page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    return found


def test_a_wrong_code_and_a_browser_not_let_in_get_one_sentence(browser: Browser, folder: Path) -> None:
    with serving(folder) as link:
        page = browser.new_page()
        for address, words in (("/enter?code=wrong", "wrong or already used"), ("/", "has no access yet")):
            answer = page.goto(link.split("/enter")[0] + address)
            assert answer is not None and answer.status == 403
            said = page.locator("body").inner_text()
            assert words in said
            assert "\n" not in said.strip()
        page.close()


def test_another_site_changes_nothing(browser: Browser, folder: Path) -> None:
    with serving(folder) as link, looking(browser, link, drops=True) as page:
        address = link.split("/enter")[0] + "/measure/B1"
        page.route("http://elsewhere.example/", lambda route: route.fulfill(
            content_type="text/html", body=f'<form method="post" action="{address}"><input name="entry" value="0">'
            "<button>Win</button></form>"))  # fmt: skip
        page.goto("http://elsewhere.example/")
        page.get_by_role("button", name="Win").click()
        expect(page.locator("body")).to_contain_text("did not come from this page")
    assert not read_run(folder / "B1.run.csv").rows


def test_a_hostile_note_and_band_are_shown_literally(browser: Browser, folder: Path) -> None:
    rig = folder / "<b>x.rig.toml"
    rig.write_text("format = 1", "utf-8")
    with serving(folder) as link, looking(browser, link, PHONE, drops=True) as page:
        base = link.split("/enter")[0]
        page.goto(base + "/measure/B1")
        page.locator(SETTLED).wait_for()
        page.evaluate("document.getElementById('value').maxLength = 9999")
        page.fill("#value", f"note {HOSTILE}")
        page.click("#take")
        expect(page.locator("#rows")).to_contain_text("<img src=x")
        assert page.locator("#rows img").count() == 0
        assert "broken" not in page.title()
        assert "\u202e" not in page.locator("#rows").inner_text()
        assert fits(page)
        page.goto(base + "/rigs")
        expect(page.locator("ul.cards")).to_contain_text("<b>x")
        page.goto(base + "/band/" + "%3Cb%3E" * 50)
        expect(page.get_by_role("alert")).to_contain_text("<b>")
        assert fits(page)


def test_a_folder_that_vanishes_is_said_and_the_entry_stays_in_its_field(browser: Browser, folder: Path) -> None:
    away = folder.with_name(folder.name + "-away")
    with serving(folder) as link, looking(browser, link, drops=True) as page:
        page.goto(link.split("/enter")[0] + "/measure/B1")
        page.fill("#value", "0")
        page.click("#take")
        expect(page.locator("#place")).to_contain_text("1100")
        folder.rename(away)
        page.fill("#value", f"{shown(1.1):.2f}")
        page.click("#take")
        expect(page.locator("#say .doubt")).to_be_visible()
        assert page.input_value("#value") == f"{shown(1.1):.2f}"
        away.rename(folder)
        page.click("#take")
        expect(page.locator("#place")).to_contain_text("1200")
    assert len(read_run(folder / "B1.run.csv").readings) == 1


def test_two_recordings_at_once_in_two_tabs_stay_apart(browser: Browser, folder: Path) -> None:
    with serving(folder) as link, looking(browser, link) as page:
        base = link.split("/enter")[0]
        other = page.context.new_page()
        for tab, name in ((page, "B1"), (other, "B2")):
            tab.goto(f"{base}/measure/{name}")
            tab.fill("#value", "0")
            tab.click("#take")
        for tab, factor in ((page, 1.0), (other, 1.1)):
            expect(tab.locator("#place")).to_contain_text("1100")
            tab.fill("#value", f"{factor * shown(1.1):.2f}")
            tab.click("#take")
            expect(tab.locator("#place")).to_contain_text("1200")
    pulls = [[round(r.force or 0.0, 2) for r in read_run(folder / f"{n}.run.csv").readings] for n in ("B1", "B2")]
    assert [len(found) for found in pulls] == [1, 1]
    assert pulls[1][0] > pulls[0][0]
