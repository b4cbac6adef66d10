"""Every number of a scale's and of a plates' file has bounds at the door, by its type: none can be forgotten."""

import json
from collections.abc import Iterator
from typing import Any

import pytest

from calib.errors import DataError
from calib.plate_set import HEAVIEST, MOST_PIECES, parse_plates
from calib.profile.schema import SCHEMAS
from calib.scale import parse_scale
from tests.verbs.leaves import EXTREMES, all_pushed, numbers, pushed

ENDS = ({"minimum", "exclusiveMinimum"}, {"maximum", "exclusiveMaximum"})
PLATES: dict[str, Any] = {
    "format": "bandcurve-plates/1",
    "id": "mine",
    "owner": "Ana",
    "kind": "weighed",
    "unit": "kg",
    "u_common": 0.001,
    "pieces": [{"id": "20a", "label": 20.0, "mass_kg": 20.04, "u_mass_kg": 0.01}],
}
CORRECTION = {
    "checked_on": "2026-03-01",
    "coefficients": [0.1, 1.002, 1e-6],
    "covariance": [[1e-2, 1e-6, 1e-9], [1e-6, 1e-6, 1e-9], [1e-9, 1e-9, 1e-12]],
    "residual_sd_N": 0.1,
    "max_N": 400.0,
    "known_loads": "plates-1",
    "factor_known_loads": [0.01, 0.001, 1e-8],
    "pieces": ["p/a"],
    "factor_pieces": [[0.001, 0.0001, 1e-9]],
}
SCALE: dict[str, Any] = {
    "format": "bandcurve-scale/1",
    "id": "hook",
    "kind": "load-cell",
    "resolution_N": 0.5,
    "capacity_N": 500.0,
    "counts": {"zero_N": 0.2, "per_count_N": 0.001},
    "checks": [
        {
            "id": "2026-03-01",
            "checked_on": "2026-03-01",
            "latitude_deg": 52.0,
            "altitude_m": 30.0,
            "temperature_C": 20.0,
            "known_loads": {"id": "p", "u_common": 0.001, "loads": [{"id": "a", "mass_kg": 10.0, "u_mass_kg": 0.01}]},
            "readings": [{"mass_kg": 10.0, "shown_N": 98.0, "branch": "loading", "loads": ["a"]}],
            "correction": CORRECTION,
            "repeatability_N": 0.1,
            "reversibility_N": 0.1,
            "zero_return_N": 0.1,
            "creep": {"at_N": 300.0, "after_s": 60.0, "change_N": 0.5},
        }
    ],
}
FILES = {"scale": (SCALE, parse_scale), "plates": (PLATES, parse_plates)}


def unbounded(schema: Any, name: str) -> Iterator[str]:
    """Numbers of a schema without a lower or an upper end."""
    if isinstance(schema, dict):
        if schema.get("type") in ("number", "integer") and not all(end & set(schema) for end in ENDS):
            yield name
        for key, inner in schema.items():
            yield from unbounded(inner, f"{name}.{key}")
    elif isinstance(schema, list):
        for i, inner in enumerate(schema):
            yield from unbounded(inner, f"{name}[{i}]")


@pytest.mark.parametrize("kind", FILES)
def test_no_number_of_the_schema_is_without_bounds(kind: str) -> None:
    assert not list(unbounded(SCHEMAS[kind](), kind))


def names_in(schema: dict[str, Any]) -> set[str]:
    """Names of all fields that are numbers, or hold rows of them."""
    parts = (schema, *schema.get("$defs", {}).values())
    fields = {name: json.dumps(field) for part in parts for name, field in part.get("properties", {}).items()}
    return {name for name, text in fields.items() if '"number"' in text}


@pytest.mark.parametrize("kind", FILES)
def test_every_number_at_an_extreme_is_refused_in_a_sentence_or_within_its_bounds(kind: str) -> None:
    made, parse = FILES[kind]
    assert {str(next(p for p in path[::-1] if isinstance(p, str))) for path, _ in numbers(made)} == names_in(
        SCHEMAS[kind]()
    )
    parse(json.dumps(made).encode(), "it")
    refused = 0
    for name, changed in all_pushed(made):
        try:
            parse(json.dumps(changed).encode(), "it")
        except DataError as error:
            assert error.where.startswith("it"), name
            refused += 1
    assert refused > len(list(numbers(made)))
    for path, _ in numbers(made):
        for huge in (x for x in EXTREMES if abs(x) > 1e300):
            with pytest.raises(DataError):
                parse(json.dumps(pushed(made, path, huge)).encode(), "it")


def test_plates_at_their_bounds_still_make_a_finite_load() -> None:
    most = {"label": HEAVIEST, "mass_kg": HEAVIEST, "u_mass_kg": 100.0}
    pieces = [{"id": f"p{i}", **most} for i in range(MOST_PIECES)]
    found = parse_plates(json.dumps(PLATES | {"u_common": 0.5, "pieces": pieces}).encode(), "it")
    assert found.mass([piece.id for piece in found.pieces]) == pytest.approx(MOST_PIECES * HEAVIEST)
