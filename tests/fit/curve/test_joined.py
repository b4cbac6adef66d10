"""What joined runs have in common is not averaged away, and a budget adds up to what it explains."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from calib.fit.curve.estimate import fit_runs
from calib.fit.curve.straight import departures
from calib.profile.build import profile_of
from calib.records import Correction, Fit, LengthSetup, Procedure, Run
from calib.versioned import MOST_FACTORS
from tests.fit.curve.made_runs import SCALE, head, hung_weights, readings, run

CHECKED = Correction("2026-02-27", (0.0, 1.0, 0.0), ((0, 0, 0), (0, 1e-6, 0), (0, 0, 0)), residual_sd=0.3)


def shift(fit: Fit, name: str) -> float:
    """Shift of the loading curve by all sources of a name at stretch 2, relative."""
    table = fit.curve.loading
    force = float(np.interp(2.0, table.length, table.force))
    all_of_them = [np.interp(2.0, table.length, f.loading) / force for f in fit.curve.factors if name in f.source]
    return float(np.hypot.reduce(all_of_them))


def days(*runs_on: tuple[int, dict[str, object]]) -> list[Run]:
    """One run a day of March 2026, the same noise in none."""
    return [
        run(readings(noise=0.002, seed=day), name=f"{day}.run.csv", started=datetime(2026, 3, day, tzinfo=UTC), **given)
        for day, given in runs_on
    ]


def test_an_unchecked_scale_is_off_in_the_same_way_on_another_day() -> None:
    unchecked: dict[str, object] = {"scale": replace(SCALE, check=None, u_gain=0.006)}
    fit = fit_runs(days((1, unchecked), (8, unchecked)))
    assert shift(fit, "scale gain") == pytest.approx(0.006, rel=0.03)
    assert [f.key for f in fit.curve.factors if f.source == "scale gain"] == [None]
    assert [f.code for f in fit.findings].count("scale-unchecked") == 1  # one scale, said once
    alone = fit_runs(days((1, unchecked)))
    assert [f.key for f in alone.curve.factors if f.source == "scale gain"] == ["scale:hook/2026-03-01"]


def test_the_wandering_of_a_scale_goes_on_from_run_to_run() -> None:
    old: dict[str, object] = {"scale": replace(SCALE, check="hook/2024-03-01", u_gain=0.0005)}
    first, both = fit_runs(days((1, old))), fit_runs(days((1, old), (2, old)))
    assert shift(both, "scale stability") == pytest.approx(shift(first, "scale stability"), rel=0.03)
    keys = [f.key for f in both.curve.factors if f.source == "scale stability"]
    assert keys == ["stability:hook/2026-03-01", "stability:hook/2026-03-02"]


def test_a_tape_without_a_name_and_the_fittings_stay_the_same() -> None:
    setup = LengthSetup("centres", (0.012, 0.012), u_reading=0.0002, u_common=0.002, u_scale=0.002)
    band = replace(head().band, thickness=0.004)
    given: dict[str, object] = {"length": setup, "band": band}
    first, both = fit_runs(days((1, given))), fit_runs(days((1, given), (2, given)))
    for name in ("tape", "length offset"):
        assert shift(both, name) == pytest.approx(shift(first, name), rel=0.1)


def test_one_band_has_one_weight_of_opposite_sign_where_scale_and_load_hang() -> None:
    unweighed = replace(head().band, mass=None)
    hung = replace(hung_weights(), name="h.run.csv")
    hung = replace(hung, head=replace(hung.head, band=unweighed))
    upright = Procedure(orientation="vertical", scale_at="top", dwell_s=10.0, temperature=20.0)
    above = run(name="s.run.csv", band=unweighed, procedure=upright, scale=replace(SCALE, zeroed="hook-only"))
    twice = fit_runs([hung, replace(hung, name="i.run.csv")])
    assert shift(twice, "weight of the band") == pytest.approx(shift(fit_runs([hung]), "weight of the band"), rel=0.1)
    assert shift(twice, "gravity") == pytest.approx(shift(fit_runs([hung]), "gravity"), rel=0.1)
    assert shift(fit_runs([hung, above]), "weight of the band") < 0.5 * shift(twice, "weight of the band")


def test_many_joined_runs_still_make_a_profile() -> None:
    fit = fit_runs(days(*((day, {}) for day in range(1, 9))))
    assert len(fit.curve.factors) <= MOST_FACTORS
    profile_of(fit, "test")
    table = fit.curve.loading
    squares = sum((f.loading**2 for f in fit.curve.factors), table.rest**2)
    np.testing.assert_allclose(squares, table.u**2, rtol=1e-6)


@pytest.mark.parametrize("made", [run(), hung_weights(), run(scale=replace(SCALE, correction=CHECKED))])
def test_the_budget_adds_up_to_u(made: Run) -> None:
    fit = fit_runs([made])
    low, top = fit.curve.loading.length[[0, -1]]
    u = np.interp([low, top], fit.curve.loading.length, fit.curve.loading.u)
    summed = np.sqrt(np.sum(np.square([[line.u[0], line.u[2]] for line in fit.budget]), axis=0))
    np.testing.assert_allclose(summed, u, rtol=1e-9)
    names = {line.source for line in fit.budget}
    assert ("single loads" in names) == (made.head.scale is None)
    assert ("scatter of the scale" in names) == (made.head.scale is not None and made.head.scale.correction is not None)


def test_departure_from_straight_lines_is_that_of_a_parabola() -> None:
    x = np.array([0.0, 1.0, 2.0, 4.0, 5.0])
    np.testing.assert_allclose(departures(x, x**2, np.full(5, 0.5)), [0, 0.5, 2, 0])


def test_a_trace_that_drifts_keeps_to_straight_lines() -> None:
    rng, drift, rows = np.random.default_rng(20), 0.0, []
    for row in readings(2, tuple(np.linspace(1.08, 2.5, 1200).round(4).tolist())):
        drift = 0.99 * drift + 0.14 * rng.standard_normal()
        rows.append(replace(row, force=(row.force or 0.0) * (1 + 0.003 * drift)))
    cell = replace(SCALE, resolution=0.0, u_gain=0.0005, u_zero=0.002)
    setup = LengthSetup("half-path", (), u_reading=0.0005, u_common=0.0007, u_scale=0.0005)
    profile_of(fit_runs([run(rows, scale=cell, length=setup)]), "test")  # it was refused: off by 0.14 u
