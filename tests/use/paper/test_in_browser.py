"""The report in a real Chromium: its slider and its switch work, and it holds up to axe-core on a phone."""

import json
from datetime import date
from pathlib import Path

import pytest

from calib.profile.document import parse_profile
from calib.units import SHOWN
from calib.use.bands.curve_answer import curve_answer
from calib.use.paper.band_sheet import band_sheet, sheet_lengths
from calib.use.paper.collected import collect
from calib.use.paper.collection_page import collection_page
from tests.profile.invented import document
from tests.web.browser import chromium, looking, needs_chromium, violations


@needs_chromium
@pytest.mark.browser
def test_slider_and_units_work_and_nobody_is_shut_out(tmp_path: Path) -> None:
    for band in ("B01", "B02"):
        (tmp_path / f"{band}.profile.json").write_text(json.dumps(document(band)))
    page_file = tmp_path / "r.html"
    page_file.write_text(collection_page(collect(tmp_path, [], [], date(2026, 5, 1))), "utf-8")
    with chromium() as browser, looking(browser, page_file.as_uri()) as page:
        assert not violations(page)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        pull = page.locator("#pull-table tbody tr td").first
        before = float(pull.inner_text())
        page.locator("#tape").press("ArrowRight")
        assert float(pull.inner_text()) > before
        page.locator("#unit-lb").check()
        assert page.locator("#at").inner_text().endswith(" in")
        assert float(pull.inner_text()) > 2 * before
        assert not page.locator(".in-kg").first.is_visible()


@needs_chromium
@pytest.mark.browser
def test_a_sheet_as_a_page_shuts_nobody_out(tmp_path: Path) -> None:
    profile = parse_profile(json.dumps(document("B01")).encode(), "B01")
    answer = curve_answer(profile, sheet_lengths(profile, SHOWN["kg"]))
    (tmp_path / "s.html").write_bytes(band_sheet(profile, answer, "x", "html"))
    with chromium() as browser, looking(browser, (tmp_path / "s.html").as_uri()) as page:
        assert not violations(page)
        assert page.get_by_text("B01", exact=True).first.is_visible()
