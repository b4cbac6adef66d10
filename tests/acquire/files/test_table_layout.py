"""Tables as people have them: workbooks, no header, pulls beside each other, several bands; and what is no table."""

import io
import re
import zipfile
from io import BytesIO
from pathlib import Path

import pytest

from calib.acquire.files.run_file import read_run
from calib.acquire.files.table_header import understand
from calib.acquire.files.table_import import rows_of
from calib.acquire.files.table_layout import BandTable, band_tables
from calib.errors import DataError
from calib.units import G_STANDARD
from calib.verbs.app import run

OPTIONS = ["--kind", "half-path", "--scale", "hook", "--strands", "2"]
OPEN = "application/vnd.oasis.opendocument.spreadsheet"
CURVE = [(113, 5.0), (120, 8.1), (129, 11.0), (140, 14.2), (150, 17.1), (160, 21.0)]


def _rows(one: BandTable, length: str = "cm", force: str = "kg") -> list[tuple[float, float, str, int]]:
    found = understand(one.table)
    made = rows_of(one.table, found, found.length_unit or length, found.force_unit or force)
    return [
        (round(100 * (r.length or 0), 6), round((r.force or 0) / G_STANDARD, 6), str(r.branch)[0], r.cycle or 0)
        for r in made.rows
    ]


def _xlsx(*sheets: tuple[str, list[list[object]]]) -> bytes:
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in sheets:
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _ods(rows: list[list[object]]) -> bytes:
    pytest.importorskip("odf")
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import Table, TableCell, TableRow
    from odf.text import P

    book, table = OpenDocumentSpreadsheet(), Table(name="one")
    for row in rows:
        line = TableRow()
        for cell in row:
            number = {"valuetype": "float", "value": cell} if isinstance(cell, float) else {}
            made = TableCell(**number)
            made.addElement(P(text=str(cell)))
            line.addElement(made)
        table.addElement(line)
    book.spreadsheet.addElement(table)
    out = io.BytesIO()
    book.write(out)
    return out.getvalue()


@pytest.mark.parametrize(
    "text", ["113,5\n129,11\n", "113;5\n129;11\n", "# mine\n113\t5\n129\t11\n", "113;5,0\n129;11,0\n"]
)
def test_without_a_header_the_first_column_is_the_length(text: str) -> None:
    assert _rows(band_tables(text.encode(), "t.csv")[0]) == [(113, 5, "l", 1), (129, 11, "l", 1)]


def test_alike_rows_of_an_open_workbook_stored_once_all_count_and_merged_cells_keep_their_columns() -> None:
    data = _ods([["note", "length (cm)", "pull (kg)"], ["a", 113.0, 5.0], ["b", 129.0, 11.0], ["c", 140.0, 14.2]])
    stored = BytesIO()
    with zipfile.ZipFile(BytesIO(data)) as old, zipfile.ZipFile(stored, "w") as new:
        for part in old.namelist():
            text = old.read(part)
            if part == "content.xml":
                rows = text.split(b"<table:table-row>")
                rows[3] = re.sub(
                    rb"<table:table-cell.*?</table:table-cell>", b"<table:covered-table-cell/>", rows[3], count=1
                )
                head, *rest = rows
                text = head + b"<table:table-row>".join([b"", *rest[:2]])
                text += b"".join(b'<table:table-row table:number-rows-repeated="2">' + row for row in rest[2:])
            new.writestr(part, text)
    (one,) = band_tables(stored.getvalue(), "t.ods")
    assert [row[:2] for row in _rows(one)] == [(113, 5), (129, 11), (129, 11), (140, 14.2), (140, 14.2)]


@pytest.mark.parametrize(
    "table", ["#,length (cm),pull (kg)\n1,113,5\n2,129,11\n", "length (cm),pull (kg)\n113,5\n# so,1\n129,11\n"]
)
def test_a_column_of_numbers_named_by_a_hash_is_no_remark(table: str) -> None:
    (one,) = band_tables(table.encode(), "t.csv")
    assert _rows(one) == [(113, 5, "l", 1), (129, 11, "l", 1)]
    (same,) = band_tables(_xlsx(("one", [[*row.split(",")] for row in table.splitlines()])), "t.xlsx")
    assert _rows(same) == _rows(one)


@pytest.mark.parametrize("failed", ["#DIV/0!", "#REF!", "#N/A"])
def test_a_length_whose_formula_failed_is_not_left_out_in_silence(failed: str) -> None:
    rows = ["length (cm),pull (kg)", "113,5", f"{failed},8", "129,11"]
    for data in ("\n".join(rows).encode(), _xlsx(("one", [[*row.split(",")] for row in rows]))):
        with pytest.raises(DataError, match="is not a number"):
            _rows(band_tables(data, "t")[0])


@pytest.mark.parametrize("header", ["length (cm),pull 1 (kg),pull 2 (kg)\n", ""])
def test_pulls_beside_each_other_are_cycles(header: str) -> None:
    (one,) = band_tables(f"{header}113,5,5.1\n129,11,\n140,14,14.2\n".encode(), "t.csv")
    assert _rows(one) == [
        (113, 5, "l", 1),
        (129, 11, "l", 1),
        (140, 14, "l", 1),
        (113, 5.1, "l", 2),
        (140, 14.2, "l", 2),
    ]


def test_out_and_back_beside_each_other_are_branches_in_the_order_taken() -> None:
    (one,) = band_tables(b"cm,out 1 kg,back 1 kg,out 2 kg,back 2 kg\n113,5,4,5.1,4.1\n129,11,10,11.1,10.1\n", "t.csv")
    first = [(113, 5, "l", 1), (129, 11, "l", 1), (129, 10, "u", 1), (113, 4, "u", 1)]
    assert _rows(one) == [*first, (113, 5.1, "l", 2), (129, 11.1, "l", 2), (129, 10.1, "u", 2), (113, 4.1, "u", 2)]


def test_two_columns_that_are_not_alike_are_still_refused() -> None:
    (one,) = band_tables(b"cm,pull kg,weight kg\n113,5,4\n", "t.csv")
    with pytest.raises(DataError, match="two columns could be the force"):
        understand(one.table)


def test_several_bands_below_each_other_with_their_flat_lengths() -> None:
    text = b"Band,flat (mm),length (cm),kg\nB1,1029,113,5\n,,129,11\nB2,1031,113,6\n"
    one, two = band_tables(text, "t.csv")
    assert (one.band, one.flat, two.band, two.flat) == ("B1", "1029mm", "B2", "1031mm")
    assert _rows(one) == [(113, 5, "l", 1), (129, 11, "l", 1)]
    assert _rows(two) == [(113, 6, "l", 1)]


def test_workbooks_of_both_kinds_say_the_same() -> None:
    rows: list[list[object]] = [["my bands"], ["length (cm)", "pull (kg)"], [113.0, 5.05], [129.0, 0.1 + 0.2]]
    assert _rows(band_tables(_xlsx(("one", rows)), "t.xlsx")[0]) == [(113, 5.05, "l", 1), (129, 0.3, "l", 1)]
    assert _rows(band_tables(_ods(rows), "t.ods")[0]) == [(113, 5.05, "l", 1), (129, 0.3, "l", 1)]


def test_a_sheet_for_each_band() -> None:
    rows: list[list[object]] = [["length (cm)", "pull (kg)"], [113, 5]]
    found = band_tables(_xlsx(("B1", rows), ("notes", [["hello"]]), ("B2", rows)), "t.xlsx")
    assert [one.band for one in found] == ["B1", "B2"]


def _zip(name: str, content: bytes = b"", mimetype: str = "") -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        if mimetype:
            packed.writestr("mimetype", mimetype, zipfile.ZIP_STORED)
        packed.writestr(name, content)
    return out.getvalue()


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"PK\x03\x04 torn", "cannot be read as a workbook"),
        (_zip("word/document.xml"), "is not a table this program knows"),
        (_zip("xl/workbook.xml", b"<broken"), "cannot be read as a workbook"),
        (_zip("xl/workbook.xml", bytes(21_000_000)), "unpacks to more"),
        (_zip("content.xml", bytes(8_100_000), OPEN), "unpacks to more"),
        (_zip("Pictures/a.png", bytes(101_000_000), OPEN), "unpacks to more"),
    ],
)
def test_what_is_no_workbook_is_one_sentence(data: bytes, said: str) -> None:
    with pytest.raises(DataError, match=said):
        band_tables(data, "t.xlsx")


def test_a_workbook_ends_with_the_kilos_of_each_band(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    rows: list[list[object]] = [["band", "flat (mm)", "length (cm)", "pull 1 (kg)", "pull 2 (kg)"]]
    rows += [[band, 1029, x, f * s, f * s + 0.05] for band, s in (("B1", 1.0), ("B2", 1.1)) for x, f in CURVE]
    Path("box.xlsx").write_bytes(_xlsx(("box", rows)))
    assert run(["import", "box.xlsx", *OPTIONS]) == 0
    told = capsys.readouterr().out
    for band in ("B1", "B2"):
        assert f"{band} at half-path length" in told or f"{band} at " in told
        assert Path(f"{band}.profile.json").is_file()
        assert len(read_run(Path(f"{band}.run.csv")).readings) == 12
    assert run(["import", "box.xlsx", *OPTIONS]) == 1
    assert "exists already" in capsys.readouterr().err
    assert run(["import", "box.xlsx", *OPTIONS, "--id", "B9"]) == 1
    assert "it has B1, B2" in capsys.readouterr().err
    assert run(["import", "box.xlsx", *OPTIONS, "--out", "one.run.csv"]) == 2
