"""JSON Schemas (2020-12) of the answers, from their types; what each name means stands in `meanings`.

Additions are allowed: a reader passes over a name it does not know.
"""

from dataclasses import is_dataclass
from typing import Any

from pydantic import TypeAdapter

from calib.meanings import meaning
from calib.profile.schema import DIALECT, scale_schema
from calib.use.answers import bands, gear, lineup, rigs
from calib.use.answers.parts import Answer

Schema = dict[str, Any]


def answer_types() -> dict[str, type[Answer]]:
    """Every answer by its question."""
    found = [
        kind
        for room in (bands, gear, lineup, rigs)
        for kind in vars(room).values()
        if is_dataclass(kind) and isinstance(kind, type) and issubclass(kind, Answer) and kind is not Answer
    ]
    return {kind.question: kind for kind in found}


def answer_schema(question: str | None = None) -> Schema:
    """The schema of one answer, or of all of them and of errors.

    Args:
        question: For example "predict"; None for all.
    """
    if question is not None:
        return {"$schema": DIALECT, "$id": f"urn:bandcurve:schema:answer:{question}:1", **_schema_of_answer(question)}
    kinds = {name: _schema_of_answer(name) for name in answer_types()}
    parts: Schema = {}
    for kind in kinds.values():
        parts |= kind.pop("$defs", {})
    parts |= kinds | {"error": ERROR}
    return {
        "$schema": DIALECT,
        "$id": "urn:bandcurve:schema:answer:1",
        "title": "bandcurve answer",
        "anyOf": [{"$ref": f"#/$defs/{name}"} for name in (*kinds, "error")],
        "$defs": parts,
    }


def _schema_of_answer(question: str) -> Schema:
    kind = answer_types()[question]
    schema = TypeAdapter(kind).json_schema(mode="serialization")
    head = {
        "format": {"type": "string", "pattern": r"^bandcurve-answer/1(\.[0-9]+)?$"},
        "question": {"const": question},
    }
    schema["properties"] = {**head, **schema["properties"]}
    schema["required"] = list(schema["properties"])
    for part in (schema, *schema.get("$defs", {}).values()):
        _describe(part)
    if question == "scale":
        _with_the_file(schema)
    return schema


def _with_the_file(schema: Schema) -> None:
    """The scale's file inside the answer, as its own schema describes it."""
    file = scale_schema()
    parts = {name: part for name, part in file.items() if name in ("type", "properties", "required")}
    parts["description"] = schema["properties"]["scale"]["description"]
    schema["properties"]["scale"] = parts
    schema["$defs"] = schema.get("$defs", {}) | file["$defs"]


def _describe(part: Schema) -> None:
    part.pop("additionalProperties", None)
    part["required"] = list(part.get("properties", {}))
    part["description"] = part.get("description", "").partition("\n")[0]
    for key, field in part.get("properties", {}).items():
        field.pop("title", None)
        field.pop("default", None)
        field["description"] = meaning(key)


_TEXT = {"type": ["string", "null"]}
ERROR: Schema = {
    "title": "error",
    "type": "object",
    "description": "What stands in the place of an answer where there is none.",
    "required": ["format", "question", "error"],
    "properties": {
        "format": {"type": "string", "pattern": r"^bandcurve-answer/1(\.[0-9]+)?$", "description": "Name and version."},
        "question": {"type": "string", "description": "The command that was given."},
        "error": {
            "type": "object",
            "description": "What was wrong.",
            "required": ["what", "where", "remedy", "status"],
            "properties": {
                "what": {"type": "string", "description": "What was wrong, with value and unit."},
                "where": {**_TEXT, "description": "File with line or key path; null where it is not in a file."},
                "remedy": {**_TEXT, "description": "What would fix it."},
                "status": {"type": "integer", "description": "Exit status: 1 input or data, 2 usage, 130 interrupted."},
            },
        },
    },
}
