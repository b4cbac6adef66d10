"""The file of a new recording: its name, its head and its columns. What is recorded is not known here."""

import time
from collections.abc import Sequence
from pathlib import Path

from calib.acquire.files.run_file import RunWriter, columns_for, format_head
from calib.acquire.recording.course import PIECES
from calib.acquire.recording.state import Recording
from calib.system import is_taken


def write_whole(path: Path, state: Recording) -> RunWriter:
    """A new file with the whole recording so far."""
    writer = new_writer(path, state)
    for row in state.rows:
        writer.append(row)
    return writer


def new_writer(path: Path, state: Recording) -> RunWriter:
    """A new file with the head of a recording."""
    return RunWriter.create(path, state.head, _columns(state))


def head_text(state: Recording) -> str:
    """What a file of the recording without rows holds."""
    return format_head(state.head) + ",".join(_columns(state)) + "\n"


def _columns(state: Recording) -> Sequence[str]:
    course = state.course
    in_file = {"kg": "kgf", "lb": "lbf"}.get(course.force_unit, course.force_unit)
    mass_unit = course.force_unit if state.hung else None
    kept = state.head.extensions
    return columns_for(course.length_unit, in_file, mass_unit, cell="cell" in kept, pieces=PIECES in kept)


def free_name(folder: Path, band: str) -> Path:
    """A name for a new run of a band that is not taken yet."""
    if not folder.is_dir():
        folder.mkdir(parents=True, exist_ok=True)
    day = time.strftime("%Y-%m-%d")
    names = [f"{band}.run.csv", f"{band}.{day}.run.csv", *(f"{band}.{day}-{i}.run.csv" for i in range(2, 1000))]
    return next(folder / name for name in names if not is_taken(folder / name))
