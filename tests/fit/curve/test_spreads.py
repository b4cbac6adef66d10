"""The posterior of the spreads: its gradient, its nodes, its half-widths."""

import numpy as np
import pytest

from calib.fit.curve import outliers
from calib.fit.curve import variance_components as spreads
from calib.fit.curve.elastic import StretchRange
from calib.fit.curve.mixed import Basis, MixedModel
from calib.fit.curve.observations import observe
from calib.fit.curve.tension_curve import half_width
from tests.fit.curve.made_runs import readings, run


@pytest.fixture
def model() -> MixedModel:
    seen = observe([run(readings(noise=0.003))])
    tested = StretchRange(seen.length.min() / seen.rest, seen.length.max() / seen.rest)
    made = MixedModel(Basis(seen.rest, tested, has_loop=True), seen)
    start = outliers.robust_start(made)
    beta, made.use = start.beta, start.use
    made.linearise(made.step(beta, spreads.start_of(made.spreads)))
    return made


def test_gradient_agrees_with_central_differences(model: MixedModel) -> None:
    at = spreads.prior_of(model.spreads)[0] + 0.3
    _, gradient = spreads.value_and_gradient(model, at)
    step = 1e-5
    for i in range(len(at)):
        e = step * np.eye(len(at))[i]
        ahead, behind = spreads.value_and_gradient(model, at + e)[0], spreads.value_and_gradient(model, at - e)[0]
        assert gradient[i] == pytest.approx((ahead - behind) / (2 * step), rel=1e-5, abs=1e-5)


def test_among_readings_and_among_effects_the_density_is_the_same(model: MixedModel) -> None:
    at = spreads.prior_of(model.spreads)[0] + 0.3
    model.use[3], model.blunt[5] = False, 0.04
    assert model.use.sum() < len(model.mean)  # so it is worked out among readings
    value, gradient = spreads.density(model)(at)
    expected, slopes = spreads.value_and_gradient(model, at)
    assert value == pytest.approx(expected, rel=1e-9)
    assert gradient == pytest.approx(slopes, rel=1e-6, abs=1e-6)


def test_nodes_are_centred_and_weights_add_up(model: MixedModel) -> None:
    posterior = spreads.integrate(model, spreads.mode(model, spreads.start_of(model.spreads)))
    assert posterior.weights.sum() == pytest.approx(1)
    assert 1 / (posterior.weights**2).sum() > spreads.FEW_NODES / 2


def test_noise_of_three_per_mille_is_found_as_repeatability(model: MixedModel) -> None:
    assert spreads.integrate(model, spreads.mode(model, spreads.start_of(model.spreads))).spreads[
        "repeatability"
    ] == pytest.approx(0.003, rel=0.4)


def test_half_width_of_a_single_gaussian_is_1_96_sd() -> None:
    """Normal quantile 1.959964, JCGM 100:2008 table G.1."""
    q = half_width(np.ones(1), np.zeros((1, 1)), np.array([[2.0]]))
    assert q[0] == pytest.approx(2 * 1.959964, rel=1e-4)


@pytest.mark.parametrize(
    ("ratio", "shown", "words"),
    [
        (10.1, 57.3, "too far right"), (0.1, 0.57, "too far left"), (-1.0, -5.0, "reversed"),
        (2.2, 25.3, "pounds typed as kilograms"), (15.6 / 18.6, 15.6, "one digit misread"),
        (21.4 / 12.4, 21.4, "swapped"), (1.25, 20.0, "misread"),
    ],
)  # fmt: skip
def test_slips_are_named(ratio: float, shown: float, words: str) -> None:
    assert words in outliers.likely_slip(ratio, shown)
