"""From runs to a profile on the disk: fitted, named, never written over another calibration.

Used by whatever ends with kilos: the commands, a recording that is done, the page.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from calib import __version__
from calib.errors import BandcurveError, DataError, UsageError
from calib.safe_write import new_folder
from calib.system import is_taken
from calib.use.ask.head import CARRIED

if TYPE_CHECKING:
    from calib.profile.document import Profile
    from calib.records import Correction, Fit, Run, RunHead

SERIES = ".series.csv"
Runs = list[tuple[Path, "Run"]]


def calibrate_recording(path: Path) -> tuple["Run", "Fit", "Profile", Path]:
    """Fit a recording that is done, and what it carries along of a quick look.

    Args:
        path: The run.

    Returns:
        The run, the fit, the profile, and where it was written.

    Raises:
        DataError: There are too few readings to fit.
    """
    from calib.acquire.files.run_file import read_run

    run = read_run(path)
    return run, *_fitted([*_carried(run, path.parent), (path, run)], path.parent)


def todays_quick_look(head: "RunHead", folder: Path) -> "Run | None":
    """The quick look of the same band, taken the same way on the same day; None where there is none."""
    from calib.acquire.files.run_file import read_run

    day = head.started.date() if head.started else None
    if head.extensions.get("quick"):
        return None
    for path in sorted(folder.glob(f"{head.band.id}.*run.csv"), reverse=True):
        try:
            before = read_run(path)
        except BandcurveError:
            continue
        same = before.head.band.id == head.band.id and before.head.procedure.method == head.procedure.method
        today = before.head.started is not None and before.head.started.date() == day
        if same and today and before.head.extensions.get("quick") and before.readings:
            return before
    return None


def carrying(head: "RunHead", quick_look: "Run") -> "RunHead":
    """The head of a run that carries a quick look along."""
    return replace(head, extensions=head.extensions | {CARRIED: quick_look.name})


def _carried(run: "Run", folder: Path) -> Runs:
    """The quick look whose readings are carried along, where it is still there."""
    from calib.acquire.files.run_file import read_run

    name = run.head.extensions.get(CARRIED)
    if not isinstance(name, str) or Path(name).name != name or not (folder / name).is_file():
        return []
    try:
        return [(folder / name, read_run(folder / name))]
    except BandcurveError:
        return []


def _fitted(runs: Runs, folder: Path) -> tuple["Fit", "Profile", Path]:
    """The fit of all runs; of the last alone where they do not go together."""
    try:
        return fit_and_save(runs, folder, None, [], set(), grown=True)
    except DataError:
        if len(runs) == 1:
            raise
        return fit_and_save(runs[-1:], folder, None, [], set())


def fit_and_save(
    group: Sequence[tuple[Path, "Run"]],
    out: Path,
    correction: "Correction | None",
    extra: Sequence[tuple[str, str]],
    dropped: set[tuple[str, int]],
    told: Callable[["Profile"], "Profile"] | None = None,
    *,
    grown: bool = False,
) -> tuple["Fit", "Profile", Path]:
    """Fit the runs of one band and write its profile.

    Args:
        group: The runs with their files.
        out: Folder for the profile.
        correction: A check of the scale to use instead of what the runs say; None keeps theirs.
        extra: Further files the fit rests on, each with its hash.
        dropped: Readings to leave out, as (run name, row number).
        told: What else is known of the band, worked into its profile; None for nothing.
        grown: Whether a profile of fewer of these runs is written over.

    Returns:
        The fit, the profile, and where it was written.
    """
    from calib.fit.curve.estimate import fit_runs

    fit = fit_runs([run for _, run in group], correction, dropped)
    return fit, *save_fit(fit, out, extra, told, grown=grown)


def save_fit(
    fit: "Fit",
    out: Path,
    extra: Sequence[tuple[str, str]],
    told: Callable[["Profile"], "Profile"] | None = None,
    *,
    grown: bool = False,
) -> tuple["Profile", Path]:
    """Write the profile of a fit.

    Args:
        fit: Of one band.
        out: Folder for the profile.
        extra: Further files the fit rests on, each with its hash.
        told: What else is known of the band, worked into its profile; None for nothing.
        grown: Whether a profile of fewer of the same runs is written over.

    Returns:
        The profile, and where it was written.
    """
    from calib.profile.build import profile_of
    from calib.profile.document import save_profile

    profile = profile_of(fit, f"bandcurve {__version__}", extra)
    if told is not None:
        profile = told(profile)
    with new_folder(out):
        path = _place_of(profile, out, grown=grown)
        save_profile(profile, path)
    return profile, path


def _place_of(profile: "Profile", out: Path, *, grown: bool = False) -> Path:
    """Where to write: over a profile of the same runs, else beside it with the date in the name.

    Args:
        profile: To be written.
        out: The folder.
        grown: Whether a profile of the same day and of fewer of the runs is written over too.
    """
    name, day = profile.band.id, profile.made.measured_at
    candidates = [f"{name}.profile.json", f"{name}.{day}.profile.json" if day else f"{name}.2.profile.json"]
    candidates += [f"{name}.{day}-{i}.profile.json" if day else f"{name}.{i + 1}.profile.json" for i in range(2, 100)]
    for candidate in candidates:
        path = out / candidate
        if not is_taken(path) or (path.exists() and _replaced_by(profile, path, grown=grown)):
            return path
    raise UsageError(f"{out} holds a hundred profiles of {name} already", remedy="choose another --out")


def _replaced_by(profile: "Profile", path: Path, *, grown: bool) -> bool:
    from calib.profile.document import load_profile

    def runs(of: "Profile") -> set[str]:
        return {f.file for f in of.made.from_ if f.file.endswith(".csv") and not f.file.endswith(SERIES)}

    old = load_profile(path)
    same = runs(old) == runs(profile) or (grown and bool(runs(old)) and runs(old) < runs(profile))
    return same and old.made.measured_at == profile.made.measured_at
