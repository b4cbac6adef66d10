"""A load cell at the computer, a phone's browser beside the rack: points are taken by themselves, gaps are told."""

import statistics
import threading
import time
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from calib.acquire.files.run_file import read_run
from calib.acquire.files.stream_file import read_stream
from tests.firmware.fake_board import FakeBoard
from tests.firmware.script import Event, Hold, Pull, Script
from tests.web.browser import looking, needs_chromium, serving, violations
from tests.web.cell.made import PER_NEWTON, at_a_cell

pytestmark = [needs_chromium, pytest.mark.browser, pytest.mark.slow]
HELD = (30.0, 60.0, 90.0)  # N, at the three lengths
HELD_S = 6.0  # two until the point is taken, and what a busy computer needs to tell that it stands still


def test_points_are_taken_by_themselves_and_a_pulled_cable_is_told(browser: Browser, tmp_path: Path) -> None:
    at_a_cell(tmp_path)
    pull = Pull(tuple(Hold(force, 60.0, HELD_S, -0.005) for force in HELD), rest_s=1.0)
    pulled_out = Event(pull.held()[2].stopped_s, "hang-up", 2.0)
    script, cue = Script(pull, 120.0, (pulled_out,)), threading.Event()
    lines: list[tuple[float, int]] = []

    def noted(data: bytes) -> bytes:
        cells = data.split(b",")
        if not data.startswith(b"#") and len(cells) > 2 and cells[2]:
            lines.append((time.time(), int(cells[2])))
        return data

    with (
        FakeBoard(script, 10.0, paced=True, line=noted, cue=cue) as board,
        serving(tmp_path, "--cell", board.port) as link,
        looking(browser, link) as page,
    ):
        page.goto(link.split("/enter")[0] + "/measure/B1")
        page.get_by_role("link", name="Connect the load cell").click()
        assert violations(page) == []
        page.get_by_role("button", name="Listen to it").click()
        expect(page.locator("#doing")).to_contain_text("Enter takes it as the zero", timeout=20_000)
        page.evaluate(
            "window.seen = []; const pull = document.getElementById('pull');"
            "new MutationObserver(() => seen.push([Date.now(), pull.textContent]))"
            ".observe(pull, {childList: true, characterData: true, subtree: true})"
        )
        before = len(lines)
        page.get_by_role("button", name="Take it now").click()
        expect(page.locator("#rows li")).to_have_count(1, timeout=30_000)
        assert violations(page) == []
        cue.set()
        expect(page.locator("#rows li")).to_have_count(3, timeout=60_000)
        seen = page.evaluate("window.seen")
        expect(page.locator("#say")).to_contain_text("gone", timeout=40_000)
        expect(page.locator("#rows")).to_contain_text("zero-lost")
    readings = read_run(tmp_path / "B1.run.csv").readings
    for reading, force in zip(readings, HELD, strict=False):
        zero = read_run(tmp_path / "B1.run.csv").rows[0].force or 0.0
        assert (reading.force or 0.0) - zero == pytest.approx(force * (1 - 0.005 * -0.699), rel=0.005)
    assert sum(1 for _ in read_stream(tmp_path / "B1.stream.csv")) >= len(lines) - before  # every line since the zero
    late = delays(lines, seen)
    assert len(late) >= 5
    middle = statistics.median(late)
    print(f"from the line to the screen: median {1000 * middle:.0f} ms, worst {1000 * max(late):.0f} ms")
    assert middle < 0.15


def delays(lines: list[tuple[float, int]], seen: list[tuple[float, str]]) -> list[float]:
    """From the moment a line was sent to that in which its value stood on the screen, of those that can be told. [s]"""
    zero = statistics.median(counts for _, counts in lines[:40])
    shown = [(at, round((counts - zero) / PER_NEWTON / 9.80665, 2)) for at, counts in lines]
    texts = [
        (at / 1000, round(float(text.split()[0]), 2)) for at, text in seen if text[:1] in "-0123456789" and " " in text
    ]
    found = []
    for i, (at, value) in enumerate(shown):
        beside = {v for _, v in shown[max(0, i - 20) : i + 20] if v == value}
        alone = sum(v == value for _, v in shown[max(0, i - 20) : i + 20]) == 1
        after = next((t for t, v in texts if t >= at and v == value), None)
        if beside and alone and after is not None:
            found.append(after - at)
    return found
