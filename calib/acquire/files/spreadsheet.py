"""The sheets of a workbook, .xlsx or .ods, as rows of text. Its bytes are given; what the rows mean is told elsewhere.

Formulas count as the value the spreadsheet program stored last. The libraries that unpack them are an extra of the
package: whoever has only CSV needs none of them.
"""

import re
import zipfile
from collections.abc import Iterable, Iterator
from contextlib import redirect_stderr, redirect_stdout
from io import BytesIO, StringIO
from itertools import islice, repeat
from typing import Any

from calib.acquire.files.table_header import is_remark
from calib.errors import DataError

Sheet = tuple[str, list[tuple[int, tuple[str, ...]]]]  # its name; rows with their number
MOST_UNPACKED_ODS, MOST_UNPACKED_XLSX = 8_000_000, 20_000_000  # bytes without pictures: each is read in some 10 s
MOST_PICTURES = 100_000_000  # bytes
_PICTURES = ("Pictures/", "Thumbnails/")  # of an open workbook, which nothing parses
MOST_ROWS, MOST_COLUMNS = 20_000, 60
_ODS_CELLS = ("table:table-cell", "table:covered-table-cell")  # the second lies under a merged one
_ODS = b"application/vnd.oasis.opendocument.spreadsheet"


def is_workbook(data: bytes) -> bool:
    """Whether a file is packed as workbooks are."""
    return data.startswith(b"PK\x03\x04")


def sheets_of(data: bytes, name: str) -> list[Sheet]:
    """Every sheet with something in it.

    Args:
        data: The whole file.
        name: What to call it in an error.

    Raises:
        DataError: It is no workbook, too large, or the library for it is not installed.
    """
    try:
        with zipfile.ZipFile(BytesIO(data)) as packed:
            is_ods = _ODS in data[:200]
            pictures = sum(part.file_size for part in packed.infolist() if part.filename.startswith(_PICTURES))
            rest = sum(part.file_size for part in packed.infolist()) - pictures
            if pictures > MOST_PICTURES or rest > (MOST_UNPACKED_ODS if is_ods else MOST_UNPACKED_XLSX):
                raise DataError("unpacks to more than any table of readings", where=name, remedy="save it as CSV")
            names = set(packed.namelist())
        if not is_ods and "xl/workbook.xml" not in names:
            raise DataError("is not a table this program knows", where=name, remedy="save it as .xlsx, .ods or CSV")
        sheets = list(_ods(data) if is_ods else _xlsx(data))
    except ImportError as error:
        missing = f"is a workbook, and {error.name} is not installed"
        raise DataError(
            missing, where=name, remedy='pip install "bandcurve[spreadsheets]", or save it as CSV'
        ) from None
    except DataError as error:
        raise error.placed_at(name) from None
    except Exception as error:  # the libraries fail in many ways on files that are broken
        kind = type(error).__name__
        raise DataError(
            f"cannot be read as a workbook ({kind})", where=name, remedy="save it again, or as CSV"
        ) from None
    return [(title, rows) for title, rows in sheets if rows]


def _xlsx(data: bytes) -> Iterator[Sheet]:
    import openpyxl

    book = openpyxl.load_workbook(BytesIO(data), read_only=True, data_only=True)
    for sheet in book.worksheets:
        cells = sheet.iter_rows(max_row=MOST_ROWS + 1, max_col=MOST_COLUMNS, values_only=True)
        yield sheet.title, _kept(tuple(_text(cell) for cell in row) for row in cells)


def _ods(data: bytes) -> Iterator[Sheet]:
    from odf.opendocument import load
    from odf.table import Table, TableRow

    with redirect_stdout(StringIO()), redirect_stderr(StringIO()):  # it prints what it cannot read, a stranger's text
        book = load(BytesIO(data))
    for sheet in book.spreadsheet.getElementsByType(Table):
        rows = (again for row in sheet.getElementsByType(TableRow) for again in _ods_rows(row))
        yield str(sheet.getAttribute("name")), _kept(islice(rows, MOST_ROWS + 1))


def _ods_rows(row: Any) -> Iterator[tuple[str, ...]]:
    """A row as often as it stands there: rows that are alike, one below the other, are stored once."""
    return repeat(_ods_row(row), int(row.getAttribute("numberrowsrepeated") or 1))


def _ods_row(row: Any) -> tuple[str, ...]:
    from odf import teletype

    out: list[str] = []
    for cell in (part for part in row.childNodes if part.tagName in _ODS_CELLS):
        number = cell.getAttribute("value") if cell.getAttribute("valuetype") == "float" else None
        text = _text(float(number)) if number is not None else teletype.extractText(cell).strip()
        again = int(cell.getAttribute("numbercolumnsrepeated") or 1)
        out += [text] * min(again, MOST_COLUMNS - len(out))
    return tuple(out)


def _kept(rows: Iterable[tuple[str, ...]]) -> list[tuple[int, tuple[str, ...]]]:
    """Rows with something in them, each with its number in the sheet."""
    kept = [(n, row) for n, row in enumerate(rows, 1) if any(row) and not is_remark(row)]
    if kept and kept[-1][0] > MOST_ROWS:
        raise DataError(f"has a sheet of more than {MOST_ROWS} rows", remedy="save that sheet as CSV")
    return kept


def _text(cell: object) -> str:
    """A cell as somebody would type it, without what binary fractions leave behind."""
    if cell is None:
        return ""
    if isinstance(cell, float):
        return f"{cell:.10g}"
    return re.sub(r"\s+", " ", str(cell)).strip()
