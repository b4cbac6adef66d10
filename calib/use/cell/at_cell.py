"""What a recording keeps of the load cell that takes its readings, and what may go on with it. No port is opened."""

from collections.abc import Callable
from dataclasses import replace
from math import hypot, sqrt
from pathlib import Path
from typing import Any

from calib.acquire.points.held import Grip
from calib.acquire.recording.state import Recording
from calib.errors import DataError
from calib.records import RunHead
from calib.scale import U_CELL_UNCHECKED, UNNAMED_CELL, Scale
from calib.use.ask.given import Given
from calib.use.cell.cell_line import CellLine

HAND_S = 6.0  # the mean of 4 to 8 s


def refuse_another_kind(state: Recording, path: Path, line: CellLine, *, by_sweeps: bool) -> None:
    """Rows in newton and in bare counts, held and swept, of one sign and the other do not go together.

    Raises:
        DataError: What is to go on was recorded in another way; says with which options it goes on.
    """
    run, cell = state.run, _cell(state.head)
    what = remedy = ""
    if run.readings and line.meter.in_counts != all(r.force is None for r in run.readings):
        what = "was recorded with a scale's file" if line.meter.in_counts else "was recorded in counts"
        remedy = "give that file with --scale" if line.meter.in_counts else "leave --scale out, and give it to fit"
    elif by_sweeps != bool(cell.get("sweep")):
        what = "was recorded at held lengths" if by_sweeps else "was recorded by sweeps"
        remedy = "leave --sweep and --speed out" if by_sweeps else "give --sweep or --speed as before"
    elif line.meter.reversed != bool(cell.get("reversed")):
        what = "was recorded reversed"
        remedy = "leave --reversed out" if line.meter.reversed else "give --reversed"
    if what:
        raise DataError(what, where=str(path), remedy=remedy)


def grip_of(head: RunHead, given: Grip) -> Grip:
    """What fixes the length in a run that goes on: what fixed it before."""
    before = _cell(head).get("grip")
    return "hand" if before == "hand" else "strap" if before == "strap" else given


def _cell(head: RunHead) -> dict[str, Any]:
    kept = head.extensions.get("cell")
    return kept if isinstance(kept, dict) else {}


def unit_of(line: CellLine) -> str:
    """The unit in which a line's readings are shown: its own, kilos where it has none."""
    return "lb" if line.unit in ("lb", "lbf", "oz") else "N" if line.unit in ("N", "kN") else "kg"


def without_file(line: CellLine, capacity: float) -> Scale:
    """A scale that has no file: what the line tells, and how much it takes. [N]"""
    step = 0.0 if line.meter.in_counts else line.meter.step
    fields = {"format": "bandcurve-scale/1", "id": UNNAMED_CELL, "kind": "load-cell", "resolution_N": step}
    return Scale.model_validate({**fields, "capacity_N": capacity})


def with_line(given: Given, line: CellLine, scale: Scale | None, grip: Grip, *, by_sweeps: bool) -> Given:
    """What is known before the first question of a recording at a load cell."""
    unit = unit_of(line)
    if unit == "kg" and scale is not None and scale.shown_unit:
        unit = scale.shown_unit
    form = line.listening.format
    cell: dict[str, str | bool] = {
        "grip": grip,
        "line": form.described() if form else "",
        "unit": line.unit or "counts",
    }
    if line.meter.reversed:
        cell["reversed"] = True
    dwell = given.dwell_s if given.dwell_s is not None else (HAND_S if grip == "hand" else None)
    if by_sweeps:
        cell["sweep"], dwell = True, 0.0
    answers = {"way": "level", **given.answers}
    return replace(given, answers=answers, scale=scale, force_unit=unit, cell=cell, dwell_s=dwell)


def u_sensor_of(head: RunHead, scale: Scale | None) -> Callable[[float], float]:
    """Standard uncertainty of a pull from the sensor: of its check, or of a cell never checked."""
    used = head.scale
    if used is not None and used.correction is not None:
        covariance = used.correction.covariance

        def checked(pull: float) -> float:
            row = (0.0, pull, pull * pull)
            return sqrt(max(sum(row[i] * covariance[i][j] * row[j] for i in range(3) for j in range(3)), 0.0))

        return checked
    gain = 0.006 if used is None or used.u_gain is None else used.u_gain
    zero = U_CELL_UNCHECKED * (scale.capacity_N or 0.0) if scale else 0.0
    return lambda pull: hypot(gain * pull, zero)
