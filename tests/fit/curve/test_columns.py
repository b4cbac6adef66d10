"""The columns of the model against their definitions: slopes by differences, the turning point, rounding."""

from dataclasses import replace

import numpy as np
import pytest

from calib.fit.curve import elastic, loop
from calib.fit.curve.elastic import StretchRange, first_invariant, ln_g, slope_ln_g
from calib.fit.curve.mixed import Basis, MixedModel
from calib.fit.curve.observations import observe
from calib.fit.curve.outliers import robust_start
from tests.fit.curve.made_runs import FLAT, LENGTHS, readings, run

TESTED = StretchRange(LENGTHS[0] / FLAT, LENGTHS[-1] / FLAT)
STRETCH = np.linspace(1.15, 2.25, 9)


def test_the_slope_of_ln_g_is_its_derivative() -> None:
    step = 1e-6
    assert slope_ln_g(STRETCH) == pytest.approx((ln_g(STRETCH + step) - ln_g(STRETCH - step)) / (2 * step), rel=1e-8)


def test_the_first_invariant_of_a_stretched_strip() -> None:
    """Principal stretches l, 1/sqrt l, 1/sqrt l; their squares less three."""
    sides = np.stack([STRETCH, STRETCH**-0.5, STRETCH**-0.5])
    assert first_invariant(STRETCH) == pytest.approx((sides**2).sum(axis=0) - 3)
    assert first_invariant(np.ones(1)) == pytest.approx(0.0)


def test_every_drop_is_zero_at_the_turning_point() -> None:
    top = np.full(1, TESTED.top)
    assert loop.drop_columns(top, top, TESTED) == pytest.approx(np.zeros((1, loop.N_COLUMNS)), abs=1e-9)
    below = loop.drop_columns(STRETCH, np.full(len(STRETCH), TESTED.top), TESTED)
    assert (below[:, : loop.N_DROPS] > 0).all()


def test_a_longer_rest_length_makes_less_stretch_and_less_pull() -> None:
    """The last column is d ln F / d L0, by differences of the whole curve."""
    basis = Basis(FLAT, TESTED, has_loop=True)
    length, out = STRETCH * FLAT, np.zeros(len(STRETCH), bool)
    step, beta = 1e-6, np.zeros(basis.size)
    ahead, behind = beta.copy(), beta.copy()
    ahead[-1], behind[-1] = step, -step
    places = basis.columns_at(length, out)
    gradient = places.evaluate(beta)[2][:, -1]
    assert gradient == pytest.approx((places.evaluate(ahead)[0] - places.evaluate(behind)[0]) / (2 * step), rel=1e-6)
    assert (gradient < 0).all()


def test_rounding_is_a_rectangle_of_one_step() -> None:
    """Variance step^2 / 12 (JCGM 100:2008, 4.3.7), and nothing else of a reading whose length is exact."""
    made = run(length=replace(run().head.length, u_reading=0.0))
    seen = observe([made])
    model = MixedModel(Basis(FLAT, TESTED, has_loop=True), seen)
    model.linearise(robust_start(model).beta)
    assert model.fixed_noise * model.row_scale**2 == pytest.approx(np.full(len(seen), seen.resolution[0] ** 2 / 12))


def test_more_than_a_quarter_of_wild_readings_are_the_data() -> None:
    """Three of ten far off are not set aside beforehand; two of ten are."""
    lengths = np.linspace(1.12, 2.3, 10).tolist()
    for wild, kept in ((2, 8), (3, 10)):
        rows = readings(1, tuple(lengths), way_back=False)
        for i in range(wild):
            rows[3 * i] = replace(rows[3 * i], force=(rows[3 * i].force or 0.0) * (12 + i))
        model = MixedModel(Basis(FLAT, TESTED, has_loop=False), observe([run(rows)]))
        assert robust_start(model).use.sum() == kept


def test_correlations_are_one_at_no_distance_and_fall() -> None:
    """Rasmussen & Williams 2006, eq. 4.17: at a distance of one correlation length."""
    a = np.array([0.0, 1.0])
    assert elastic.matern(a, a, 1.0)[0] == pytest.approx([1.0, (1 + 5**0.5 + 5 / 3) * np.exp(-(5**0.5))])
    assert elastic.rough_matern(a, a, 1.0)[0] == pytest.approx([1.0, (1 + 3**0.5) * np.exp(-(3**0.5))])
