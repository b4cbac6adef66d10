"""What the fitter must do with a run whose truth is known."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from calib.errors import DataError
from calib.fit.curve.estimate import U_RATE, fit_runs, relaxation_of
from calib.fit.curve.observations import observe
from calib.records import Array, BranchName, BranchTable, Correction, Fit, Procedure, Row, Run
from calib.units import G_STANDARD as KG
from tests.fit.curve.made_runs import LENGTHS, SCALE, head, hung_weights, pull, readings, run

INSIDE = np.linspace(LENGTHS[0], LENGTHS[-1], 30)


def force(table: BranchTable | None, length: Array = INSIDE) -> Array:
    assert table is not None
    return np.interp(length, table.length, table.force)


def codes(fit: Fit) -> list[str]:
    return [f.code for f in fit.findings]


def test_clean_readings_give_both_branches_back_within_their_u() -> None:
    curve = fit_runs([run()]).curve
    assert curve.unloading is not None
    branches: list[tuple[BranchTable, BranchName]] = [(curve.loading, "loading"), (curve.unloading, "unloading")]
    for table, branch in branches:
        inside = table.length[(table.length >= LENGTHS[0]) & (table.length <= LENGTHS[-1])]
        off = np.abs(force(table, inside) - pull(inside, branch))
        assert (off < np.interp(inside, table.length, table.u)).all()
        assert off.max() < 0.003 * table.force.max()


def test_factors_and_rest_add_up_to_u_and_are_at_most_sixteen() -> None:
    curve = fit_runs([run(readings(noise=0.003))]).curve
    assert len(curve.factors) <= 16
    assert curve.unloading is not None
    up = sum(f.loading**2 for f in curve.factors) + curve.loading.rest**2
    down = sum(f.unloading**2 for f in curve.factors if f.unloading is not None) + curve.unloading.rest**2
    np.testing.assert_allclose(up, curve.loading.u**2, rtol=1e-9)
    np.testing.assert_allclose(down, curve.unloading.u**2, rtol=1e-9)


def test_shared_factors_carry_the_identity_of_what_is_shared() -> None:
    keys = {f.source: f.key for f in fit_runs([run()]).curve.factors}
    assert keys["scale gain"] == "check:hook/2026-02-27"
    assert keys["tape"] == "tape:T1"
    assert keys["zero"] is None
    unchecked = fit_runs([run(scale=replace(SCALE, check=None, u_gain=None))])
    assert {f.source: f.key for f in unchecked.curve.factors}["scale gain"] == "scale:hook/2026-03-01"
    assert "scale-unchecked" in codes(unchecked)


def test_gain_factor_is_the_shift_a_gain_error_causes() -> None:
    """Readings off by one u of gain move the curve by minus the factor's effect: the factor is that shift, signed."""
    plain = fit_runs([run()]).curve
    off = fit_runs([run(readings(shown=lambda n: n * 1.005))]).curve
    (factor,) = [f for f in plain.factors if f.source == "scale gain"]
    moved = np.interp(plain.loading.length, off.loading.length, off.loading.force) - plain.loading.force
    np.testing.assert_allclose(moved, factor.loading, rtol=0.05, atol=0.02 * factor.loading.max())


def test_budget_adds_up_to_the_curve_u() -> None:
    fit = fit_runs([run(readings(noise=0.003))])
    table = fit.curve.loading
    ends = np.array([table.length[0], 0.5 * (table.length[0] + table.length[-1]), table.length[-1]])
    total = np.sqrt(sum(np.array(line.u) ** 2 for line in fit.budget))
    np.testing.assert_allclose(total, np.interp(ends, table.length, table.u), rtol=2e-2)
    np.testing.assert_allclose(np.sum([line.share for line in fit.budget], axis=0), 1.0, rtol=1e-9)


def test_a_straight_line_between_grid_points_is_off_by_less_than_a_tenth_of_u() -> None:
    from calib.fit.curve.estimate import solve
    from calib.fit.curve.observations import observe

    one = run(readings(noise=0.002))
    table, curve = fit_runs([one]).curve.loading, solve(observe([one]), "x").curve
    between = np.linspace(table.length[0], table.length[-1], 2001)
    off = np.abs(np.interp(between, table.length, table.force) - curve.force(between))
    assert (off <= 0.1 * np.interp(between, table.length, table.u)).all()


def test_hung_weights_and_anchor_on_a_scale_give_the_same_curve() -> None:
    expected = pull(INSIDE)
    hung = fit_runs([hung_weights()])
    np.testing.assert_allclose(force(hung.curve.loading), expected, rtol=0.01)
    assert {f.key for f in hung.curve.factors} >= {"loads:plates-1", "tape:T1"}
    block = 60 * KG
    rows = [Row(100, "zero", force=block, at_s=0.0), *readings(shown=lambda n: block - n)]
    anchored = fit_runs([run(rows, procedure=Procedure(method="anchor-on-scale", temperature=20.0))])
    np.testing.assert_allclose(force(anchored.curve.loading), expected, rtol=0.01)


def test_zero_is_taken_off_and_followed_over_the_run() -> None:
    """A zero that creeps from 0 to 0.4 kg between its two readings leaves no trace in the curve but a finding."""
    rows = [replace(r, at_s=float(i + 1)) for i, r in enumerate(readings())]
    last = len(rows) + 1
    crept = [replace(r, force=(r.force or 0) + 0.4 * KG * (r.at_s or 0) / last) for r in rows]
    zeros = [Row(200, "zero", force=0.0, at_s=0.0), Row(201, "zero", force=0.4 * KG, at_s=float(last))]
    fit = fit_runs([run([*crept, *zeros])])
    np.testing.assert_allclose(force(fit.curve.loading), pull(INSIDE), rtol=0.01)
    assert "zero-drift" in codes(fit)


def test_a_check_corrects_readings_and_replaces_the_stated_gain() -> None:
    """A scale 2 % low, put right by its check; the later check given to the fit goes before the one in the file."""
    cov = ((1e-4, 0.0, 0.0), (0.0, 1e-6, 0.0), (0.0, 0.0, 0.0))
    check = Correction("2026-02-27", (0.0, 1.02, 0.0), cov, known_loads="plates-1", factor_known_loads=(0, 0.0005, 0))
    low = readings(shown=lambda n: n / 1.02)
    fit = fit_runs([run(low, scale=replace(SCALE, correction=check))])
    np.testing.assert_allclose(force(fit.curve.loading), pull(INSIDE), rtol=0.005)
    keys = {f.source: f.key for f in fit.curve.factors}
    assert keys["known loads"] == "loads:plates-1"
    top = fit.curve.loading.force[-1]
    gain = next(f for f in fit.curve.factors if f.source == "scale gain").loading[-1] / top
    assert gain == pytest.approx(np.sqrt(1e-6 - 0.0005**2) / 1.02, rel=0.05)
    later = fit_runs([run(low, scale=replace(SCALE, correction=replace(check, coefficients=(0, 1, 0))))], check)
    np.testing.assert_allclose(force(later.curve.loading), force(fit.curve.loading), rtol=1e-9)


def test_a_plate_that_checked_a_scale_is_off_there_as_it_is_where_it_hangs() -> None:
    cov = ((1e-4, 0.0, 0.0), (0.0, 1e-6, 0.0), (0.0, 0.0, 0.0))
    plain = Correction("2026-02-27", (0.0, 1.0, 0.0), cov, known_loads="plates-1")
    pieces = replace(plain, pieces=("10a", "20a"), factor_pieces=((0, 0.0003, 0), (0, 0.0006, 0)))
    one, other = (fit_runs([run(readings(), scale=replace(SCALE, correction=c))]).curve for c in (plain, pieces))
    assert other.loading.u == pytest.approx(one.loading.u)
    shifts = {f.key: f.loading / other.loading.force for f in other.factors}
    assert shifts["piece:plates-1/20a"] == pytest.approx(np.full(len(other.loading.u), 0.0006), rel=0.15)
    assert shifts["piece:plates-1/10a"] == pytest.approx(shifts["piece:plates-1/20a"] / 2)


def test_local_gravity_cancels_where_the_scale_was_checked_with_plates_in_the_same_place() -> None:
    """Plates of mass m weigh m g; a scale set right with them there shows m; the band then lifts the same plates.

    At g = 9.832 a hanging scale adjusted elsewhere shows 9.832/9.80665 too much for a plate. Checked with the plates,
    known force m g, its curve in newton is right, and in plates (N / g) it is what the plates say: g cancels.
    """
    g = 9.832
    gain = 1.0  # shown in newton by a scale that reads true newton
    check = Correction("2026-02-27", (0.0, gain, 0.0), ((0, 0, 0), (0, 1e-8, 0), (0, 0, 0)))
    in_plates = force(fit_runs([run(scale=replace(SCALE, correction=check))]).curve.loading) / g
    wrong_g = Correction("2026-02-27", (0.0, gain * 9.80665 / g, 0.0), ((0, 0, 0), (0, 1e-8, 0), (0, 0, 0)))
    standard = force(fit_runs([run(scale=replace(SCALE, correction=wrong_g))]).curve.loading) / 9.80665
    np.testing.assert_allclose(in_plates, standard, rtol=1e-6)


def test_three_lengths_on_the_way_out_are_enough_and_wider() -> None:
    full = fit_runs([run()])
    small = fit_runs([run(readings(1, (1.2, 1.6, 2.1), way_back=False))])
    assert small.curve.unloading is None
    assert small.hysteresis is None
    at = np.array([1.4, 1.9])
    wider = np.interp(at, small.curve.loading.length, small.curve.loading.u95)
    assert (wider > 1.5 * np.interp(at, full.curve.loading.length, full.curve.loading.u95)).all()
    assert {"no-unloading", "few-lengths", "one-cycle"} <= set(codes(small))


def test_five_lengths_up_and_down_once_give_a_profile() -> None:
    fit = fit_runs([run(readings(1, (1.12, 1.3, 1.5, 1.9, 2.3)))])
    assert fit.curve.unloading is not None
    np.testing.assert_allclose(force(fit.curve.loading), pull(INSIDE), rtol=0.03)


def test_two_lengths_are_refused_with_what_is_needed() -> None:
    with pytest.raises(DataError, match=r"too few usable loading lengths: 2, at least 3"):
        fit_runs([run(readings(2, (1.3, 2.0), way_back=False))])


def test_a_slip_of_a_factor_ten_is_found_named_and_left_out() -> None:
    rows = readings(noise=0.002)
    clean = fit_runs([run(rows)])
    slipped = [replace(r, force=(r.force or 0) * 10) if r.number == 20 else r for r in rows]
    fit = fit_runs([run(slipped)])
    (finding,) = [f for f in fit.findings if f.code == "gross-error"]
    assert "row 20" in finding.text
    assert "decimal point" in finding.text
    assert [p.row for p in fit.points if not p.used] == [20]
    moved = np.abs(force(fit.curve.loading) - force(clean.curve.loading))
    assert (moved < np.interp(INSIDE, clean.curve.loading.length, clean.curve.loading.u95)).all()


@pytest.mark.parametrize("row", [4, 9, 10, 13])
def test_two_that_slipped_alike_at_one_place_do_not_outvote_the_third(row: int) -> None:
    """Ten kilograms too much in two of three cycles, of 45 readings; three more slipped elsewhere."""
    factor = {20: 10.0, 30: 0.1, 38: 10.0}
    typed = [
        replace(r, force=(r.force or 0) * factor.get(r.number, 1.0) + 10 * KG * (r.number in {row, row + 15}))
        for r in readings(cycles=3, noise=0.004)
    ]
    assert {p.row for p in fit_runs([run(typed)]).points if not p.used} == {row, row + 15, *factor}


@pytest.mark.parametrize("slipped", [1, 2, 3, 4, 5])
def test_a_slip_of_a_factor_ten_is_found_among_five_readings(slipped: int) -> None:
    rows = readings(1, (1.12, 1.3, 1.5, 1.9, 2.3), way_back=False, noise=0.004)
    rows = [replace(r, force=(r.force or 0) * 10) if r.number == slipped else r for r in rows]
    assert [p.row for p in fit_runs([run(rows)]).points if not p.used] == [slipped]


def test_a_struck_reading_and_one_left_out_by_the_user_give_the_same_curve() -> None:
    rows = readings(noise=0.002)
    rows[5] = replace(rows[5], force=(rows[5].force or 0) * 1.2)
    struck = fit_runs([run([*rows, Row(90, "strike", note="misread", about="6")])])
    left = fit_runs([run(rows)], leave_out={("B1.run.csv", 6)})
    np.testing.assert_allclose(struck.curve.loading.force, left.curve.loading.force, rtol=1e-9)
    assert [f.text for f in left.findings if f.code == "left-out"] == ["B1.run.csv: row 6 left out as asked"]


def test_conditioning_cycles_are_not_fitted() -> None:
    first = [replace(r, number=r.number + 500, cycle=0, force=(r.force or 0) * 1.3) for r in readings(1)]
    np.testing.assert_allclose(
        fit_runs([run([*first, *readings()])]).curve.loading.force, fit_runs([run()]).curve.loading.force, rtol=1e-9
    )


def test_joined_runs_are_surer_than_one_and_keep_each_gear_apart() -> None:
    one = run(readings(noise=0.004, seed=1), name="a.run.csv")
    other_scale = replace(SCALE, id="cell", check="cell/2026-01-01")
    two = run(readings(noise=0.004, seed=2), name="b.run.csv", scale=other_scale)
    alone, both = fit_runs([one]), fit_runs([one, two])
    at = np.array([1.5, 2.0])
    assert (
        np.interp(at, both.curve.loading.length, both.curve.loading.u)
        < 0.85 * np.interp(at, alone.curve.loading.length, alone.curve.loading.u)
    ).all()
    keys = {f.key for f in both.curve.factors}
    assert {"check:hook/2026-02-27", "check:cell/2026-01-01", "tape:T1"} <= keys


def test_runs_that_contradict_one_another_are_refused() -> None:
    longer = run(name="b.run.csv", band=replace(head().band, flat_length=1.03))
    with pytest.raises(DataError, match="does not fit the other runs"):
        fit_runs([run(), longer])
    with pytest.raises(DataError, match="different bands"):
        fit_runs([run(), run(name="c.run.csv", band=replace(head().band, id="B2"))])


def test_swapped_branches_are_a_finding_and_not_forced() -> None:
    names = {"loading": "unloading", "unloading": "loading"}
    swapped = [replace(r, branch=names[r.branch or ""]) for r in readings() if r.length != LENGTHS[-1]]  # type: ignore[arg-type]
    top = [r for r in readings() if r.length == LENGTHS[-1]]
    fit = fit_runs([run([*swapped, *top])])
    assert "branches-cross" in codes(fit)


@pytest.mark.parametrize(
    ("zeroed", "scale_at", "sign"),
    [
        ("hook-only", "top", -1), ("band-free", "top", 1), ("band-both-ends", "top", 0),
        ("hook-only", "bottom", 1), ("band-free", "bottom", -1), ("band-both-ends", "bottom", 0),
    ],
)  # fmt: skip
def test_half_the_weight_of_the_band_counts_by_what_hung_at_zero(zeroed: str, scale_at: str, sign: int) -> None:
    """Statics of a hanging band: the scale on top carries the whole band, mid-length half of it."""
    upright = Procedure(orientation="vertical", scale_at=scale_at, temperature=20.0)  # type: ignore[arg-type]
    band = replace(head().band, mass=0.4)
    scale = replace(SCALE, zeroed=zeroed)  # type: ignore[arg-type]
    heavy = fit_runs([run(procedure=upright, band=band, scale=scale)])
    lying = fit_runs([run(band=band, scale=scale)])
    moved = force(heavy.curve.loading, np.array([2.0])) - force(lying.curve.loading, np.array([2.0]))
    assert moved[0] == pytest.approx(sign * 0.2 * KG, abs=0.1)


@pytest.mark.parametrize(("zeroed", "sign"), [("hook-only", 1), ("band-free", -1), ("band-both-ends", 0)])
def test_an_anchor_stands_below_the_band_and_carries_the_lower_half_of_it(zeroed: str, sign: int) -> None:
    """As with a scale at the bottom, whatever the head says of the orientation."""
    band, block = replace(head().band, mass=0.4), 60 * KG
    rows = [Row(100, "zero", force=block, at_s=0.0), *readings(shown=lambda n: block - n)]
    scale = replace(SCALE, zeroed=zeroed)  # type: ignore[arg-type]
    anchored = fit_runs([run(rows, band=band, scale=scale, procedure=Procedure(method="anchor-on-scale"))])
    moved = force(anchored.curve.loading, np.array([2.0])) - pull(np.array([2.0]))
    assert moved[0] == pytest.approx(sign * 0.2 * KG, abs=0.15)


def test_an_anchor_without_a_zero_row_is_refused_with_how_to_add_one() -> None:
    with pytest.raises(DataError, match=r"has no zero row.*import with --zero"):
        fit_runs([run(readings(shown=lambda n: 600 - n), procedure=Procedure(method="anchor-on-scale"))])


def test_a_scale_that_shows_one_number_at_all_lengths_is_refused() -> None:
    with pytest.raises(DataError, match="the same at all lengths"):
        fit_runs([run(readings(shown=lambda n: 117.68))])


def test_a_falling_loading_branch_is_refused_even_where_one_reading_rises() -> None:
    rows = [replace(r, force=300 - (r.force or 0.0)) for r in readings(1, way_back=False)]
    rows[4] = replace(rows[4], force=400.0)
    with pytest.raises(DataError, match="falls all along"):
        fit_runs([run(rows)])


def test_the_same_input_gives_the_same_curve_to_the_bit() -> None:
    one = run(readings(noise=0.003))
    assert (fit_runs([one]).curve.loading.force == fit_runs([one]).curve.loading.force).all()


def test_an_old_check_adds_the_stability_of_the_scale() -> None:
    fresh = fit_runs([run(started=datetime(2026, 2, 28, tzinfo=UTC))])
    old = fit_runs([run(started=datetime(2028, 2, 28, tzinfo=UTC))])
    assert "scale stability" in {f.source for f in old.curve.factors}
    assert old.curve.loading.u[-1] > fresh.curve.loading.u[-1]


def test_a_trace_of_ten_thousand_readings_is_grouped_and_does_not_shrink_u_by_their_number() -> None:
    dense = tuple(np.round(np.linspace(1.1, 2.3, 2500), 5))
    rng = np.random.default_rng(4)
    rows = readings(2, dense)
    noise = np.convolve(rng.standard_normal(len(rows) + 200), np.ones(200) / 200**0.5, "valid")[: len(rows)]
    rows = [replace(r, force=(r.force or 0) * (1 + 0.002 * e)) for r, e in zip(rows, noise, strict=True)]
    fit = fit_runs([run(rows)])
    assert len(fit.points) <= 160
    off = np.abs(force(fit.curve.loading) - pull(INSIDE))
    assert (off < 1.5 * np.interp(INSIDE, fit.curve.loading.length, fit.curve.loading.u95)).all()


def test_setting_readings_aside_keeps_each_remaining_one_as_it_was() -> None:
    seen = observe([run(readings(noise=0.003))])
    keep = np.arange(len(seen)) % 3 != 0
    some = seen.where(keep)
    assert some.rows == tuple(row for row, kept in zip(seen.rows, keep, strict=True) if kept)
    for whole, part in zip(seen.sources, some.sources, strict=True):
        assert (part.name, part.key, part.of_band) == (whole.name, whole.key, whole.of_band)
        for name in ("force", "gain", "quadratic", "length"):
            np.testing.assert_array_equal(getattr(part, name), getattr(whole, name)[keep])


def test_a_way_back_that_starts_further_out_closes_at_the_top_with_a_finding() -> None:
    rows = [
        replace(r, length=(r.length or 0) * 1.01) if r.branch == "unloading" else r
        for r in readings(lengths=(*LENGTHS, 2.32))
    ]
    assert "creep-at-top" in codes(fit_runs([run(rows)]))


def _relaxing(*seen: float) -> Run:
    rows = readings(1)
    slow = [replace(row, relax_percent_per_decade=x) for row, x in zip(rows, seen, strict=False)]
    return run([*slow, *rows[len(seen) :]])


@pytest.mark.parametrize("count", [2, 3, 6])
def test_a_relaxation_from_a_few_holds_is_stated_as_surely_as_few_can_tell(count: int) -> None:
    rng, tries = np.random.default_rng(20260509), 400
    found = [relaxation_of([_relaxing(*(2 + 0.4 * rng.standard_normal(count)))]) for _ in range(tries)]
    held = sum(abs(r.percent_per_decade - 2) <= 1.96 * r.u for r in found)
    assert held >= tries * (0.95 - 4 * (0.95 * 0.05 / tries) ** 0.5)


def test_what_is_off_in_all_holds_alike_is_not_averaged_away() -> None:
    assert relaxation_of([_relaxing(*[2.1] * 8)]).u == pytest.approx(U_RATE * 2.1)


def test_while_unloading_the_pull_recovers_as_much_as_it_falls_while_loading() -> None:
    """2 % a decade each way, signed as it was read: one rate of 2, not a mean of nothing."""
    rows = [replace(r, relax_percent_per_decade=2.0 if r.branch == "loading" else -2.0) for r in readings(1)]
    assert relaxation_of([run(rows)]).percent_per_decade == pytest.approx(2.0)


def test_the_loss_is_the_energy_between_the_branches_over_that_put_in() -> None:
    """By the invented law itself, over the lengths both branches were read at."""
    lost = fit_runs([run()]).hysteresis
    assert lost is not None
    length = np.linspace(lost.start, lost.end, 501)
    up, down = (float(np.trapezoid(pull(length, way), length)) for way in ("loading", "unloading"))
    assert lost.loss_ratio == pytest.approx(1 - down / up, abs=0.005)
    assert lost.energy_lost == pytest.approx(lost.loss_ratio * lost.energy_in)
