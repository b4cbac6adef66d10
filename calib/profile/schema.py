"""JSON Schemas (2020-12) of the files: profile, batch, scale, heads of a run and a series. Generated from the types."""

import re
from collections.abc import Callable
from typing import Any

from pydantic import TypeAdapter

from calib.acquire.files.series_file import Series
from calib.checked_words import schema_of
from calib.plate_set import PlateSet
from calib.profile.batch_document import Batch
from calib.profile.document import Profile
from calib.profile.field_meanings import field_meaning
from calib.records import RunHead
from calib.scale import Scale
from calib.units import UNITS

DIALECT = "https://json-schema.org/draft/2020-12/schema"
Schema = dict[str, Any]

# Which quantity a bare name of the records stands for; in a file it carries a unit of that quantity.
_QUANTITY = {
    "Band": {
        "flat_length": "length",
        "u_flat_length": "length",
        "thickness": "length",
        "width": "length",
        "mass": "mass",
    },
    "LengthSetup": {"fitting_diameters": "length", "u_reading": "length", "u_common": "length"},
    "ScaleInUse": {"resolution": "force", "u_zero": "force"},
    "Procedure": {"conditioned_to": "length", "temperature": "temperature", "altitude": "length"},
    "Loads": dict.fromkeys(("u_each", "hook_mass", "piece_masses", "u_piece_masses"), "mass"),
    "CheckLoad": {"mass": "mass", "u_mass": "mass"},
    "SeriesBand": dict.fromkeys(("flat_length", "u_flat_length", "thickness", "fitting_diameter"), "length"),
    "SeriesLengths": dict.fromkeys(("link_diameter", "link_length", "u_reading", "u_common"), "length"),
}
_LIMITS = ("minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum")
_FIXED = {"Correction": {"residual_sd": "residual_sd_N", "max": "max_N"}}


def profile_schema() -> Schema:
    """Schema of a profile."""
    return _headed(schema_of(Profile), "profile", "bandcurve profile")


def scale_schema() -> Schema:
    """Schema of a scale."""
    return _headed(schema_of(Scale), "scale", "bandcurve scale")


def run_schema() -> Schema:
    """Schema of a run's head, the TOML behind "# ", as the table a TOML reader makes of it."""
    schema = TypeAdapter(RunHead).json_schema()
    for name, definition in schema["$defs"].items():
        _dress(definition, _QUANTITY.get(name, {}), _FIXED.get(name, {}))
    schema["properties"] = {
        "format": {"type": "string", "pattern": r"^bandcurve-run/[12](\.[0-9]+)?$"},
        **schema["properties"],
    }
    schema["required"] = ["format", *schema.get("required", [])]
    return _headed(schema, "run", "bandcurve run, head")


def series_schema() -> Schema:
    """Schema of the head of a series of two bands."""
    schema = TypeAdapter(Series).json_schema()
    for name in ("SeriesBand", "SeriesLengths"):
        _dress(schema["$defs"][name], _QUANTITY[name], {})
    schema["$defs"].pop("SeriesReading")
    of_head = {key: part for key, part in schema["properties"].items() if key not in ("name", "sha256", "readings")}
    pattern = {"type": "string", "pattern": r"^bandcurve-series/1(\.[0-9]+)?$"}
    schema["properties"] = {"format": pattern, **of_head, "extensions": {"type": "object"}}
    schema["required"] = ["format", *schema["required"]]
    return _headed(schema, "series", "bandcurve series, head")


def batch_schema() -> Schema:
    """Schema of the record of a batch."""
    return _headed(schema_of(Batch), "batch", "bandcurve batch")


def plates_schema() -> Schema:
    """Schema of a set of plates."""
    return _headed(schema_of(PlateSet), "plates", "bandcurve plates")


SCHEMAS: dict[str, Callable[[], Schema]] = {
    "profile": profile_schema,
    "scale": scale_schema,
    "run": run_schema,
    "series": series_schema,
    "batch": batch_schema,
    "plates": plates_schema,
}


def _headed(schema: Schema, kind: str, title: str) -> Schema:
    for part in (schema, *schema.get("$defs", {}).values()):
        _describe(part)
    body = {key: value for key, value in schema.items() if key != "title"}
    return {"$schema": DIALECT, "$id": f"urn:bandcurve:schema:{kind}:1", "title": title, **body}


def _describe(part: Schema) -> None:
    """Say what each field means; and allow more, as a newer minor version has it.

    The program's own readers refuse an unknown name in a version they know, so that a slip is not lost.
    """
    part.pop("additionalProperties", None)
    for name, field in {**part.get("properties", {}), **part.get("patternProperties", {})}.items():
        if "description" not in field:
            field["description"] = field_meaning(name)


def _dress(definition: Schema, quantities: dict[str, str], fixed: dict[str, str]) -> None:
    """Give the names of one part their units: any accepted unit, as a pattern; one of them where it is required."""
    properties: Schema = definition.get("properties", {})
    required = [fixed.get(name, name) for name in definition.get("required", []) if name not in quantities]
    patterns = {_pattern(name, quantity): _bare(properties[name], quantity) for name, quantity in quantities.items()}
    one_of = [
        {"anyOf": [{"required": [f"{name}_{unit}"]} for unit in UNITS[quantity]]}
        for name, quantity in quantities.items()
        if name in definition.get("required", [])
    ]
    definition["properties"] = {
        fixed.get(name, name): value for name, value in properties.items() if name not in quantities
    }
    definition["required"] = required
    definition |= {"patternProperties": patterns} if patterns else {}
    definition |= {"allOf": one_of} if one_of else {}


def _pattern(name: str, quantity: str) -> str:
    return f"^{name}_({'|'.join(re.escape(unit) for unit in UNITS[quantity])})$"


def _bare(schema: Schema, quantity: str) -> Schema:
    """A default in SI is not the default in another unit, and of limits only zero is the same in all of them."""
    out: Schema = {}
    for key, value in schema.items():
        if key == "anyOf":
            out[key] = [_bare(kind, quantity) for kind in value]
        elif key not in ("default", "title") and not (key in _LIMITS and (value != 0 or quantity == "temperature")):
            out[key] = value
    return out
