"""A line of `listen --json`: one record of a load cell as one JSON object, and the schema of such lines."""

import json
from typing import Any, get_args

from calib.acquire.cell.lines import Kind, Record

FORMAT = "bandcurve-line/1"
_NUMBER, _TEXT, _YES_OR_NO = {"type": "number"}, {"type": "string"}, {"type": "boolean"}
_FIELDS: dict[str, tuple[dict[str, Any], str]] = {
    "format": ({"type": "string", "pattern": r"^bandcurve-line/1(\.[0-9]+)?$"}, "Name and version."),
    "at_s": (_NUMBER, "Since the port was opened; of a captured file its own time."),
    "kind": ({"enum": list(get_args(Kind))}, "What the line is; reset: the board started again, or a break."),
    "value": (_NUMBER, "Of a reading with a unit."),
    "unit": (_TEXT, "Of the value."),
    "counts": (_NUMBER, "Of a reading without a unit."),
    "force_N": (_NUMBER, "Of a reading in counts, where the scale's file says what one is."),
    "length": (_NUMBER, "In the sender's unit, where the line carries one."),
    "clock_s": (_NUMBER, "The sender's clock, where it prints one."),
    "sequence": ({"type": "integer"}, "The line's number, where the sender prints one."),
    "checked": (_YES_OR_NO, "True where a checksum was right."),
    "stable": ({"type": ["boolean", "null"]}, "What the sender says; null where it says nothing."),
    "raw": (_TEXT, "The line as it came, control characters written as <02>."),
    "note": (_TEXT, "Why it is no reading, where the line does not show it."),
}
_ALWAYS = ("format", "at_s", "kind", "stable", "raw")


def json_line(record: Record, force: float | None) -> str:
    """A record as one line.

    Args:
        record: As read.
        force: Of a reading in counts, where that is known. [N]
    """
    found: dict[str, Any] = {"format": FORMAT, "at_s": round(record.at_s, 4), "kind": record.kind}
    if record.kind == "reading":
        found |= {"counts": record.counts} if record.value is None else {"value": record.value, "unit": record.unit}
        found |= {} if force is None else {"force_N": round(force, 6)}
        found |= {} if record.length is None else {"length": record.length}
        found |= {} if record.clock_s is None else {"clock_s": round(record.clock_s, 6)}
        found |= {} if record.sequence is None else {"sequence": record.sequence}
        found |= {"checked": True} if record.checked else {}
    found |= {"stable": record.stable, "raw": record.raw}
    return json.dumps(found | ({"note": record.note} if record.note else {}))


def line_schema() -> dict[str, Any]:
    """The JSON Schema of a line; a reading has a value with its unit, or counts."""
    told = [{"required": ["value", "unit"], "not": {"required": ["counts"]}}]
    told.append({"required": ["counts"], "not": {"required": ["value"]}})
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:bandcurve:schema:line:1",
        "title": "bandcurve line",
        "description": "One line of listen --json.",
        "type": "object",
        "required": list(_ALWAYS),
        "properties": {name: {**kind, "description": words} for name, (kind, words) in _FIELDS.items()},
        "if": {"properties": {"kind": {"const": "reading"}}},
        "then": {"oneOf": told},
    }
