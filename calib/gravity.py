"""Local gravity from latitude and height. Where no place is known the standard value stands, with its uncertainty."""

from math import radians, sin

from calib.units import G_STANDARD

U_PLACE_UNKNOWN = 0.0015  # relative, k = 1: half of the 0.53 % from equator to pole, over sqrt 3

_G_EQUATOR, _K, _E2 = 9.7803267715, 0.001931851353, 0.0066943800229  # GRS80, Moritz, J. Geodesy 74 (2000) 128
_FREE_AIR = 3.086e-6  # 1/s2, free-air gradient (common geodetic value; from memory)


def local_gravity(latitude_deg: float | None, altitude: float | None) -> tuple[float, float]:
    """Acceleration of free fall and its relative standard uncertainty.

    Args:
        latitude_deg: Geographic latitude, None where unknown. [degree]
        altitude: Height above sea level, None where unknown. [m]

    Returns:
        g [m/s2] and u(g)/g. Normal gravity of GRS80 with the free-air correction; local anomalies are some 3e-5.
    """
    if latitude_deg is None:
        return G_STANDARD, U_PLACE_UNKNOWN
    s2 = sin(radians(latitude_deg)) ** 2
    normal = _G_EQUATOR * (1 + _K * s2) / (1 - _E2 * s2) ** 0.5
    return normal - _FREE_AIR * (altitude or 0.0), 1e-4 if altitude is None else 5e-5
