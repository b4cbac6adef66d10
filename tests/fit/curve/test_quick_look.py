"""A first answer from three or four readings, one of which may be wrong."""

from dataclasses import replace

import numpy as np
import pytest

from calib.fit.curve.estimate import fit_runs
from calib.fit.curve.quick_look import QuickLook, quick_look
from calib.fit.curve.tension_curve import UNSEEN_SLIP
from calib.records import BranchName, Row, Run
from calib.units import G_STANDARD
from tests.fit.curve.made_runs import run

TRUE = {1.15: 4.90, 1.5: 13.05, 2.1: 24.65}  # [m], [kgf]


def typed(*pulls: float, more: tuple[tuple[float, float, BranchName], ...] = ()) -> Run:
    rows = [
        Row(i, "reading", 1, "loading", x, p * G_STANDARD) for i, (x, p) in enumerate(zip(TRUE, pulls, strict=True))
    ]
    rows += [Row(9 + i, "reading", 1, branch, x, p * G_STANDARD) for i, (x, p, branch) in enumerate(more)]
    return run(rows)


def holds(look: QuickLook) -> list[bool]:
    true = [TRUE[r.row.length or 0.0] * G_STANDARD for r in look.readings if r.row.branch == "loading"]
    return [abs(r.force - t) <= r.u95 for r, t in zip(look.readings, true, strict=False)]


@pytest.mark.parametrize(
    "pulls", [(4.90, 13.05, 24.65), (4.90, 15.05, 24.65), (4.90, 11.05, 24.65), (4.90, 13.05, 21.0)]
)
def test_limits_of_three_readings_hold_the_truth_with_one_of_them_wrong(pulls: tuple[float, float, float]) -> None:
    look = quick_look(typed(*pulls))
    assert holds(look) == [True, True, True]
    assert look.wrong == ()
    assert look.again is not None


def test_a_second_look_at_the_middle_that_agrees_narrows_the_limits_there() -> None:
    three = quick_look(typed(4.90, 13.05, 24.65)).readings[1]
    four = quick_look(typed(4.90, 13.05, 24.65, more=((1.5, 13.0, "loading"),))).readings[1]
    assert four.u95 < 0.35 * three.u95


def test_two_looks_that_disagree_leave_open_which_is_wrong() -> None:
    look = quick_look(typed(4.90, 15.05, 24.65, more=((1.5, 13.05, "loading"),)))
    assert {row.length for row in look.suspects} == {1.5}
    assert look.again is not None
    assert look.again.length == 1.5
    assert holds(look)[1]


def test_a_slip_nobody_has_seen_is_in_u_in_the_factors_and_in_the_budget_too() -> None:
    fit = fit_runs([typed(4.90, 13.05, 24.65)])
    out = fit.curve.loading
    assert out.u95 / out.u == pytest.approx(np.full(len(out.u), 1.96), rel=0.02)
    unseen = next(f for f in fit.curve.factors if f.source == UNSEEN_SLIP)
    assert unseen.key is None
    assert (np.abs(unseen.loading) > 0.5 * out.u).all()
    squares = sum((f.loading**2 for f in fit.curve.factors), out.rest**2)
    assert squares == pytest.approx(out.u**2)
    assert {line.source for line in fit.budget} >= {UNSEEN_SLIP}
    assert UNSEEN_SLIP not in {f.source for f in fit_runs([run()]).curve.factors}


def test_ten_times_too_much_is_no_good_reading() -> None:
    look = quick_look(typed(4.90, 130.5, 24.65, more=((1.5, 13.05, "loading"),)))
    assert [row.force for row in look.wrong] == [pytest.approx(130.5 * G_STANDARD)]
    assert replace(look, readings=()).suspects == ()
