"""Kilos after the first pull of a quick look: there once, with limits that hold, and nowhere else."""

import re
from datetime import UTC, datetime

import pytest

from calib.acquire.recording.machine import take
from calib.acquire.recording.state import Recording
from calib.use.ask.given import Given
from calib.use.ask.head import head_of
from calib.use.report.first_kilos import first_kilos
from tests.campaigns.quick_look import ANSWERS

TRUE = ["4.90", "9.75", "16.80", "24.65"]  # kg


def after_each(entries: list[str], *, quick: bool = True) -> list[str]:
    """What is said after each entry of a recording."""
    head, _ = head_of(ANSWERS, Given("B1", quick=quick), datetime(2027, 3, 1, tzinfo=UTC))
    state, said = Recording(head), []
    for entry in entries:
        before = state
        state = take(before, entry, 0.0).state
        said.append(first_kilos(before, state))
    return said


def test_they_are_there_once_with_the_last_reading_of_the_first_pull() -> None:
    said = after_each(["0", *TRUE, *TRUE])
    assert [bool(words) for words in said] == [False] * 4 + [True] + [False] * 4
    found = re.fullmatch(
        r"First kilos: B1 pulls ([0-9.]+) kg at [0-9.]+ cm, ([0-9.]+) to ([0-9.]+) kg in all, "
        r"mostly within (\d+) %\. .*",
        said[4],
    )
    assert found
    middle, least, most = (float(x) for x in found.groups()[:3])
    assert (middle, least, most) == pytest.approx((16.8, 4.9, 24.65), rel=0.05)
    assert 2 <= int(found[4]) <= 20  # one pull shows no slip, so its limits are wider than those of two


def test_a_full_recording_says_none_and_a_doubted_entry_waits_for_its_answer() -> None:
    up = ["4.90", "6.70", "10.15", "14.50", "19.60", "25.45", "31.75", "38.80"]
    assert not any(after_each(["0", *up, *up[-2::-1], up[0]], quick=False))  # into the second pull
    said = after_each(["0", *TRUE[:3], "2.465", "24.65"])
    assert [bool(words) for words in said] == [False] * 5 + [True]
