"""First-order uncertainty against a million draws through formulas written here a second time, with plain numbers."""

from typing import Any

import numpy as np
import pytest

from calib.records import Array
from calib.use.rig.statics import calculate
from tests.use.rig.made import REST, STIFFNESS, band_text, linear, rig

DRAWS = 1_000_000
U, U_FLAT = 0.005, 0.002  # m: each reading of the rig; the flat length of a band
T, ANCHOR, SLEEVE, CALIBRATION = 0.0045, 0.06, 0.05, 0.012  # m
WRAP = np.pi * ((ANCHOR + SLEEVE) / 2 + T) / 2  # of a straight band; folded twice
PEGS, UNDER, ASIDE, FORE, SLACK = 0.36, 0.25, 0.2, 0.1, 0.83  # m
HEIGHTS = {"straight": 1.3, "doubled": 0.7, "spread": 0.7, "across": 0.6, "choked": 1.2, "hitched": 1.2}
KEYS: dict[str, dict[str, Any]] = {
    "straight": {"sideways_mm": 1e3 * ASIDE, "fore_mm": 1e3 * FORE},
    "doubled": {"sideways_mm": 1e3 * ASIDE},
    "spread": {"pegs_apart_mm": 1e3 * PEGS},
    "across": {"pegs_apart_mm": 1e3 * UNDER, "sideways_mm": 1e3 * ASIDE},
    "choked": {"slack_length_mm": 1e3 * SLACK, "fore_mm": 1e3 * FORE},
    "hitched": {},
}


def rectangular(rng: np.random.Generator, low: float, high: float) -> Array:
    return rng.uniform(low, high, DRAWS)


def geometry(name: str, rng: np.random.Generator, rise: Array, grip: Array) -> tuple[Array, Array]:
    """Half path to read the curve at, and downward share of the pull, for every draw."""

    def read(value: float) -> Array:
        return value + rng.normal(0, U, DRAWS)

    def held(length: Array, around: float) -> Array:
        own = np.pi * (CALIBRATION + T) / 2
        legs = (length - around) / (REST - around)
        return length + grip * (own + (REST - own) * legs - length)

    match name:
        case "straight":
            far = np.sqrt(rise**2 + read(ASIDE) ** 2 + read(FORE) ** 2)
            return held(far + WRAP, WRAP), rise / far
        case "doubled":
            far = np.sqrt(rise**2 + read(ASIDE) ** 2 + read(0.0) ** 2)
            return held(2 * far + 2 * WRAP, 2 * WRAP), 2 * rise / far
        case "spread":
            shift, side = read(0.0), read(0.0)
            one, two = (np.sqrt(rise**2 + side**2 + (shift + s * PEGS / 2) ** 2) for s in (1, -1))
            less = (SLEEVE + T) * np.arctan(PEGS / 2 / rise) * rectangular(rng, -1, 1)
            return held(one + two + 2 * WRAP - less, 2 * WRAP), rise * (1 / one + 1 / two)
        case "across":
            aside = read(ASIDE)
            far = np.sqrt(rise**2 + aside**2 + read(0.0) ** 2)
            less = (ANCHOR + T) * np.arctan(aside / rise) * rectangular(rng, -1, 1)
            return held(2 * far + UNDER + 2 * WRAP - less, 2 * WRAP + UNDER), 2 * rise / far
        case "choked":
            far = np.sqrt(rise**2 + read(FORE) ** 2)
            return (REST + rng.normal(0, U_FLAT, DRAWS)) * far / read(SLACK), rise / far
        case _:  # hitched: choked, its slack length not measured
            taken = np.pi * (ANCHOR + T) * rectangular(rng, 0.75, 1) + rectangular(rng, 0.01, 0.03)
            rest = REST + rng.normal(0, U_FLAT, DRAWS)
            return rest * rise / (rest - np.pi * (SLEEVE + T) / 4 - taken), np.ones(DRAWS)


def million(name: str, sides: int, height: float) -> Array:
    """Load of the bands in each draw. [kg] Shared: the bar's height, the scale's gain, gravity, gripping."""
    rng = np.random.default_rng(42)
    bar, gain, grip = rng.normal(0, U, DRAWS), rng.normal(0, 0.004, DRAWS), rng.uniform(0, 1, DRAWS)
    gravity = 9.80619920 * (1 + rng.normal(0, 5e-5, DRAWS))  # GRS80 at 45 degrees
    load = np.zeros(DRAWS)
    for _ in range(sides):
        length, down = geometry(name, rng, height + bar - rng.normal(0, U, DRAWS), grip)
        before = STIFFNESS * np.maximum(length - REST, 0)
        own = rng.normal(0, 0.003, DRAWS) * before + rng.normal(0, 0.15, DRAWS) + rng.normal(0, 0.1, DRAWS)
        load += np.where(before > 0, np.maximum(before * (1 + gain) + own, 0), 0) * down / gravity
    return load


def reported(name: str, sides: int, height: float) -> Any:
    arrangement = "choked" if name == "hitched" else name
    texts = [
        band_text(arrangement, 100, side, anchor_diameter_mm=1e3 * ANCHOR, **KEYS[name])
        for side in ("left", "right")[:sides]
    ]
    made = rig(*texts, bottom=1e3 * height + 100, top=1e3 * height + 110)
    return calculate(made, [linear("ONE"), linear("TWO")][:sides]).known_ways["up"].load


@pytest.mark.parametrize("name", HEIGHTS)
def test_first_order_u_is_that_of_a_million_draws_within_two_percent(name: str) -> None:
    sides = 1 if name == "across" else 2
    drawn, load = million(name, sides, HEIGHTS[name]), reported(name, sides, HEIGHTS[name])
    assert load.u[0] == pytest.approx(drawn.std(), rel=0.02)


@pytest.mark.parametrize("name", HEIGHTS)
def test_the_limits_are_those_of_a_million_draws_though_gripping_only_adds(name: str) -> None:
    """The rectangular terms of a hitch that was not measured make its true interval a little narrower than stated."""
    sides = 1 if name == "across" else 2
    drawn, load = million(name, sides, HEIGHTS[name]), reported(name, sides, HEIGHTS[name])
    low, high = np.quantile(drawn, [0.025, 0.975]) + 60
    half = (high - low) / 2
    assert load.low[0] == pytest.approx(low, abs=0.05 * half)
    assert load.high[0] == pytest.approx(high, abs=0.05 * half)
    if name not in ("choked", "hitched"):
        assert load.high[0] - load.value[0] > 1.05 * (load.value[0] - load.low[0])


@pytest.mark.parametrize("beyond", [-0.008, 0.0, 0.006, 0.012])
def test_where_a_band_goes_slack_within_its_uncertainty_the_limits_are_those_of_the_draws(beyond: float) -> None:
    height = float(np.sqrt((REST + beyond - WRAP) ** 2 - ASIDE**2 - FORE**2))
    drawn, load = million("straight", 2, height), reported("straight", 2, height)
    low, high = np.quantile(drawn, [0.025, 0.975]) + 60
    half = (high - low) / 2
    assert load.u[0] == pytest.approx(drawn.std(), rel=0.02)
    assert load.low[0] == pytest.approx(low, abs=0.08 * half)
    assert load.high[0] == pytest.approx(high, abs=0.08 * half)
    assert load.low[0] >= 60
