"""Tempo, temperature and the toe: what a rig does to a profile measured under other conditions. Numbers by hand."""

from math import log10
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.profile.document import Profile
from calib.use.rig.rig_curve import RigCurve
from calib.use.rig.rig_findings import rig_findings
from calib.use.rig.statics import RigLoad, calculate
from tests.use.rig.made import REST, band_text, linear, rig
from tests.verbs.rig.test_command import invented

MEASURED = {"percent_per_decade": 3.0, "u": 0.5, "measured": True}


def loads(profile: Profile, source: str = "below", **changes: Any) -> RigLoad:
    text = band_text(anchor_mm=100 if source == "below" else 2600, source=source)
    made = rig(text, bottom=1300, top=1500)
    bar = {**vars(made.bar), **changes}
    return calculate(type(made)(type(made.bar)(**bar), made.band), [profile])


@pytest.mark.parametrize("tempo", [1.0, 0.5, 100.0])
@pytest.mark.parametrize(("source", "out"), [("below", "up"), ("above", "down")])
def test_a_faster_band_pulls_more_on_the_way_out_and_less_on_the_way_back(tempo: float, source: str, out: str) -> None:
    """3 % for each tenfold time, measured after 10 s; a tempo slower than the wait turns the sign."""
    profile = linear(relaxation=MEASURED)
    still, moved = loads(profile, source, tempo_s=10.0), loads(profile, source, tempo_s=tempo)
    for way in ("up", "down"):
        sign = 1 if way == out else -1
        part = moved.known_ways[way].bands[0].tension / still.known_ways[way].bands[0].tension
        assert part == pytest.approx(1 + sign * 0.03 * log10(10 / tempo))
        moves = next(s for s in moved.known_ways[way].bands[0].sources if s.key == "relaxation:LINE")
        expected = still.known_ways[way].bands[0].down * sign * 0.005 * log10(10 / tempo)
        assert moves.shift == pytest.approx(expected)


def test_a_warmer_band_pulls_more_and_is_less_sure() -> None:
    """0.25 +- 0.1 % a degree: 15 K more than the 21 C it was measured at are 3.75 +- 1.5 %."""
    cool, warm = loads(linear(), temperature=21.0), loads(linear(), temperature=36.0)
    for way in ("up", "down"):
        assert warm.known_ways[way].pull.value == pytest.approx(1.0375 * cool.known_ways[way].pull.value)
        shift = next(s.shift for s in warm.known_ways[way].bands[0].sources if s.key == "temperature coefficient")
        assert shift == pytest.approx(0.015 * cool.known_ways[way].pull.value)
    assert "different-conditions" in [f.code for f in warm.findings]


def test_an_unknown_temperature_is_said_and_widens() -> None:
    known, unknown = loads(linear()), loads(linear(), temperature=None)
    assert (unknown.known_ways["up"].load.u > known.known_ways["up"].load.u).all()
    assert "no-temperature" in [f.code for f in unknown.findings]


def test_turning_short_of_what_was_tested_is_said_and_widens() -> None:
    """u of the state inside the loop is the gap over 2 sqrt 3."""
    answer = loads(linear(lost=0.2))
    assert "works inside its measured loop" in " ".join(f.text for f in answer.findings)
    band = answer.known_ways["up"].bands[0]
    profile = linear(lost=0.2)
    length = float(band.stretch[10]) * REST
    gap = profile.force(length) - profile.force(length, "unloading")
    assert next(s.shift for s in band.sources if s.key.startswith("inside"))[10] == pytest.approx(
        gap / 12**0.5, rel=1e-4
    )


def test_between_slack_and_the_first_tested_length_a_guess_is_marked_and_wide() -> None:
    made = rig(band_text(anchor_mm=100), bottom=1000, top=1400)
    profile = invented()
    load = calculate(made, [profile], extrapolate=True)
    band = load.known_ways["up"].bands[0]
    length = band.stretch * profile.band.rest_half_path_m
    toe = (length > profile.band.rest_half_path_m + 0.02) & (length < 1.11)
    assert toe.any()
    assert (np.diff(band.tension) >= 0).all()
    part = (length - profile.band.rest_half_path_m) / (1.13 - profile.band.rest_half_path_m)
    moved = next(s.shift for s in band.sources if s.key.endswith(":toe"))
    assert moved[toe] == pytest.approx((0.6 * part * (1 - part) * profile.force(1.13))[toe], rel=0.3)
    texts = [f.text for f in rig_findings(made, [profile], load.heights) if f.code == "outside-tested"]
    assert len(texts) == 1
    assert "1.13 m (44.5 in), the shortest that was measured" in texts[0]


@given(st.floats(0, 1), st.lists(st.floats(0.9, 3.5), min_size=1, max_size=20))
def test_one_state_for_many_lengths_pulls_as_a_state_for_each(share: float, lengths: list[float]) -> None:
    """Draws are looked up between the branches at once; one by one on each branch must give the same."""
    made = rig(band_text(anchor_mm=100), bottom=1300, top=1500)
    curve = RigCurve(linear(lost=0.2), made, np.array([1.3, 1.5]), True, False)
    x = np.array(lengths)
    each = np.full_like(x, share)
    assert curve.pull(x, share) == pytest.approx(curve.pull(x, each))
    for one, other in zip(curve.sources(x, share), curve.sources(x, each), strict=True):
        assert one.key == other.key
        assert one.shift == pytest.approx(other.shift)


def test_without_a_way_back_the_loop_is_assumed_and_a_measured_one_is_used() -> None:
    none = loads(invented(unloading=False))
    assert none.down is None
    assert none.up is not None
    inside = next(s.shift for s in none.up.bands[0].sources if s.key.startswith("inside"))
    assert inside[10] == pytest.approx(0.1 * none.up.bands[0].down[10] / 12**0.5, rel=0.02)
