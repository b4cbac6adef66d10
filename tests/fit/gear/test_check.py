"""What a check of a scale must do whatever the numbers."""

from dataclasses import replace

import numpy as np
import pytest

from calib.errors import DataError
from calib.fit.gear.known_loads import KnownLoads, known_loads_of, set_from, usual
from calib.fit.gear.scale_check import ScaleCheck, check_scale
from calib.fit.gear.weighings import Weighing, added_one_by_one
from calib.gravity import local_gravity
from calib.units import G_STANDARD as G
from tests.campaigns.scale_check.simulated import KINDS, campaign

UP = [0.0, 10, 20, 30, 40]
PIECES: list[tuple[float, ...]] = [(), (10,), (20,), (10, 20), (10, 10, 20)]
SHOWN_UP = [0.0, 10.1, 20.15, 30.25, 40.3]
SHOWN_DOWN = [40.3, 30.2, 20.15, 10.05, 0.05]


def weighings() -> list[Weighing]:
    totals = [*UP, *UP[::-1]]
    rows = zip(added_one_by_one(totals), [*SHOWN_UP, *SHOWN_DOWN], range(10), strict=True)
    return [Weighing(p, s * G, "loading" if i < 5 else "unloading") for p, s, i in rows]


def checked(kind: str = "weighed", g: float = G, u_gain: float | None = 0.006) -> ScaleCheck:
    loads = usual("set", "weighed" if kind == "weighed" else "plates")
    return check_scale(weighings(), loads, 0.05 * G, "2026-03-01", g, u_gain)


def test_g_cancels_at_the_same_place() -> None:
    """Kilos on the bar = corrected force / g of the place: the same plates give the same kilos at every latitude."""
    kilos = []
    for latitude in (None, 0.0, 45.0, 90.0):
        g = local_gravity(latitude, None)[0]
        check = checked(g=g)
        shown = 25.0 * G
        kilos.append((check.correction.force(shown) / g, check.u(shown) / g))
    assert np.ptp([k for k, _ in kilos]) < 1e-4  # the prior of the noise knows newtons: not to the last digit
    assert np.ptp([u for _, u in kilos]) < 1e-4


def test_common_error_of_the_set_is_one_factor_in_the_covariance() -> None:
    apart = replace(usual("set", "plates"), u_common=0.0)
    with_common = checked("plates", u_gain=None)
    without = check_scale(weighings(), apart, 0.05 * G, "2026-03-01", u_gain_before=None)
    factor = np.array(with_common.correction.factor_known_loads)
    assert factor == pytest.approx(usual("set", "plates").u_common * np.array(with_common.correction.coefficients))
    difference = np.array(with_common.correction.covariance) - np.array(without.correction.covariance)
    assert difference == pytest.approx(np.outer(factor, factor), abs=1e-12)


def test_each_named_piece_is_one_factor_as_large_as_what_its_error_does() -> None:
    """Refitted with a piece heavier by its u, the coefficients move by its factor; the rest stays a variance."""
    plates = set_from("3 x 10, 20", "plates-1", "ann")
    rows = [replace(w, pieces=of) for w, of in zip(weighings(), [*PIECES, *PIECES[::-1]], strict=True)]
    check = check_scale(rows, known_loads_of(plates), 0.05 * G, "2026-03-01", u_gain_before=None).correction
    assert check.pieces == ("10a", "10b", "20a")
    heavier = [replace(w, pieces=tuple(p + plates.piece("20a").u_mass_kg * (p == 20) for p in w.pieces)) for w in rows]
    moved = check_scale(heavier, usual("plates-1", "plates"), 0.05 * G, "2026-03-01", u_gain_before=None).correction
    shift = np.array(moved.coefficients) - np.array(check.coefficients)
    assert check.factor_pieces[2][1] == pytest.approx(shift[1], rel=0.1)
    factors = np.array([check.factor_known_loads, *check.factor_pieces])
    own = np.array(check.covariance) - factors.T @ factors
    assert (np.linalg.eigvalsh(own[:2, :2]) > 0).all()
    assert own[1, 1] < 0.3 * check.covariance[1][1]  # of plates as cast the set and the pieces are most
    weighed = check_scale(rows, known_loads_of(plates), 0.05 * G, "2026-03-01").correction
    assert 0 < weighed.factor_pieces[2][1] < check.factor_pieces[2][1]


def test_rough_plates_and_what_a_scale_never_checked_is_trusted_to_are_weighed_together() -> None:
    """Two independent values of one gain: their variances' inverses add (JCGM 100, H.3 weighs likewise)."""
    alone, both = checked("plates", u_gain=None), checked("plates")
    u_alone, u_both = (c.correction.covariance[1][1] ** 0.5 / c.correction.coefficients[1] for c in (alone, both))
    assert u_alone > 0.006
    assert u_both == pytest.approx((u_alone**-2 + 0.006**-2) ** -0.5, rel=0.02)
    assert 0 < both.excess(20 * G) < alone.excess(20 * G)  # drawn towards a scale that is right
    assert both.prior_share == pytest.approx(u_alone**2 / (u_alone**2 + 0.006**2), rel=0.05)
    assert "both are combined" in " ".join(both.remarks)
    factor = np.array(both.correction.factor_known_loads)[1] / np.array(alone.correction.factor_known_loads)[1]
    assert factor == pytest.approx(1 - both.prior_share, rel=0.02)  # the plates' common error counts for less, too


def test_a_scale_far_off_is_not_drawn_to_right() -> None:
    rows = [replace(w, shown=1.05 * w.shown) for w in weighings()]
    alone, both = (check_scale(rows, usual("set", "weighed"), 0.05 * G, "2026-03-01", G, u) for u in (None, 0.006))
    assert both.excess(40 * G) == pytest.approx(alone.excess(40 * G), rel=0.01)
    assert "off by more than the 1 %" in " ".join(both.remarks)
    assert "off by more than the 1 %" not in " ".join(checked().remarks)


def test_a_gap_between_the_ways_does_not_widen_the_mean_of_both() -> None:
    """It cancels in the mean; it stays in the scatter of a reading, which may be on either way."""
    middle = {10.0: 0.75, 20.0: 1.0, 30.0: 0.75}
    rows = [
        replace(w, shown=w.shown + (-1 if w.branch == "loading" else 1) * 0.1 * G * middle.get(w.nominal, 0.0))
        for w in weighings()
    ]
    u, u_gap = (check_scale(r, usual("set", "weighed"), 0.05 * G, "2026-03-01") for r in (weighings(), rows))
    assert u_gap.u(40 * G) < 1.3 * u.u(40 * G)
    assert u_gap.correction.residual_sd > 0.05 * G


def test_better_loads_give_a_surer_gain() -> None:
    assert checked("weighed").u(40 * G) < 0.3 * checked("plates").u(40 * G)


def test_a_stack_of_pieces_is_off_together() -> None:
    """Four readings of one plate carry that plate's error whole; four different plates average theirs."""
    loads = KnownLoads("set", "stated", 0.0, 0.01)
    exact = KnownLoads("set", "stated", 0.0, 0.0)
    one = [Weighing((), 0.0), *[Weighing((10.0,), 10 * G)] * 4, Weighing((), 0.0)]
    u_one, u_exact = (
        check_scale(one, known, 0.0, "2026-03-01", u_gain_before=None).u(10 * G) for known in (loads, exact)
    )
    assert u_one == pytest.approx(np.hypot(0.01 * 10 * G, u_exact), rel=0.35)
    assert u_one > 0.99 * 0.01 * 10 * G


def test_reversibility_repeatability_and_zero_return() -> None:
    check = checked()
    assert check.zero_return == pytest.approx(0.05 * G)
    gaps = [0.05 / 10.075, 0.0, 0.05 / 30.225, 0.0]
    assert check.relative_reversibility == pytest.approx(np.mean(gaps), rel=1e-6)
    assert check.repeatability is None
    twice = check_scale([*weighings(), *weighings()], usual("set", "weighed"), 0.05 * G, "2026-03-01")
    assert twice.repeatability == pytest.approx(0.0, abs=1e-9)


def test_a_bend_is_taken_only_where_it_shows() -> None:
    rng = np.random.default_rng(3)
    for bend, order in ((0.0, 1), (0.01, 2)):
        totals = [0.0, 10, 20, 30, 40, 50] * 2
        shown = [m * (1 + bend * m / 50) + 0.004 * rng.standard_normal() for m in totals]
        rows = [Weighing(p, s * G) for p, s in zip(added_one_by_one(totals), shown, strict=True)]
        assert check_scale(rows, usual("set", "force"), 0.005 * G, "2026-03-01").order == order


def test_shown_for_is_the_inverse_of_the_correction() -> None:
    check = checked()
    zero = check.correction.coefficients[0]
    for force in (10.0, 200.0, 390.0):
        assert check.correction.force(check.shown_for(force)) - zero == pytest.approx(force)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([Weighing((10.0,), 98.0)] * 3, "say nothing"),
        ([Weighing((), 0.0), Weighing((10.0,), 98.0)], "say nothing"),
        ([Weighing((), 0.0), Weighing((10.0,), -98.0), Weighing((20.0,), -196.0)], "reversed"),
        ([Weighing((), 5.0), Weighing((10.0,), 5.0), Weighing((20.0,), 5.0)], "same with and without"),
        ([Weighing((), 0.0), Weighing((10.0,), float("nan")), Weighing((20.0,), 196.0)], "not a number"),
        ([Weighing((), 0.0), Weighing((-10.0,), 98.0), Weighing((20.0,), 196.0)], "not above zero"),
    ],
)
def test_what_no_scale_shows_is_refused(rows: list[Weighing], words: str) -> None:
    with pytest.raises(DataError, match=words):
        check_scale(rows, usual("set", "weighed"), 0.05 * G, "2026-03-01")


@pytest.mark.parametrize("index", [1, 4, 7])
def test_stated_intervals_hold_the_truth(index: int) -> None:
    """Seeded; four standard errors about the limits of the full campaign (`python -m tests.campaigns.scale_check`)."""
    checks = 120
    kind, held = KINDS[index], campaign(index, checks).held
    assert kind.least - 4 * (0.05 * 0.95 / checks) ** 0.5 <= held <= kind.most + 4 * (0.02 * 0.98 / checks) ** 0.5
    assert held > 0.86
