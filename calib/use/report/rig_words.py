"""A rig's answer in words and as a document: what is on the bar at each height, both ways. Nothing is printed here."""

from math import degrees
from typing import Any, Literal

import numpy as np

from calib.records import Array
from calib.units import POUND, SHOWN
from calib.use.rig.rig_sum import Known
from calib.use.rig.statics import SIDES, WAYS, Answer, Direction, Way

Unit = Literal["kg", "lb"]
UNIT: dict[Unit, float] = {"kg": 1.0, "lb": POUND}
WORDS: dict[Way, str] = {"up": "going up", "down": "coming down"}
ROWS = 5  # heights in the table
TENTH = 0.1  # m


def rig_json(answer: Answer) -> dict[str, Any]:
    """The answer as other programs read it; a way that could not be told is null."""
    ways: dict[Way, Direction] = answer.ways
    return {
        "heights_m": _numbers(answer.heights),
        "gravity_m_s2": float(f"{answer.gravity:.7g}"),
        "weight_kg": float(f"{answer.rig.weight_kg:.7g}"),
        **{way: _direction_json(answer, ways[way]) if way in ways else None for way in WAYS},
        "findings": [{"code": f.code, "text": f.text} for f in answer.findings],
    }


def _direction_json(answer: Answer, direction: Direction) -> dict[str, Any]:
    load = direction.load
    return {
        "bar_load_kg": _numbers(load.value),
        "u_kg": _numbers(load.u),
        "u95_kg": _numbers(load.u95),
        "low95_kg": _numbers(load.low),
        "high95_kg": _numbers(load.high),
        "next_u95_kg": _numbers(load.next_u95),
        "band_share_of_load": [None if v <= 0 else float(f"{s:.7g}") for s, v in zip(_share(answer, direction),
                               load.value, strict=True)],
        "added_kg_per_10cm": float(f"{_added(answer, direction):.7g}"),
        "sides": {side: _side_json(direction.sides[side]) for side in SIDES},
        "left_less_right": _side_json(direction.difference),
        "bands": [
            {
                "tension_N": _numbers(pull.tension),
                "vertical_N": _numbers(pull.down),
                "sideways_N": _numbers(pull.sideways),
                "fore_N": _numbers(pull.fore),
                "angle_deg": [float(f"{degrees(a):.5g}") for a in pull.angle],
                "slack": [bool(s) for s in pull.slack],
            }
            for pull in direction.bands
        ],
    }  # fmt: skip


def _side_json(known: Known) -> dict[str, Any]:
    return {"vertical_N": _numbers(known.value), "u_N": _numbers(known.u), "u95_N": _numbers(known.u95)}


def _numbers(values: Array) -> list[float]:
    return [float(f"{v:.7g}") + 0.0 for v in values]


def _share(answer: Answer, direction: Direction) -> Array:
    """Part of the whole load at that height that comes from the bands."""
    bands = direction.load.value - answer.rig.weight_kg
    found: Array = np.divide(bands, direction.load.value, out=np.zeros_like(bands), where=direction.load.value > 0)
    return found


def _added(answer: Answer, direction: Direction) -> float:
    """Added load for 10 cm of height, from bottom to top. [kg]"""
    gained = direction.load.value[-1] - direction.load.value[0]
    return float(gained / (answer.heights[-1] - answer.heights[0]) * TENTH)


def rows(answer: Answer, way: Way, unit: Unit) -> list[tuple[str, ...]]:
    """Lines of the table of one way: height, load, both limits, left, right, share, angle."""
    direction, scale, shown = answer.ways[way], UNIT[unit], SHOWN[unit]
    found = []
    for at in np.linspace(0, len(answer.heights) - 1, ROWS).round().astype(int):
        load = direction.load
        sides = [direction.sides[side].value[at] / answer.gravity / scale for side in SIDES]
        share = 100 * _share(answer, direction)[at]
        found.append(
            (
                f"{shown.tape(answer.heights[at])} {shown.length}",
                f"{load.value[at] / scale:.1f}",
                f"{load.u95[at] / scale:.1f}",
                f"{load.next_u95[at] / scale:.1f}",
                *(f"{pull:.1f}" for pull in sides),
                f"{share:.0f} %",
                _tension(direction, at, answer.gravity * scale),
            )
        )
    return found


def _tension(direction: Direction, at: int, weight: float) -> str:
    return ", ".join(f"{p.tension[at] / weight:.1f} at {degrees(p.angle[at]):.0f} deg" for p in direction.bands)


HEADERS = ("bar at", "load", "+- mean", "+- next set", "left", "right", "bands", "tension of each, lean")


def notes(answer: Answer, unit: Unit) -> list[str]:
    """What the columns mean, one sentence each."""
    added = ", ".join(
        f"{_added(answer, d) / UNIT[unit]:+.1f} {unit} {WORDS[way]}" for way, d in answer.ways.items()
    )  # fmt: skip
    place = (
        "9.80665 m/s2, as no place was given" if answer.rig.bar.latitude_deg is None else f"{answer.gravity:.4f} m/s2"
    )
    return [
        f"Added load for each 10 cm of height, bottom to top: {added}.",
        f'All in {unit}: force over gravity ({place}). "+- mean": 95 % limit of the load as calibrated; "+- next set": '
        "of what one set may show.",
        '"left" and "right" are what the bands pull down on each side. "bands" is their share of the whole load on the '
        "bar at that height.",
        "A band may slip round its fittings or grip them; the load is for slipping, and the limits take in gripping, "
        "which pulls more.",
    ]
