"""Two bands hooked end to end, `A+B.series.csv`: where the link between them stood. No file is opened here.

A head of TOML behind `# `, then a table, as in a run. Nothing is known here of what the readings mean.
"""

import re
from dataclasses import field
from datetime import datetime
from hashlib import sha256
from typing import Annotated, Any, Literal

from calib.acquire.files.run_table import NUMBER, split_line
from calib.checked import Limits, quick
from calib.errors import DataError
from calib.frozen import dataclass
from calib.half_path import offset_over
from calib.identity import check_id
from calib.records import BandLength, BranchName, SmallLength, ULength
from calib.safe_read import utf8_text
from calib.strict_toml import parse_toml
from calib.unit_keys import Key, mm_keys, plain_keys, table_in_si
from calib.units import UNITS, to_si
from calib.versioned import Version, is_newer_minor, key_path

FORMAT = "bandcurve-series/1"
CAP_BYTES = 1_000_000
MOST_READINGS = 200
COLUMNS = ("row", "kind", "cycle", "branch", "total", "ring", "note")
_HEAD = ("first", "second", "length", "started", "temperature_C")
_STRICT = {"strict": True, "extra": "forbid", "allow_inf_nan": False}
_BAND = (Key("id"), *mm_keys("flat_length", "u_flat_length", "thickness", "fitting_diameter"))
_SECTIONS = {
    "first": _BAND,
    "second": _BAND,
    "length": (Key("kind"), *mm_keys("link_diameter", "link_length", "u_reading", "u_common")),
}

_STRIKES = re.compile(r"row ([0-9]{1,9})(?::|$)")  # the note of a strike row names the row it strikes


@dataclass(frozen=True)
class SeriesBand:
    """One of the two bands, and what its outer end hangs on."""

    __pydantic_config__ = _STRICT
    id: str
    flat_length: BandLength  # [m]
    u_flat_length: ULength = 0.002  # [m]
    thickness: SmallLength | None = None  # [m]
    fitting_diameter: Annotated[float, Limits(ge=0, le=2)] = 0.0  # [m]


@dataclass(frozen=True)
class SeriesLengths:
    """How the lengths were read, and the link that joins the bands."""

    __pydantic_config__ = _STRICT
    kind: Literal["band-inner", "centres"] = "band-inner"
    link_diameter: Annotated[float, Limits(ge=0, le=2)] = 0.0  # [m] of the rod a band lies round
    link_length: Annotated[float, Limits(ge=0, le=2)] = (
        0.0  # [m] between where the bands touch it, or between its rods' centres
    )
    u_reading: ULength = 0.001  # [m] one reading
    u_common: ULength = 0.001  # [m] of each band's set-up, the same in all readings


@dataclass(frozen=True)
class SeriesReading:
    """One total length and where the middle of the link stood, both from the first band's fixed end."""

    number: int
    total: float  # [m]
    ring: float  # [m]
    cycle: int = 1
    branch: BranchName = "loading"


@dataclass(frozen=True)
class Series:
    """Two bands that carry the same pull."""

    __pydantic_config__ = _STRICT
    first: SeriesBand
    second: SeriesBand
    length: SeriesLengths = field(default_factory=SeriesLengths)
    started: datetime | None = None
    temperature_C: Annotated[float, Limits(gt=-60, le=100)] | None = None
    name: str = ""
    sha256: str = ""
    readings: tuple[SeriesReading, ...] = ()

    @property
    def bands(self) -> tuple[str, str]:
        """Ids, first and second."""
        return self.first.id, self.second.id

    def half_paths(self, reading: SeriesReading) -> tuple[float, float]:
        """Half-path lengths of the two bands. [m]"""
        half = self.length.link_length / 2
        taped = reading.ring - half, reading.total - reading.ring - half
        return tuple(  # type: ignore[return-value]
            x + offset_over(self.length.kind, (band.fitting_diameter, self.length.link_diameter), band.thickness)
            for x, band in zip(taped, (self.first, self.second), strict=True)
        )


def parse_series(data: bytes, name: str) -> Series:
    """Make a series of a file's bytes; a last row that was cut off is passed over.

    Args:
        data: The whole file.
        name: What to call it in an error.

    Raises:
        DataError: Another format, a key unknown, missing or wrong, or a row that cannot be used; with its line.
    """
    if len(data) > CAP_BYTES:
        raise DataError("is larger than 1 MB", where=name, remedy="is it the right file?")
    lines = utf8_text(data, name).replace("\r\n", "\n").split("\n")
    head = [line for line in lines if line.startswith("#")]
    table = [(i, line) for i, line in enumerate(lines[:-1], 1) if line.strip() and not line.startswith("#")]
    series = _head("\n".join(line.removeprefix("#").removeprefix(" ") for line in head), name)
    if not table:
        raise DataError("has no table", where=name, remedy="write total_mm,ring_mm and a row for each reading")
    readings = _readings(table, name)
    out = Series(
        **{f: getattr(series, f) for f in _HEAD},
        name=name,
        sha256=sha256(data).hexdigest(),
        readings=readings,
    )
    for (line, _), reading in zip(table[1:], readings, strict=False):
        _check(out, reading, f"{name}:{line}")
    return out


def _head(text: str, name: str) -> Series:
    document = parse_toml(text, name, "the head")
    begins = f'a series begins with # format = "{FORMAT}"'
    newer = is_newer_minor(document.pop("format", None), Version("bandcurve-series", 1, 0), name, begins)
    document.pop("extensions", None)
    made = table_in_si(document, plain_keys(*_HEAD), lambda key: name, newer)
    for section in _SECTIONS.keys() & made.keys():
        made[section] = _section_in_si(made[section], section, name, newer)
    series = quick(Series, made) or _judged(made, name)
    for band in (series.first, series.second):
        try:
            check_id(band.id)
        except DataError as wrong:
            raise wrong.placed_at(name) from None
    if series.first.id == series.second.id:
        raise DataError("is of one band with itself", where=name, remedy="name the two bands apart")
    return series


def _section_in_si(part: Any, section: str, name: str, newer: bool) -> dict[str, Any]:
    if not isinstance(part, dict):
        raise DataError(f"{section!r} is not a table", where=name, remedy=f"write [{section}]")
    return table_in_si(part, _SECTIONS[section], lambda key: f"{name}: {section}.{key}", newer)


def _judged(made: dict[str, Any], name: str) -> Series:
    from pydantic import ValidationError

    from calib.checked_words import judged_head

    try:
        return judged_head(Series, made)  # type: ignore[no-any-return]
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = f"{name}: {key_path(first['loc'])}"
        raise DataError(
            first["msg"].replace("Input should", "should"), where=where, remedy="correct the head"
        ) from None


def _readings(table: list[tuple[int, str]], name: str) -> tuple[SeriesReading, ...]:
    header_line, header = table[0]
    names = [cell.strip() for cell in header.split(",")]
    columns: dict[str, tuple[int, str]] = {}
    for i, cell in enumerate(names):
        bare, _, unit = cell.rpartition("_")
        known = bare if bare in ("total", "ring") and unit in UNITS["length"] else cell
        if known not in COLUMNS or (known in ("total", "ring") and known == cell):
            raise DataError(
                f"unknown column {cell[:40]!r}", where=f"{name}:{header_line}", remedy="use total_mm,ring_mm,note"
            )
        columns[known] = i, unit
    if not {"total", "ring"} <= set(columns):
        raise DataError("needs total_mm and ring_mm", where=f"{name}:{header_line}", remedy="name both columns")
    found: dict[int, SeriesReading] = {}
    for count, (line, text) in enumerate(table[1:], 1):
        where = f"{name}:{line}"
        cells = split_line(text, ",") or []
        if len(cells) > len(names):
            raise DataError("has more cells than columns", where=where, remedy="quote notes, write numbers with a dot")
        values = {key: cells[i].strip() if i < len(cells) else "" for key, (i, _) in columns.items()}
        number = _whole(values.get("row", ""), count)
        if values.get("kind") == "strike":
            struck = _STRIKES.match(values.get("note", ""))
            if struck is None or int(struck[1]) not in found:
                raise DataError("strikes no row above it", where=where, remedy='begin its note with "row N:"')
            del found[int(struck[1])]
            continue
        found[number] = _reading(values, {k: u for k, (_, u) in columns.items()}, number, where)
    if not 1 <= len(found) <= MOST_READINGS:
        raise DataError(f"has {len(found)} readings", where=name, remedy=f"take 1 to {MOST_READINGS}")
    return tuple(found.values())


def _whole(text: str, otherwise: int) -> int:
    return int(text) if re.fullmatch("[0-9]{1,9}", text) else otherwise


def _reading(values: dict[str, str], units: dict[str, str], number: int, where: str) -> SeriesReading:
    if values.get("kind") not in (None, "", "reading"):
        raise DataError(f"the kind {values['kind'][:20]!r} is not known", where=where, remedy="use reading or strike")
    branch = values.get("branch") or "loading"
    if branch not in ("loading", "unloading"):
        raise DataError(f"the branch {branch[:20]!r} is not known", where=where, remedy="use loading or unloading")
    for key in ("total", "ring"):
        if not NUMBER.fullmatch(values[key]):
            raise DataError(f"{key} {values[key][:20]!r} is not a number", where=where, remedy="write it with a dot")
    total, ring = (to_si(float(values[key]), units[key], "length") for key in ("total", "ring"))
    cycle = _whole(values.get("cycle", ""), 1)
    return SeriesReading(number, total, ring, cycle, branch)  # type: ignore[arg-type]


def _check(series: Series, reading: SeriesReading, where: str) -> None:
    """Both bands have to be stretched."""
    for length, band in zip(series.half_paths(reading), (series.first, series.second), strict=True):
        if not band.flat_length < length < 100:
            raise DataError(
                f"{band.id} would be {length:.3f} m long, and it is {band.flat_length:.3f} m lying flat",
                where=where,
                remedy="is the ring read from the first band's end, and in the right unit?",
            )
