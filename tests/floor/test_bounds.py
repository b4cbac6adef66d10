"""Every kind of file has its bounds: size, rows, columns, pieces, numbers. One past it is refused in a sentence."""

import io
from collections.abc import Callable
from pathlib import Path

import pytest

from calib import errors
from calib.acquire.files import check_table, series_file, spreadsheet
from calib.acquire.files.check_table import parse_check_table
from calib.acquire.files.series_file import parse_series
from calib.acquire.recording import typed_entry
from calib.errors import DataError
from calib.plate_set import MOST_PIECES, PlateSet
from calib.profile.parts import LARGEST_FORCE
from calib.profile.store import band_log, cards
from calib.profile.store.uses import parse_uses
from calib.use.lineup import lifters_table
from calib.use.lineup.lifters_table import parse_lifters
from calib.use.rig import lifters, rig_file
from calib.use.rig.lifters import parse_table
from calib.use.rig.rig_file import parse_rig
from tests.fit.gear.test_plate_set import SET
from tests.use.bands.hooked import head
from tests.use.bands.made import band

KINDS: dict[Callable[[bytes, str], object], int] = {
    parse_series: series_file.CAP_BYTES,
    parse_check_table: check_table.CAP_BYTES,
    parse_uses: band_log.CAP_BYTES,
    parse_rig: rig_file.CAP_BYTES,
    parse_table: lifters.CAP_BYTES,
    parse_lifters: lifters_table.CAP_BYTES,
}


@pytest.mark.parametrize("parse", KINDS)
def test_more_bytes_than_a_kind_of_file_has_are_refused_unread(parse: Callable[[bytes, str], object]) -> None:
    with pytest.raises(DataError, match="is larger than"):
        parse(b"#" * (KINDS[parse] + 1), "x")


def test_a_check_of_more_rows_or_more_force_than_anybody_has(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(DataError, match="more than any scale shows"):
        parse_check_table(b"known_kg,shown_kg\n20,20000000\n", "c.csv")
    monkeypatch.setattr(check_table, "MOST_ROWS", 3)
    with pytest.raises(DataError, match="more than 3 rows"):
        parse_check_table(b"known_kg,shown_kg\n" + b"20,19.8\n" * 5, "c.csv")


def test_a_series_of_more_readings_than_anybody_takes(monkeypatch: pytest.MonkeyPatch) -> None:
    rows = "".join(f"{n},1,{2600 + 10 * n},{1300 + 5 * n}\n" for n in range(1, 6))
    text = (head("B", "C") + rows).encode()
    assert len(parse_series(text, "s").readings) == 5
    monkeypatch.setattr(series_file, "MOST_READINGS", 4)
    with pytest.raises(DataError, match="has 5 readings"):
        parse_series(text, "s")


def test_a_set_of_more_plates_than_a_gym_has() -> None:
    pieces = tuple(SET.pieces[0].model_copy(update={"id": f"p{n}"}) for n in range(MOST_PIECES + 1))
    with pytest.raises(ValueError, match=f"1 to {MOST_PIECES} pieces, not {MOST_PIECES + 1}"):
        PlateSet.model_validate(SET.model_dump() | {"pieces": [p.model_dump() for p in pieces]})


def test_a_profile_of_more_force_than_any_band_has() -> None:
    with pytest.raises(DataError, match="more than any band has"):
        band("B", 1.1 * LARGEST_FORCE / max(band("B").branches.loading.force_N))


def test_a_folder_of_more_files_than_bands_have(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for n in range(4):
        (tmp_path / f"B{n}.run.csv").touch()
    for bound in ("MOST_FILES", "MOST_ENTRIES"):
        with monkeypatch.context() as changed:
            changed.setattr(cards, bound, 3)
            with pytest.raises(DataError, match="holds more than 3 files"):
                cards.read_cards(tmp_path)


def test_an_entry_is_looked_at_up_to_a_length() -> None:
    assert len(typed_entry.clean("7" * 100_000)) == typed_entry.LONGEST


def test_a_sheet_of_more_rows_and_columns_than_a_table_has(monkeypatch: pytest.MonkeyPatch) -> None:
    """What stands there once with a count beside it may be a thousand million rows."""
    pytest.importorskip("odf")
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import Table, TableCell, TableRow
    from odf.text import P

    def stored(rows: int, columns: int) -> bytes:
        book, table, out = OpenDocumentSpreadsheet(), Table(name="one"), io.BytesIO()
        line, cell = TableRow(numberrowsrepeated=rows), TableCell(numbercolumnsrepeated=columns)
        cell.addElement(P(text="7"))
        line.addElement(cell)
        table.addElement(line)
        book.spreadsheet.addElement(table)
        book.write(out)
        return out.getvalue()

    ((_, kept),) = spreadsheet.sheets_of(stored(2, 50_000), "t.ods")
    assert [len(row) for _, row in kept] == 2 * [spreadsheet.MOST_COLUMNS]
    taken: list[int] = []
    whole = spreadsheet._kept
    monkeypatch.setattr(spreadsheet, "_kept", lambda rows: whole(taken.append(1) or row for row in rows))  # type: ignore[func-returns-value]
    monkeypatch.setattr(spreadsheet, "MOST_ROWS", 10)
    with pytest.raises(DataError, match="more than 10 rows"):
        spreadsheet.sheets_of(stored(5000, 1), "t.ods")
    assert len(taken) == 11


def test_a_sentence_takes_no_more_of_a_strangers_text_than_it_can_hold() -> None:
    assert len(str(DataError("x" * 10_000, where="y" * 10_000, remedy="z" * 10_000))) < 3 * errors.LONGEST + 10
