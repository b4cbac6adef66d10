"""Budgets, degrees of freedom and propagation of distributions against the Guide and its first supplement."""

import numpy as np
import pytest

from calib.fit.gear.dof import coverage_factor, effective_dof
from calib.fit.gear.monte_carlo import normal, propagate, rectangular, shortest_interval, symmetric_interval

GUM_H1 = ((25.0, 18.0), (9.7, 25.6), (0.0, np.inf), (2.9, 50.0), (16.6, 2.0))  # nm, dof; JCGM 100:2008 H.1, table H.1


def test_gum_end_gauge() -> None:
    """JCGM 100:2008 H.1: u 32 nm, 16 effective dof (16.75 unrounded), U99 93 nm.

    Contributions of table H.1: standard 25 (18), comparator 9.7 (25.6), expansion difference 2.9 (50), temperature
    difference 16.6 (2); first-order terms. The Guide rounds u_c to 32 nm and truncates the dof.
    """
    u = [c for c, _ in GUM_H1]
    combined = float(np.sqrt(np.square(u).sum()))
    assert combined == pytest.approx(32, abs=0.5)
    dof = effective_dof(u, [nu for _, nu in GUM_H1])
    assert dof == pytest.approx(16.75, abs=0.2)
    assert 32 * coverage_factor(16, 0.99) == pytest.approx(93, abs=0.5)


def test_gum_effective_dof() -> None:
    """JCGM 100:2008 G.4.2 (values from memory, recomputed): u 0.25, 0.57, 0.82 with 9, 4, 14 dof."""
    u, dof = (0.25, 0.57, 0.82), (9, 4, 14)
    assert float(np.hypot(np.hypot(*u[:2]), u[2])) == pytest.approx(1.03, abs=5e-3)
    effective = effective_dof(u, dof)
    assert effective == pytest.approx(18.9987, abs=5e-5)
    assert 1.03 * coverage_factor(effective) == pytest.approx(2.2, abs=0.05)


def test_sources_known_well_leave_the_normal_factor() -> None:
    assert effective_dof([1.0, 2.0], [np.inf, np.inf]) == np.inf
    assert coverage_factor(np.inf) == pytest.approx(1.95996, abs=5e-6)


def test_four_rectangular_inputs() -> None:
    """JCGM 101:2008 9.2.3: the 95 % interval of a sum of four rectangular inputs of u 1 is +-3.88 (exact 3.8794067).

    First order with a normal factor gives +-3.92. Tolerance: 4 standard deviations of a quantile of a million draws.
    """
    tolerance = 4 * (0.025 * 0.975 / 1e6) ** 0.5 / 0.028  # density at the quantile: 0.028
    seen = propagate(
        lambda a, b, c, d: a + b + c + d, [rectangular(0.0, 1.0)] * 4, np.random.default_rng(101), draws=1_000_000
    )
    assert seen.u == pytest.approx(2.0, abs=4 * 2 / 2e6**0.5)
    assert (seen.low, seen.high) == pytest.approx((-3.8794067, 3.8794067), abs=tolerance)
    assert 2 * coverage_factor(np.inf) == pytest.approx(3.92, abs=5e-3)


def test_shortest_interval_of_a_skewed_result_is_shorter_and_holds_as_much() -> None:
    """Square of a standard normal: the shortest 95 % interval is (0, 3.841), chi squared with one dof (any table)."""
    seen = propagate(lambda z: z**2, [normal(0.0, 1.0)], np.random.default_rng(9), draws=400_000, shortest=True)
    assert seen.low < 1e-3
    assert seen.high == pytest.approx(3.841, abs=0.05)


def test_intervals_of_few_ordered_draws() -> None:
    ordered = np.array([0.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 11.0, 12.0, 13.0])
    assert shortest_interval(ordered, 0.9) == (5.0, 13.0)
    assert symmetric_interval(ordered, 0.8) == (5.0, 12.0)


def test_gum_end_gauge_against_an_independent_package() -> None:
    """GTC's budget of the same four contributions: u and effective dof."""
    gtc = pytest.importorskip("GTC", reason="GTC (test extra) is not installed")
    total = sum(gtc.ureal(0.0, u, nu) for u, nu in GUM_H1 if u)
    assert float(np.sqrt(np.square([u for u, _ in GUM_H1]).sum())) == pytest.approx(total.u)
    assert effective_dof([u for u, _ in GUM_H1], [nu for _, nu in GUM_H1]) == pytest.approx(total.df)
