"""A batch fitted together: the algebra, what is borrowed and said, who is odd, and the command that does it."""

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from calib.acquire.files.run_file import RunWriter, columns_for
from calib.errors import DataError
from calib.fit.batch import pooled_model as batch_model
from calib.fit.batch.partial_pooling import _curve, _Node, _Place, _place, _place_at, fit_in_batch, odd_in
from calib.fit.batch.pooled_fit import SHARED_ERRORS, BandReadings, Taught, band_readings, teach
from calib.profile.batch_document import load_batch
from calib.profile.document import load_profile
from calib.records import Fit, Row, Run
from calib.use.bands.batch_levels import BatchMember, WayOut, standing
from calib.verbs.app import run as bandcurve
from tests.campaigns.batch.scoring import score, try_batch
from tests.campaigns.batch.simulated import Batch, draw_batch, without_readings
from tests.campaigns.batch.slips import try_batch as with_slips
from tests.campaigns.batch.worlds import BY_NAME, with_odd_band

TUBE = BY_NAME["tube"]


@pytest.fixture(scope="module")
def batch() -> Batch:
    return draw_batch(TUBE, 4)


@pytest.fixture(scope="module")
def bands(batch: Batch) -> list[BandReadings]:
    last = len(batch.runs) - 1
    return [band_readings([without_readings(run) if i == last else run]) for i, run in enumerate(batch.runs)]


@pytest.fixture(scope="module")
def taught(bands: list[BandReadings]) -> Taught:
    return teach(bands)


def test_the_gradient_is_that_of_the_density(taught: Taught) -> None:
    layout, rows = taught.settled.layout, taught.settled.rows
    theta = taught.settled.joint.theta + 0.1
    gradient = batch_model.value_and_gradient(layout, rows, theta)[1]
    steps = 1e-4 * np.eye(len(theta))
    differences = [
        (batch_model.solve(layout, rows, theta + s).minus_log - batch_model.solve(layout, rows, theta - s).minus_log)
        for s in steps
    ]
    assert gradient == pytest.approx(np.array(differences) / 2e-4, abs=5e-3)


def test_a_band_added_later_is_a_band_learnt_from(taught: Taught) -> None:
    """Bayes' rule does not mind the order: all at once, or the last one given the others."""
    layout, rows, theta = taught.settled.layout, taught.settled.rows, taught.settled.joint.theta
    solved = [batch_model.solve_band(r, theta) for r in rows]
    together = batch_model.gather(layout, solved, theta)
    first = batch_model.gather(layout, solved[:-2], theta)
    later = batch_model.add(first, solved[-2:])
    assert later.estimate == pytest.approx(together.estimate, rel=1e-6, abs=1e-9)
    assert first.minus_log + later.minus_log == pytest.approx(together.minus_log, abs=1e-6)


def test_a_band_not_learnt_from_gets_almost_the_same_curve(bands: list[BandReadings], taught: Taught) -> None:
    apart = teach(bands[:8] + bands[9:])
    among, added = fit_in_batch(taught, bands[8]), fit_in_batch(apart, bands[8])
    at = np.linspace(among.curve.loading.length[0], among.curve.loading.length[-1], 7)

    def force(fit: Fit) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        return np.interp(at, fit.curve.loading.length, fit.curve.loading.force)

    assert force(added) == pytest.approx(force(among), rel=0.006)


def test_the_budget_of_a_borrowed_curve_adds_up(bands: list[BandReadings], taught: Taught) -> None:
    fit = fit_in_batch(taught, bands[5])
    for place in range(3):
        assert sum(line.share[place] for line in fit.budget) == pytest.approx(1.0, abs=1e-6)
    table = fit.curve.loading
    middle = 0.5 * (table.length[0] + table.length[-1])
    u = sum(line.u[1] ** 2 for line in fit.budget) ** 0.5
    assert u == pytest.approx(float(np.interp(middle, table.length, table.u)), rel=0.02)
    gain = next(line for line in fit.budget if line.source == "scale gain")
    assert gain.u[2] == pytest.approx(
        TUBE.gear.u_gain * table.force[-1], rel=0.15
    )  # readings of its own say little of it


def test_a_band_left_after_its_zero_is_as_one_not_pulled_yet(batch: Batch, taught: Taught) -> None:
    run = without_readings(batch.runs[-1])
    zero = replace(run, rows=(Row(1, "zero", force=0.0),))
    left, untouched = (fit_in_batch(taught, band_readings([r])).curve.loading for r in (zero, run))
    assert left.force == pytest.approx(untouched.force)
    assert left.u == pytest.approx(untouched.u)


@pytest.fixture(scope="module")
def plain_box() -> list[Run]:
    """Five bands on a coarse scale that nobody checked and a tape without a name: what is off is each band's own."""
    runs = []
    for run in draw_batch(replace(TUBE, bands=5, full=2), 69).runs:
        head, scale = run.head, run.head.scale
        assert scale is not None
        plain = replace(scale, check=None, u_gain=None, u_zero=None, resolution=5 * scale.resolution)
        runs.append(replace(run, head=replace(head, scale=plain, length=replace(head.length, tape=None))))
    return runs


def test_no_error_counts_twice_in_a_small_box(plain_box: list[Run]) -> None:
    """A band with few readings has a say in the shape of so small a box: what is off in it is off in the shape too."""
    bands = [band_readings([run]) for run in plain_box]
    few = teach(bands)
    for band in bands[2:]:
        curve = _curve(few, band, _place(few, band))
        left = np.linalg.eigvalsh(curve.covariance - curve.effects @ curve.effects.T)
        assert left.min() > -1e-9 * left.max()


def test_every_band_of_a_small_plain_box_gets_a_profile(
    plain_box: list[Run], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for i, run in enumerate(plain_box, 1):
        write(run, tmp_path, f"B{i:02d}")
    assert bandcurve(["batch", "fit", str(tmp_path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["failed"] == []
    assert len(list(tmp_path.glob("*.profile.json"))) == 5


def test_an_error_of_the_flat_length_moves_the_whole_borrowed_shape(bands: list[BandReadings], taught: Taught) -> None:
    """At a curled start the shape rises faster than ln g; a borrowed one goes with the band's own rest length."""
    model = taught.settled.members[5].model
    beta = taught.settled.members[5].beta.copy()
    beta[-1], beta[model.basis.toe] = 0.0, 0.3
    step = np.zeros(len(beta))
    step[-1] = 1e-4
    eta, _, gradient = model.places.evaluate(beta)
    moved = (model.places.evaluate(beta + step)[0] - model.places.evaluate(beta - step)[0]) / 2e-4
    assert gradient[:, -1] == pytest.approx(moved, rel=1e-4)
    stretched = replace(model.basis, rest=model.basis.rest + 1e-3, turned=model.basis.turning_point * (1 + 1e-3))
    of_stretch = stretched.log_force(model.seen.length, False, np.append(beta[:-1], 0.0))[0]
    beta[-1] += 1e-3
    assert model.places.evaluate(beta)[0] - eta == pytest.approx(of_stretch - eta, rel=0.05)


def test_what_the_bands_share_cancels_between_a_full_and_a_borrowing_one(
    bands: list[BandReadings], taught: Taught
) -> None:
    keys = {f.key for f in fit_in_batch(taught, bands[5]).curve.factors if f.key}
    assert {"check:simulated/2026-02-27", "tape:T1"} <= keys


def test_what_is_off_in_a_borrowed_shape_is_off_in_every_band_that_borrowed_it(
    bands: list[BandReadings], taught: Taught
) -> None:
    """Two bands' curves given the shared shape are independent, so their covariance is A S A': by Bayes' rule alone."""
    apart = teach(bands[:8] + bands[9:])
    first, later = _place(apart, bands[5]), _place(apart, bands[8])  # among those learnt from, and not
    keys = [{f.key for f in fit_in_batch(apart, band).curve.factors if f.key} for band in (bands[5], bands[8])]
    assert keys[0] == keys[1] >= {f"{apart.key}/shape-{i}" for i in range(1, SHARED_ERRORS + 1)}
    assert apart.key != taught.key and fit_in_batch(taught, bands[8]).curve.factors[2].key not in keys[0]
    n = apart.settled.layout.shape
    stretch = np.linspace(*apart.tested, 9)
    basis = first.member.model.basis
    columns = basis.columns(stretch * basis.rest, np.zeros(9, bool), np.full(9, basis.turning_point))
    told, exact = np.zeros((9, 9)), np.zeros((9, 9))
    for weight, joint, a, b, turned in zip(
        apart.nodes.weights, apart.nodes.solved, _nodes(first), _nodes(later), apart.directions, strict=True
    ):
        one, two = columns @ a.of_shared, columns @ b.of_shared
        left = joint.covariance - joint.covariance[:, n:] @ joint.covariance[n:]
        told += weight * one @ turned @ turned.T @ two.T
        exact += weight * one @ left @ two.T
    assert told == pytest.approx(exact, abs=0.05 * exact.max())


def _nodes(place: _Place) -> list[_Node]:
    return [_place_at(place, i) for i in range(len(place.joints))]


def test_mass_and_flat_length_alone_are_a_prior(batch: Batch, bands: list[BandReadings], taught: Taught) -> None:
    """The mass was drawn with an sd of 2 % about level times length, so the curve should be within some 10 %."""
    fit, truth = fit_in_batch(taught, bands[-1]), batch.truths[-1]
    table = fit.curve.loading
    middle = len(table.length) // 2
    true = float(truth.loading(table.length[middle]))
    assert abs(table.force[middle] - true) < table.u95[middle]
    assert 0.02 < table.u95[middle] / true < 0.12
    assert any(f.code == "shape-borrowed" and "mass" in f.text for f in fit.findings)


def test_without_masses_the_level_is_the_mean_of_the_batch(batch: Batch) -> None:
    def unweighed(run: Run) -> Run:
        return replace(run, head=replace(run.head, band=replace(run.head.band, mass=None)))

    runs = [unweighed(run) for run in (*batch.runs[:-1], without_readings(batch.runs[-1]))]
    bands = [band_readings([run]) for run in runs]
    fit = fit_in_batch(teach(bands), bands[-1])
    table, middle = fit.curve.loading, len(fit.curve.loading.length) // 2
    assert abs(table.force[middle] - float(batch.truths[-1].loading(table.length[middle]))) < table.u95[middle]
    assert any("mean of the batch" in f.text for f in fit.findings)


def test_a_slip_among_three_readings_is_left_out_and_named(batch: Batch) -> None:
    run = batch.runs[6]
    slip = replace(run, rows=(run.rows[0], replace(run.rows[1], force=(run.rows[1].force or 0) * 10), run.rows[2]))
    bands = [band_readings([slip if i == 6 else r]) for i, r in enumerate(batch.runs)]
    taught = teach(bands)
    fit = fit_in_batch(taught, bands[6])
    assert [p.used for p in fit.points] == [True, False, True]
    assert any(f.code == "gross-error" and "decimal" in f.text for f in fit.findings)
    assert not any(m.odd for m in taught.settled.members)


def test_slips_of_a_quarter_are_found_in_full_and_in_small_bands(batch: Batch) -> None:
    """Three bands each with one; none widens the spreads so that another hides, and no good reading is accused."""
    slips = {1: (17, 0.8), 6: (2, 1.25), 9: (3, 0.8)}  # band: row, factor
    bands = [band_readings([_with_slip(run, *slips[i]) if i in slips else run]) for i, run in enumerate(batch.runs)]
    taught = teach(bands)
    for i, band in enumerate(bands):
        left_out = [p.row for p in fit_in_batch(taught, band).points if not p.used]
        assert left_out == ([slips[i][0]] if i in slips else [])


def test_a_doubtful_slip_makes_the_limits_wider(batch: Batch, bands: list[BandReadings]) -> None:
    """A reading that may or may not be a slip is neither believed nor dropped: both curves are mixed."""
    apart = teach(bands[:7] + bands[8:])
    widths, used = [], []
    for factor in (1.0, 1.01, 1.015, 1.02, 1.03, 1.1):
        fit = fit_in_batch(apart, band_readings([_with_slip(batch.runs[7], 2, factor)]))
        middle = len(fit.curve.loading.u) // 2
        widths.append(fit.curve.loading.u95[middle] / fit.curve.loading.force[middle])
        used.append(fit.points[1].used)
    assert used == [True, True, True, False, False, False]
    assert max(widths[2:4]) > 1.3 * max(widths[0], widths[-1])


def _with_slip(run: Run, number: int, factor: float) -> Run:
    return replace(
        run, rows=tuple(replace(r, force=(r.force or 0) * factor) if r.number == number else r for r in run.rows)
    )


def test_rounding_that_every_cycle_repeats_is_not_averaged_away(batch: Batch) -> None:
    """With steps of 2 kg both cycles show the same, and are off by the same."""
    step = 2 * 9.80665
    coarse = tuple(replace(r, force=round((r.force or 0) / step) * step) for r in batch.runs[0].rows)
    fine, seen = band_readings([batch.runs[0]]).seen, band_readings([replace(batch.runs[0], rows=coarse)]).seen
    alike = [fine.resolution[0] * 2**0.5 == pytest.approx(r) for r in seen.resolution]
    assert sum(alike) > 0.8 * len(alike)


def test_the_odd_band_is_named_whether_full_or_small() -> None:
    world = with_odd_band(TUBE)
    for number in (4, 0):  # an odd band among the full ones, and one with three readings
        batch = draw_batch(world, number)
        bands = [band_readings([run]) for run in batch.runs]
        taught = teach(bands)
        named = [i for i, band in enumerate(bands) if odd_in(taught, band)]
        assert named == [batch.outlying]
        assert bands[named[0]].full == (number == 4)


def test_without_a_full_band_nothing_is_borrowed(batch: Batch) -> None:
    with pytest.raises(DataError, match="measured in full"):
        teach([band_readings([run]) for run in batch.runs[4:]])


def test_a_few_batches_keep_to_what_the_campaign_promises() -> None:
    """Eight batches of nine small bands; what they share within a batch makes coverage vary more than 72 would."""
    result = score(try_batch(with_odd_band(TUBE), number) for number in range(8))
    assert result.error < 0.012
    assert result.coverage > 0.85
    assert result.named >= 7 / 8
    assert result.false_alarm <= 1 / 8
    assert result.apart_held > 0.85
    assert 0.8 < result.apart_u < 1.0


def write(run: Run, folder: Path, name: str) -> None:
    """Write a simulated run as a file."""
    head = replace(run.head, band=replace(run.head.band, id=name), started=datetime(2026, 3, 1, 10, tzinfo=UTC))
    with RunWriter.create(folder / f"{name}.run.csv", head, columns_for()) as writer:
        for row in run.rows:
            writer.append(row)


@pytest.fixture(scope="module")
def box(batch: Batch, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("box")
    for i, run in enumerate(batch.runs[:6], 1):
        write(run, folder, f"B{i:02d}")
    (folder / "B07.run.csv").write_text("# format = 3\n", encoding="utf-8")
    return folder


def test_batch_fit_writes_every_profile_and_passes_over_a_bad_file(
    box: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert bandcurve(["batch", "fit", str(box), "--json"]) == 1
    said = capsys.readouterr()
    document = json.loads(said.out)
    assert "B07.run.csv" in said.err
    assert [f["file"] for f in document["failed"]] == [str(box / "B07.run.csv")]
    assert document == json.loads((box / "batch.json").read_text("utf-8"))
    record = load_batch(box / "batch.json")
    assert [band.borrowed for band in record.bands] == [False] * 3 + [True] * 3
    assert record.shape_from == ("B01", "B02", "B03")
    for band in record.bands:
        profile = load_profile(box / band.profile)
        assert ("shape-borrowed" in {f.code for f in profile.findings}) == band.borrowed
        assert band.force_N == pytest.approx(profile.force(record.length_m or 0.0), rel=1e-6)
    assert {f.file for f in load_profile(box / "B05.profile.json").made.from_} > {"B05.run.csv", "B01.profile.json"}


def test_where_the_only_full_band_does_not_go_with_the_others_nothing_is_borrowed(
    batch: Batch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its pull grows half as fast again as that of the others, which agree."""
    full, *few = batch.runs[0], *batch.runs[3:9]
    lengths = [row.length or 0.0 for row in full.rows]
    low, high = min(lengths), max(lengths)
    bent = tuple(
        replace(row, force=(row.force or 0.0) * (1 + 0.5 * ((row.length or 0.0) - low) / (high - low)))
        for row in full.rows
    )
    for i, run in enumerate((replace(full, rows=bent), *few), 1):
        write(run, tmp_path, f"B{i:02d}")
    assert bandcurve(["batch", "fit", str(tmp_path), "--json"]) == 1
    document = json.loads(capsys.readouterr().out)
    assert [band["id"] for band in document["bands"]] == ["B01"]
    assert len(document["failed"]) == len(few)
    assert all("measure one or two of the others in full" in one["error"] for one in document["failed"])


def test_a_band_that_cannot_be_used_does_not_keep_the_others_from_borrowing(
    batch: Batch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Pulls below zero: of the first band with few readings, and of one of those in full."""
    for i, run in enumerate(batch.runs[:6], 1):
        wrong = tuple(replace(row, force=-(row.force or 0.0)) for row in run.rows)
        write(replace(run, rows=wrong) if i in (2, 4) else run, tmp_path, f"B{i:02d}")
    assert bandcurve(["batch", "fit", str(tmp_path), "--json"]) == 1
    document = json.loads(capsys.readouterr().out)
    assert [Path(f["file"]).name for f in document["failed"]] == ["B02.run.csv", "B04.run.csv"]
    assert [(b["id"], b["borrowed"]) for b in document["bands"]] == [
        ("B01", False),
        ("B03", False),
        ("B05", True),
        ("B06", True),
    ]


def test_a_second_fit_of_the_same_batch_replaces_the_first(box: Path, capsys: pytest.CaptureFixture[str]) -> None:
    files = sorted(p.name for p in box.iterdir())
    assert bandcurve(["batch", "fit", str(box)]) == 1
    assert sorted(p.name for p in box.iterdir()) == files
    assert "borrowed" in capsys.readouterr().out


def test_the_record_of_other_bands_is_not_overwritten(box: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert bandcurve(["batch", "fit", str(box / "B01.run.csv"), "--out", str(box)]) == 1
    assert "other bands" in capsys.readouterr().err


def test_two_sizes_in_one_box_are_told_apart(batch: Batch) -> None:
    from calib.profile.build import fit_profile
    from calib.use.bands.batch_levels import member_of

    runs = [batch.runs[0], batch.runs[1], _thicker(batch.runs[2], 1.6)]
    found = standing([member_of(fit_profile([run]), 30, 8) for run in runs])
    assert [len(size.bands) for size in found.sizes] == [2, 1]
    assert [f.code for f in found.findings] == ["mixed-sizes"]
    assert found.sizes[1].force / found.sizes[0].force == pytest.approx(1.6, rel=0.15)


def _thicker(run: Run, times: float) -> Run:
    return replace(run, rows=tuple(replace(row, force=(row.force or 0.0) * times) for row in run.rows))


def test_readings_a_fifth_off_are_found_among_many_and_no_good_one_is_accused() -> None:
    """A share of `python -m tests.campaigns.batch.slips`, two batches of it."""
    bands = [band for number in range(2) for band in with_slips("tube", number)]
    full = [band for band in bands if band.full]
    assert sum(band.slips for band in full) > 3
    assert all(band.found == band.slips for band in full)
    assert not any(band.accused for band in bands if band.slips <= 1)


def _of_level(name: str, level: float) -> BatchMember:
    """A band of which nothing is known but its level, to 0.8 %."""
    grid, force = (1.0, 2.0), 100 * float(np.exp(level))
    out = WayOut(grid, (force, force), (force / 100,) * 2, (force / 50,) * 2)
    return BatchMember(name, 1.0, None, 1.0, out, (0.008 * force,) * 2, 3, 3, borrowed=False, departs="")


@pytest.mark.parametrize("count", [2, 4, 12])
@pytest.mark.parametrize("true", [0.02, 0.05])
def test_how_far_bands_differ_is_stated_within_its_own_uncertainty(count: int, true: float) -> None:
    """Few bands say little of a spread: two that are alike by chance do not show that all are."""
    rng, tries, held = np.random.default_rng(20260508), 300, 0
    for _ in range(tries):
        levels = true * rng.standard_normal(count) + 0.008 * rng.standard_normal(count)
        (size, *others) = standing([_of_level(f"B{i}", level) for i, level in enumerate(levels)]).sizes
        if others or size.spread is None or size.u_spread is None:
            continue
        held += abs(size.spread - true) <= 1.96 * size.u_spread
    assert held >= tries * (0.93 - 4 * (0.95 * 0.05 / tries) ** 0.5)
