"""Published rubber tables as runs: flat length 1 m, cross-section 100 mm2, single strand, half-path lengths."""

from pathlib import Path

import numpy as np

from calib.fit.curve.estimate import solve
from calib.fit.curve.observations import observe
from calib.fit.curve.tension_curve import FittedCurve
from calib.records import Array, Band, BranchName, LengthSetup, Row, Run, RunHead, ScaleInUse

AREA = 100e-6  # [m2]
DATA = Path(__file__).parents[2] / "data"
KGF_PER_CM2 = 98066.5  # [Pa], exact


def run_of(name: str, branches: list[BranchName], stretch: Array, stress: Array, u_stretch: float, step: float) -> Run:
    """A table as a run.

    Args:
        name: Of the band.
        branches: Of each row.
        stretch: Of each row.
        stress: Nominal stress of each row. [Pa]
        u_stretch: Standard uncertainty of one stretch.
        step: Resolution of the stress. [Pa]
    """
    band = Band(name, flat_length=1.0, u_flat_length=0.001, strands=1)
    length = LengthSetup("half-path", u_reading=u_stretch, u_common=0.0, u_scale=0.0)
    head = RunHead(band, length, ScaleInUse("published", step * AREA, u_gain=0.0, u_zero=0.0))
    rows = tuple(
        Row(i, cycle=1, branch=b, length=float(x), force=float(s) * AREA)
        for i, (b, x, s) in enumerate(zip(branches, stretch, stress, strict=True), start=1)
    )
    return Run(name, head, rows)


def curve_of(run: Run, leave_out: int | None = None) -> FittedCurve:
    """Fit a run, one row left out; the curve answers at any length, tested or not."""
    seen = observe([run])
    if leave_out is not None:
        seen = seen.where(np.array([row.number != leave_out for ((_, row),) in seen.rows]))
    return solve(seen, run.name).curve


def leave_one_out(run: Run, rows: list[int]) -> Array:
    """Curve less reading at each row, the row itself left out. [N]"""
    misses = []
    for number in rows:
        row = run.rows[number - 1]
        assert row.length is not None and row.force is not None
        force = curve_of(run, number).force(np.array([row.length]))
        misses.append(float(force[0]) - row.force)
    return np.array(misses)


def loop_rows() -> tuple[list[BranchName], Array, Array]:
    """Branch, stretch and stress [Pa] of the digitised loop."""
    names: dict[str, BranchName] = {"load": "loading", "unload": "unloading"}
    text = (DATA / "treloar1944_8pctS_loop.csv").read_text(encoding="utf-8").splitlines()
    cells = [line.split(",") for line in text if not line.startswith("#")][1:]
    values = np.array([[float(x), float(s)] for _, x, s in cells])
    return [names[b] for b, _, _ in cells], values[:, 0], values[:, 1] * KGF_PER_CM2
