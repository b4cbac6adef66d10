"""The walk of one number in DEVELOPERS.md is that of the code and of the sample run."""

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from calib.acquire.files.run_file import read_run
from calib.fit.curve.estimate import fit_runs
from calib.half_path import offset_over
from calib.profile.document import Profile, load_profile
from calib.records import Fit, Point, Row
from calib.units import kilos

ROOT = Path(__file__).parents[1]
LINE = 45


@dataclass(frozen=True)
class Walk:
    """What the code makes of that line, and what the page says."""

    text: str
    row: Row
    offset: float  # [m]
    point: Point
    fit: Fit
    profile: Profile

    def at(self, values: np.ndarray) -> float:
        """A value on the loading grid where the reading lies."""
        return float(np.interp(self.point.length, self.fit.curve.loading.length, values))


@pytest.fixture(scope="module")
def walk() -> Walk:
    run = read_run(ROOT / "sample_runs" / "KNEE.run.csv")
    fit = fit_runs([run])
    (row,) = [r for r in run.rows if r.line == LINE]
    (point,) = [p for p in fit.points if p.line == LINE]
    offset = offset_over(run.head.length.kind, run.head.length.fitting_diameters, run.head.band.thickness)
    profile = load_profile(ROOT / "sample_runs" / "KNEE.profile.json")
    return Walk((ROOT / "DEVELOPERS.md").read_text("utf-8"), row, offset, point, fit, profile)


def test_the_line_stands_in_the_run(walk: Walk) -> None:
    line = (ROOT / "sample_runs" / "KNEE.run.csv").read_text("utf-8").splitlines()[LINE - 1]
    assert f"Line {LINE} of `sample_runs/KNEE.run.csv`: `{line}`" in walk.text


def test_the_numbers_of_the_reading_are_as_written(walk: Walk) -> None:
    assert (
        f'Row(number={walk.row.number}, cycle=1, branch="loading", length=1.4, force={walk.row.force:.3f}' in walk.text
    )
    assert f"= {1000 * walk.offset:.2f} mm is added" in walk.text
    assert f"half-path length {walk.point.length:.4f} m" in walk.text
    assert f"pull {walk.point.force:.3f} N" in walk.text


def test_the_numbers_of_the_curve_are_as_written(walk: Walk) -> None:
    used = walk.profile.predict(round(walk.point.length, 4)).loading  # as typed on the page
    gain = next(f for f in walk.fit.curve.factors if f.source == "scale gain")
    u = walk.at(walk.fit.curve.loading.u)
    assert f"one of {len(walk.fit.points)} readings" in walk.text
    assert f"is {walk.point.curve:.2f} N" in walk.text
    assert f"{-walk.point.studentised:.1f} of its own standard deviations low" in walk.text
    assert [p.row for p in walk.fit.points if not p.used] == [20]
    assert f"u = {u:.2f} N, three tenths of its square" in walk.text
    assert (walk.at(gain.loading) / u) ** 2 == pytest.approx(0.31, abs=0.05)
    assert used is not None
    assert f"straight lines give {used.force:.2f} N there" in walk.text
    assert abs(used.force - walk.point.curve) < 0.1 * used.u
    mean, wide = kilos(used.u95), kilos(walk.profile.u95_next(used))
    assert f"{kilos(used.force)}, mean +- {mean}, next set {wide}" in walk.text
    drawn = walk.profile.force(walk.point.length)
    assert f"(1.414 m, {kilos(walk.point.force)})" in walk.text
    assert f"and at {kilos(walk.point.force - drawn)} in the panel below" in walk.text


def test_every_file_named_on_the_page_is_there(walk: Walk) -> None:
    """A path with a folder is that of a module or of the project; a bare name is that of a module somewhere."""
    modules = {path.name for path in (ROOT / "calib").rglob("*.py")} | {
        path.name for path in (ROOT / "tests").rglob("*")
    }
    gone = []
    for name in re.findall(r"`([\w./]+\.(?:py|md|c))`", walk.text):
        places = [ROOT / name, ROOT / "calib" / name]
        if not any(place.is_file() for place in places) and ("/" in name or name not in modules):
            gone.append(name)
    assert not gone


def test_every_campaign_named_in_the_docs_is_there() -> None:
    pages = [*(ROOT / "docs").glob("*.md"), ROOT / "DEVELOPERS.md", ROOT / "firmware_notes" / "README.md"]
    names = {
        name
        for page in pages
        for name in re.findall(r"-m (tests\.[a-z_.]*[a-z_])\b(?!\.[A-Z])", page.read_text("utf-8"))
    }
    assert names
    files = {name: ROOT / name.replace(".", "/") for name in names}
    assert not [n for n, f in files.items() if not f.with_suffix(".py").is_file() and not (f / "__main__.py").is_file()]


def test_every_file_that_the_code_speaks_of_is_there() -> None:
    there = {path.name for path in (*(ROOT / "calib").rglob("*.py"), *(ROOT / "tests").rglob("*.py"))}
    gone = [
        f"{path.relative_to(ROOT)}: {name}"
        for path in (ROOT / "calib").rglob("*.py")
        for name in re.findall(r"\b(\w+\.py)\b", path.read_text("utf-8"))
        if name not in there
    ]
    assert not gone


def test_every_folder_of_the_listing_is_there(walk: Walk) -> None:
    listing = walk.text.split("```")[1]
    drawn = set(re.findall(r"(\w+)/", listing)) - {"calib"}
    there = {path.name for base in ("calib", "tests", ".") for path in (ROOT / base).rglob("*") if path.is_dir()}
    assert drawn <= there
    rooms = {
        p.parent.name for p in (ROOT / "calib").rglob("*.py") if p.parent.name not in ("calib", "static", "templates")
    }
    assert rooms <= drawn
