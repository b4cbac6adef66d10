"""The short answer after a quick look: kilos at the lengths just measured, with how far they may be off."""

from pathlib import Path

from calib.acquire.files.run_file import read_run
from calib.acquire.recording.course import Course
from calib.acquire.recording.plan import geometry_of
from calib.acquire.recording.typed_entry import place_words
from calib.profile.table import estimate, tested_range
from calib.units import FORCE, LENGTH
from calib.verbs.fit import fit_and_save
from calib.verbs.terminal.plain_text import table


def first_answer(path: Path, out: Path, course: Course) -> str:
    """Fit a quick recording, save its profile, and put the pull into words.

    Args:
        path: The run.
        out: Folder for the profile.
        course: For the user's units.

    Raises:
        DataError: There are too few readings to fit.
    """
    run = read_run(path)
    _, profile, saved = fit_and_save([(path, run)], out, None, [], set())
    loading = profile.branches.loading
    geometry = geometry_of(run.head.band, run.head.length)
    unit, low_high = FORCE[course.force_unit], tested_range(loading)
    rows = []
    for taped in sorted({r.length for r in run.readings if r.length is not None and r.branch == "loading"}):
        half_path = min(max(taped + geometry.offset, low_high[0]), low_high[1])
        at = estimate(loading, half_path)
        digits = 1 if at.force / unit >= 10 else 2
        rows.append(
            (
                place_words(taped, course, LENGTH),
                f"{geometry.stretch(taped):.2f}",
                f"{at.force / unit:.{digits}f}",
                f"{at.u95 / unit:.{digits}f}",
            )
        )
    headers = ("set at", "x flat", f"pull, {course.force_unit}", "give or take")
    return "\n".join(
        [
            f"Band {profile.band.id}, a first look (way out only, one pull; 95 % limits):",
            table(headers, rows, "  "),
            "",
            f"Written to {saved}. For narrower limits and the way back:",
            f"  bandcurve record {profile.band.id}",
        ]
    )
