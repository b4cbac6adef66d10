"""From the tape to the half path: two straight legs and two half turns at mid-thickness, drawn out.

Plane geometry, worked out here a second time from where each edge of the band lies.
"""

from math import pi

import pytest

from calib.half_path import LengthKind, half_path_offset, offset_over, rest_half_path, thickness_slope

D, T, APART = 0.050, 0.004, 1.5  # fitting diameter, thickness, distance of the centres [m]
HALF_PATH = APART + pi * (D + T) / 2  # one leg between the centres, half a turn of radius (D + T) / 2


@pytest.mark.parametrize(
    ("kind", "reading"),
    [
        ("centres", APART),
        ("band-inner", APART + D),  # from the inner edge of one turn to that of the other: a radius beyond each centre
        ("band-outer", APART + D + 2 * T),
        ("half-path", HALF_PATH),
    ],
)
def test_every_way_to_hold_the_tape_leads_to_one_half_path(kind: LengthKind, reading: float) -> None:
    assert reading + half_path_offset(kind, D, T) == pytest.approx(HALF_PATH, abs=1e-12)


def test_the_slope_over_the_thickness_is_that_of_the_offset() -> None:
    for kind in ("centres", "band-inner", "band-outer"):
        assert thickness_slope(kind) == pytest.approx(
            (half_path_offset(kind, D, 0.006) - half_path_offset(kind, D, 0.005)) / 0.001
        )


def test_two_fittings_count_by_their_mean_and_none_as_points() -> None:
    assert offset_over("centres", (0.02, 0.08), T) == pytest.approx(half_path_offset("centres", 0.05, T))
    assert offset_over("centres", (), T) == pytest.approx(pi * T / 2)


def test_a_loop_lying_flat_ends_in_two_folds() -> None:
    """Flat length L: legs of L - 2 T between the fold centres, half turns of radius T / 2 at mid-thickness."""
    flat = 1.0
    assert rest_half_path(flat, T, 2) == pytest.approx(flat - 2 * T + pi * T / 2)
    assert rest_half_path(flat, T, 1) == flat
