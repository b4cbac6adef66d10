"""Figures and small plots for the commands that show them: readings found, figure files written."""

import sys
from collections.abc import Callable, Sequence
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, cast

from calib.errors import BandcurveError, FileError, UsageError, printable
from calib.profile.document import Profile
from calib.records import Point, Row, Run
from calib.units import G_STANDARD, SHOWN, Shown
from calib.use.report.terminal_plot import Frame, PlotSeries, plot

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from calib.use.report.figures import FigureKind

KINDS = ("png", "svg", "pdf")  # as in calib.use.report.figures, which is slow to load
HEIGHT = 15  # lines


def figure_kind(path: Path) -> "FigureKind":
    """Kind of figure by the end of a file's name.

    Raises:
        UsageError: It is none of the kinds.
    """
    kind = path.suffix.lower().removeprefix(".")
    if kind not in KINDS:
        raise UsageError(f"--figure {path.name}: not a kind of figure", remedy="end its name in .png, .svg or .pdf")
    return cast("FigureKind", kind)


def check_figure(path: Path) -> None:
    """Say at once what would fail after the work.

    Raises:
        UsageError: The name is of no kind of figure.
        FileError: There is such a file.
    """
    figure_kind(path)
    if path.exists():
        raise FileError("is there already and is not overwritten", where=str(path), remedy="choose another name")


def write_figure(profile: Profile, points: Sequence[Point], path: Path, shown: Shown = SHOWN["kg"]) -> None:
    """Draw a profile into a new file; the kind follows its name.

    Args:
        profile: The curve.
        points: The readings behind it; none draws the curve alone.
        path: The file.
        shown: Units of both axes.
    """
    from calib.safe_write import write_new
    from calib.use.report.figures import draw

    kind = figure_kind(path)
    write_new(path, draw(profile, points, kind, shown))


def save_figure(path: Path, make: "Callable[[], Figure]") -> None:
    """Draw an answer into a new file, and say so; the kind follows its name.

    Args:
        path: The file.
        make: Draws it.
    """
    from calib.safe_write import write_new
    from calib.use.report.figures import figure_bytes

    write_new(path, figure_bytes(make, figure_kind(path)))
    print(f"Figure written to {printable(path)}.", file=sys.stderr)


def points_behind(profile: Profile, path: Path) -> tuple[Point, ...] | None:
    """The readings a profile was made from, None where its runs are not to be found unchanged.

    Args:
        profile: The profile.
        path: Its file; runs are looked for beside it, in the folder above and where the user is.
    """
    from calib.acquire.files.run_file import read_run
    from calib.fit.curve.estimate import fit_runs
    from calib.scale import load_scale

    beside = (".series.csv", ".profile.json")  # told the curve more, and hold no reading of it
    files = [(f.file, f.sha256) for f in profile.made.from_ if not f.file.endswith(beside)]
    found = [(name, _unchanged(name, digest, path)) for name, digest in files]
    if not found or any(place is None for _, place in found):
        return None
    places = [place for _, place in found if place is not None]
    try:
        scales = [load_scale(p) for p in places if p.name.endswith(".json")]
        runs = [read_run(p) for p in places if not p.name.endswith(".json")]
        return fit_runs(runs, scales[-1].in_use().correction if scales else None).points
    except BandcurveError:
        return None  # the curve is drawn without its readings, and the caller says so


def _unchanged(name: str, digest: str | None, beside: Path) -> Path | None:
    """A file of that name and content."""
    if Path(name).name != name:
        return None
    for folder in (beside.parent, beside.parent.parent, Path()):
        place = folder / name
        if place.is_file() and digest in (None, sha256(place.read_bytes()).hexdigest()):
            return place
    return None


def profile_plot(profile: Profile, width: int, shown: Shown = SHOWN["kg"]) -> str:
    """Both branches as a small plot of plain characters, against what the tape reads where that is known.

    Args:
        profile: The curve.
        width: Columns.
        shown: Units of both axes.
    """
    offset = profile.half_path_less_tape
    series = [
        PlotSeries(
            sign, words, [(x - (offset or 0.0)) / shown.metre for x in branch.length_m],
            [f / shown.newton for f in branch.force_N], joined=True,
        )
        for sign, words, branch in (
            ("o", "loading", profile.branches.loading), (".", "unloading", profile.branches.unloading),
        ) if branch is not None
    ]  # fmt: skip
    along = f"{'half-path length' if offset is None else 'tape'}, {shown.length}"
    return plot(series, Frame(width, HEIGHT, along, shown.force, *_formats(shown)))


def run_plot(run: Run, width: int, shown: Shown = SHOWN["kg"]) -> str | None:
    """Readings as recorded, as a small plot; None where there are none."""
    series = []
    for sign, words, branch in (("o", "loading", "loading"), ("x", "unloading", "unloading")):
        rows = [r for r in run.readings if r.branch == branch and r.length is not None]
        pulls = [_newton(r) / shown.newton for r in rows]
        if rows:
            series.append(PlotSeries(sign, words, [(r.length or 0.0) / shown.metre for r in rows], pulls))
    return (
        plot(series, Frame(width, HEIGHT, f"tape, {shown.length}", shown.force, *_formats(shown))) if series else None
    )


def _newton(row: Row) -> float:
    return row.mass * G_STANDARD if row.mass is not None else row.force or 0.0


def _formats(shown: Shown) -> tuple[str, str]:
    """How numbers on the two axes are written."""
    return (".2f", ".0f") if shown.length == "m" else (".0f", ".0f")
