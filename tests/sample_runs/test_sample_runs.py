"""The invented sample runs lead to the profiles kept beside them, and are what the generator makes."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from calib.acquire.files.run_file import read_run
from calib.fit.curve.estimate import fit_runs
from calib.profile.build import profile_of
from calib.profile.document import Profile, load_profile

FOLDER = Path(__file__).parents[2] / "sample_runs"
BANDS = ("KNEE", "LONG", "THIN")
FORCE = 3e-4  # relative: far below any uncertainty here, above what another build of the numerics changes
U = 0.01  # relative


def fitted(band: str) -> Profile:
    return profile_of(fit_runs([read_run(FOLDER / f"{band}.run.csv")]), "a test")


@pytest.mark.parametrize("band", BANDS)
def test_a_sample_run_leads_to_its_expected_profile(band: str) -> None:
    now, expected = fitted(band), load_profile(FOLDER / f"{band}.profile.json")
    for name in ("loading", "unloading"):
        mine, theirs = now.branch(name), expected.branch(name)
        assert (mine is None) == (theirs is None)
        if mine is None or theirs is None:
            continue
        assert mine.length_m[0] == pytest.approx(theirs.length_m[0], abs=1e-6)
        assert mine.length_m[-1] == pytest.approx(theirs.length_m[-1], abs=1e-6)
        places = np.linspace(theirs.length_m[0], theirs.length_m[-1], 25)
        for field, tolerance in (("force_N", FORCE), ("u_N", U), ("u95_N", U)):
            a = np.interp(places, mine.length_m, getattr(mine, field))
            b = np.interp(places, theirs.length_m, getattr(theirs, field))
            np.testing.assert_allclose(a, b, rtol=tolerance, err_msg=f"{name} {field}")
    assert [f.code for f in now.findings] == [f.code for f in expected.findings]
    assert now.band == expected.band
    assert now.made.from_ == expected.made.from_


@pytest.mark.parametrize(
    ("band", "codes"),
    [("KNEE", ["gross-error"]), ("LONG", ["locking-scale", "no-unloading"]), ("THIN", [])],
)
def test_each_sample_run_shows_what_it_was_made_for(band: str, codes: list[str]) -> None:
    assert sorted(f.code for f in fitted(band).findings) == codes


def test_striking_the_slip_as_the_notes_say_mends_it(tmp_path: Path) -> None:
    notes = (FOLDER / "README.md").read_text("utf-8")
    lines = notes.partition("```\n")[2].partition("```")[0]
    fixed = tmp_path / "KNEE.run.csv"
    fixed.write_bytes((FOLDER / "KNEE.run.csv").read_bytes() + lines.encode())
    fit = fit_runs([read_run(fixed)])
    assert [f.code for f in fit.findings] == []
    assert len(fit.points) == 45


def test_the_generator_makes_the_same_bytes_again(tmp_path: Path) -> None:
    (tmp_path / "make_sample_runs.py").write_bytes((FOLDER / "make_sample_runs.py").read_bytes())
    subprocess.run([sys.executable, tmp_path / "make_sample_runs.py"], check=True)
    for band in BANDS:
        assert (tmp_path / f"{band}.run.csv").read_bytes() == (FOLDER / f"{band}.run.csv").read_bytes(), band


def test_all_of_it_is_called_invented() -> None:
    assert "invented" in (FOLDER / "README.md").read_text("utf-8").splitlines()[0]
    for band in BANDS:
        assert "invented" in (read_run(FOLDER / f"{band}.run.csv").head.band.note or "")
