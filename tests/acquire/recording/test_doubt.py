"""What does not fit is questioned with the likely slip named; what fits passes."""

import random
from dataclasses import replace

import pytest

from calib.acquire.recording.reading_doubt import KnownReading, TypedReading, expect, likely_slip
from calib.records import BranchName


def pull(stretch: float, branch: BranchName = "loading") -> float:
    """An invented band. [N]"""
    out = 100 * (1 + 0.6 / stretch) * (stretch - stretch**-2)
    return out * (0.9 if branch == "unloading" else 1.0)


def known(stretches: list[float], branch: BranchName = "loading") -> list[KnownReading]:
    return [KnownReading(s, pull(s, branch), branch, 1) for s in stretches]


def entry(text: str, target: float, unit: str = "kg") -> TypedReading:
    units = (("lb", 0.45359237), ("N", 1 / 9.80665))
    return TypedReading(
        text, float(text), lambda v: abs(v / target - 1) < 0.05, lambda v: 1000 < v < 3000, "length", unit, units
    )


def test_the_next_length_of_a_true_band_fits() -> None:
    stretches = [1.1, 1.17, 1.3, 1.45, 1.65, 1.9, 2.2]
    for i in range(1, len(stretches)):
        found = expect(known(stretches[:i]), stretches[i], "loading")
        assert found is not None
        assert found.fits(pull(stretches[i]))


def test_the_way_back_fits_with_its_loss() -> None:
    out, back = [1.1, 1.3, 1.6, 2.0], [1.6, 1.3, 1.1]
    for i, stretch in enumerate(back):
        found = expect([*known(out), *known(back[:i], "unloading")], stretch, "unloading")
        assert found is not None
        assert found.fits(pull(stretch, "unloading"))


def test_a_second_cycle_with_one_per_cent_noise_is_never_questioned() -> None:
    rng = random.Random(3)
    stretches = [1.1, 1.17, 1.3, 1.45, 1.65, 1.9, 2.2]
    for _ in range(200):
        stretch = rng.choice(stretches)
        found = expect(known(stretches), stretch, "loading")
        assert found is not None
        assert found.fits(pull(stretch) * (1 + rng.gauss(0, 0.01)))


@pytest.mark.parametrize("factor", [10, 0.1, 1.2, 0.8, 2.2046])
def test_twenty_per_cent_off_does_not_fit_among_known_lengths(factor: float) -> None:
    found = expect(known([1.3, 1.5, 1.7, 2.0]), 1.6, "loading")
    assert found is not None
    assert not found.fits(factor * pull(1.6))


def test_nothing_known_means_no_doubt() -> None:
    assert expect([], 1.5, "loading") is None


def test_the_section_alone_questions_only_what_is_far_off() -> None:
    found = expect([], 1.5, "loading", first=100.0)
    assert found is not None
    assert found.fits(pull(1.5))
    assert not found.fits(10 * pull(1.5))


@pytest.mark.parametrize(
    ("typed", "right", "words"),
    [
        ("163.5", 16.35, "decimal point (16.35)"),
        ("1.635", 16.35, "decimal point"),
        ("61.35", 16.35, "two digits swapped (16.35)"),
        ("36.05", 16.35, "lb instead of kg"),
        ("46.35", 16.35, "one digit misread (16.35)"),
        ("-16.35", 16.35, "hook reversed"),
        ("1287", 16.35, "length typed in its place"),
    ],
)
def test_the_slip_is_named(typed: str, right: float, words: str) -> None:
    assert words in (likely_slip(entry(typed, right)) or "")


def test_no_slip_is_a_number_that_no_scale_shows() -> None:
    assert likely_slip(entry("27.30", 7.3)) is None
    assert "(8.3)" in (likely_slip(entry("2.3", 8.3)) or "")


def test_of_several_slips_that_would_fit_the_nearest_is_named() -> None:
    """Few readings leave much room: 27.3 may then be pounds (12.4) or a misread digit, and only one is 17.3."""
    wide = replace(entry("27.3", 16.35), fits=lambda value: 9 < value < 30)
    assert "lb instead of kg" in (likely_slip(wide) or "")
    assert likely_slip(replace(wide, wanted=17.0)) == "one digit misread (17.3)"
    assert likely_slip(replace(wide, wanted=12.5)) == "lb instead of kg"
    assert "decimal point" in (likely_slip(replace(entry("79.1", 8.0), wanted=8.5)) or "")  # newtons are 2 % nearer


def test_a_strange_number_gets_no_invented_reason() -> None:
    assert likely_slip(entry("29.9", 16.35)) is None
