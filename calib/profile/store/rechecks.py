"""The re-checks of a band, `ID.rechecks.csv`: a known plate, and where the tape stood. No file is opened here.

Only what was read is kept, and the day of the calibration it was held against; what it meant is worked out when asked.
"""

from collections.abc import Iterable
from datetime import date
from typing import cast, get_args

from calib.errors import DataError
from calib.frozen import dataclass
from calib.half_path import LengthKind
from calib.profile.store.band_log import NO_STAMP, VERSION, Kind, LogRow, begun, parse_log, row_text
from calib.stamp import Stamp, calendar_day

CELLS = (
    *("mass_kg", "u_mass_kg", "length_mm"),
    *("length_kind", "fitting_diameters_mm", "temperature_C", "calibrated_on"),
)
KIND = Kind("rechecks", "list of re-checks", CELLS, "bandcurve recheck")
_LIMITS = {
    "mass_kg": (0.001, 1000.0),
    "u_mass_kg": (0.0, 100.0),
    "length_mm": (1.0, 20_000.0),
    "fitting_diameters_mm": (0.0, 2000.0),
    "temperature_C": (-60.0, 100.0),
}


@dataclass(frozen=True)
class Hung:
    """A known plate and how its length is read."""

    mass: float  # [kg]
    u_mass: float  # [kg]
    kind: LengthKind
    fittings: tuple[float, ...]  # [m]
    temperature: float | None = None  # [degree C]


@dataclass(frozen=True)
class Recheck:
    """One length that was read with a known plate."""

    band: str
    on: date
    hung: Hung
    length: float  # [m] what the tape showed
    calibrated: date | None = None  # day of the calibration it was held against; None where that was not noted
    note: str = ""
    stamp: Stamp = NO_STAMP


def new_rechecks(band: str) -> str:
    """The beginning of a file."""
    return begun(KIND, band)


def row_of(recheck: Recheck, version: int = VERSION) -> str:
    """One row; several diameters of fittings stand in one cell with a space between."""
    hung = recheck.hung
    cells = [
        f"{hung.mass:.7g}",
        f"{hung.u_mass:.3g}",
        f"{1000 * recheck.length:.7g}",
        hung.kind,
        " ".join(f"{1000 * d:.7g}" for d in hung.fittings),
        "" if hung.temperature is None else f"{hung.temperature:g}",
        "" if recheck.calibrated is None else recheck.calibrated.isoformat(),
    ]
    return row_text(recheck.stamp, recheck.on, cells, recheck.note, version)


def parse_rechecks(data: bytes, name: str) -> list[Recheck]:
    """Read a file; a last row that was cut off is passed over.

    Args:
        data: The whole file.
        name: What to call it in an error.

    Raises:
        DataError: It is none, or a row of it cannot be used; with its line.
    """
    return [_recheck(row) for row in parse_log(data, name, KIND)]


def _recheck(row: LogRow) -> Recheck:
    cells = row.cells
    kind, round_what = cells["length_kind"], cells["fitting_diameters_mm"].split()
    if kind not in get_args(LengthKind):
        raise _wrong(row, "length_kind", kind, f"use one of {', '.join(get_args(LengthKind))}")
    if len(round_what) > 2:
        raise _wrong(row, "fitting_diameters_mm", cells["fitting_diameters_mm"], "give two, with a space between")
    hung = Hung(
        _number(row, "mass_kg", cells["mass_kg"]),
        _number(row, "u_mass_kg", cells["u_mass_kg"]),
        cast(LengthKind, kind),
        tuple(_number(row, "fitting_diameters_mm", text) / 1000 for text in round_what),
        _number(row, "temperature_C", cells["temperature_C"]) if cells["temperature_C"] else None,
    )
    length = _number(row, "length_mm", cells["length_mm"]) / 1000
    calibrated = _day(row, "calibrated_on", cells["calibrated_on"])
    return Recheck(row.band, row.about_day, hung, length, calibrated, cells["note"], row.stamp)


def _day(row: LogRow, column: str, text: str) -> date | None:
    try:
        return calendar_day(text) if text else None
    except ValueError:
        raise _wrong(row, column, text, "write a day like 2026-03-01, or nothing") from None


def _number(row: LogRow, column: str, text: str) -> float:
    low, high = _LIMITS[column]
    try:
        value = float(text) if len(text) < 40 else float("nan")
    except ValueError:
        value = float("nan")
    if not low <= value <= high:  # not a number is neither
        raise _wrong(row, column, text, f"give a number from {low:g} to {high:g}, or remove that row")
    return value


def _wrong(row: LogRow, column: str, text: str, remedy: str) -> DataError:
    return DataError(f"{column} is {text[:20]!r}", where=row.where, remedy=remedy)


def noted_once(rechecks: Iterable[Recheck]) -> list[Recheck]:
    """In order of their day, and of one day in that of their writing; one that is there twice counts once."""
    return sorted({r.stamp.entry: r for r in rechecks}.values(), key=lambda r: (r.on, r.stamp.at, r.stamp.entry))
