"""What a recording asks for next and what it has, as a page shows it: words and figures. Nothing is decided here."""

from typing import Any

from calib.acquire.recording.course import PIECES, Slot, geometry
from calib.acquire.recording.machine import CHANGEABLE
from calib.acquire.recording.state import Recording
from calib.acquire.recording.typed_commands import row_words
from calib.acquire.recording.typed_entry import number_in_unit, place_words
from calib.records import Row
from calib.units import FORCE, G_STANDARD, LENGTH
from calib.use.paper.readings_svg import readings_svg
from calib.use.report.drawings import NAMES, drawing

MOVE_S = 10.0  # to set the next length, as at the terminal


def recording_view(state: Recording) -> dict[str, Any]:
    """All that is shown of a recording, whoever looks."""
    slot = state.slot
    return {
        "band": state.head.band.id,
        "done": slot is None,
        "asks": None if slot is None else next_step_view(state, slot),
        "question": state.pending is not None,
        "rows": [_row(state, row) for row in state.rows if row.kind not in ("strike", "chosen", "planned", "enough")],
        "progress": "" if slot is None else _progress(state, slot),
        "picture": readings_svg(state) if state.run.readings else "",
    }


def tape_drawing(state: Recording) -> str:
    """Where the tape goes, or what hangs where; "" where there is no drawing of it."""
    name = "hung-weight" if state.hung else state.head.length.kind
    return drawing(name) if name in NAMES else ""


def _row(state: Recording, row: Row) -> dict[str, Any]:
    words = row_words(state, row).removesuffix("  (struck)").split(maxsplit=1)[1]
    stands = row.number not in state.run.struck and row.kind != "gap"
    return {
        "number": row.number,
        "words": words,
        "struck": row.number in state.run.struck,
        "may_strike": stands,
        "may_change": stands and row.kind in CHANGEABLE and row.n is None,
        "may_again": stands and row.kind == "reading",
    }


def next_step_view(state: Recording, slot: Slot) -> dict[str, Any]:
    """What comes next: words and figures, large and small."""
    course, reading = state.course, slot.kind == "reading"
    reads_length = slot.kind == "flat" or (state.hung and reading)
    label = f"Tape reads, {course.length_unit}" if reads_length else f"Scale reads, {course.force_unit}"
    return {
        "kind": slot.kind,
        "task": _task(state, slot),
        "place": _place(state, slot),
        "aside": _aside(state, slot),
        "label": label,
        "hold_s": course.dwell_s if reading else 0.0,
        "move_s": MOVE_S if reading else 0.0,
    }


def _progress(state: Recording, slot: Slot) -> str:
    """How far it has got."""
    if slot.kind != "reading":
        return ""
    readings = [i for i, s in enumerate(state.slots) if s.kind == "reading"]
    of = "" if state.course.asked is not None else f" of {len(readings)}"
    return f"reading {readings.index(state.index) + 1}{of}, cycle {slot.cycle}"


def _place(state: Recording, slot: Slot) -> str:
    """The figure to be read from three metres off."""
    course = state.course
    if slot.kind == "check-load" and state.head.check_load is not None:
        return _mass(state, state.head.check_load.mass)
    if slot.kind != "reading" or slot.setting is None:
        return ""
    return _mass(state, slot.setting) if state.hung else place_words(slot.setting, course, LENGTH)


def _mass(state: Recording, kilogram: float) -> str:
    unit = state.course.force_unit
    return f"{number_in_unit(kilogram * G_STANDARD, unit, FORCE)} {unit}"


def _task(state: Recording, slot: Slot) -> str:
    on_scale = state.head.procedure.method == "anchor-on-scale"
    if slot.kind == "zero":
        slack = "Band slack, weight on the scale." if on_scale else "Band slack."
        return f"{slack} Read the scale" if slot.closing or on_scale else f"{slack} Zero the scale, then read it"
    if slot.kind == "check-load":
        return "Put the known plate beside the weight" if on_scale else "Hang the known plate alone"
    if slot.kind == "flat":
        return "Lay the band flat and measure it again"
    if state.hung:
        return "Hang this" if slot.branch == "loading" else "Take plates off, down to this"
    return "Set this length" if slot.branch == "loading" else "Come back to this length"


def _aside(state: Recording, slot: Slot) -> str:
    if slot.kind == "zero" and slot.closing:
        return "As at the start. Do not zero the scale."
    if slot.kind == "flat":
        return "End to end, without pulling. Skip it if you cannot."
    if slot.kind != "reading" or slot.setting is None:
        return ""
    if state.hung:
        names = (state.head.extensions.get(PIECES) or {}).get(f"{slot.setting:.6g}")
        return " + ".join(names) if names else ""
    stretch = f"{geometry(state.head).stretch(slot.setting):.2f} times the flat length."
    if slot.branch == "loading":
        anew = "Unhook the band, hook it on again. " if _begins_cycle(state, slot) else ""
        return f"{anew}{stretch} Come to it from the shorter side."
    return f"{stretch} {_from_beyond(state, slot)}"


def _begins_cycle(state: Recording, slot: Slot) -> bool:
    before = state.slots[state.index - 1] if state.index else None
    return bool(before and before.kind == "reading" and (before.cycle or 0) < (slot.cycle or 0))


def _from_beyond(state: Recording, slot: Slot) -> str:
    """How a length of the unloading branch is come to; from a slack band first out beyond it."""
    before = state.run.readings[-1] if state.run.readings else None
    if before is not None and (before.length or 0.0) > (slot.setting or 0.0):
        return "Come to it from the longer side."
    top = max((r.length or 0.0 for r in state.run.readings), default=slot.setting or 0.0)
    return f"First pull out to {place_words(top, state.course, LENGTH)}, then come back to it."
