"""The board's own clock, and how the zero of a cell moves."""

import numpy as np
import pytest

from calib.acquire.points.board_clock import BoardClock
from calib.acquire.points.drift import ZeroDrift
from calib.acquire.points.hold_rules import HeldPoint


def test_readings_that_come_in_lumps_have_the_times_of_the_board() -> None:
    clock, rng = BoardClock(), np.random.default_rng(3)
    made = np.arange(0, 60, 0.1)
    arrived = np.ceil(made + rng.uniform(0.0, 0.02, len(made)))  # handed over once a second
    found = [clock.program_time(float(a), 1000.0 + 1.003 * m) for a, m in zip(arrived, made, strict=True)]
    assert np.all(np.diff(found) > 0)
    assert np.abs(np.diff(found)[50:] - 0.1003).max() < 0.06
    assert np.std(np.array(found)[100:] - made[100:]) < 0.1


def test_a_clock_that_begins_anew_is_followed_and_a_line_without_one_has_the_time_it_came() -> None:
    clock = BoardClock()
    assert clock.program_time(10.0, 500.0) == 10.0
    assert clock.program_time(10.1, 500.1) == pytest.approx(10.1)
    assert clock.program_time(20.0, 0.2) == pytest.approx(20.0)
    assert clock.program_time(20.4, None) == 20.4


def _zero(at_s: float, force: float, per_s: float, u: float = 0.0005) -> HeldPoint:
    return HeldPoint(at_s - 8.0, at_s, force, u, 80, 0.01, per_s)


def test_two_zeros_tell_the_drift_better_than_one_and_u_grows_with_the_time_since() -> None:
    first = ZeroDrift().after(_zero(10.0, 0.0, 0.003), anew=True)
    assert first.per_s == pytest.approx(0.003)
    second = first.after(_zero(310.0, 0.9, 0.0035), anew=False)
    assert second.per_s == pytest.approx(0.003)
    assert second.u_per_s < 0.002
    assert second.u_after(310.0, 0.01) == pytest.approx(0.01)
    assert second.u_after(610.0, 0.01) > 0.9 / 1.96  # what it did move by lies within 95 %


def test_a_trend_that_is_noise_is_no_drift_and_an_interruption_forgets_the_zero_before() -> None:
    assert ZeroDrift().after(_zero(10.0, 0.0, 0.0004, u=0.002), anew=True).per_s == 0.0
    moved = ZeroDrift().after(_zero(10.0, 0.0, 0.0), anew=True).after(_zero(310.0, 50.0, 0.0), anew=True)
    assert moved.per_s == 0.0
