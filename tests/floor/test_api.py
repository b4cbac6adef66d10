"""The package as a library: arrays, frames, plots, folders, rigs; light to import; its page true."""

import doctest
import subprocess
import sys
from pathlib import Path
from time import process_time
from typing import Any

import matplotlib as mpl
import numpy as np
import pytest

import calib
from calib.errors import DataError, OutOfRangeError
from calib.profile.document import Profile
from tests.campaigns.api_page import PAGE, page
from tests.profile.invented import document
from tests.use.rig.made import band_text, rig_text

STORED = Path(__file__).parents[1] / "data" / "profiles" / "invented-1.0.profile.json"


@pytest.fixture(scope="module")
def band() -> Profile:
    return calib.load_profile(STORED)


def test_the_page_is_that_of_the_docstrings() -> None:
    assert PAGE.read_text("utf-8") == page()


def test_the_examples_of_the_page_are_true(tmp_path: Path, band: Profile) -> None:
    mpl.use("Agg")
    (tmp_path / "B07.profile.json").write_bytes(STORED.read_bytes())
    bands = (band_text(anchor_mm=100, side=side, profile="B07.profile.json") for side in ("left", "right"))
    rig = tmp_path / "press.rig.toml"
    rig.write_text(rig_text(*bands, bottom=1350, top=1900).replace("tempo_s = 10\ntemperature_C = 21\n", "")
                   .replace("latitude_deg = 45\naltitude_m = 0\n", ""))  # fmt: skip
    known = {"profile": band, "folder_path": tmp_path, "rig_path": rig, "profile_path": STORED, "calib": calib}
    known |= {name: getattr(calib, name) for name in ("half_path_between",)}
    text = PAGE.read_text("utf-8").replace("```", "\n")
    test = doctest.DocTestParser().get_doctest(text, known, "api.md", str(PAGE), 0)
    assert len(test.examples) > 15
    result = doctest.DocTestRunner(optionflags=doctest.NORMALIZE_WHITESPACE).run(test)
    assert result.failed == 0


@pytest.mark.parametrize("branch", ["loading", "unloading"])
@pytest.mark.parametrize("points", [2, 5, 41])
def test_arrays_say_what_single_lengths_say(branch: Any, points: int) -> None:
    made = Profile.model_validate(document(points=points))
    grid = made.branches.loading.length_m
    lengths = np.concatenate([grid, np.random.default_rng(3).uniform(grid[0], grid[-1], 200)])
    at = made.pulls(lengths, branch)
    for i, length in enumerate(lengths):
        one = made.estimate(float(length), branch)
        several = (at.force_N[i], at.u_N[i], at.u95_mean_N[i], at.u95_next_set_N[i])
        assert several == pytest.approx((one.force, one.u, one.u95, made.u95_next(one)), rel=1e-9)


def test_shapes_are_kept_and_a_number_stays_a_number(band: Profile) -> None:
    assert isinstance(band.force(1.6), float)
    assert isinstance(band.force(2), float)
    square = np.array([[1.4, 1.5], [1.6, 1.7]])
    assert band.force(square).shape == band.pulls(square).u95_next_set_N.shape == (2, 2)
    assert band.force([]).shape == (0,)
    both = band.predict(square)
    assert both.unloading is not None
    assert (both.unloading.force_N < both.loading.force_N).all()
    assert not both.extrapolated.any()


def test_beyond_the_tested_lengths_as_one_by_one(band: Profile) -> None:
    with pytest.raises(OutOfRangeError, match=r"2\.2 m \(and 1 more\) is outside the tested lengths"):
        band.force([1.5, 2.2, 2.3])
    guessed = band.pulls([1.5, 2.2], extrapolate=True)
    one = band.estimate(2.2, extrapolate=True)
    assert guessed.force_N[1] == pytest.approx(one.force)
    assert guessed.u95_next_set_N[1] == pytest.approx(band.u95_next(one))
    assert band.predict([1.5, 2.2], extrapolate=True).extrapolated.tolist() == [False, True]


@pytest.mark.parametrize("wrong", [["a"], [None], [np.nan], [np.inf]])
def test_what_is_no_length_is_refused(wrong: Any, band: Profile) -> None:
    with pytest.raises(DataError):
        band.force(wrong)


def test_a_million_lengths_take_a_blink(band: Profile) -> None:
    """Aimed at 50 ms for both branches; three times that here, for a machine that does other things meanwhile."""
    lengths = np.random.default_rng(1).uniform(1.13, 2.1, 1_000_000)
    taken = []
    for _ in range(5):
        started = process_time()
        band.predict(lengths)
        taken.append(process_time() - started)
    assert min(taken) < 0.15


def test_frames_and_plots(band: Profile) -> None:
    frame = band.to_dataframe()
    assert list(frame.branch.unique()) == ["loading", "unloading"]
    assert len(frame) == 2 * len(band.branches.loading.length_m)
    figure = mpl.figure.Figure()
    axes = figure.subplots()
    assert band.plot(axes) is axes
    assert axes.get_xlabel() == "half-path length [m]"


def test_a_repr_is_short_and_says_which_band(band: Profile) -> None:
    assert len(repr(band)) < 300
    assert "B07" in repr(band)
    long = band.model_copy(update={"band": band.band.model_copy(update={"id": "x" * 64})})
    assert len(repr(long)) < 300
    assert len(repr(band.pulls([1.5] * 1000))) < 300


def test_the_package_shows_its_own_names_only() -> None:
    assert calib.__version__.count(".") >= 1
    assert sorted(dir(calib)) == sorted(calib.__all__)
    for name in calib.__all__:
        assert getattr(calib, name)
    assert (Path(calib.__file__).parent / "py.typed").exists()


def test_arrays_are_loaded_only_when_asked_for() -> None:
    code = f"import sys, calib; calib.load_profile({str(STORED)!r}).force(1.6); print('numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "False\n"


def test_a_folder_is_a_mapping(tmp_path: Path) -> None:
    (tmp_path / "B07.profile.json").write_bytes(STORED.read_bytes())
    bands = calib.read_folder(tmp_path)
    assert (list(bands), len(bands), bands.problems) == (["B07"], 1, ())
    assert bands["b07"].band.id == "B07"
    with pytest.raises(KeyError, match="no band"):
        bands["B99"]


def test_a_rig_and_a_wanted_load(tmp_path: Path) -> None:
    (tmp_path / "B07.profile.json").write_bytes(STORED.read_bytes())
    bands = (band_text(anchor_mm=100, side=side, profile="B07.profile.json") for side in ("left", "right"))
    rig = tmp_path / "a.rig.toml"
    rig.write_text(rig_text(*bands, bottom=1350, top=1900))
    answer = calib.rig(rig)
    assert answer.up is not None
    assert answer.band == "B07"
    found = calib.solve(rig, top_kg=answer.up.bar_load_kg[-1], within_kg=1)
    assert found.proposals[0].miss_kg < 1e-6
    with pytest.raises(DataError, match="no load is wanted"):
        calib.solve(rig)
    with pytest.raises(DataError, match="cannot be reached within"):
        calib.solve(rig, top_kg=900)
