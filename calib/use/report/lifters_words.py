"""Several lifters' loads as one table and one document. Nothing is worked out or printed here."""

from collections.abc import Sequence
from typing import Any

from calib.units import SHOWN
from calib.use.report.rig_words import UNIT, Unit, rig_json
from calib.use.rig.lifters import Lifted
from calib.use.rig.statics import WAYS, Answer, Way

HEADERS = ("lifter", "bottom", "top", "up: bottom", "middle", "top", "down: bottom", "middle", "top", "+- mean",
           "+- next set")  # fmt: skip

_OWN = "bar-may-lift", "rig-disagrees", "band-slack", "outside-tested", "over-working-stretch"


def lifters_rows(all_lifted: Sequence[Lifted], unit: Unit) -> list[tuple[str, ...]]:
    """One line a lifter: loads at bottom, middle and top, both ways, and the widest limits along the lift."""
    shown = SHOWN[unit]
    found = []
    for lifted in all_lifted:
        ends = (f"{shown.tape(h)} {shown.length}" for h in (lifted.lifter.bottom, lifted.lifter.top))
        cells = ["-"] * 8 if lifted.answer is None else _cells(lifted.answer, UNIT[unit])
        found.append((lifted.lifter.name, *ends, *cells))
    return found


def _cells(answer: Answer, scale: float) -> list[str]:
    loads = [text for way in WAYS for text in _three(answer, way, scale)]
    wide = [max(float(getattr(d.load, name).max()) for d in answer.ways.values()) for name in ("u95", "next_u95")]
    return [*loads, *(f"{w / scale:.1f}" for w in wide)]


def _three(answer: Answer, way: Way, scale: float) -> list[str]:
    direction = answer.ways.get(way)
    count = len(answer.heights)
    places = (0, count // 2, count - 1)
    return ["-"] * 3 if direction is None else [f"{direction.load.value[at] / scale:.1f}" for at in places]


def doubts(lifted: Lifted) -> list[str]:
    """Why a lifter cannot be told, or where a band is slack or untested, or the bar may fly up, for this one."""
    told = lifted.answer.findings if lifted.answer else ()
    own = [f.text for f in told if f.code in _OWN]
    return [f"{lifted.lifter.name}: {text}" for text in ([lifted.error] if lifted.error else own)]


def lifters_json(all_lifted: Sequence[Lifted]) -> dict[str, Any]:
    """The document: each lifter's answer as `rig --json` prints it, null with the reason where there is none."""
    return {
        "lifters": [
            {
                "lifter": lifted.lifter.name,
                "bottom_m": lifted.lifter.bottom,
                "top_m": lifted.lifter.top,
                "answer": None if lifted.answer is None else rig_json(lifted.answer),
                "error": lifted.error or None,
            }
            for lifted in all_lifted
        ]
    }
