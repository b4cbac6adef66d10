"""From a fit to the document: every field where a reader looks for it, and straight lines that are good enough."""

import json
from dataclasses import replace

import numpy as np
import pytest

from calib.errors import DataError
from calib.fit.curve.estimate import fit_runs
from calib.half_path import half_path_offset
from calib.profile.build import departure_from_lines, fit_profile, profile_of
from calib.profile.document import Profile
from calib.records import BranchTable, Fit, LengthSetup
from tests.fit.curve import made_runs


@pytest.fixture(scope="module")
def fit() -> Fit:
    return fit_runs([made_runs.run(made_runs.readings(noise=0.003))])


@pytest.fixture(scope="module")
def profile(fit: Fit) -> Profile:
    return profile_of(fit, "bandcurve 0.1.0", [("hook.scale.json", "1" * 64)])


def test_what_was_recorded_is_found_in_the_profile(profile: Profile) -> None:
    assert profile.band.id == "B1"
    assert profile.band.strands == 1
    assert profile.made.measured_at == "2026-03-01"
    assert profile.made.by == "bandcurve 0.1.0"
    assert [(f.file, f.sha256) for f in profile.made.from_] == [("B1.run.csv", "0" * 64), ("hook.scale.json", "1" * 64)]
    assert (profile.gear.scale, profile.gear.check, profile.gear.tape) == ("hook", "hook/2026-02-27", "T1")
    assert (profile.conditions.cycles, profile.conditions.dwell_s) == (2, 10.0)
    assert profile.conditions.temperature_C == 20.0
    assert len(profile.factors) <= 16


def test_the_curve_is_that_of_the_fit_to_seven_digits(profile: Profile, fit: Fit) -> None:
    up = fit.curve.loading
    assert profile.branches.loading.force_N == pytest.approx(up.force.tolist(), rel=1e-6)
    assert profile.branches.loading.u95_N == pytest.approx(up.u95.tolist(), rel=1e-6)
    assert profile.branches.unloading is not None
    assert set(profile.branches.unloading.length_m) <= set(profile.branches.loading.length_m)


def test_shared_sources_carry_their_keys(profile: Profile) -> None:
    keys = {f.key for f in profile.factors}
    assert "tape:T1" in keys
    assert any(key and "hook" in key for key in keys)
    assert None in keys


def test_the_same_fit_gives_the_same_bytes(profile: Profile, fit: Fit) -> None:
    assert profile_of(fit, "bandcurve 0.1.0", [("hook.scale.json", "1" * 64)]).to_json() == profile.to_json()


def test_what_was_not_measured_is_null() -> None:
    rows = made_runs.readings(way_back=False)
    profile = fit_profile([replace(made_runs.run(rows, started=None), sha256=None)])
    written = json.loads(profile.to_json())
    assert written["branches"]["unloading"] is None
    assert written["rest_N"]["unloading"] is None
    assert written["hysteresis"] is None
    assert written["made"]["measured_at"] is None
    assert written["made"]["from"] == [{"file": "B1.run.csv", "sha256": None}]
    assert written["made"]["by"].startswith("bandcurve ")


def test_hung_weights_name_their_loads() -> None:
    profile = fit_profile([made_runs.hung_weights()])
    assert profile.gear.scale is None
    assert profile.gear.known_loads == "plates-1"
    assert profile.conditions.method == "hung-weight"


def test_the_conditioning_length_is_given_as_half_path() -> None:
    setup = LengthSetup(kind="centres", fitting_diameters=(0.02, 0.04))
    offset = half_path_offset("centres", 0.03, 0.0045)
    rows = [replace(row, length=(row.length or 0) - offset) for row in made_runs.readings()]
    procedure = replace(made_runs.head().procedure, conditioned_to=2.25)
    profile = fit_profile([made_runs.run(rows, length=setup, procedure=procedure)])
    assert profile.conditions.conditioned_to_m == pytest.approx(2.25 + offset)
    assert profile.gear.fitting_diameters_m == (0.02, 0.04)


def _parabola(points: int, u: float) -> BranchTable:
    length = np.linspace(1.0, 2.0, points)
    flat = np.full(points, u)
    return BranchTable(length, 100 * length**2, flat, 2 * flat, flat)


def test_the_departure_from_straight_lines_is_that_of_a_parabola() -> None:
    # F'' h^2 / 8 with F'' = 200 N/m2 and h = 0.1 m is 0.25 N
    assert departure_from_lines(_parabola(11, 1.0)) == pytest.approx(0.25)


def test_a_grid_too_coarse_for_straight_lines_is_refused(fit: Fit) -> None:
    coarse = replace(fit, curve=replace(fit.curve, loading=_parabola(11, 1.0)))
    with pytest.raises(DataError, match=r"loading branch is off by 0\.25 u"):
        profile_of(coarse, "test")


def test_the_grid_of_a_fit_is_fine_enough(fit: Fit) -> None:
    assert departure_from_lines(fit.curve.loading) < 0.1
    assert fit.curve.unloading is not None
    assert departure_from_lines(fit.curve.unloading) < 0.1
