"""When an anchor is said to lift, slide or tip: each limit worked by hand, and met from both sides. Bands invented."""

import pytest

from calib.use.rig.anchors import cautions
from calib.use.rig.statics import RigLoad, calculate
from tests.use.rig.made import band_text, linear, rig

NEAR = 1.01  # a hundredth to either side of a limit
HEIGHT, FOOTPRINT = 0.1, 0.4  # [m]


def _answer(holds_N: float = 9e4) -> RigLoad:
    """One band from below, its anchor 0.3 m behind the bar: it pulls up, fore and aft."""
    holds_kg = holds_N / calculate(rig(band_text()), [linear()]).gravity
    anchor = f"[anchor]\nholds_kg = {holds_kg!r}\nfootprint_mm = {1e3 * FOOTPRINT}"
    return calculate(rig(band_text(anchor_mm=1e3 * HEIGHT, fore_mm=300), anchor=anchor), [linear()])


def _said(holds_N: float, code: str) -> str:
    return " ".join(f.text for f in cautions(_answer(holds_N)) if f.code == code)


@pytest.fixture(scope="module")
def pulls() -> tuple[float, float]:
    """The most up and the most fore-aft, both at the top of the lift, where the band is longest. [N]"""
    band = _answer().known_ways["up"].bands[0]
    return float(band.down[-1]), float(abs(band.fore[-1]))


def test_half_of_what_holds_asks_for_caution_and_all_of_it_lifts_off(pulls: tuple[float, float]) -> None:
    up, _ = pulls
    assert not _said(2 * up * NEAR, "anchor-may-lift")
    assert "above half asks for caution" in _said(2 * up / NEAR, "anchor-may-lift")
    assert "above half asks for caution" in _said(up * NEAR, "anchor-may-lift")
    assert "it will lift off" in _said(up / NEAR, "anchor-may-lift")


def test_it_slides_beyond_three_tenths_of_the_weight_left_on_the_floor(pulls: tuple[float, float]) -> None:
    up, aside = pulls
    limit = up + aside / 0.3
    assert not _said(limit + NEAR, "anchor-may-slide")
    assert _said(limit - NEAR, "anchor-may-slide")


def test_it_tips_beyond_half_of_what_the_weight_left_holds_about_its_edge(pulls: tuple[float, float]) -> None:
    up, aside = pulls
    limit = up + aside * HEIGHT / (0.5 * FOOTPRINT / 2)
    assert not _said(limit + NEAR, "anchor-may-tip")
    assert _said(limit - NEAR, "anchor-may-tip")


def test_no_weight_left_on_the_floor_holds_against_nothing(pulls: tuple[float, float]) -> None:
    up, _ = pulls
    assert _said(up / NEAR, "anchor-may-slide")
    assert "against 0 N m" in _said(up / NEAR, "anchor-may-tip")
