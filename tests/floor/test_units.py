"""Units and gravity against published values."""

import pytest

from calib.gravity import local_gravity
from calib.units import FORCE, from_si, to_si


def test_units_are_exact() -> None:
    """NIST SP 811 (2008), appendix B.8, bold (exact) factors: lbf, kgf, lb, in."""
    assert FORCE["lbf"] == to_si(1, "lbf", "force")
    assert to_si(1, "lbf", "force") == pytest.approx(4.4482216152605, rel=1e-15)
    assert to_si(1, "kgf", "force") == 9.80665
    assert to_si(1, "lb", "mass") == 0.45359237
    assert to_si(1, "in", "length") == 0.0254
    assert to_si(1, "ft", "length") == pytest.approx(0.3048, rel=1e-15)
    assert to_si(70, "F", "temperature") == pytest.approx(21.1111, abs=5e-5)


@pytest.mark.parametrize(("latitude", "expected"), [(0, 9.780326772), (45, 9.806199203), (90, 9.832186368)])
def test_normal_gravity(latitude: float, expected: float) -> None:
    """GRS80, Moritz, J. Geodesy 74 (2000) 128."""
    assert local_gravity(latitude, 0.0)[0] == pytest.approx(expected, abs=1e-9)


def test_gravity_falls_with_height() -> None:
    """g of a ball goes as 1 / r^2: 2 g / R less for each metre, R = 6371 km, to half a per cent on the ellipsoid."""
    low, high = (local_gravity(45, height)[0] for height in (0.0, 1600.0))
    assert low - high == pytest.approx(2 * 9.806 / 6.371e6 * 1600, rel=0.005)


def test_there_and_back_is_the_same() -> None:
    for unit in FORCE:
        assert from_si(to_si(12.5, unit, "force"), unit, "force") == pytest.approx(12.5)
    assert from_si(to_si(70, "F", "temperature"), "F", "temperature") == pytest.approx(70)
