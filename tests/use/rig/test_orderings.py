"""What lifters know from practice (common practice, no source) holds for any band: stiff, soft, curled, lossy."""

from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from calib.profile.document import Profile
from calib.use.rig.rig_curve import RigCurve, loading_share
from calib.use.rig.statics import Direction, calculate
from tests.use.rig.made import REST, band_text, linear, rig

bands = st.builds(
    linear,
    power=st.floats(0.6, 2.2),
    stiffness=st.floats(20, 900),
    lost=st.floats(0, 0.3),
)
taut = st.floats(1.02, 1.5)  # m, bar above anchor
fittings = st.floats(12, 60)
slowly = settings(max_examples=25, deadline=None)


def pulled(profile: Profile, rise: float, arrangement: str = "straight", reach: float = 0.1, **more: Any) -> Direction:
    bottom = 100 + 1000 * rise
    made = rig(band_text(arrangement, 100, **more), bottom=bottom, top=bottom + 1000 * reach)
    return calculate(made, [profile], points=5).known_ways["up"]


@slowly
@given(bands, st.floats(0.95, 1.35), fittings)
def test_a_doubled_band_pulls_more_than_a_straight_one_at_the_same_height(p: Profile, rise: float, mm: float) -> None:
    sizes = {"anchor_diameter_mm": mm, "sleeve_diameter_mm": mm}
    straight, doubled = (pulled(p, rise, a, **sizes).pull.value for a in ("straight", "doubled"))
    assert (doubled > 2 * straight).all()


@slowly
@given(bands, taut, fittings)
def test_a_choked_band_pulls_more_than_a_straight_one(p: Profile, rise: float, mm: float) -> None:
    sizes = {"anchor_diameter_mm": mm, "sleeve_diameter_mm": 50}
    straight, choked = (pulled(p, rise, a, **sizes).pull.value for a in ("straight", "choked"))
    assert (choked > straight).all()


@slowly
@given(bands, st.floats(0.55, 0.9), st.floats(20, 500), st.floats(20, 300))
def test_pegs_further_apart_raise_the_tension(p: Profile, rise: float, apart: float, more: float) -> None:
    near, far = (pulled(p, rise, "spread", pegs_apart_mm=mm).bands[0].tension for mm in (apart, apart + more))
    assert (far > near).all()


@slowly
@given(bands, taut, st.floats(0.02, 0.3), st.floats(0.02, 0.3))
def test_a_taller_lifter_gets_more_from_the_same_band(p: Profile, rise: float, reach: float, taller: float) -> None:
    """More at the top, and on average."""
    short, tall = (pulled(p, rise, reach=r).load.value for r in (reach, reach + taller))
    assert tall[-1] > short[-1]
    assert tall.mean() > short.mean()


@slowly
@given(bands, st.floats(0.1, 0.5))
def test_a_band_from_above_takes_most_off_at_the_bottom(p: Profile, reach: float) -> None:
    made = rig(band_text("straight", 2600, source="above"), bottom=1000, top=1000 + 1000 * reach)
    for direction in calculate(made, [p]).known_ways.values():
        assert (np.diff(direction.load.value) > 0).all()
        assert (direction.load.value < 60).all()


@slowly
@given(bands, taut, st.floats(20, 400))
def test_an_offset_raises_the_vertical_pull_while_the_curve_is_steeper_than_its_chord(
    p: Profile, rise: float, aside: float
) -> None:
    straight, away = (pulled(p, rise, sideways_mm=a) for a in (0, aside))
    force, length = straight.bands[0].tension, straight.bands[0].stretch * REST
    slope = np.gradient(force, length)
    assume((slope > 1.05 * force / np.linspace(rise, rise + 0.1, 5)).all())
    branch = p.branches.loading
    lengths = np.linspace(length[0], away.bands[0].stretch[-1] * REST, 200)
    over = np.interp(lengths, branch.length_m, branch.force_N) / (lengths - length[0] + rise)
    assume((np.diff(over) > 0).all())  # all the loading branch to the offset
    assert (away.pull.value > straight.pull.value).all()


@slowly
@given(bands, taut, st.floats(0.05, 0.4))
def test_going_up_against_bands_from_below_is_never_lighter_than_coming_down(
    p: Profile, rise: float, reach: float
) -> None:
    bottom = 100 + 1000 * rise
    ways = calculate(rig(band_text(anchor_mm=100), bottom=bottom, top=bottom + 1000 * reach), [p]).known_ways
    assert (ways["up"].load.value >= ways["down"].load.value - 1e-9).all()


def repeated(low: float, high: float, lost: float = 0.2) -> tuple[RigCurve, RigCurve]:
    made = rig(band_text(), bottom=1000, top=1300)
    lengths = np.linspace(low, high, 41)
    return tuple(RigCurve(linear(lost=lost), made, lengths, back, False) for back in (False, True))  # type: ignore[return-value]


def test_a_repetition_over_the_whole_tested_range_runs_on_the_profiles_own_branches() -> None:
    profile = linear(lost=0.2)
    out, back = repeated(REST, 3.2)
    loading, unloading = profile.branches.loading, profile.branches.unloading
    assert unloading is not None
    assert out.tension() == pytest.approx(np.interp(out.length, loading.length_m, loading.force_N))
    assert back.tension() == pytest.approx(np.interp(back.length, unloading.length_m, unloading.force_N))
    inside = [s for c in (out, back) for s in c.sources(c.length, c.share) if s.key.startswith("inside")]
    assert not any(s.shift.any() for s in inside)


@pytest.mark.parametrize("at", [1.2, 1.9, 3.0])
def test_a_vanishing_repetition_stands_at_a_point_between_the_branches(at: float) -> None:
    profile = linear(lost=0.2)
    out, back = repeated(at, at + 1e-7)
    assert out.tension() == pytest.approx(back.tension(), rel=1e-6)
    assert profile.force(at, "unloading") < out.tension()[0] < profile.force(at)
    u = next(s for s in out.sources(out.length, out.share) if s.key.startswith("inside")).shift[0]
    assert u == pytest.approx((profile.force(at) - profile.force(at, "unloading")) / 12**0.5, rel=1e-5)


@slowly
@given(st.floats(1.0, 3.1), st.floats(1e-4, 2.2), st.floats(0.05, 1.0))
def test_a_repetition_inside_the_loop_closes_and_stays_between_the_branches(low: float, by: float, over: float) -> None:
    ends, tested = (low, min(low + by, 3.2)), (1.0, 3.2)
    lengths = np.linspace(*ends, 50)
    out, back = (loading_share(lengths, ends, tested, over, s) for s in (False, True))
    for share in (out, back):
        assert (share >= -1e-12).all()
        assert (share <= 1 + 1e-12).all()
    assert (out >= back - 1e-9).all()
    if ends[0] > tested[0] + 1e-9:
        assert out[0] == pytest.approx(back[0])
    if ends[1] < tested[1] - 1e-9:
        assert out[-1] == pytest.approx(back[-1])
