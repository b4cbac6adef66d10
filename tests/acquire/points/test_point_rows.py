"""Rows of points that took themselves: what a reader of run files refuses is not in them."""

import pytest

from calib.acquire.cell.meter import Meter
from calib.acquire.files.run_table import LARGEST_RELAXATION
from calib.acquire.points.held import HeldPoint
from calib.acquire.points.point_rows import held_row


@pytest.mark.parametrize(
    ("decade", "kept"), [(-2.345, 2.35), (2.0, -2.0), (-99.9, 99.9), (-100.5, None), (-4000.0, None), (1e9, None)]
)
def test_a_relaxation_that_no_file_may_hold_is_left_out(decade: float, kept: float | None) -> None:
    point = HeldPoint(2.0, 12.0, 50.0, 0.1, 100, 0.01, percent_per_decade=decade, u_percent=0.1, keyed=True)
    row = held_row(point, "reading", 3, Meter())
    assert row.relax_percent_per_decade == kept
    assert abs(row.relax_percent_per_decade or 0.0) <= LARGEST_RELAXATION
