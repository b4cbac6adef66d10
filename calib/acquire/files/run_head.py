"""The head of a run: TOML whose keys carry their units, to and from a `RunHead` in SI. No file is opened here.

The format is looked at first; then every key must be known, so that a mistyped `u_gain` cannot pass.
"""

import json
import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, NamedTuple

import tomli_w

from calib.acquire.files.run_checks import check_correction
from calib.checked import quick
from calib.errors import DataError
from calib.identity import check_id
from calib.records import RunHead, ScaleInUse
from calib.stamp import FIRST_YEAR, LAST_YEAR
from calib.strict_toml import parse_toml
from calib.unit_keys import SI_SIGN, Key, mm_keys, plain_keys, refuse_not_finite, table_in_si
from calib.units import UNITS, from_si
from calib.versioned import Version, is_newer_minor, key_path

if TYPE_CHECKING:
    from pydantic import ValidationError

MAJOR = 2
VERSION = Version("bandcurve-run", MAJOR, 0, last_of_older=1)
FORMAT = f"bandcurve-run/{MAJOR}"
SINCE_MINOR = {  # fields that a reader of /1.0 does not know
    "scale": ("display",),
    "scale.correction": ("pieces", "factor_pieces"),
    "loads": ("pieces", "piece_masses", "u_piece_masses"),
}


SECTIONS: dict[str, tuple[Key, ...]] = {
    "band": (
        Key("id"),
        *mm_keys("flat_length", "u_flat_length", "thickness", "width"),
        Key("mass", "mass", "g"),
        *plain_keys("layers", "material", "batch", "note", "strands"),
    ),
    "length": (Key("kind"), *mm_keys("fitting_diameters", "u_reading", "u_common"), *plain_keys("u_scale", "tape")),
    "scale": (
        Key("id"),
        Key("resolution", "force", "kgf"),
        Key("u_gain"),
        Key("u_zero", "force", "kgf"),
        *plain_keys("check", "locks", "zeroed", "display", "correction"),
    ),
    "scale.correction": (
        *plain_keys("checked_on", "coefficients", "covariance"),
        Key("residual_sd", written="residual_sd_N"),
        Key("max", written="max_N"),
        *plain_keys("known_loads", "factor_known_loads", "pieces", "factor_pieces"),
    ),
    "procedure": (
        *plain_keys("method", "orientation", "scale_at", "conditioning_pulls"),
        *mm_keys("conditioned_to"),
        Key("dwell_s"),
        Key("temperature", "temperature", "C"),
        Key("latitude_deg"),
        Key("altitude", "length", "m"),
    ),
    "loads": (
        *plain_keys("id", "u_common"),
        Key("u_each", "mass", "g"),
        Key("hook_mass", "mass", "g"),
        Key("pieces"),
        Key("piece_masses", "mass", "kg"),
        Key("u_piece_masses", "mass", "g"),
    ),
    "check_load": (Key("id"), Key("mass", "mass", "kg"), Key("u_mass", "mass", "kg")),
    "": plain_keys("started", "band", "length", "scale", "procedure", "loads", "check_load"),
}


class _HeadPlace(NamedTuple):
    """Where a mistake is said to be: the file, and the head's text to find the line in."""

    name: str
    text: str

    def where_is(self, section: str, key: str = "") -> str:
        """`file:line`, or the key path where the line cannot be told."""
        line = _line_of(self.text, section, key) or (_line_of(self.text, section, "") if key else 0)
        return f"{self.name}:{line}" if line else f"{self.name}: {'.'.join(filter(None, (section, key))) or 'head'}"


def is_newer_head(text: str) -> bool:
    """Whether a head that was parsed is of a newer minor version: what is unknown in its table is then passed over."""
    return _newer(parse_toml(text, ""), _HeadPlace("", text))


def version_of(text: str) -> int:
    """The version of a run, by its head that was parsed."""
    return int(str(parse_toml(text, "")["format"]).partition("/")[2].partition(".")[0])


def parse_head(text: str, name: str) -> RunHead:
    """Make a head of the TOML of a run file.

    Args:
        text: The head without its `# `, one line of text for each line of the file.
        name: What to call the file in an error.

    Raises:
        DataError: Broken TOML, another format or a newer major version, a key unknown, missing or wrong.
    """
    place = _HeadPlace(name, text)
    document = parse_toml(text, name, "the head")
    newer = _newer(document, place)
    document.pop("format")
    extensions = document.pop("extensions", {})
    if not isinstance(extensions, dict):
        raise DataError(
            "'extensions' is not a table", where=place.where_is("", "extensions"), remedy="write [extensions]"
        )
    refuse_not_finite(extensions, "extensions", place.where_is("extensions"))
    head = _validated(_in_si(document, "", place, newer), place)
    if head.length.kind != "half-path" and not head.length.fitting_diameters:
        raise DataError(
            f"a length taped {head.length.kind!r} needs the fittings' diameters",
            where=place.where_is("length"),
            remedy="add # fitting_diameters_mm = [12, 12]",
        )
    try:
        check_id(head.band.id)
    except DataError as error:
        raise error.placed_at(place.where_is("band", "id")) from None
    if head.scale is not None and head.scale.correction is not None:
        try:
            check_correction(head.scale.correction)
        except DataError as error:
            raise error.placed_at(place.where_is("scale.correction")) from None
    _check_pieces(head, place)
    return replace(head, extensions=extensions)


def _check_pieces(head: RunHead, place: _HeadPlace) -> None:
    """Every piece has a name of its own, a mass and an uncertainty."""
    loads = head.loads
    if loads is None:
        return
    if not len(loads.pieces) == len(loads.piece_masses) == len(loads.u_piece_masses):
        raise DataError(
            f"{len(loads.pieces)} pieces have {len(loads.piece_masses)} masses and {len(loads.u_piece_masses)} u",
            where=place.where_is("loads", "pieces"),
            remedy="give each piece one of both",
        )
    if len(set(loads.pieces)) < len(loads.pieces):
        raise DataError(
            "two pieces have one name", where=place.where_is("loads", "pieces"), remedy="name them apart: 20a, 20b"
        )


def _newer(document: Mapping[str, Any], place: _HeadPlace) -> bool:
    text = document.get("format")
    where = place.where_is("", "format") if text is not None else place.name
    return is_newer_minor(text, VERSION, where, f'a run begins with # format = "{FORMAT}"')


def _in_si(table: Mapping[str, Any], section: str, place: _HeadPlace, newer: bool) -> dict[str, Any]:
    """The tables with bare names and SI values."""
    out = table_in_si(table, SECTIONS[section], lambda key: place.where_is(section, key), newer)
    for key, value in out.items():
        inner = ".".join(filter(None, (section, key)))
        if inner in SECTIONS:
            if not isinstance(value, dict):
                raise DataError(
                    f"{inner!r} is not a table", where=place.where_is(section, key), remedy=f"write [{inner}]"
                )
            out[key] = _in_si(value, inner, place, newer)
    return out


def _validated(document: dict[str, Any], place: _HeadPlace) -> RunHead:
    started = document.get("started")
    if started is not None and not isinstance(started, datetime):
        where = place.where_is("", "started")
        raise DataError("started is not a date with a time", where=where, remedy="write started = 2026-03-01T10:00:00Z")
    if started is not None and not FIRST_YEAR <= started.year <= LAST_YEAR:
        where = place.where_is("", "started")
        raise DataError(f"started is in the year {started.year}", where=where, remedy="correct the year")
    if started is not None and started.tzinfo is None:  # or runs could not be put in order
        document = document | {"started": started.replace(tzinfo=UTC)}
    if "band" not in document:
        raise DataError("the head has no [band]", where=place.name, remedy='add # [band] and # id = "B07"')
    head = quick(RunHead, document)
    if head is not None:
        return head
    from pydantic import ValidationError

    from calib.checked_words import judged_head

    try:
        return judged_head(RunHead, document, _as_text)  # type: ignore[no-any-return]
    except ValidationError as error:
        raise _sentence(error, place) from None


def checked_head(document: dict[str, Any], scale: ScaleInUse | None) -> RunHead:
    """Make a head of values in SI under bare names, checked as if read from a file.

    Args:
        document: Tables of the head.
        scale: The scale as it stands, where there is one.
    """
    return replace(_validated(document, _HeadPlace("run", "")), scale=scale)


def _as_text(value: Any) -> str:
    return value.isoformat() if hasattr(value, "isoformat") else str(value)


def _sentence(error: "ValidationError", place: _HeadPlace) -> DataError:
    """The first mistake in words, with the key as the file writes it."""
    first = error.errors(include_url=False)[0]
    names = [part for part in first["loc"] if isinstance(part, str)]
    section = ".".join(names[:-1]) if ".".join(names[:-1]) in SECTIONS else ""
    bare = names[-1] if names else "head"
    field = next((f for f in SECTIONS[section] if f.name == bare), Key(bare))
    if first["type"] == "missing":
        where = place.where_is(section) if section else place.name
        return DataError(
            f"{field.in_file} is missing in [{section}]", where=where, remedy=f"add # {field.in_file} = ..."
        )
    words = first["msg"].replace("Input should", "should")
    value = json.dumps(first["input"], default=_as_text)
    unit = SI_SIGN.get(field.quantity or "", "")
    shown = f", not {value}{unit if isinstance(first['input'], float) else ''}" if len(value) <= 60 else ""
    path = key_path([part for part in first["loc"] if isinstance(part, int)])
    return DataError(f"{bare}{path} {words}{shown}", where=_where_of(place, section, field), remedy="correct the value")


def _where_of(place: _HeadPlace, section: str, field: Key) -> str:
    """The line of a field, whatever unit it carries in the file."""
    for unit in UNITS[field.quantity] if field.quantity else ():
        if _line_of(place.text, section, f"{field.name}_{unit}"):
            return place.where_is(section, f"{field.name}_{unit}")
    return place.where_is(section, field.in_file)


def _line_of(text: str, section: str, key: str) -> int:
    """Line of a key, or of a section's own heading where the key is empty; 0 where not found."""
    here = ""
    for number, line in enumerate(text.split("\n"), 1):
        heading = re.match(r"\s*\[\s*([^\[\]]+?)\s*\]\s*(?:#.*)?$", line)
        if heading and "=" not in heading[1]:
            here = heading[1].replace('"', "").replace(" ", "")
            if (not key and here == section) or (key and here == f"{section}.{key}".lstrip(".")):
                return number
        elif key and here == section and re.match(rf"\s*\"?{re.escape(key)}\"?\s*=", line):
            return number
    return 0


def format_head(head: RunHead, version: int = MAJOR) -> str:
    """The head as TOML behind `# `, every line ended, keys in the order of the format.

    Args:
        head: In SI.
        version: Of the run.
    """
    newer = any(getattr(_record(head, section), f, None) for section, fields in SINCE_MINOR.items() for f in fields)
    minor = f".{VERSION.last_of_older}" if version == 1 and newer else ""
    lines = [f'format = "bandcurve-run/{version}{minor}"']
    if head.started is not None:
        lines.append(f"started = {head.started.isoformat().replace('+00:00', 'Z')}")
    for section in SECTIONS:
        record = _record(head, section)
        if section and record is not None:
            lines += [f"[{section}]", *_body(record, section)]
    if head.extensions:
        lines += tomli_w.dumps({"extensions": head.extensions}).split("\n")
    return "".join(f"# {line}\n" for line in lines if line.strip())


def _record(head: RunHead, section: str) -> object | None:
    here: object | None = head
    for part in section.split(".") if section else ():
        here = getattr(here, part) if here is not None else None
    return here


def _body(record: object, section: str) -> list[str]:
    out: list[str] = []
    for field in SECTIONS[section]:
        value = getattr(record, field.name)
        if value is None or value == () or f"{section}.{field.name}" in SECTIONS:
            continue
        out.append(_line(field, value))
    return out


def _line(field: Key, value: Any) -> str:
    """One key and its value; lists on one line, as a spreadsheet leaves them alone only then."""
    if field.quantity:
        value = [_out(v, field) for v in value] if isinstance(value, tuple) else _out(value, field)
    if isinstance(value, tuple | list):
        return f"{field.in_file} = {json.dumps(value)}"
    return tomli_w.dumps({field.in_file: value}).rstrip("\n")


def _out(value: float, field: Key) -> float:
    return float(f"{from_si(value, field.unit, field.quantity or ''):.13g}")
