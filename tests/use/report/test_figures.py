"""What a figure shows is what the profile and the readings say; the same input gives the same bytes."""

from dataclasses import replace
from itertools import pairwise
from typing import Any

import matplotlib
import numpy as np
import pytest
from matplotlib.colors import to_hex

from calib.fit.curve.estimate import fit_runs
from calib.profile.build import profile_of
from calib.profile.document import Profile
from calib.records import Fit
from calib.units import G_STANDARD
from calib.use.report.figures import KINDS, LOOKS, curve_figure, draw
from tests.fit.curve import made_runs

STARTS = {"png": b"\x89PNG", "svg": b"<?xml", "pdf": b"%PDF"}


def _with_slip() -> tuple[Fit, Profile]:
    rows = made_runs.readings(3, noise=0.003)
    rows[16] = replace(rows[16], force=(rows[16].force or 0.0) * 10)
    fit = fit_runs([made_runs.run(rows)])
    return fit, profile_of(fit, "a test")


def _lines(profile: Profile, fit: Fit) -> dict[str, Any]:
    figure = curve_figure(profile, fit.points)
    return {gid: line for ax in figure.axes for line in ax.get_lines() if (gid := line.get_gid())}


def test_the_lines_are_the_profile_in_kilos() -> None:
    fit, profile = _with_slip()
    lines = _lines(profile, fit)
    for name in ("loading", "unloading"):
        branch = profile.branch(name)
        assert branch is not None
        np.testing.assert_allclose(lines[f"curve-{name}"].get_xdata(), branch.length_m)
        np.testing.assert_allclose(lines[f"curve-{name}"].get_ydata(), np.array(branch.force_N) / G_STANDARD)
        assert to_hex(lines[f"curve-{name}"].get_color()).upper() == LOOKS[name].colour


def test_every_reading_is_drawn_and_one_not_used_is_named() -> None:
    fit, profile = _with_slip()
    lines = _lines(profile, fit)
    drawn = sum(len(lines[f"readings-{name}"].get_xdata()) for name in ("loading", "unloading"))
    assert drawn == sum(p.used for p in fit.points) == len(fit.points) - 1
    words = [t.get_text() for ax in curve_figure(profile, fit.points).axes for t in ax.texts]
    assert any(word.startswith("row 17:") and "not used" in word for word in words)


def test_residuals_are_reading_less_curve() -> None:
    fit, profile = _with_slip()
    lines = _lines(profile, fit)
    point = fit.points[0]
    expected = (point.force - profile.force(point.length, point.branch)) / G_STANDARD
    assert lines[f"residual-{point.row}"].get_ydata()[0] == pytest.approx(expected)


@pytest.mark.parametrize("kind", KINDS)
def test_the_same_input_gives_the_same_bytes(kind: Any) -> None:
    fit, profile = _with_slip()
    first, second = (draw(profile, fit.points, kind) for _ in range(2))
    assert first == second
    assert first.startswith(STARTS[kind])


@pytest.mark.parametrize("kind", KINDS)
def test_what_somebody_set_for_their_own_figures_changes_none_of_ours(kind: Any) -> None:
    fit, profile = _with_slip()
    ours = draw(profile, fit.points, kind)
    with matplotlib.rc_context({"font.size": 30, "axes.facecolor": "red", "lines.linewidth": 9, "savefig.dpi": 20}):
        assert draw(profile, fit.points, kind) == ours


def test_without_a_way_back_and_without_readings_it_still_draws() -> None:
    fit = fit_runs([made_runs.run(made_runs.readings(1, way_back=False))])
    profile = profile_of(fit, "a test")
    assert len(draw(profile, (), "svg")) > 1000
    words = [t.get_text() for ax in curve_figure(profile, ()).axes for t in ax.texts]
    assert "unloading was not measured" in words


def test_hostile_names_do_not_reach_the_page_as_markup() -> None:
    fit, profile = _with_slip()
    band = profile.band.model_copy(update={"note": "$\\frac{1}{$ \x1b[2J <script> & \u0416"})
    page = draw(profile.model_copy(update={"band": band}), fit.points, "svg")
    assert b"\x1b" not in page
    assert b"<script>" not in page


def test_the_two_branches_differ_without_colour() -> None:
    out, back = LOOKS["loading"], LOOKS["unloading"]
    for field in ("line", "mark", "hatch"):
        assert getattr(out, field) != getattr(back, field)


def test_panels_share_their_lengths() -> None:
    fit, profile = _with_slip()
    axes = curve_figure(profile, fit.points).axes[:3]
    assert all(a.get_xlim() == b.get_xlim() for a, b in pairwise(axes))
