"""An invented band, never measured: a neo-Hookean loading branch, 12 % lost while unloading, four sources of error."""

from math import exp, sqrt
from typing import Any

REST = 1.0271  # m
TOP = 2.1
U95_OVER_U = 2.05


def pull(length: float, unloading: bool, strength: float = 125.0) -> float:
    """Force of the invented band. [N]"""
    stretch = length / REST
    up = strength * (stretch - stretch**-2)
    return up * (1 - 0.12 * (1 - exp(-(TOP - length) / 0.2))) if unloading else up


def document(
    band: str = "B07",
    strength: float = 125.0,
    points: int = 61,
    check: str = "garage-hook/2026-02-27",
    unloading: bool = True,
) -> dict[str, Any]:
    """The profile of an invented band as plain JSON values."""
    lengths = [round(1.13 + (TOP - 1.13) * i / (points - 1), 6) for i in range(points)]
    names = ("loading", "unloading") if unloading else ("loading",)
    force = {n: [pull(x, n == "unloading", strength) for x in lengths] for n in names}
    sources = {
        "scale gain": (f"check:{check}", {n: [0.004 * f for f in force[n]] for n in names}),
        "tape scale": ("tape:T1", {n: [0.0005 * x * 150 for x in lengths] for n in names}),
        "zero": (None, {n: [0.15] * points for n in names}),
        "own 1": (
            None,
            {n: [0.003 * f + 0.3 * (TOP - x) for f, x in zip(force[n], lengths, strict=True)] for n in names},
        ),
    }
    rest = {n: [0.12] * points for n in names}
    u = {
        n: [sqrt(sum(shift[n][i] ** 2 for _, shift in sources.values()) + rest[n][i] ** 2) for i in range(points)]
        for n in names
    }
    branches = {
        n: {"length_m": lengths, "force_N": force[n], "u_N": u[n], "u95_N": [U95_OVER_U * v for v in u[n]]}
        for n in names
    }
    three = {"low": 0.1, "middle": 0.5, "top": 1.0}
    return {
        "format": "bandcurve-profile/1",
        "band": {
            "id": band,
            "flat_length_m": 1.029,
            "u_flat_length_m": 0.002,
            "rest_half_path_m": REST,
            "thickness_m": 0.0045,
            "note": "invented, never measured",
            "strands": 2,
        },
        "made": {
            "measured_at": "2026-03-01",
            "by": "invented by hand",
            "from": [{"file": f"{band}.run.csv", "sha256": None}],
        },
        "gear": {
            "scale": "garage-hook",
            "check": check,
            "tape": "T1",
            "known_loads": "plates-1",
            "fitting_diameters_m": [0.012, 0.012],
        },
        "conditions": {
            "method": "scale-in-line",
            "temperature_C": 21.0,
            "dwell_s": 10,
            "conditioned_to_m": 2.2,
            "cycles": 3,
        },
        "length": {"kind": "half-path"},
        "branches": {"loading": branches["loading"], "unloading": branches.get("unloading")},
        "factors": [
            {"source": source, "key": key, "loading_N": shift["loading"], "unloading_N": shift.get("unloading")}
            for source, (key, shift) in sources.items()
        ],
        "rest_N": {"loading": rest["loading"], "unloading": rest.get("unloading")},
        "repeatability": {
            "cycle_gain": 0.006,
            "hook_shift_m": 0.0015,
            "between_day_gain": 0.01,
            "between_day_assumed": True,
        },
        "hysteresis": None,
        "relaxation": {"percent_per_decade": 2.0, "u": 2.0, "measured": False},
        "check_load": None,
        "temperature_coefficient": {"per_K": 0.0025, "u_per_K": 0.001},
        "model": {"name": "log-rubber", "version": 1, "coefficients": {"beta": [1.0, 2.5]}},
        "budget": [{"source": "scale gain", "type": "B", "u_N": three, "share": three}],
        "findings": [{"code": "few-low-stretch", "text": "only one length below stretch 1.2"}],
    }
