"""Errors that drift together are seen in what the fit leaves, and then the limits are wider; single errors are not."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from calib.fit.curve.estimate import fit_runs
from calib.records import Fit, Row
from tests.fit.curve.made_runs import pull, readings, run

LENGTHS = tuple(np.round(np.linspace(1.1, 2.3, 120), 4))
KEPT = 0.97  # correlation from one reading to the next


def _drifting(seed: int) -> list[Row]:
    """Errors of 0.3 %, a first-order autoregression along each of two cycles."""
    rng = np.random.default_rng(seed)
    rows, off = [], 0.0
    for row in readings(2, LENGTHS, noise=0.0005, seed=seed):
        off = KEPT * off + 0.003 * (1 - KEPT**2) ** 0.5 * rng.standard_normal()
        rows.append(replace(row, force=(row.force or 0.0) * (1 + off)))
    return rows


@cache
def _fits() -> list[Fit]:
    return [fit_runs([run(_drifting(seed))]) for seed in range(16)]


def _codes(fit: Fit) -> set[str]:
    return {f.code for f in fit.findings}


def test_drift_is_seen_and_has_a_line_of_its_own_in_the_budget() -> None:
    seen = [fit for fit in _fits() if "slow-drift" in _codes(fit)]
    assert len(seen) >= 14
    for fit in seen:
        assert "readings that drift together" in {line.source for line in fit.budget}
        assert [sum(line.share[i] for line in fit.budget) for i in range(3)] == pytest.approx([1, 1, 1], abs=1e-6)


def test_independent_errors_are_seldom_taken_for_drift() -> None:
    """Two and a half standard errors: some 1 % of runs; three of thirty would be one in three thousand."""
    runs = [run(readings(2, noise=0.003, seed=seed)) for seed in range(30)]
    assert sum("slow-drift" in _codes(fit_runs([one])) for one in runs) < 3


def test_the_limits_of_the_loss_hold_where_readings_drift() -> None:
    """Without the restatement about half of them do; binomial, 16 runs: fewer than 10 of 16 at 0.85 is one in 200."""
    held = []
    for fit in _fits():
        assert fit.hysteresis is not None
        length = np.linspace(fit.hysteresis.start, fit.hysteresis.end, 400)
        up, down = (np.trapezoid(pull(length, way, 2.3), length) for way in ("loading", "unloading"))
        off = fit.hysteresis.loss_ratio - float(1 - down / up)
        held.append(abs(off) < 2 * fit.hysteresis.u_loss_ratio)
    assert sum(held) >= 10
