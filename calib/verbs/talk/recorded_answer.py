"""After the last reading: fit, save the profile, and the kilos in at most a dozen lines."""

import re
import shlex
from collections.abc import Sequence
from pathlib import Path

from calib.acquire.recording.course import UNTIL
from calib.acquire.recording.state import Recording
from calib.acquire.recording.typed_entry import number_in_unit
from calib.finding import Finding
from calib.records import Run, RunHead
from calib.units import FORCE
from calib.use.bands.calibrate import calibrate_recording
from calib.use.report.recorded_words import Recorded, recorded_words
from calib.verbs.terminal.plain_text import sentence, wrap

FEW = frozenset(("few-lengths", "few-low-stretch", "no-unloading", "one-cycle"))  # to be expected of a short run
NOT_ASKED = frozenset(("no-temperature", "thickness-assumed", "scale-unchecked"))  # said below, or by `show`
_PLACE = re.compile(r"^\S+\.run\.csv:\d+: ")
MOST_LINES = 3  # of the first doubt; the others are counted
Runs = list[tuple[Path, Run]]


def recorded_answer(path: Path, state: Recording, port: str = "") -> str:
    """Fit a recording, save its profile, and put the pull into words.

    Args:
        path: The run.
        state: The same, as it was recorded.
        port: Of the load cell that took the readings, empty where they were typed.

    Raises:
        DataError: There are too few readings to fit.
    """
    run, fit, profile, saved = calibrate_recording(path)
    told = Recorded(run, profile, shlex.quote(str(saved)), state.course)
    said = _doubts(fit.findings, run.head, told.file)
    return "\n".join(wrap(line) for line in recorded_words(told, said, _next(told, path, port)))


def _doubts(findings: Sequence[Finding], head: RunHead, file: str) -> list[str]:
    """The first doubt in full where it is short, and how many more there are; what was asked for is none."""
    asked_for = FEW if head.extensions.get("quick") or UNTIL in head.extensions else frozenset()
    found = [f for f in findings if f.code not in asked_for | NOT_ASKED]
    if not found:
        return []
    more = len(found) - 1
    first = wrap(sentence(_PLACE.sub("", found[0].text)))
    if first.count("\n") >= MOST_LINES:
        return [f"{len(found)} remark{'s' * (more > 0)} on it: bandcurve show {file}"]
    return [first, *([f"{more} more remark{'s' * (more > 1)}: bandcurve show {file}"] if more else [])]


def _next(told: Recorded, path: Path, port: str) -> list[str]:
    """What to do next: the full run after a quick look; a check of a scale that never had one."""
    name, head = told.profile.band.id, told.run.head
    if head.extensions.get("quick"):
        more = f"  bandcurve record {name}{_out(path)}"
        return [f"Saved in {told.file}. For the full measurement, keeping these readings (15 minutes):", more]
    return [f"Saved in {told.file}; all of it: bandcurve show {told.file}", *_scale_check(told, path, port)]


def _out(path: Path) -> str:
    return "" if path.parent == Path() else f" --out {shlex.quote(str(path.parent))}"


def _scale_check(told: Recorded, path: Path, port: str) -> list[str]:
    """A scale never checked is mostly what limits the kilos; its check serves what was recorded already."""
    scale, course = told.run.head.scale, told.course
    if scale is None or scale.check is not None or scale.correction is not None or course.capacity is None:
        return []
    unit, file = course.force_unit, shlex.quote(str(path.parent / f"{scale.id}.scale.json"))
    step, most = (number_in_unit(x, unit, FORCE) for x in (scale.resolution, course.capacity))
    kind = "--kind load-cell" if port else f"--locks {scale.locks}"
    return [
        f"For tighter limits check the scale, now or later; then: bandcurve fit {shlex.quote(str(path))} "
        f"--scale {file}",
        f"  bandcurve scale new {scale.id} {kind} --resolution {step}{unit} --capacity {most}{unit}",
        f"  bandcurve scale check {file}{f' --port {port}' if port else ''}",
    ]
