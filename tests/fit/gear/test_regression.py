"""Least squares against published numbers: NIST, the GUM, ISO/TS 28037, Pearson and York."""

import numpy as np
import pytest

from calib.errors import DataError
from calib.fit.gear.regression import f_tail, linear, polynomial
from tests.fit.curve.published import columns


def test_nist_load_cell_to_the_certified_digits() -> None:
    """NIST StRD, linear regression, data set Pontius (load-cell calibration, 40 points)."""
    data = columns("pontius.csv")
    fit = polynomial(data["load"], data["deflection"], 2).scaled()
    assert fit.coefficients == pytest.approx(
        [0.673565789473684e-3, 0.732059160401003e-6, -0.316081871345029e-14], rel=1e-10
    )
    assert fit.u == pytest.approx([0.107938612033077e-3, 0.157817399981659e-9, 0.486652849992036e-16], rel=1e-10)
    assert fit.residual_sd == pytest.approx(0.205177424076185e-3, rel=1e-10)
    assert fit.dof == 37


def test_gum_thermometer_line() -> None:
    """JCGM 100:2008 H.3: y1, y2, their u, correlation, s, and the correction at 30 degrees."""
    data = columns("gum_h3.csv")
    fit = polynomial(data["t_k_degC"] - 20, data["b_k_degC"], 1).scaled()
    assert fit.coefficients == pytest.approx([-0.1712, 0.00218], abs=5e-5)
    assert fit.coefficients[1] == pytest.approx(0.00218, abs=5e-6)
    assert fit.u == pytest.approx([0.0029, 0.00067], abs=5e-5)
    assert fit.u[1] == pytest.approx(0.00067, abs=5e-6)
    assert fit.covariance[0, 1] / fit.u.prod() == pytest.approx(-0.930, abs=5e-4)
    assert fit.residual_sd == pytest.approx(0.0035, abs=5e-5)
    row = np.array([1.0, 10.0])
    assert row @ fit.coefficients == pytest.approx(-0.1494, abs=5e-5)
    assert (row @ fit.covariance @ row) ** 0.5 == pytest.approx(0.0041, abs=5e-5)
    assert np.hypot(fit.u[0], 10 * fit.u[1]) == pytest.approx(0.0073, abs=5e-5)


def test_iso_28037_weighted_line() -> None:
    """ISO/TS 28037:2010 clause 6, equal u: a, b, their u, covariance, chi squared."""
    x, y = np.arange(1.0, 7.0), np.array([3.3, 5.6, 7.1, 9.3, 10.7, 12.1])
    fit = polynomial(x, y, 1, np.full(6, 0.5**2))
    assert fit.coefficients == pytest.approx([1.867, 1.757], abs=5e-4)
    assert fit.u == pytest.approx([0.465, 0.120], abs=5e-4)
    assert fit.covariance[0, 1] == pytest.approx(-0.050, abs=5e-4)
    assert fit.sum_of_squares == pytest.approx(1.665, abs=5e-4)


def test_f_tail_against_a_printed_table() -> None:
    """Upper 5 % points: 4.965 for 1 and 10 dof, 3.326 for 5 and 10; e-Handbook 1.3.6.7.3 (from memory)."""
    assert f_tail(4.965, 1, 10) == pytest.approx(0.05, abs=5e-5)
    assert f_tail(3.326, 5, 10) == pytest.approx(0.05, abs=5e-5)


def test_correlated_readings_against_an_independent_package() -> None:
    """Generalised least squares against statsmodels."""
    sm = pytest.importorskip("statsmodels.api", reason="statsmodels (test extra) is not installed")
    x = np.linspace(0.5, 4.0, 9)
    y = 1.3 + 0.7 * x - 0.05 * x**2 + 0.02 * np.cos(7 * x)
    covariance = 0.02**2 * (np.eye(9) + 0.6 * np.exp(-np.abs(x[:, None] - x)))
    theirs = sm.GLS(y, np.vander(x, 3, increasing=True), sigma=covariance).fit(cov_type="nonrobust")
    ours = polynomial(x, y, 2, covariance)
    assert ours.coefficients == pytest.approx(theirs.params, rel=1e-9)
    assert ours.scaled().u == pytest.approx(theirs.bse, rel=1e-9)


def test_readings_that_leave_a_coefficient_open_are_refused() -> None:
    with pytest.raises(DataError, match="too few different values"):
        polynomial(np.full(4, 2.0), np.arange(4.0), 1)
    with pytest.raises(DataError, match="cannot settle"):
        linear(np.ones((1, 2)), np.ones(1))
    with pytest.raises(DataError, match="scatter is not known"):
        polynomial(np.array([1.0, 2.0]), np.array([1.0, 2.0]), 1).scaled()
