"""Coverage factors and intervals of draws against the Guide and its first supplement."""

import numpy as np
import pytest

from calib.fit.gear.dof import coverage_factor
from calib.fit.gear.monte_carlo import symmetric_interval


def test_gum_end_gauge() -> None:
    """JCGM 100:2008 H.1: u 32 nm with 16 effective degrees of freedom is U99 93 nm."""
    assert 32 * coverage_factor(16, 0.99) == pytest.approx(93, abs=0.5)


def test_gum_two_inputs() -> None:
    """JCGM 100:2008 G.4.2 (values from memory): u 1.03 with 19 degrees of freedom is U95 2.2."""
    assert 1.03 * coverage_factor(19) == pytest.approx(2.2, abs=0.05)


def test_many_degrees_of_freedom_leave_the_normal_factor() -> None:
    assert coverage_factor(np.inf) == pytest.approx(1.95996, abs=5e-6)


def test_four_rectangular_inputs() -> None:
    """JCGM 101:2008 9.2.3: the 95 % interval of a sum of four rectangular inputs of u 1 is +-3.88 (exact 3.8794067).

    Tolerance: 4 standard deviations of a quantile of a million draws.
    """
    tolerance = 4 * (0.025 * 0.975 / 1e6) ** 0.5 / 0.028  # density at the quantile: 0.028
    drawn = np.random.default_rng(101).uniform(-(3**0.5), 3**0.5, (1_000_000, 4)).sum(axis=1)
    assert symmetric_interval(np.sort(drawn), 0.95) == pytest.approx((-3.8794067, 3.8794067), abs=tolerance)


def test_an_interval_of_few_ordered_draws() -> None:
    ordered = np.array([0.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 11.0, 12.0, 13.0])
    assert symmetric_interval(ordered, 0.8) == (5.0, 12.0)
