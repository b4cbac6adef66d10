"""Invented bands and rigs, never measured: a band that pulls along a straight line, and rigs."""

import json
from typing import Any

from calib.profile.document import Profile, parse_profile
from calib.use.rig.rig_file import Rig, parse_rig
from tests.profile.invented import document

REST, STIFFNESS = 1.0, 200.0  # m, N/m
LONGEST = 3.2  # m


def linear(
    band: str = "LINE", power: float = 1.0, stiffness: float = STIFFNESS, lost: float = 0.0, **changes: Any
) -> Profile:
    """A band of 200 N/m, the same while unloading, read at the tempo it is used at; or a power of its extension.

    `lost` is the part of the pull that is missing halfway back.
    """
    made = document(band, points=441)
    lengths = [round(1.0 + (LONGEST - 1.0) * i / 440, 6) for i in range(441)]
    force = [stiffness * (x - REST) ** power for x in lengths]
    factors = {"scale gain": [0.004 * f for f in force], "zero": [0.15] * 441, "own": [0.003 * f for f in force]}
    u = [(sum(v[i] ** 2 for v in factors.values()) + 0.1**2) ** 0.5 for i in range(441)]
    branch = {"length_m": lengths, "force_N": force, "u_N": u, "u95_N": [1.959964 * v for v in u]}
    back = [f * (1 - 2 * lost * (LONGEST - x) / (LONGEST - REST)) for f, x in zip(force, lengths, strict=True)]
    made["band"] |= {"flat_length_m": 1.0, "rest_half_path_m": REST, "thickness_m": 0.0045}
    made["branches"] = {"loading": branch, "unloading": branch | {"force_N": back}}
    made["factors"] = [
        {"source": name, "key": "check:x" if name == "scale gain" else None, "loading_N": v, "unloading_N": v}
        for name, v in factors.items()
    ]
    made["rest_N"] = {"loading": [0.1] * 441, "unloading": [0.1] * 441}
    made["relaxation"] = {"percent_per_decade": 0.0, "u": 0.0, "measured": True}
    return parse_profile(json.dumps(made | changes).encode(), band)


def band_text(arrangement: str = "straight", anchor_mm: float = 100, side: str = "left", **more: object) -> str:
    """One [[band]]; `more` are further keys, `source` is `from`."""
    keys: dict[str, object] = {"profile": "B.profile.json", "from": more.pop("source", "below")}
    keys |= {"side": "both" if arrangement == "across" else side, "arrangement": arrangement}
    keys |= {"anchor_height_mm": anchor_mm, "anchor_diameter_mm": 50, "sleeve_diameter_mm": 50} | more
    return "[[band]]\n" + "".join(f"{key} = {json.dumps(value)}\n" for key, value in keys.items())


def rig_text(*bands: str, bottom: float = 1000, top: float = 1300, bar: str = "", anchor: str = "") -> str:
    """A rig file."""
    head = f'format = "bandcurve-rig/1"\n[bar]\nmass_kg = 20\nplates_kg = 40\nbottom_mm = {bottom}\ntop_mm = {top}\n'
    return (
        head
        + f"latitude_deg = 45\naltitude_m = 0\ntempo_s = 10\ntemperature_C = 21\n{bar}\n{anchor}\n"
        + "".join(bands)
    )


def rig(*bands: str, **more: Any) -> Rig:
    """A rig of its text."""
    return parse_rig(rig_text(*bands, **more).encode(), "made.rig.toml")
