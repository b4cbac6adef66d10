"""What is checked quickly is accepted by pydantic too, with the same values, and what is sound is checked quickly."""

import copy
import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from calib.acquire.files.run_file import read_run
from calib.checked import Part, quick
from calib.checked_words import judged, judged_head, schema_of
from calib.plate_set import PlateSet
from calib.profile.document import Profile
from calib.records import RunHead
from calib.scale import Scale

ROOT = Path(__file__).parents[2]
PROFILE = json.loads((ROOT / "sample_runs" / "KNEE.profile.json").read_text("utf-8"))
SCALE: dict[str, Any] = {
    "format": "bandcurve-scale/1.1",
    "id": "garage-hook",
    "kind": "hanging-scale",
    "resolution_N": 0.05,
    "display": "rounds",
    "counts": {"zero_N": -1.5, "per_count_N": 0.001},
    "checks": [
        {
            "id": "2026-03-01",
            "checked_on": "2026-03-01",
            "temperature_C": 12,
            "known_loads": {"id": "mine", "u_common": 0.005, "loads": [{"id": "20a", "mass_kg": 20.0}]},
            "readings": [{"mass_kg": 20.0, "shown_N": 196.0, "branch": "loading", "loads": ["20a"]}],
            "correction": {
                "checked_on": "2026-03-01",
                "coefficients": [0.1, 1.001, 0.0],
                "covariance": [[0.01, 0.0, 0.0], [0.0, 1e-6, 0.0], [0.0, 0.0, 0.0]],
            },
            "creep": {"at_N": 200.0, "after_s": 60.0, "change_N": -0.1},
        }
    ],
    "extensions": {"shown_unit": "kg", "free": [1, {"deep": None}]},
}
PLATES: dict[str, Any] = {
    "format": "bandcurve-plates/1",
    "id": "mine-a1",
    "owner": "José",
    "kind": "plates",
    "u_common": 0.005,
    "pieces": [{"id": "20a", "label": 20, "mass_kg": 20.0, "u_mass_kg": 0.1}],
}
HEAD: dict[str, Any] = {
    "band": {"id": "B07", "flat_length": 1.03, "strands": 2, "layers": 3},
    "length": {"kind": "band-inner", "fitting_diameters": [0.012, 0.012]},
    "scale": {"id": "hook", "resolution": 0.05, "locks": "no"},
    "procedure": {"method": "scale-in-line", "conditioning_pulls": 3, "temperature": 20},
}
DOCUMENTS: list[tuple[type[Any], dict[str, Any]]] = [
    (Profile, PROFILE),
    (Scale, SCALE),
    (PlateSet, PLATES),
    (RunHead, HEAD),
]
ODD: list[Any] = [
    *(None, True, False, 0, 1, 2, 3, -1, 0.0, -0.0, 1.0, 0.5, -1.5, 1e-320, 1e308, 10**30, 10**400, 1e7, float("nan")),
    *(float("inf"), "", "x", "1", "B07", "2026-02-30", "2026-03-01\n", "é", "\ud800", "rounds", "loading", "a" * 65),
    *([], [1.0], [1.0, 2.0], [None], {}, {"id": "x"}, (), (1.0,), [[1.0]], {"ä": 1}, {1: 2}),
]


def _places(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    yield path
    inner = value.items() if isinstance(value, dict) else enumerate(value[:1]) if isinstance(value, list) else ()
    for key, one in inner:
        yield from _places(one, (*path, key))


def _changed(document: dict[str, Any], path: tuple[Any, ...], odd: Any) -> dict[str, Any]:
    out = copy.deepcopy(document)
    here: Any = out
    for key in path[:-1]:
        here = here[key]
    if odd is _changed:  # a field that is not there
        del here[path[-1]]
    else:
        here[path[-1]] = odd
    return out


def _slowly(kind: type[Any], document: dict[str, Any]) -> Any:
    try:
        return judged(kind, document) if issubclass(kind, Part) else judged_head(kind, document)
    except (ValidationError, ValueError, TypeError):
        return None


@pytest.mark.parametrize(("kind", "document"), DOCUMENTS)
def test_a_sound_document_is_made_quickly_and_as_pydantic_makes_it(kind: type[Any], document: dict[str, Any]) -> None:
    made = quick(kind, document)
    assert made is not None
    assert made == _slowly(kind, document)
    assert repr(made) == repr(_slowly(kind, document))


@pytest.mark.parametrize(("kind", "document"), DOCUMENTS)
def test_what_is_made_quickly_of_an_odd_document_is_what_pydantic_makes(
    kind: type[Any], document: dict[str, Any]
) -> None:
    made_quickly = 0
    for path in list(_places(document))[1:]:
        for odd in [*ODD, _changed]:
            one = _changed(document, path, odd)
            made = quick(kind, one)
            if made is not None:
                made_quickly += 1
                assert repr(made) == repr(_slowly(kind, one)), (path, odd)
    assert made_quickly > 20  # some of them are sound


@pytest.mark.parametrize(("kind", "document"), DOCUMENTS)
def test_an_unknown_field_is_not_made_quickly(kind: type[Any], document: dict[str, Any]) -> None:
    assert quick(kind, document | {"unknown": 1}) is None
    assert _slowly(kind, document | {"unknown": 1}) is None


def test_a_part_is_made_changed_and_told_by_the_names_of_the_file() -> None:
    profile = Profile.model_validate(PROFILE)
    assert profile.model_dump()["made"]["from"] == tuple(PROFILE["made"]["from"])
    assert Profile.model_validate(profile.model_dump()) == profile
    assert profile.model_copy(update={"findings": ()}).findings == ()
    with pytest.raises(AttributeError):
        profile.band.id = "other"  # type: ignore[misc]
    with pytest.raises(ValidationError, match="per_count_N"):
        Scale(**SCALE | {"counts": {"zero_N": 0.0, "per_count_N": 0.0}})


def test_schemas_say_the_limits() -> None:
    said = schema_of(Scale)["$defs"]["StoredCheck"]["properties"]
    assert said["latitude_deg"]["anyOf"][0] == {"maximum": 90, "minimum": -90, "type": "number"}
    assert said["id"]["pattern"]


def test_reading_what_is_sound_loads_no_pydantic() -> None:
    code = (
        "import sys, calib\n"
        "calib.load_profile('sample_runs/KNEE.profile.json')\n"
        "calib.read_run('sample_runs/KNEE.run.csv')\n"
        "assert 'pydantic' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True, cwd=ROOT)
    assert read_run(ROOT / "sample_runs" / "KNEE.run.csv").head.band.id == "KNEE"
