"""A coarse scale rounds a band that repeats well the same way in every cycle: more cycles do not average that away.

Simulated, 40 bands, steps of 0.5 kg, six cycles: 95 % limits held in 82 % as long as each cycle's rounding was taken as
independent, with three cycles in 92 %.
"""

from dataclasses import replace

import numpy as np
import pytest

from calib.fit.curve.estimate import fit_runs
from calib.fit.curve.observations import observe, with_rounding
from calib.records import Fit
from calib.units import G_STANDARD as KG
from tests.fit.curve.made_runs import SCALE, hung_weights, readings, run

STEP = 0.5 * KG


def _coarse(cycles: int, noise: float = 0.0) -> Fit:
    rows = readings(cycles, noise=noise, shown=lambda newton: round(newton / STEP) * STEP)
    scale = replace(SCALE, resolution=STEP)
    return fit_runs([run(rows, scale=scale)])


def _rounding(fit: Fit) -> tuple[float, float, float]:
    return next(line.u for line in fit.budget if line.source == "resolution of the scale")


def test_rounding_that_repeats_is_not_averaged_away() -> None:
    """As independent errors six cycles would have 0.58 times what two have."""
    two, six = _rounding(_coarse(2)), _rounding(_coarse(6))
    assert all(b > 0.9 * a for a, b in zip(two, six, strict=True))


def test_readings_that_differ_are_rounded_each_for_itself() -> None:
    """Scatter of a fine scale's many steps: as good as its steps say."""
    rows = readings(3, noise=0.003)
    assert with_rounding(observe([run(rows)])).resolution == pytest.approx(np.full(len(rows), SCALE.resolution))


def test_only_the_same_branch_place_and_indication_count_as_alike() -> None:
    """Eight lengths up and seven back, three cycles; one of the third cycle differs by a step."""
    rows = readings(3, shown=lambda newton: round(newton / STEP) * STEP)
    rows[30] = replace(rows[30], force=(rows[30].force or 0.0) + STEP)
    alike = (with_rounding(observe([run(rows)])).resolution / SCALE.resolution) ** 2
    assert alike[[0, 15, 30]] == pytest.approx([2, 2, 1])
    assert np.delete(alike, [0, 15, 30]) == pytest.approx(np.full(42, 3.0))


def test_a_length_read_in_whole_centimetres_under_a_weight_is_no_better_than_that() -> None:
    """The file says 1 mm, the lengths 1 cm over the root of 12; a band pulled to a mark is where the mark is."""
    assert observe([hung_weights()]).u_length == pytest.approx(0.01 / 12**0.5)
    assert observe([run()]).u_length == pytest.approx(0.001)
