"""The walk with a box is what the program prints, and what it finds is what the invented bands are."""

import re

import pytest

from tests.campaigns.box_walk import IDS, KEPT, ODD, PAGE, SOFTENED, SOFTER, Walked, elsewhere, page_of, walk


@pytest.fixture(scope="module")
def walked() -> Walked:
    with elsewhere():
        return walk()


@pytest.mark.slow
def test_from_the_labels_to_a_year_later_it_is_as_the_page_shows(walked: Walked) -> None:
    assert page_of(walked).splitlines() == PAGE.read_text("utf-8").splitlines()


def test_levels_and_the_odd_band_are_those_of_the_invented_box(walked: Walked) -> None:
    rows = re.findall(r"^(B\d\d) .*?([+-]\d+\.\d) %\s+[\d.]+\s+[\d.]+\s+(.*)$", walked.screens["fit"], re.MULTILINE)
    assert [band for band, _, _ in rows] == list(IDS)
    assert [band for band, _, shape in rows if shape.strip() not in ("own", "borrowed")] == [ODD]
    seen = {band: 1 + float(level) / 100 for band, level, _ in rows if band != ODD}
    true = {band: walked.world.level[band] for band in seen}
    mean_seen, mean_true = (sum(d.values()) / len(d) for d in (seen, true))
    for band, level in seen.items():
        assert level / mean_seen == pytest.approx(true[band] / mean_true, abs=0.02)


def test_a_year_later_the_softened_band_is_told_from_the_other(walked: Walked) -> None:
    found = re.search(r"pulls (\d\.\d) \+- (\d\.\d) % less than before", walked.screens[f"compare {SOFTENED}"])
    assert found is not None
    assert abs(float(found[1]) - 100 * (1 - SOFTER)) <= float(found[2])
    assert "It has changed" in walked.screens[f"compare {SOFTENED}"]
    assert "no change beyond chance" in walked.screens[f"compare {KEPT}"].lower()
    assert f"box/{SOFTENED}.run.csv" in walked.screens["fit later"]  # the calibration of a year ago is left as it was


def test_by_tape_alone_the_difference_is_within_its_limits(walked: Walked) -> None:
    found = re.search(r"B01 pulls (\d\.\d) \+- (\d\.\d) % more than B12", walked.screens["series"])
    assert found is not None
    true = 100 * (walked.world.pull("B01", 1632) / walked.world.pull("B12", 1632) - 1)
    assert abs(float(found[1]) - true) <= float(found[2])
