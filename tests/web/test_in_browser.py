"""The page in a real browser: by hand from the link to the last reading, and what may go wrong on the way."""

import random
import shutil
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from calib.acquire.files.run_file import RunWriter, read_run
from calib.profile.document import save_profile
from tests.acquire.recording.test_state_machine import begun, shown
from tests.campaigns.page_drops import recorded
from tests.use.rig.made import band_text, linear, rig_text
from tests.web.browser import DESK, PHONE, looking, needs_chromium, serving, violations

SETTLED = "#recording:is([data-state=ready], [data-state=done])"  # nothing is under way
SAMPLES = Path(__file__).parents[2] / "sample_runs"
pytestmark = [needs_chromium, pytest.mark.browser, pytest.mark.slow]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    RunWriter.create(tmp_path / "B1.run.csv", begun(cycles=1).head).close()
    return tmp_path


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_a_recording_from_the_link_to_the_last_reading(browser: Browser, folder: Path, size: tuple[int, int]) -> None:
    with serving(folder) as link, looking(browser, link, size) as page:
        page.get_by_role("link", name="Measure").click()
        page.get_by_role("link", name="B1").click()
        expect(page.locator("#task")).to_contain_text("Zero the scale")
        assert violations(page) == []
        page.fill("#value", "0")
        page.click("#take")
        for branch in (1.0, 0.94):
            for length in (1.1, 1.2, 1.4, 1.7, 2.0) if branch == 1 else (1.7, 1.4, 1.2, 1.1):
                expect(page.locator("#place")).to_contain_text(f"{1000 * length:g} mm")
                page.fill("#value", f"{branch * shown(length):.2f}")
                page.click("#take")
        expect(page.locator("#task")).to_contain_text("Band slack. Read the scale")
        assert len(page.locator("#curve circle").all()) == 9
        assert violations(page) == []
        page.fill("#value", "0")
        page.click("#take")
    run = read_run(folder / "B1.run.csv")
    assert len(run.readings) == 9
    assert [r.kind for r in run.rows if r.kind == "zero"] == ["zero", "zero"]


def test_from_an_empty_folder_to_a_bands_kilos(browser: Browser, tmp_path: Path) -> None:
    """Taps are counted: a quick look of an invented band, as a new user would do it on a phone."""
    taps = 0
    with serving(tmp_path) as link, looking(browser, link) as page:

        def tap(words: str) -> None:
            nonlocal taps
            taps += 1
            page.get_by_role("button", name=words).first.click()

        page.fill("#name", "B07")
        tap("Quick look")
        assert violations(page) == []
        page.fill("#q-max", "50 kg")
        page.fill("#q-step", "0.05")
        page.fill("#q-flat", "100 cm")
        tap("Next")
        assert violations(page) == []
        page.get_by_label("All of this is so").check()
        tap("Done: begin")
        while page.locator(SETTLED).get_attribute("data-state", timeout=10_000) == "ready":
            asks = page.locator("#place").inner_text()
            version = page.locator(SETTLED).get_attribute("data-version") or ""
            back = "Come back" in page.locator("#task").inner_text()
            pull = shown(float(asks.split()[0]) / 100 + 0.014) * (0.95 if back else 1.0) if asks else 0.0
            page.fill("#value", f"{round(pull / 0.05) * 0.05:.2f}")
            tap("Take it")
            expect(page.locator(SETTLED)).not_to_have_attribute("data-version", version)
            expect(page.locator("#say .doubt")).to_have_count(0)
        tap("Show the kilos")
        expect(page.locator("h1")).to_contain_text("Band B07")
        assert 3 < float(page.locator("#big").inner_text()) < 40
    assert taps <= 13
    assert (tmp_path / "B07.profile.json").is_file()


def test_a_lost_connection_loses_nothing_and_counts_nothing_twice(browser: Browser, folder: Path) -> None:
    with serving(folder) as link, looking(browser, link, drops=True) as page:
        page.goto(link.split("/enter")[0] + "/measure/B1")
        page.fill("#value", "0")
        page.click("#take")
        expect(page.locator("#place")).to_contain_text("1100")
        page.locator(SETTLED).wait_for()
        page.context.set_offline(True)
        page.fill("#value", f"{shown(1.1):.2f}")
        page.click("#take")
        expect(page.locator("#say")).to_contain_text("No connection")
        page.context.set_offline(False)
        expect(page.locator("#place")).to_contain_text("1200", timeout=10_000)
    assert len(read_run(folder / "B1.run.csv").readings) == 1


def test_five_drops_at_random_moments_lose_nothing(browser: Browser, tmp_path: Path) -> None:
    assert recorded(browser, tmp_path, 5, random.Random(3)).total() == 5


def test_a_band_is_looked_up_with_the_slider(browser: Browser, tmp_path: Path) -> None:
    shutil.copy(SAMPLES / "KNEE.profile.json", tmp_path)
    with serving(tmp_path) as link, looking(browser, link) as page:
        page.get_by_role("link", name="KNEE").click()
        before = float(page.locator("#big").inner_text())
        assert violations(page) == []
        page.locator("#tape").press("End")
        expect(page.locator("#big")).not_to_have_text(f"{before:.2f}")
        assert float(page.locator("#big").inner_text()) > before
        page.get_by_role("button", name="Show lb").click()
        expect(page.locator(".kilos")).to_contain_text("lb")
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_a_rigs_slider_goes_over_the_lift(browser: Browser, tmp_path: Path) -> None:
    save_profile(linear("B"), tmp_path / "B.profile.json")
    bands = band_text(side="left") + band_text(side="right")
    (tmp_path / "squat.rig.toml").write_text(rig_text(bands, bottom=1200, top=1800), "utf-8")
    with serving(tmp_path) as link, looking(browser, link) as page:
        page.get_by_role("link", name="On the bar").click()
        page.get_by_role("link", name="squat").click()
        page.wait_for_load_state("networkidle")
        assert violations(page) == []
        top = float(page.locator("#big").inner_text())
        page.locator("#height").press("Home")
        expect(page.locator("#at")).to_contain_text("120.0 cm")
        assert float(page.locator("#big").inner_text()) < top


def test_two_browsers_see_the_same(browser: Browser, folder: Path) -> None:
    with serving(folder) as link, looking(browser, link) as page:
        address = link.split("/enter")[0] + "/measure/B1"
        page.goto(address)
        other = page.context.new_page()
        other.goto(address)
        page.fill("#value", "0")
        page.click("#take")
        expect(other.locator("#place")).to_contain_text("1100", timeout=2000)


def test_a_reading_is_typed_on_the_pad_and_changed_later(browser: Browser, folder: Path) -> None:
    with serving(folder) as link, looking(browser, link, touch=True) as page:
        page.goto(link.split("/enter")[0] + "/measure/B1")
        page.locator(SETTLED).wait_for()
        for key in ("0", "Take it"):
            page.get_by_role("button", name=key, exact=True).tap()
        expect(page.locator("#place")).to_contain_text("1100")
        for key in f"{shown(1.1):.2f}":
            page.get_by_role("button", name=key, exact=True).tap()
        page.get_by_role("button", name="Take it").tap()
        expect(page.locator("#place")).to_contain_text("1200")
        page.get_by_role("button", name="Change row 2").tap()
        assert violations(page) == []
        page.fill("#better", f"{shown(1.1) + 0.05:.2f}")
        page.get_by_role("button", name="Save").tap()
        expect(page.locator("#rows .struck")).to_have_count(1)
        expect(page.locator("#place")).to_contain_text("1200")
    assert [round((r.force or 0) / 9.80665, 2) for r in read_run(folder / "B1.run.csv").readings] == [
        round(shown(1.1) + 0.05, 2)
    ]


def test_the_wait_is_paused_and_begun_again(browser: Browser, folder: Path) -> None:
    with serving(folder) as link, looking(browser, link) as page:
        page.goto(link.split("/enter")[0] + "/measure/B1")
        page.fill("#value", "0")
        page.click("#take")
        expect(page.locator("#wait")).to_contain_text("Move")
        page.get_by_role("button", name="Pause").click()
        expect(page.locator("#wait")).to_have_text("Paused")
        page.get_by_role("button", name="Start the wait").click()
        expect(page.locator("#wait")).to_contain_text("Move")
        page.locator("summary").click()
        page.get_by_label("Speech").check()
        page.get_by_label("Sound").uncheck()
        page.reload()
        page.locator("summary").click()
        expect(page.get_by_label("Speech")).to_be_checked()
        expect(page.get_by_label("Sound")).not_to_be_checked()
