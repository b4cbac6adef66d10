"""The JSON Schemas: what they name is what the readers take."""

import json
import re
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from calib.profile.schema import SCHEMAS, profile_schema, run_schema
from calib.verbs.app import run
from tests.profile.invented import document


@pytest.mark.parametrize("kind", sorted(SCHEMAS))
def test_a_schema_says_what_it_is(kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["schema", kind]) == 0
    printed = json.loads(capsys.readouterr().out)
    assert printed == SCHEMAS[kind]()
    assert printed["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert printed["$id"] == f"urn:bandcurve:schema:{kind}:1"
    Draft202012Validator.check_schema(printed)
    assert 'additionalProperties": false' not in json.dumps(printed)  # a newer minor version may hold more
    for part in (printed, *printed.get("$defs", {}).values()):
        for name, field in {**part.get("properties", {}), **part.get("patternProperties", {})}.items():
            assert len(field["description"]) > 5, name


def test_a_profile_of_this_and_of_a_newer_version_fits_its_schema() -> None:
    found = Draft202012Validator(profile_schema())
    found.validate(document())
    newer = document() | {"format": "bandcurve-profile/1.7", "new": {"anything": 1}}
    newer["band"]["colour"] = "red"
    found.validate(newer)
    assert not found.is_valid(document() | {"branches": {"loading": None, "unloading": None}})


def test_an_unknown_kind_is_wrong_usage(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["schema", "picture"]) == 2
    assert "use one of profile, scale, run" in capsys.readouterr().err


def _follow(schema: dict[str, Any], part: dict[str, Any]) -> dict[str, Any]:
    for option in part.get("anyOf", [part]):
        if "$ref" in option:
            return dict(schema["$defs"][option["$ref"].rpartition("/")[2]])
    return part


def test_every_field_of_a_profile_is_in_its_schema_in_the_same_order() -> None:
    schema = profile_schema()

    def compare(content: dict[str, Any], part: dict[str, Any]) -> None:
        named = list(part["properties"])
        assert [n for n in named if n in content] == list(content)
        assert set(part["required"]) <= set(content)
        for name, value in content.items():
            inner = _follow(schema, part["properties"][name])
            if isinstance(value, dict) and "properties" in inner:
                compare(value, inner)

    compare(document(), schema)


def test_lengths_and_forces_of_a_run_wear_a_unit() -> None:
    band = run_schema()["$defs"]["Band"]
    patterns = list(band["patternProperties"])
    for name in ("flat_length_mm", "flat_length_in", "u_flat_length_mm", "thickness_mm", "mass_g"):
        assert any(re.match(p, name) for p in patterns), name
    for name in ("flat_length", "flat_length_kg", "flat_lenght_mm"):
        assert not any(re.match(p, name) for p in patterns), name
        assert name not in band["properties"]
    assert {"required": ["flat_length_mm"]} in band["allOf"][0]["anyOf"]
    assert "format" in run_schema()["required"]


def test_limits_in_celsius_are_not_applied_to_fahrenheit() -> None:
    procedure = run_schema()["$defs"]["Procedure"]["patternProperties"]
    assert "aximum" not in json.dumps(procedure["^temperature_(C|F)$"])
    assert "inimum" in json.dumps(run_schema()["$defs"]["Band"]["patternProperties"]["^thickness_(mm|cm|m|in|ft)$"])
