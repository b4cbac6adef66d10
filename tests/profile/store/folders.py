"""Folders of invented bands as people make them: a quick look and a full recording, two coaches, a year of use."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tests.profile.invented import document


def put(
    path: Path,
    band: str,
    level: float = 1.0,
    day: str | None = "2026-03-01",
    *,
    runs: Sequence[str] = (),
    codes: Sequence[str] = (),
    wider: float = 1.0,
    flat: float = 1.029,
) -> Path:
    """Write a profile: so many times as strong as the invented band, of a day, made of runs, with findings."""
    made: dict[str, Any] = document(band, 125.0 * level)
    made["made"]["measured_at"] = day
    named = [
        {"file": f"{r}.run.csv", "sha256": (r.encode().hex() + "0" * 64)[:64]}
        for r in runs or [path.stem + path.parent.name]
    ]
    made["made"]["from"] = named
    made["band"]["flat_length_m"] = flat
    made["findings"] = [{"code": code, "text": f"{band}: {code}"} for code in codes]
    for branch in made["branches"].values():
        branch["u_N"] = [wider * u for u in branch["u_N"]]
        branch["u95_N"] = [wider * u for u in branch["u95_N"]]
    for factor in made["factors"]:
        for name in ("loading_N", "unloading_N"):
            factor[name] = [wider * x for x in factor[name]]
    for name in ("loading", "unloading"):
        made["rest_N"][name] = [wider * x for x in made["rest_N"][name]]
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(json.dumps(made), "utf-8")
    return path
