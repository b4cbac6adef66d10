"""Between the grid points: straight lines, covariance through shared keys, the inverse, and going beyond."""

from itertools import pairwise
from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

import calib
from calib.errors import DataError, OutOfRangeError
from calib.profile import table
from calib.profile.document import Profile
from calib.profile.table import BranchName, CurvePlace
from tests.profile.invented import REST, TOP, U95_OVER_U, document, pull

# L. R. G. Treloar, Trans. Faraday Soc. 40 (1944) 59: vulcanised natural rubber, stretch and nominal stress in MPa
TRELOAR = [
    (1.4273, 0.2856), (1.6163, 0.3833), (1.882, 0.4658), (2.1596, 0.5935), (2.4383, 0.6609), (3.0585, 0.8409),
    (3.6153, 1.006), (4.1206, 1.2087),
]  # fmt: skip


@pytest.fixture(scope="module")
def band() -> Profile:
    return Profile.model_validate(document())


@given(st.floats(1.13, TOP))
def test_the_force_between_grid_points_is_off_by_less_than_a_tenth_of_u(length: float) -> None:
    band = Profile.model_validate(document())
    found = band.estimate(length)
    assert abs(found.force - pull(length, False)) < 0.1 * found.u


def test_a_grid_point_gives_the_stored_values_back(band: Profile) -> None:
    stored = band.branches.loading
    for i in (0, 17, 60):
        found = band.estimate(stored.length_m[i])
        assert (found.force, found.u, found.u95) == pytest.approx((stored.force_N[i], stored.u_N[i], stored.u95_N[i]))


def test_u95_follows_from_the_ratio(band: Profile) -> None:
    found = band.estimate(1.6117, "unloading")
    assert found.u95 == pytest.approx(U95_OVER_U * found.u)


@given(st.floats(35, 225))
def test_the_inverse_undoes_the_force(force: float) -> None:
    band = Profile.model_validate(document())
    assert band.force(band.length(force).length) == pytest.approx(force, rel=1e-9)


def test_the_uncertainty_of_a_length_is_that_of_the_force_over_the_slope(band: Profile) -> None:
    found = band.length(150.0)
    there = band.estimate(found.length)
    assert found.u == pytest.approx(there.u / there.slope)
    assert found.u95 == pytest.approx(there.u95 / there.slope)


def test_a_force_reached_twice_is_refused_and_one_never_reached_too() -> None:
    class Hill:
        length_m = (1.0, 1.1, 1.2)
        force_N = (10.0, 30.0, 20.0)
        u_N = (0.1, 0.1, 0.1)
        u95_N = (0.2, 0.2, 0.2)

    with pytest.raises(DataError, match="more than one length"):
        table.length_at(Hill(), 25.0)
    with pytest.raises(OutOfRangeError, match=r"1.02 to 3.059 kg \(10 to 30 N\) would have worked"):
        table.length_at(Hill(), 31.0)


def test_the_factors_and_the_rest_add_up_to_u(band: Profile) -> None:
    at = CurvePlace("unloading", band.branches.loading.length_m[30])
    shifts = [table.shift(f, band, at) for f in band.factors]
    assert band.rest_N.unloading is not None
    whole = sqrt(sum(s * s for s in shifts) + band.rest_N.unloading[30] ** 2)
    assert whole == pytest.approx(band.estimate(at.length, "unloading").u)


def test_two_points_of_one_curve_vary_together_by_its_factors(band: Profile) -> None:
    a, b = CurvePlace("loading", 1.3), CurvePlace("unloading", 1.9)
    by_hand = sum(table.shift(f, band, a) * table.shift(f, band, b) for f in band.factors)
    assert band.covariance(a, b) == pytest.approx(by_hand)
    assert band.covariance(a, a) == pytest.approx(band.estimate(1.3).u ** 2)


def test_bands_of_one_scale_differ_sharply_and_of_two_scales_honestly(band: Profile) -> None:
    at = CurvePlace("loading", 1.8)
    same = Profile.model_validate(document("B08", strength=126.0))
    other = Profile.model_validate(document("B09", strength=126.0, check="cellar-hook/2026-01-05"))
    close, wide = table.difference(same, at, band, at), table.difference(other, at, band, at)
    assert close.force == pytest.approx(wide.force)
    gain = 0.004 * band.force(1.8) * 0.004 * same.force(1.8)
    assert wide.u**2 - close.u**2 == pytest.approx(2 * gain, rel=1e-3)
    assert close.u95 == pytest.approx(U95_OVER_U * close.u)


def test_from_python_a_place_is_a_branch_and_a_length(band: Profile) -> None:
    other = Profile.model_validate(document("B08", strength=126.0))
    at: tuple[BranchName, float] = ("loading", 1.8)
    below: tuple[BranchName, float] = ("unloading", 1.6)
    assert calib.difference(other, at, band, at).force == pytest.approx(other.force(1.8) - band.force(1.8))
    assert band.covariance(at, below) == band.covariance(CurvePlace(*at), CurvePlace(*below))


def test_what_is_not_shared_never_cancels(band: Profile) -> None:
    at = CurvePlace("loading", 1.8)
    twin = table.difference(band, at, band, at)  # the same numbers, but the keyless factors are each band's own
    own = 2 * sum(table.shift(f, band, at) ** 2 for f in band.factors if f.key is None)
    rest = table.interpolate(1.8, band.branches.loading.length_m, band.rest_N.loading)
    assert twin.u**2 == pytest.approx(own + 2 * rest**2, rel=1e-2)


@given(st.floats(TOP + 1e-3, TOP + 0.24))
def test_beyond_the_top_a_power_law_is_continued_exactly_and_u_grows(length: float) -> None:
    band = Profile.model_validate(document())
    found = band.estimate(length, extrapolate=True)
    assert found.force == pytest.approx(pull(length, False), rel=1e-3)
    assert found.u / found.force > band.estimate(TOP).u / band.force(TOP)


def test_u_is_continuous_at_the_end_and_grows_with_the_distance(band: Profile) -> None:
    us = [band.estimate(x, extrapolate=True).u for x in (TOP, TOP + 1e-5, 2.2, 2.3, 2.34)]
    assert us[1] == pytest.approx(us[0], rel=1e-3)
    assert all(b > a for a, b in pairwise(us))
    low = [band.estimate(x, extrapolate=True) for x in (1.13, 1.1, 1.06)]
    assert all(b.u / b.force > a.u / a.force and b.force < a.force for a, b in pairwise(low))


def test_published_rubber_lies_within_two_u_of_the_continued_curve(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(table, "FARTHEST", 0.5)  # the table is coarse: most of its rows lie farther out than is allowed
    missed = []
    for i in range(2, len(TRELOAR) - 1):
        known = [(1.0, 0.0), *TRELOAR[: i - 1], TRELOAR[i]]  # the last exponent over two rows: the table scatters
        stretch, stress = TRELOAR[i + 1]

        class Known:
            length_m = tuple(x for x, _ in known)
            force_N = tuple(y for _, y in known)
            u_N = tuple(0.0 * y for _, y in known)
            u95_N = u_N

        found = table.continued(Known(), stretch, 1.0)
        missed.append((stress - found.force) / found.u)
    assert len(missed) == 5
    assert max(map(abs, missed)) < 2
    assert sqrt(sum(z * z for z in missed) / len(missed)) > 0.5  # nor is u out of all proportion


def test_outside_is_refused_with_what_would_have_worked(band: Profile) -> None:
    with pytest.raises(OutOfRangeError, match=r"2.5 m is outside .* from 1.13 to 2.1 m would have worked"):
        band.force(2.5)
    with pytest.raises(OutOfRangeError, match="even to extrapolate"):
        band.force(3.5, extrapolate=True)
    with pytest.raises(OutOfRangeError, match="even to extrapolate"):
        band.force(REST, extrapolate=True)
    farthest = TOP + 0.25 * (TOP - 1.13)  # a quarter of what was tested
    assert band.force(farthest - 1e-3, extrapolate=True) > band.force(TOP)
    with pytest.raises(OutOfRangeError, match="even to extrapolate"):
        band.force(farthest + 1e-3, extrapolate=True)


@pytest.mark.parametrize("length", [1.1, 2.2])
def test_the_slope_beyond_the_tested_lengths_is_that_of_the_pull(band: Profile, length: float) -> None:
    ahead, behind = (band.estimate(length + step, extrapolate=True).force for step in (1e-5, -1e-5))
    assert band.estimate(length, extrapolate=True).slope == pytest.approx((ahead - behind) / 2e-5, rel=1e-5)


def test_the_way_back_is_never_continued_beyond_its_turning_point(band: Profile) -> None:
    found = band.predict(2.3, extrapolate=True)
    assert found.extrapolated
    assert found.loading is not None
    assert found.unloading is None
    assert band.predict(1.1, extrapolate=True).unloading is not None


def test_the_next_set_is_less_sure_than_the_mean(band: Profile) -> None:
    at = band.estimate(1.6)
    by_hand = at.u**2 + (0.006 * at.force) ** 2 + (0.01 * at.force) ** 2 + (0.0015 * at.slope) ** 2
    assert band.u_next(at) == pytest.approx(sqrt(by_hand))
