"""Anybody's table becomes a run: units by the header, branches and cycles by columns or turning points."""

import subprocess
import sys
from pathlib import Path

import pytest

from calib.acquire.files.run_checks import check_fittable
from calib.acquire.files.run_file import read_run
from calib.acquire.files.table_header import understand
from calib.acquire.files.table_import import Imported, finest_step, read_table, rows_of
from calib.errors import DataError
from calib.units import G_STANDARD, POUND

ROOT = Path(__file__).parents[3]
OPTIONS = ["--id", "B07", "--flat", "1029mm", "--kind", "half-path", "--scale", "hook", "--strands", "2"]
TABLE = "Length (cm),kg\n113,5\n129,11\n160,21\n129,10\n113,4\n"


def _imported(text: str) -> Imported:
    table = read_table(text.encode(), "t.csv")
    found = understand(table)
    assert found.length_unit
    assert found.force_unit
    return rows_of(table, found, found.length_unit, found.force_unit)


@pytest.mark.parametrize(
    "header", ["Length (cm),kg", "length_cm,force_kgf", "cm,kg", "Distance [cm],Pull [kg]", "LENGTH cm,Weight in kg"]
)
def test_units_come_from_the_header_in_whatever_words(header: str) -> None:
    row = _imported(f"{header}\n113,5\n").rows[0]
    assert row.length == pytest.approx(1.13)
    assert row.force == pytest.approx(5 * G_STANDARD)


def test_inches_and_pounds_and_a_fraction() -> None:
    row = _imported("len (in)\tload (lbs)\n64 1/4\t36.1\n").rows[0]
    assert row.length == pytest.approx(64.25 * 0.0254)
    assert row.force == pytest.approx(36.1 * POUND * G_STANDARD)


def test_decimal_commas_between_semicolons() -> None:
    rows = _imported("Laenge (m);Kraft (kg)\n1,405;5,40\n1,55;11,455\n").rows
    assert [row.length for row in rows] == pytest.approx([1.405, 1.55])
    assert [row.force for row in rows] == pytest.approx([5.4 * G_STANDARD, 11.455 * G_STANDARD])


def test_a_comma_that_may_mean_two_things_is_refused_with_its_line() -> None:
    with pytest.raises(DataError, match=r"t\.csv:2: 1,405 could be 1\.405 or 1405"):
        _imported("Laenge (m);Kraft (kg)\n1,405;5\n")


@pytest.mark.parametrize(
    ("lengths", "expected"),
    [
        ([1, 2, 3, 2, 1, 2, 3, 2, 1], "1L 1L 1L 1U 1U 2L 2L 2U 2U"),
        ([1, 2, 3, 3, 2, 1, 1, 2, 3], "1L 1L 1L 1U 1U 1U 2L 2L 2L"),
        ([1, 2, 3, 1, 2, 3], "1L 1L 1L 2L 2L 2L"),
        ([1, 2, 2, 3], "1L 1L 1L 1L"),
        ([1, 2, 3], "1L 1L 1L"),
    ],
)
def test_branches_and_cycles_by_turning_points(lengths: list[int], expected: str) -> None:
    rows = _imported("m,N\n" + "".join(f"{x},{x}\n" for x in lengths)).rows
    assert " ".join(f"{r.cycle}{'L' if r.branch == 'loading' else 'U'}" for r in rows) == expected


@pytest.mark.parametrize(("up", "down"), [("up", "down"), ("loading", "unloading"), ("load", "unload")])
def test_branches_by_a_column(up: str, down: str) -> None:
    rows = _imported(f"direction,m,N\n{up},1,1\n{up},2,2\n{down},1,1\n{up},1,1\n").rows
    assert [(r.cycle, r.branch) for r in rows] == [(1, "loading"), (1, "loading"), (1, "unloading"), (2, "loading")]


def test_the_finest_step_is_the_scales_resolution() -> None:
    assert finest_step([5.4, 21.45]) == 0.05
    assert finest_step([5.42]) == 0.02
    assert finest_step([5.41, 3.0]) == 0.01


@pytest.mark.parametrize(
    ("lengths", "unit", "mm"),
    [
        ((113, 129, 160), "cm", 2.9), ((1130, 1290, 1600), "mm", 2.9), ((44.5, 50, 57.5), "in", 3.7),
        ((113, 129, 160.5), "cm", 0), ((1131, 1290, 1600), "mm", 0), ((44.25, 50, 57.5), "in", 0),
        ((110, 130, 155), "cm", 0), ((44, 50, 58), "in", 0),
    ],
)  # fmt: skip
def test_a_tape_read_to_a_centimetre_or_half_an_inch_is_good_to_its_step(
    lengths: tuple[float, ...], unit: str, mm: float
) -> None:
    """A step over the root of 12. Whole 5 cm and 2 inches are marks somebody chose: they say nothing of the tape."""
    table = f"length ({unit}),kg\n" + "".join(f"{x},{i}\n" for i, x in enumerate(lengths, 5))
    assert _imported(table).u_reading == pytest.approx(mm / 1000)


def _command(tmp_path: Path, text: str, *options: str) -> "subprocess.CompletedProcess[str]":
    (tmp_path / "t.csv").write_text(text, "utf-8")
    command = [sys.executable, "-m", "calib", "import", str(tmp_path / "t.csv"), "--out", str(tmp_path / "B07.run.csv")]
    return subprocess.run(
        [*command, *options], capture_output=True, text=True, cwd=ROOT, stdin=subprocess.DEVNULL, check=False
    )


def test_the_command_writes_a_run_says_what_it_understood_and_never_overwrites(tmp_path: Path) -> None:
    done = _command(tmp_path, TABLE, *OPTIONS)
    assert done.returncode == 0, done.stderr
    assert "5 readings: 3 loading, 2 unloading" in done.stderr
    assert "bandcurve fit" in done.stdout
    run = read_run(tmp_path / "B07.run.csv")
    assert [row.length for row in run.readings] == pytest.approx([1.13, 1.29, 1.6, 1.29, 1.13])
    assert run.head.length.u_reading == pytest.approx(0.0029)
    assert "each is good to 2.9 mm" in done.stderr
    before = (tmp_path / "B07.run.csv").read_bytes()
    again = _command(tmp_path, TABLE, *OPTIONS)
    assert again.returncode == 1
    assert "exists already" in again.stderr
    assert (tmp_path / "B07.run.csv").read_bytes() == before


@pytest.mark.parametrize("missing", ["--id", "--flat", "--kind", "--scale", "--strands"])
def test_what_is_missing_is_named_where_nobody_can_be_asked(tmp_path: Path, missing: str) -> None:
    at = OPTIONS.index(missing)
    done = _command(tmp_path, TABLE, *OPTIONS[:at], *OPTIONS[at + 2 :])
    assert done.returncode == 1
    assert f"bandcurve: {missing} is missing" in done.stderr
    assert not (tmp_path / "B07.run.csv").exists()


def test_a_missing_unit_is_named(tmp_path: Path) -> None:
    done = _command(tmp_path, TABLE.replace(" (cm)", ""), *OPTIONS)
    assert done.returncode == 1
    assert "--length-unit is missing" in done.stderr


def test_hung_weights_are_masses(tmp_path: Path) -> None:
    done = _command(tmp_path, "in,lb\n45,10\n50,25\n60,45\n", *OPTIONS, "--method", "hung-weight")
    assert done.returncode == 0, done.stderr
    rows = read_run(tmp_path / "B07.run.csv").readings
    assert [row.mass for row in rows] == pytest.approx([10 * POUND, 25 * POUND, 45 * POUND])


def test_a_published_loop_becomes_a_run_that_can_be_fitted(tmp_path: Path) -> None:
    """Treloar, Trans. Faraday Soc. 40 (1944) 59, Fig. 3 (b): 100 mm2 of it, 1 m long when flat, pull stress x 1 cm2."""
    published = (ROOT / "tests" / "data" / "treloar1944_8pctS_loop.csv").read_text("utf-8").splitlines()[2:]
    table = "branch,length_m,force_kgf\n" + "\n".join(published) + "\n"
    options = ["--id", "T44", "--flat", "1m", "--kind", "half-path", "--scale", "weights", "--strands", "1"]
    done = _command(tmp_path, table, *options)
    assert done.returncode == 0, done.stderr
    run = read_run(tmp_path / "B07.run.csv")
    check_fittable(run)
    assert len(run.readings) == len(published)
    assert {row.branch for row in run.readings} == {"loading", "unloading"}
    assert run.readings[0].force == pytest.approx(2.51 * G_STANDARD)
    assert run.readings[0].length == pytest.approx(1.3)
