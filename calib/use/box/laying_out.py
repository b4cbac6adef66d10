"""A box of bands as a folder: one plan, an empty run for each band, labels to print."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from calib.errors import DataError

if TYPE_CHECKING:
    from calib.records import RunHead
    from calib.use.report.sheet import Paper

LABELS = "labels.pdf"


def for_all(base: "RunHead", name: str) -> "RunHead":
    """What holds for every band of the box of that name."""
    band = replace(base.band, batch=name, mass=None)
    return replace(base, band=band, length=replace(base.length, tape=f"{name}-tape"))  # one tape for all of them


def refuse_other_runs(folder: Path) -> None:
    """Say that a folder holds runs already.

    Raises:
        DataError: It does.
    """
    if folder.is_dir() and any(folder.glob("*.run.csv")):
        raise DataError(
            "holds runs already",
            where=str(folder),
            remedy=f"continue with: bandcurve batch record {folder}; or choose another name",
        )


def write_all(made: "list[RunHead]", folder: Path, full: int, paper: "Paper") -> None:
    """All files of the box; where the disk takes only some of them, none, or the box could not be made again."""
    from contextlib import suppress

    try:
        for head in made:
            _write(head, folder)
        _labels(made, folder, full, paper)
    except BaseException:
        for head in made:
            with suppress(OSError):
                (folder / f"{head.band.id}.run.csv").unlink()  # there was no run in the folder before
        with suppress(OSError):  # not where something else lies in it
            folder.rmdir()
        raise


def _write(head: "RunHead", folder: Path) -> None:
    from calib.acquire.recording.new_file import new_writer
    from calib.acquire.recording.state import Recording

    new_writer(folder / f"{head.band.id}.run.csv", Recording(head)).close()


def _labels(made: "list[RunHead]", folder: Path, full: int, paper: "Paper") -> None:
    from calib.safe_write import write_atomically
    from calib.use.report.labels import Label, labels_pdf

    labels = [Label(head.band.id, "measure in full" if i < full else "") for i, head in enumerate(made)]
    write_atomically(folder / LABELS, labels_pdf(labels, paper))
