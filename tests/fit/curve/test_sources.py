"""Each source of error by hand: what one standard deviation of it does to a reading, from the head's own numbers."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from calib import assumptions
from calib.fit.curve.estimate import check_load_of
from calib.fit.curve.observations import observe
from calib.fit.curve.sources import Source
from calib.records import CheckLoad, Correction, Row, Run
from calib.units import G_STANDARD
from tests.fit.curve.made_runs import SCALE, head, hung_weights, readings, run

STEP = SCALE.resolution


def _source(made: Run, name: str) -> Source:
    found = [s for s in observe([made]).sources if s.name == name]
    assert len(found) == 1, [s.name for s in observe([made]).sources]
    return found[0]


def test_a_scale_wanders_with_the_root_of_the_months_since_its_check() -> None:
    """A random walk: four times the time is twice the doubt. The run is of 1 March 2026."""
    per_root_month = assumptions.value("stability_per_root_month")
    for days in (30.4, 121.6, 365):
        checked = date.fromordinal(date(2026, 3, 1).toordinal() - round(days))
        made = run(scale=replace(SCALE, check=f"hook/{checked}"))
        assert _source(made, "scale stability").gain == pytest.approx(per_root_month * (round(days) / 30.4) ** 0.5)


def test_two_days_share_the_wandering_up_to_the_first() -> None:
    """Walked a to the first day and b to the second: common part a, and sqrt(b^2 - a^2) of the second alone."""
    old = replace(SCALE, check="hook/2026-02-01")
    first = run(name="1", scale=old)
    second = run(name="2", scale=old, started=head().started.replace(month=5))  # type: ignore[union-attr]
    a, b = (float(_source(made, "scale stability").gain[0]) for made in (first, second))
    walked = [s.gain for s in observe([first, second]).sources if s.name == "scale stability"]
    n = len(first.rows)
    assert [g[0] for g in walked] == pytest.approx([a, 0.0])
    assert [g[n] for g in walked] == pytest.approx([a, (b**2 - a**2) ** 0.5])


def test_a_zero_that_drifted_is_less_sure_by_the_width_of_a_rectangle() -> None:
    rows = [Row(1, "zero", force=0.0), *(replace(r, number=r.number + 1) for r in readings(1))]
    drifted = run([*rows, Row(len(rows) + 1, "zero", force=3.0)])
    assert _source(drifted, "zero").force == pytest.approx(np.hypot(SCALE.u_zero or 0.0, 3.0 / 12**0.5))


def test_the_bend_of_a_check_moves_a_pull_read_from_a_zero() -> None:
    """Pull = q (s^2 - z^2) + g (s - z): one u of q moves F by u_q F (F + 2 z), where z is shown with nothing on."""
    u_q, zero = 1e-6, 20.0
    bend = Correction("2026-03-01", (0.0, 1.0, 0.0), ((0, 0, 0), (0, 0, 0), (0, 0, u_q**2)))
    rows = [
        Row(1, "zero", force=zero),
        *(replace(r, number=r.number + 1, force=(r.force or 0) + zero) for r in readings(1)),
    ]
    made = run([*rows, Row(len(rows) + 1, "zero", force=zero)], scale=replace(SCALE, correction=bend))
    source, pull = _source(made, "scale curvature"), observe([made]).pull
    assert source.gain * pull + source.quadratic * pull**2 == pytest.approx(u_q * pull * (pull + 2 * zero))


def test_a_stretched_band_thins_as_the_root_of_its_stretch() -> None:
    """Nothing where it is at rest; rubber keeps its volume (docs/method.md)."""
    band, setup = replace(head().band, thickness=0.004, strands=2), replace(head().length, kind="centres")
    made = run(band=band, length=setup)
    seen, source = observe([made]), _source(made, "thinning of the band")
    slope = np.pi / 2  # of the half path over centres by the thickness
    thinner = 0.004 * (1 - np.sqrt(seen.rest / seen.length))
    assert source.length == pytest.approx(assumptions.value("thinning") * slope * thinner)


def test_the_hook_hangs_with_every_load() -> None:
    bare = hung_weights(1)
    assert bare.head.loads is not None
    hooked = replace(bare, head=replace(bare.head, loads=replace(bare.head.loads, hook_mass=0.5)))
    np.testing.assert_allclose(observe([hooked]).pull - observe([bare]).pull, 0.5 * G_STANDARD, rtol=1e-5)


def test_rounding_stays_in_a_check_load_however_often_it_is_weighed() -> None:
    """Shown alike each time: no scatter, and a rectangle of one step is all that is known. u = step / sqrt 12."""
    rows = readings(1)
    rows += [Row(len(rows) + 1 + i, "check-load", force=98.0) for i in range(9)]
    shown = check_load_of([run(rows, check_load=CheckLoad("P10", 10.0))])
    assert shown is not None
    assert shown.u == pytest.approx(STEP / 12**0.5)


def test_a_check_corrects_the_zero_too() -> None:
    """Pull = (g s + q s^2) - (g z + q z^2): a scale that shows 1 % too little, with a zero of 20 N."""
    zero, gain, bend = 20.0, 1.01, 1e-5
    check = Correction("2026-03-01", (3.0, gain, bend), ((0, 0, 0), (0, 1e-8, 0), (0, 0, 0)))
    rows = [Row(1, "zero", force=zero), *(replace(r, number=r.number + 1) for r in readings(1))]
    made = run([*rows, Row(len(rows) + 1, "zero", force=zero)], scale=replace(SCALE, correction=check))
    shown = np.array([r.force for r in made.readings])
    assert observe([made]).pull == pytest.approx(gain * (shown - zero) + bend * (shown**2 - zero**2))
