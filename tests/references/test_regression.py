"""Least squares against published numbers: NIST, the GUM, ISO/TS 28037, Pearson and York."""

from collections.abc import Callable

import numpy as np
import pytest

from calib.errors import DataError
from calib.fit.gear.nonlinear import line_errors_in_both, nonlinear
from calib.fit.gear.regression import f_tail, line_read_backwards, linear, polynomial, polynomial_at
from calib.records import Array
from tests.references.published import certified, columns


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
    value, u = polynomial_at(fit, 10.0)
    assert value == pytest.approx(-0.1494, abs=5e-5)
    assert u == pytest.approx(0.0041, abs=5e-5)
    assert np.hypot(fit.u[0], 10 * fit.u[1]) == pytest.approx(0.0073, abs=5e-5)


def test_iso_28037_weighted_line_and_its_inverse() -> None:
    """ISO/TS 28037:2010 clause 6, equal u: a, b, their u, covariance, chi squared; clause 11: y 10.5 back to x."""
    x, y = np.arange(1.0, 7.0), np.array([3.3, 5.6, 7.1, 9.3, 10.7, 12.1])
    fit = polynomial(x, y, 1, np.full(6, 0.5**2))
    assert fit.coefficients == pytest.approx([1.867, 1.757], abs=5e-4)
    assert fit.u == pytest.approx([0.465, 0.120], abs=5e-4)
    assert fit.covariance[0, 1] == pytest.approx(-0.050, abs=5e-4)
    assert fit.sum_of_squares == pytest.approx(1.665, abs=5e-4)
    assert line_read_backwards(fit, 10.5, 0.5) == pytest.approx((4.913, 0.322), abs=5e-4)


def test_iso_28037_errors_in_both() -> None:
    """ISO/TS 28037:2010 clause 7: a, b, their u, covariance, chi squared."""
    fit = line_errors_in_both(
        np.array([1.2, 1.9, 2.9, 4.0, 4.7, 5.9]),
        np.array([3.4, 4.4, 7.2, 8.5, 10.8, 13.5]),
        np.full(6, 0.2),
        np.array([0.2, 0.2, 0.2, 0.4, 0.4, 0.4]),
    )
    assert fit.coefficients == pytest.approx([0.5788, 2.1597], abs=5e-5)
    assert fit.u == pytest.approx([0.4764, 0.1355], abs=5e-5)
    assert fit.covariance[0, 1] == pytest.approx(-0.0577, abs=5e-5)
    assert fit.sum_of_squares == pytest.approx(2.743, abs=5e-4)


def test_pearson_with_yorks_weights() -> None:
    """Pearson 1901 data, weights of York 1966; digits and u as in York et al., Am. J. Phys. 72 (2004) 367."""
    data = columns("pearson_york.csv")
    fit = line_errors_in_both(data["x"], data["y"], data["w_x"] ** -0.5, data["w_y"] ** -0.5)
    assert fit.coefficients == pytest.approx([5.47991022403, -0.48053340745], abs=5e-12, rel=1e-9)
    assert fit.sum_of_squares / fit.dof == pytest.approx(1.48329415, abs=5e-9)
    assert fit.u == pytest.approx([0.29497, 0.057985], abs=5e-6)


Model = Callable[[Array, Array], Array]


def _misra1a(b: Array, x: Array) -> Array:
    return np.asarray(b[0] * -np.expm1(-b[1] * x))


def _misra1a_slopes(b: Array, x: Array) -> Array:
    return np.stack([-np.expm1(-b[1] * x), b[0] * x * np.exp(-b[1] * x)], axis=1)


def _misra1d(b: Array, x: Array) -> Array:
    return np.asarray(b[0] * b[1] * x / (1 + b[1] * x))


def _misra1d_slopes(b: Array, x: Array) -> Array:
    return np.stack([b[1] * x / (1 + b[1] * x), b[0] * x / (1 + b[1] * x) ** 2], axis=1)


def _danwood(b: Array, x: Array) -> Array:
    return np.asarray(b[0] * x ** b[1])


def _danwood_slopes(b: Array, x: Array) -> Array:
    return np.stack([x ** b[1], b[0] * x ** b[1] * np.log(x)], axis=1)


def _rat43(b: Array, x: Array) -> Array:
    return np.asarray(b[0] * (1 + np.exp(b[1] - b[2] * x)) ** (-1 / b[3]))


def _rat43_slopes(b: Array, x: Array) -> Array:
    e, value = np.exp(b[1] - b[2] * x), _rat43(b, x)
    by_exponent = -value / b[3] * e / (1 + e)
    return np.stack([value / b[0], by_exponent, -x * by_exponent, value * np.log1p(e) / b[3] ** 2], axis=1)


MODELS: dict[str, tuple[Model, Model]] = {
    "Misra1a": (_misra1a, _misra1a_slopes),
    "Misra1d": (_misra1d, _misra1d_slopes),
    "DanWood": (_danwood, _danwood_slopes),
    "BoxBOD": (_misra1a, _misra1a_slopes),
    "Rat43": (_rat43, _rat43_slopes),
}


@pytest.mark.parametrize("name", MODELS)
@pytest.mark.parametrize("start", [0, 1])
def test_nist_nonlinear_sets_from_both_starts(name: str, start: int) -> None:
    """NIST StRD, nonlinear regression: certified parameters and standard deviations to seven digits."""
    given = certified(name)
    model, slopes = MODELS[name]
    fit = nonlinear(lambda b: model(b, given.x) - given.y, lambda b: slopes(b, given.x), given.starts[start]).scaled()
    assert fit.coefficients == pytest.approx(given.values, rel=1e-7)
    assert fit.u == pytest.approx(given.sds, rel=1e-7)
    assert fit.sum_of_squares == pytest.approx(given.sum_of_squares, rel=1e-9)
    assert fit.residual_sd == pytest.approx(given.residual_sd, rel=1e-9)


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


def test_errors_in_both_against_an_independent_package() -> None:
    """odrpack: its cov_beta is the unscaled covariance."""
    odrpack = pytest.importorskip("odrpack", reason="odrpack (test extra) is not installed")
    x, y = np.array([1.2, 1.9, 2.9, 4.0, 4.7, 5.9]), np.array([3.4, 4.4, 7.2, 8.5, 10.8, 13.5])
    u_x, u_y = np.full(6, 0.2), np.array([0.2, 0.2, 0.2, 0.4, 0.4, 0.4])
    theirs = odrpack.odr_fit(
        lambda at, b: b[0] + b[1] * at,
        x,
        y,
        np.array([1.0, 2.0]),
        weight_x=u_x**-2,
        weight_y=u_y**-2,
        diff_scheme="central",
        maxit=200,
        sstol=1e-16,
        partol=1e-14,
    )
    ours = line_errors_in_both(x, y, u_x, u_y)
    assert ours.coefficients == pytest.approx(theirs.beta, rel=1e-6)
    assert ours.sum_of_squares == pytest.approx(theirs.sum_square, rel=1e-6)


def test_readings_that_leave_a_coefficient_open_are_refused() -> None:
    with pytest.raises(DataError, match="too few different values"):
        polynomial(np.full(4, 2.0), np.arange(4.0), 1)
    with pytest.raises(DataError, match="cannot settle"):
        linear(np.ones((1, 2)), np.ones(1))
    with pytest.raises(DataError, match="scatter is not known"):
        polynomial(np.array([1.0, 2.0]), np.array([1.0, 2.0]), 1).scaled()
