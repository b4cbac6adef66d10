"""Planned lengths are dense where the pull climbs fastest, and stay within band, scale and rack."""

from itertools import pairwise

import pytest

from calib.acquire.recording.plan import (
    BEARABLE_MODULUS,
    SHEAR_MODULUS,
    Holes,
    PlanLimits,
    geometry_of,
    neo_hooke,
    plan_lengths,
    plan_loads,
    section_stiffness,
    stretch_at,
)
from calib.errors import DataError
from calib.records import Band, LengthSetup
from calib.units import G_STANDARD

BAND = Band(id="B1", flat_length=1.0, width=0.03, thickness=0.0045)
TAPE = LengthSetup("band-inner", (0.012,))


def stretches(lengths: tuple[float, ...], setup: LengthSetup = TAPE) -> list[float]:
    return [geometry_of(BAND, setup).stretch(x) for x in lengths]


def test_gaps_grow_with_stretch() -> None:
    found = stretches(plan_lengths(BAND, TAPE, PlanLimits()).lengths)
    gaps = [b - a for a, b in pairwise(found)]
    assert len(found) == 8
    assert found[0] == pytest.approx(1.1, abs=0.01)
    assert found[-1] == pytest.approx(2.2, abs=0.01)
    assert all(b > a for a, b in pairwise(gaps))


def test_a_small_scale_ends_the_plan_early_and_says_so() -> None:
    capacity = 20 * G_STANDARD
    plan = plan_lengths(BAND, TAPE, PlanLimits(capacity=capacity))
    stiffness = section_stiffness(BAND)
    assert stiffness == pytest.approx(2 * 0.03 * 0.0045 * SHEAR_MODULUS)
    assert stiffness is not None
    stiffest = section_stiffness(BAND, BEARABLE_MODULUS)
    assert stiffest is not None
    assert stiffest * neo_hooke(stretches(plan.lengths)[-1]) == pytest.approx(0.8 * capacity, rel=0.01)
    assert "80 %" in plan.said[0]
    assert "20 kg" in plan.said[0]


def test_only_holes_there_are_are_planned() -> None:
    setup = LengthSetup("centres", (0.025,))
    holes = Holes(0.05, first=4)
    lengths = plan_lengths(BAND, setup, PlanLimits(), holes=holes).lengths
    assert len(lengths) >= 6
    for length in lengths:
        assert holes.length(holes.number(length)) == pytest.approx(length)
    assert stretches(lengths, setup)[-1] <= 2.22


def test_wide_holes_that_leave_no_three_lengths_are_refused() -> None:
    with pytest.raises(DataError, match="closer holes"):
        plan_lengths(BAND, LengthSetup("centres", (0.025,)), PlanLimits(top=1.3), holes=Holes(0.5))


def test_above_three_times_the_flat_length_is_refused_unless_told() -> None:
    with pytest.raises(DataError, match=r"3\.20 times"):
        plan_lengths(BAND, TAPE, PlanLimits(top=3.2))
    assert plan_lengths(BAND, TAPE, PlanLimits(top=3.2, allow_over=True)).said


def test_above_two_and_a_half_there_is_a_caution() -> None:
    assert "2.5" in plan_lengths(BAND, TAPE, PlanLimits(top=2.7)).said[0]
    assert plan_lengths(BAND, TAPE, PlanLimits(top=2.4)).said == ()


def test_lengths_are_round_to_what_a_tape_is_set_to() -> None:
    quarter = 0.25 * 0.0254
    for length in plan_lengths(BAND, TAPE, PlanLimits(), step=quarter).lengths:
        assert length / quarter == pytest.approx(round(length / quarter), abs=1e-3)


def test_the_inverse_of_the_shape() -> None:
    for stretch in (1.05, 1.5, 2.7):
        assert stretch_at(neo_hooke(stretch)) == pytest.approx(stretch, abs=1e-9)


def test_two_loads_are_too_few() -> None:
    with pytest.raises(DataError, match="three different loads"):
        plan_loads(BAND, [5.0, 5.0, 10.0], PlanLimits())
