"""The scale document: its checks, which one is in use, and what an unchecked scale is trusted to."""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import BandcurveError, DataError
from calib.records import Correction
from calib.scale import FittedCorrection, Scale, StoredCheck, load_scale, parse_scale, save_scale

COVARIANCE = [[1e-4, -1e-7, 0.0], [-1e-7, 1e-6, 0.0], [0.0, 0.0, 0.0]]


def _check(name: str, day: str, gain: float = 1.008) -> dict[str, Any]:
    """A check invented for the test."""
    return {
        "id": name,
        "checked_on": day,
        "latitude_deg": 52.0,
        "temperature_C": 18.0,
        "known_loads": {
            "id": "plates-1",
            "u_common": 0.002,
            "loads": [{"id": "P1", "mass_kg": 10.0, "u_mass_kg": 0.01}],
        },
        "readings": [
            {"mass_kg": 10.0, "shown_N": 97.3, "branch": "loading", "loads": ["P1"]},
            {"mass_kg": 10.0, "shown_N": 97.2, "branch": "unloading", "loads": ["P1"]},
            {"mass_kg": 0, "shown_N": 0.1, "branch": "unloading"},
        ],
        "correction": {
            "checked_on": day,
            "coefficients": [0.1, gain, 0.0],
            "covariance": COVARIANCE,
            "residual_sd_N": 0.2,
            "max_N": 196.0,
            "known_loads": "plates-1",
            "factor_known_loads": [0.0, 0.002, 0.0],
        },
        "repeatability_N": 0.15,
        "reversibility_N": 0.1,
        "zero_return_N": 0.1,
        "creep": {"at_N": 98.1, "after_s": 60, "change_N": 0.05},
    }


def _scale(*checks: dict[str, Any], kind: str = "hanging-scale") -> dict[str, Any]:
    return {
        "format": "bandcurve-scale/1",
        "id": "garage-hook",
        "kind": kind,
        "resolution_N": 0.4903325,
        "capacity_N": 490.3325,
        "checks": list(checks),
    }


def _parsed(content: dict[str, Any]) -> Scale:
    return parse_scale(json.dumps(content).encode(), "garage-hook.scale.json")


def test_the_latest_check_is_in_use_unless_another_is_named() -> None:
    scale = _parsed(_scale(_check("later", "2026-02-27", 1.01), _check("earlier", "2025-02-01", 1.02)))
    used = scale.in_use()
    assert used.check == "garage-hook/later"
    assert used.correction is not None
    assert used.correction.force(100.0) == pytest.approx(0.1 + 101.0)
    assert used.correction.factor_known_loads == (0.0, 0.002, 0.0)
    assert scale.in_use("earlier").correction == scale.in_use("garage-hook/earlier").correction
    assert scale.in_use("earlier").check == "garage-hook/earlier"
    with pytest.raises(DataError, match="no check 'never'; its checks: later, earlier"):
        scale.in_use("never")


def test_an_unchecked_scale_leaves_its_gain_unknown() -> None:
    used = _parsed(_scale()).in_use(zeroed="hook-only")
    assert (used.u_gain, used.u_zero, used.check, used.correction) == (None, None, None, None)
    assert used.zeroed == "hook-only"


def test_an_unchecked_load_cell_is_also_uncertain_by_a_thousandth_of_its_capacity() -> None:
    assert _parsed(_scale(kind="load-cell")).in_use().u_zero == pytest.approx(0.001 * 490.3325)
    assert _parsed(_scale(_check("a", "2026-01-01"), kind="load-cell")).in_use().u_zero is None


def test_counts_become_newton_on_a_line() -> None:
    scale = _parsed(_scale(kind="load-cell") | {"counts": {"zero_N": -2.0, "per_count_N": 1e-3}})
    assert scale.counts is not None
    assert scale.counts.force(5000) == pytest.approx(3.0)


def test_a_count_that_is_no_force_is_refused() -> None:
    with pytest.raises(DataError, match=r"counts\.per_count_N"):
        _parsed(_scale(kind="load-cell") | {"counts": {"zero_N": -2.0, "per_count_N": 0}})


def test_one_more_check_leaves_the_earlier_ones_alone() -> None:
    scale = _parsed(_scale(_check("a", "2025-01-01")))
    more = scale.with_check(StoredCheck.model_validate(_check("b", "2026-01-01")))
    assert [c.id for c in more.checks] == ["a", "b"]
    assert more.checks[0] == scale.checks[0]
    with pytest.raises(ValueError, match="same id"):
        more.with_check(StoredCheck.model_validate(_check("b", "2026-03-01")))


numbers = st.floats(-1e3, 1e3)


@given(numbers, st.floats(0.5, 2), numbers, st.floats(0, 10))
def test_a_correction_survives_the_document(zero: float, gain: float, quadratic: float, sd: float) -> None:
    fitted = Correction("2026-01-01", (zero, gain, quadratic), ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)), sd)
    assert FittedCorrection.from_correction(fitted).record() == fitted


def test_a_scale_is_written_and_read_back(tmp_path: Path) -> None:
    scale = _parsed(_scale(_check("a", "2026-01-01")))
    path = tmp_path / "garage-hook.scale.json"
    save_scale(scale, path)
    assert load_scale(path) == scale
    assert load_scale(path).to_json() == path.read_text()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"format": "bandcurve-scale/2"}, "newer than this program reads"),
        ({"id": "../x"}, "cannot be a name"),
        ({"kind": "spring"}, "kind"),
        ({"capasity_N": 1}, "did you mean 'capacity_N'?"),
        ({"resolution_N": -1}, "greater than or equal to 0"),
        ({"checks": [_check("a", "2026-01-01"), _check("a", "2026-02-01")]}, "same id"),
        ({"checks": [_check("a", "2026-01-01") | {"checked_on": "2026-01-02"}]}, "differs from that of its correction"),
        ({"checks": [_check("a", "2026-01-01", gain=0.0)]}, "the gain is zero"),
    ],
)
def test_a_wrong_scale_is_refused_in_one_sentence(change: dict[str, Any], said: str) -> None:
    with pytest.raises(BandcurveError) as refused:
        _parsed(_scale() | change)
    assert said in str(refused.value)
    assert "\n" not in str(refused.value)


def test_a_covariance_that_cannot_be_one_is_refused() -> None:
    check = _check("a", "2026-01-01")
    check["correction"]["covariance"] = [[1.0, 0.5, 0.0], [0.1, 1.0, 0.0], [0.0, 0.0, 0.0]]
    with pytest.raises(DataError, match="not symmetric"):
        _parsed(_scale(check))
    check["correction"]["covariance"] = [[-1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 0.0]]
    with pytest.raises(DataError, match="negative variance"):
        _parsed(_scale(check))
