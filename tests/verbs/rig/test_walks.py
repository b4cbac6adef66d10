"""The page of worked rigs is what the program prints, in kg and in lb."""

import pytest

from tests.campaigns.rig_walks import PAGE, WALKS, page


def test_five_rigs_from_a_tape_measure_to_the_answer_are_as_the_page_shows(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "100")
    shown = PAGE.read_text("utf-8")
    assert page().splitlines() == shown.splitlines()
    assert [walk.title for walk in WALKS] == [line[3:] for line in shown.splitlines() if line.startswith("## ")]
