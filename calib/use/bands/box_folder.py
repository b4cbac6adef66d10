"""The bands of a box's folder that are to be measured, each by its latest run; and which folders are boxes."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from calib.acquire.files.run_file import read_run
from calib.acquire.recording.batch_plan import UNTAPED, BandToMeasure, misnamed
from calib.errors import BandcurveError
from calib.profile.store.own_files import own_files

EARLIEST = datetime(1, 1, 1, tzinfo=UTC)  # where a run does not say when it was begun
OF_A_BOX = '\n# batch = "'
HEAD_BYTES = 16_384  # a head of a run is shorter


def bands_to_measure(folder: Path) -> tuple[list[BandToMeasure], tuple[str, ...]]:
    """The bands, and what was passed over, each in a sentence without its stop."""
    found: list[BandToMeasure] = []
    said: list[str] = []
    for path in sorted(p for p in folder.glob("*.run.csv") if not p.is_fifo()):
        try:
            band = BandToMeasure(replace(read_run(path), name=path.name))
            planned = band.run.head.extensions.get("settings") and band.wanted
        except BandcurveError as error:
            said.append(f"Passed over: {error.placed_at(path.name)}")
            continue
        if planned:
            found.append(band)
    said += misnamed([(b.run.name, b.id) for b in found])
    latest = {b.id: b for b in sorted(found, key=lambda b: (b.run.head.started or EARLIEST, len(b.run.rows)))}
    return [b for b in found if latest[b.id] is b], tuple(said)


def boxes(folder: Path, mark: str = UNTAPED) -> dict[str, Path]:
    """Folders of boxes by their name as seen from here.

    Args:
        folder: Looked through with all in it.
        mark: What the head of a run holds; as it stands, boxes in which a band is still to be measured. `OF_A_BOX`
            finds all of them.
    """
    found: dict[str, Path] = {}
    for path in own_files(folder, "*.run.csv"):
        name = path.parent.relative_to(folder).as_posix()
        if name not in found and _holds(path, mark):
            found[name] = path.parent
    return found


def _holds(path: Path, mark: str) -> bool:
    try:
        with path.open("rb") as file:
            return mark.encode() in file.read(HEAD_BYTES)
    except OSError:
        return False
