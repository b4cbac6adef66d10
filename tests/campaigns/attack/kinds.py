"""Every kind of file there is: a good one, and what reads it."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from io import BytesIO
from pathlib import Path

from calib.acquire.files.run_file import parse_run
from calib.acquire.files.series_file import parse_series
from calib.acquire.files.table_header import understand
from calib.acquire.files.table_import import rows_of
from calib.acquire.files.table_layout import band_tables
from calib.plate_set import parse_plates
from calib.profile.batch_document import load_batch
from calib.profile.document import parse_profile
from calib.profile.store.decisions import Decision, parse_decisions, with_row
from calib.profile.store.memory import NAME as MEMORY
from calib.profile.store.memory import recall, remember
from calib.profile.store.rechecks import new_rechecks, parse_rechecks
from calib.profile.store.uses import Use, new_log, parse_uses, row_of
from calib.scale import parse_scale
from calib.stamp import stamp
from calib.use.lineup.lifters_table import parse_lifters
from calib.use.rig.rig_file import parse_rig
from tests.profile.invented import document
from tests.use.bands.hooked import head as series_head
from tests.use.rig.made import band_text, rig_text

SAMPLES = Path(__file__).parents[3] / "sample_runs"
TABLE = "length (mm),pull (kg),branch,note\n" + "".join(
    f"{1100 + 100 * i},{2.5 + 1.8 * i:.2f},loading,fine\n" for i in range(9)
)
LIFTERS = "lifter,bottom_mm,top_mm,want_bottom_kg,want_top_kg,order\nAna,1350,1850,60,80,2\nBo,1360,1870,85,110,1\n"
PLATES = {
    "format": "bandcurve-plates/1", "id": "gym", "owner": "a gym", "kind": "plates", "u_common": 0.01,
    "pieces": [{"id": "10a", "label": 10.0, "mass_kg": 10.0, "u_mass_kg": 0.2}],
}  # fmt: skip
SCALE = {
    "format": "bandcurve-scale/1", "id": "hook", "kind": "hanging-scale", "resolution_N": 0.5, "capacity_N": 500.0,
}  # fmt: skip


@dataclass(frozen=True)
class Kind:
    """One kind of file."""

    name: str
    good: bytes
    read: Callable[[bytes], object]


def kinds(folder: Path) -> list[Kind]:
    """All of them.

    Args:
        folder: Where those that are read by name are put.
    """
    use = Use("B07", date(2026, 4, 1), 60, "squats", stamp())
    decision = Decision(stamp(), "retired", "B07", "", (), "nicked")
    remember(folder, {"gear.tape": "inside", "plates": [20, 10]})
    plain = [
        Kind("run", (SAMPLES / "KNEE.run.csv").read_bytes(), lambda data: parse_run(data, "x")),
        Kind("run of hung weights", (SAMPLES / "THIN.run.csv").read_bytes(), lambda data: parse_run(data, "x")),
        Kind("profile", json.dumps(document(points=12)).encode(), lambda data: parse_profile(data, "x")),
        Kind("scale", json.dumps(SCALE).encode(), lambda data: parse_scale(data, "x")),
        Kind("plates", json.dumps(PLATES).encode(), lambda data: parse_plates(data, "x")),
        Kind(
            "series",
            (series_head("B1", "B2") + "1,1,3300.0,1650.0\n2,1,3500.0,1750.0\n").encode(),
            lambda d: parse_series(d, "x"),
        ),
        Kind("rig", _rig().encode(), lambda data: parse_rig(data, "x")),
        Kind("lifters", LIFTERS.encode(), lambda data: parse_lifters(data, "x.csv")),
        Kind("register", with_row(None, "x", decision), lambda data: parse_decisions(data, "x")),
        Kind("use log", (new_log("B07") + row_of(use, 2)).encode(), lambda data: parse_uses(data, "x")),
        Kind("re-checks", _rechecks().encode(), lambda data: parse_rechecks(data, "x")),
        Kind("table", TABLE.encode(), _imported),
        Kind("workbook", _workbook(), _imported),
        Kind("open workbook", _open_workbook(), _imported),
    ]
    memory = (folder / MEMORY).read_bytes()
    by_name = [
        Kind("memory", memory, lambda data: _by_name(data, folder / MEMORY, lambda path: recall(path.parent))),
        Kind("batch", _batch(), lambda data: _by_name(data, folder / "batch.json", load_batch)),
    ]
    return plain + by_name


def _by_name(data: bytes, path: Path, read: Callable[[Path], object]) -> object:
    path.write_bytes(data)
    return read(path)


def _imported(data: bytes) -> object:
    return [
        rows_of(one.table, found, found.length_unit or "mm", found.force_unit or "kg")
        for one in band_tables(data, "x")
        for found in (understand(one.table),)
    ]


def _series() -> str:
    return series_head("B1", "B2") + "1,1,3300.0,1650.0\n2,1,3500.0,1750.0\n"


def _rig() -> str:
    return rig_text(*(band_text(side=side) for side in ("left", "right")), anchor="[anchor]\nholds_kg = 200\n")


def _rechecks() -> str:
    at = "2026-04-01T18:20:05Z"
    return new_rechecks("B07") + f"0123456789ab,{at},2026-04-01,10,0.129,1432,band-inner,12 12,18,,fine\n"


def _batch() -> bytes:
    empty: dict[str, object] = {name: [] for name in ("bands", "sizes", "shape_from", "findings", "failed")}
    made = {"format": "bandcurve-batch/1", "by": "x", "stretch": 1.5, "length_m": 1.6, "measure_more": None}
    return json.dumps(made | empty).encode()


def _workbook() -> bytes:
    import openpyxl

    book, out = openpyxl.Workbook(), BytesIO()
    for line in TABLE.splitlines():
        book.active.append([float(c) if c.replace(".", "").isdigit() else c for c in line.split(",")])
    book.save(out)
    return out.getvalue()


def _open_workbook() -> bytes:
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import Table, TableCell, TableRow
    from odf.text import P

    book, sheet, out = OpenDocumentSpreadsheet(), Table(name="B07"), BytesIO()
    for line in TABLE.splitlines():
        row = TableRow()
        for text in line.split(","):
            cell = TableCell(valuetype="string")
            cell.addElement(P(text=text))
            row.addElement(cell)
        sheet.addElement(row)
    book.spreadsheet.addElement(sheet)
    book.save(out)
    return out.getvalue()
