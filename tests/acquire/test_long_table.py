"""The trace of a logger, more rows than a person reads: made short, and the same band comes out of it."""

import random
from pathlib import Path

import pytest

from calib.acquire.files.run_file import read_run
from calib.acquire.files.run_table import MOST_ROWS
from calib.acquire.files.table_header import understand
from calib.acquire.files.table_import import MOST_CELLS, Imported, read_table, rows_of
from calib.errors import DataError
from calib.units import G_STANDARD

FLAT = 1031.0
NOISE_KG = 0.02  # of a sample


def pull(length_mm: float, back: bool) -> float:
    """An invented band, in kg."""
    stretch = length_mm / FLAT
    return 8 * (stretch - 1 / stretch**2) * (0.94 if back else 1)


def trace(rows: int, cycles: int, jitter_mm: float = 0.0) -> str:
    chance = random.Random(1)
    lines, each = ["length_mm,force_kg"], rows // cycles
    for i in range(rows):
        way = 2 * (i % each) / each
        back = way > 1
        length = 1060 + 1000 * (2 - way if back else way)
        force = pull(length, back) + chance.gauss(0, NOISE_KG)
        lines.append(f"{length + chance.gauss(0, jitter_mm):.1f},{force:.3f}")
    return "\n".join(lines) + "\n"


def imported(text: str) -> Imported:
    table = read_table(text.encode(), "hour.csv")
    return rows_of(table, understand(table), "mm", "kg")


@pytest.mark.parametrize(("cycles", "jitter_mm"), [(3, 0.0), (60, 0.0), (20, 0.5)])
def test_a_trace_becomes_readings_that_lie_on_the_band(cycles: int, jitter_mm: float) -> None:
    made = imported(trace(MOST_ROWS + 4000, cycles, jitter_mm))
    note, *rows = made.rows
    assert note.kind == "note" and f"{MOST_ROWS + 4000} samples of hour.csv" in note.note
    assert {row.cycle for row in rows} == set(range(1, cycles + 1))
    assert 200 < len(rows) <= 520
    assert len({row.length for row in rows}) >= 36, "together the legs read at all lengths"
    for row in rows:
        truth = pull((row.length or 0) * 1000, row.branch == "unloading")
        assert row.n and row.sd
        assert (row.force or 0) / G_STANDARD == pytest.approx(truth, abs=0.005 + 4 * NOISE_KG / row.n**0.5), row


def test_a_table_a_person_may_have_read_stays_row_by_row() -> None:
    made = imported(trace(MOST_ROWS, 3))
    assert (len(made.rows), made.samples) == (MOST_ROWS, 0)


def test_a_trace_that_never_turns_is_one_sentence() -> None:
    flat = "length_mm,force_kg\n" + "1200.0,3.2\n" * (MOST_ROWS + 1)
    with pytest.raises(DataError, match=r"hour\.csv: the length never increases"):
        imported(flat)


def test_a_run_of_more_rows_than_anybody_reads_is_sent_to_import(tmp_path: Path) -> None:
    head = (Path(__file__).parents[2] / "sample_runs" / "KNEE.run.csv").read_text("utf-8").partition("row,")[0]
    rows = "".join(f"1,loading,{1100 + i / 50:.1f},{3 + i / 1e4:.3f}\n" for i in range(MOST_ROWS + 1))
    path = tmp_path / "B07.run.csv"
    path.write_text(head + "cycle,branch,length_mm,force_kgf\n" + rows, "utf-8")
    with pytest.raises(DataError, match=r"more than 20000 rows.* bandcurve import B07\.run\.csv"):
        read_run(path)
    assert read_table(path.read_bytes(), path.name).header[2] == "length_mm"


@pytest.mark.parametrize("line", ["1," + "," * 8_000_000 + "x", "x" * 200_000, "1," * (MOST_CELLS + 1) + "2"])
def test_a_line_no_table_has_is_refused_and_its_number_said(line: str) -> None:
    with pytest.raises(DataError, match=r"hour\.csv:2: has a line of more than"):
        read_table(f"length_mm,force_kg\n{line}\n".encode(), "hour.csv")


def test_commas_a_spreadsheet_put_after_the_last_cell_are_nothing() -> None:
    table = read_table(b"length_mm,force_kg" + b"," * 16_000 + b"\n1100,3.0" + b"," * 16_000 + b"\n", "x.csv")
    assert table.header == ("length_mm", "force_kg")
    assert table.rows == ((2, ("1100", "3.0")),)
