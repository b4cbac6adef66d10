"""Each doubt is raised where there is cause, names what was seen, and is not raised without cause."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calib.acquire.files.run_file import read_run
from calib.finding import CODES
from calib.fit.curve.estimate import fit_runs, solve
from calib.fit.curve.observations import observe
from calib.fit.curve.tension_curve import hold_shape
from calib.records import CheckLoad, Correction, LengthSetup, Procedure, Row, Run
from calib.units import G_STANDARD as KG
from tests.fit.curve.made_runs import LENGTHS, SCALE, head, hung_weights, pull, readings, run

FITTER = Path(__file__).parents[3] / "calib" / "fit"
BY_HAND = LengthSetup(kind="centres", fitting_diameters=(0.0, 0.0), tape="T1")
CELL = replace(SCALE, resolution=0.002 * KG, u_gain=0.001, u_zero=0.002 * KG)
NO_COVARIANCE = ((0.0, 0.0, 0.0),) * 3
INCHES = (44, 46.25, 50.75, 56.25, 63, 70.75, 79.25, 88.25)
POUNDS = (6.1, 9.1, 41.5, 19.9, 25.5, 30.8, 36.5, 42.5)  # invented
POUND_HEAD = (
    '# format = "bandcurve-run/1"',
    "# [band]",
    '# id = "B02"',
    "# flat_length_in = 40.5",
    "# [length]",
    '# kind = "band-inner"',
    "# fitting_diameters_in = [0.5]",
    "# [scale]",
    '# id = "hook"',
    "# resolution_lbf = 0.1",
    "# [procedure]",
    '# method = "scale-in-line"',
    "# dwell_s = 10.0",
)


def _beside(*rows: Row) -> list[Row]:
    """The usual readings with other rows in front and behind, numbered in order."""
    first, *last = rows
    return [replace(r, number=i + 1) for i, r in enumerate((first, *readings(), *last))]


def _each(change: Callable[[Row], Row], cycles: int = 2) -> list[Row]:
    return [change(r) for r in readings(cycles)]


def _times(row: Row, factor: float) -> Row:
    return replace(row, force=(row.force or 0.0) * factor)


def _checked(day: str, largest: float) -> Run:
    correction = Correction(day, (0.0, 1.0, 0.0), NO_COVARIANCE, max=largest)
    return run(scale=replace(SCALE, correction=correction))


def _procedure(**changes: object) -> Procedure:
    return Procedure(**{"dwell_s": 10.0, "temperature": 20.0, **changes})  # type: ignore[arg-type]  # names of fields


def _flat(length: float, name: str) -> Run:
    return run(name=name, band=replace(head().band, flat_length=length))


def _softer_start(row: Row) -> Row:
    length = row.length or 0.0
    return _times(row, 1 - 0.5 * np.exp(-(((length - LENGTHS[0]) / 0.04) ** 2)))


def _last_pull_low(row: Row) -> Row:
    return _times(row, 0.88) if row.length == LENGTHS[-1] else row


def _no_loop(row: Row, more: float = 0.0) -> Row:
    """Unloading pulls as much as loading, or a share more, +- a hundredth."""
    scatter = 0.01 * np.random.default_rng(row.number).standard_normal()
    above = 1 + more * (row.branch == "unloading")
    return replace(row, force=float(pull(np.array(row.length))) * (1 + scatter) * above)


def _second_layer(row: Row) -> Row:
    """Another layer comes taut at 1.6 m."""
    return replace(row, force=(row.force or 0.0) + 250.0 * max((row.length or 0.0) - 1.6, 0.0))


def _climbs_at_last(row: Row) -> Row:
    return _times(row, 1 + 3 * max((row.length or 0.0) - 1.95, 0.0) ** 2)


CAUSES: dict[str, tuple[Callable[[], list[Run]], str]] = {
    "above-capacity": (lambda: [_checked("2026-02-27", 10 * KG)], "above 10.00 kg"),
    "check-load-drift": (
        lambda: [run(_beside(Row(1, "check-load", force=10 * KG), Row(1, "check-load", force=10.2 * KG)))],
        "10.00 kg first, 10.20 kg last",
    ),
    "check-load-off": (
        lambda: [run(_beside(Row(1, "check-load", force=10.5 * KG)), check_load=CheckLoad("plate", 10.0, 0.01))],
        "+5.0 %",
    ),
    "curled-start": (lambda: [run(_each(_softer_start))], "starts softer"),
    "cycle-trend": (lambda: [run(_each(lambda r: _times(r, 1.03 - 0.015 * (r.cycle or 0)), 3))], "less than the first"),
    "different-conditions": (
        lambda: [run(), run(name="b.run.csv", procedure=_procedure(temperature=8.0))],
        "8 to 20 C",
    ),
    "different-flat-lengths": (lambda: [_flat(1.0, "a.run.csv"), _flat(1.004, "b.run.csv")], "1000 and 1004 mm"),
    "dwell-varies": (lambda: [run(_each(lambda r: replace(r, dwell_s=10.0 * (r.cycle or 0))))], "10 to 20 s"),
    "few-lengths": (lambda: [run(readings(2, LENGTHS[::2]))], "only 4 loading lengths"),
    "few-low-stretch": (lambda: [run(readings(2, LENGTHS[2:]))], "below 1.3 times"),
    "force-falls": (lambda: [run([_last_pull_low(r) for r in readings(3, noise=0.002)])], "loading force falls"),
    "locking-scale": (lambda: [run(scale=replace(SCALE, locks="peak"))], "locks (peak)"),
    "no-temperature": (lambda: [run(procedure=_procedure(temperature=None))], "no temperature"),
    "no-unloading": (lambda: [run(readings(way_back=False))], "unloading was not measured"),
    "not-repeatable": (lambda: [run(readings(3, noise=0.05))], "repeat only to"),
    "one-cycle": (lambda: [run(readings(1))], "one cycle only"),
    "over-working-stretch": (lambda: [run(readings(2, (*LENGTHS, 2.6)))], "2.60 times"),
    "place-assumed": (lambda: [hung_weights()], "standard gravity"),
    "readings-set-aside": (lambda: [run(readings(2, (1.01, *LENGTHS)))], "4 readings below 1.02"),
    "scale-check-old": (lambda: [_checked("2024-02-01", 100 * KG)], "last checked on 2024-02-01"),
    "set": (lambda: [run(_beside(Row(1, "flat", length=1.0), Row(1, "flat", length=1.01)))], "+10 mm"),
    "shape-held": (lambda: [run(_each(lambda r: _no_loop(r, 0.01)))], "within what the readings leave open"),
    "sharp-bend": (lambda: [run(_each(_second_layer, 3), scale=CELL)], "bends between 1.50 m and 1.70 m"),
    "steep-top": (
        lambda: [run([_climbs_at_last(r) for r in readings(3, (*LENGTHS[:6], 2.3))], scale=CELL)],
        "climbs between 1.90 m and 2.30 m",
    ),
    "single-negative": (
        lambda: [run(_each(lambda r: _times(r, -1.0) if r.number == 20 else r))],
        "1 reading below zero",
    ),
    "stiffens-at-top": (lambda: [run(readings(2, (*LENGTHS, 3.0, 3.6)))], "rubber stiffens"),
    "stray-reading": (
        lambda: [run(_each(lambda r: _times(r, 1.05) if r.number == 20 else r))],
        "farther off than they scatter",
    ),
    "thickness-assumed": (lambda: [run(length=BY_HAND)], "4.5 +- 1 mm"),
    "weight-of-band": (
        lambda: [replace(one := hung_weights(), head=replace(one.head, band=head().band))],
        "half its weight is not known",
    ),
    "zero-drift": (lambda: [run(_beside(Row(1, "zero", force=0.0), Row(1, "zero", force=2.0)))], "moved by 0.20 kg"),
}


@pytest.mark.parametrize("code", sorted(CAUSES))
def test_a_doubt_is_raised_where_there_is_cause_and_says_what_was_seen(code: str) -> None:
    make, words = CAUSES[code]
    said = [f.text for f in fit_runs(make()).findings if f.code == code]
    assert len(said) == 1, said
    assert words in said[0]


def test_five_loads_hung_twice_are_five_lengths_though_the_tape_reads_a_little_differently() -> None:
    hung = hung_weights()
    loads = {r.length: r.mass for r in hung.rows if r.length in LENGTHS[:5]}
    kept = [replace(r, mass=loads[r.length]) for r in hung.rows if r.length in loads]
    again = [replace(r, length=(r.length or 0.0) + 0.002 * ((r.cycle or 1) - 1)) for r in kept]
    said = {f.code: f.text for f in fit_runs([replace(hung, rows=tuple(again))]).findings}
    assert "only 5 loading lengths" in said["few-lengths"]


@pytest.mark.parametrize(("cycles", "lost", "said"), [(2, 0.01, 0), (2, 0.02, 1), (3, 0.004, 0), (3, 0.008, 1)])
def test_a_fall_from_cycle_to_cycle_is_said_where_chance_makes_none_so_large(
    cycles: int, lost: float, said: int
) -> None:
    found = fit_runs([run(_each(lambda r: _times(r, 1 - lost * (r.cycle or 0)), cycles))]).findings
    assert sum(f.code == "cycle-trend" for f in found) == said


def test_nothing_is_said_of_a_shape_that_was_held_by_less_than_anybody_could_see() -> None:
    curve = solve(observe([run(_each(_no_loop))]), "no loop").curve
    assert hold_shape(curve) == (curve, ())  # it is held, and has the right shape now
    assert [f.code for f in fit_runs([run(_each(_no_loop))]).findings] == []


def test_a_careful_run_raises_no_doubt() -> None:
    assert [f.code for f in fit_runs([run(readings(3, noise=0.002))]).findings] == []


def test_every_doubt_of_the_fitter_is_raised_here_or_beside_the_curve_it_concerns() -> None:
    beside = {"branches-cross", "creep-at-top", "gross-error", "left-out", "no-date", "scale-unchecked", "slow-drift"}
    sources = "".join(path.read_text("utf-8") for path in FITTER.rglob("*.py"))
    of_a_batch = {"outlying-band", "shape-borrowed"}
    assert set(CAUSES) | beside | of_a_batch == {code for code in CODES if f'"{code}"' in sources}


@pytest.mark.parametrize("cycles", [2, 3])
@pytest.mark.parametrize(
    ("times", "longer", "said"),
    [
        (2.2046, 0.0, "was it read in another unit"),
        (1.12, 0.0, "% more than another"),
        (1.0, 0.03, "mm from another: was its length read between other points"),
        (1.03, 0.008, ""),
    ],
)
def test_a_cycle_far_from_the_others_is_doubted(cycles: int, times: float, longer: float, said: str) -> None:
    """No single reading stands alone then, and nothing else would tell: the curve lies between the cycles."""
    rows = [
        replace(r, force=(r.force or 0.0) * times, length=(r.length or 0.0) + longer) if r.cycle == 2 else r
        for r in readings(cycles, noise=0.003)
    ]
    texts = [f.text for f in fit_runs([run(rows)]).findings if f.code == "not-repeatable"]
    assert len(texts) == bool(said)
    assert said in "".join(texts)


def test_a_doubt_names_what_stands_in_the_file_in_the_units_of_its_table(tmp_path: Path) -> None:
    """14.5 lb at 50.75 in, typed as 41.5: the person looks for that line, with those digits."""
    rows = [f"{i},reading,1,loading,{x},{y},10," for i, (x, y) in enumerate(zip(INCHES, POUNDS, strict=True), 2)]
    table = "row,kind,cycle,branch,length_in,force_lbf,dwell_s,note"
    text = "\n".join([*POUND_HEAD, table, "1,zero,,,,0,,", *rows, ""])
    path = tmp_path / "B02.run.csv"
    path.write_text(text, encoding="utf-8")
    (slip,) = [f for f in fit_runs([read_run(path)]).findings if f.code == "gross-error"]
    assert "loading, 50.75 in: a pull of 41.50 lb where the other readings say 14." in slip.text
    assert "two digits swapped (14.5" in slip.text
