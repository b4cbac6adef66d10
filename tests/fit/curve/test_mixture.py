"""Mixtures of many hypotheses: the budget still adds up, and the limits hold what they say."""

import numpy as np
import pytest
from scipy.special import ndtr

from calib.fit.curve import variance_components as spreads
from calib.fit.curve.budget import budget
from calib.fit.curve.estimate import solve
from calib.fit.curve.observations import observe
from calib.fit.curve.tension_curve import fitted_curve, half_width
from tests.fit.curve.made_runs import readings, run


@pytest.mark.parametrize("parts", [2, 8, 20])
def test_the_budget_of_many_equal_hypotheses_is_that_of_one(parts: int) -> None:
    """Each node then weighs so little that a fixed least weight would pass over all of them."""
    fit = solve(observe([run(readings(2, noise=0.003))]), "B1")
    alone = {line.source: line.u for line in budget(fit.model, fit.posterior, fit.curve)}
    many = spreads.mix([fit.posterior] * parts, np.full(parts, 1 / parts))
    lines = budget(fit.model, many, fitted_curve(fit.model, many, fit.curve.loading, fit.curve.unloading))
    assert [sum(line.share[i] for line in lines) for i in range(3)] == pytest.approx([1, 1, 1], abs=1e-9)
    assert {line.source for line in lines} == set(alone)
    for line in lines:
        assert line.u == pytest.approx(alone[line.source], rel=1e-3)


@pytest.mark.parametrize("far", [0.051, 0.055, 0.06, 0.1, 0.5])
def test_the_limits_hold_95_percent_however_far_the_rarer_hypothesis_lies(far: float) -> None:
    """Chebyshev: up to 4.5 standard deviations may be needed; 3.5 would hold 94 % at 5.5 % and at 6 %."""
    weights, means = np.array([1 - far, far]), np.array([[-far, 1 - far]])
    sds = np.full((1, 2), 0.002)
    q = half_width(weights, means, sds)[0]
    inside = float(weights @ (ndtr((q - means[0]) / sds[0]) - ndtr((-q - means[0]) / sds[0])))
    assert inside == pytest.approx(0.95, abs=2e-4)
