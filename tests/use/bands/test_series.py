"""Two bands end to end: a difference by tape alone, and a constraint that tightens profiles without a scale."""

import json
import re
from pathlib import Path

import numpy as np
import pytest

from calib.acquire.files.series_file import parse_series
from calib.assumptions import assuming, value
from calib.errors import DataError
from calib.profile.document import load_profile, save_profile
from calib.profile.store.rechecks import parse_rechecks
from calib.use.bands.pair import pair_up
from calib.use.bands.series import _log_pull, change_of, ratio_of
from calib.use.bands.series_profile import tightened
from calib.verbs.app import run
from tests.campaigns.pairing.ends import try_ends
from tests.fit.curve.published import columns
from tests.use.bands.hooked import LINK, exact, head, of_rows
from tests.use.bands.made import band
from tests.verbs.pseudo_terminal import Terminal

Capture = pytest.CaptureFixture[str]
A, B = band("B1"), band("B2", 1.02)


def test_two_equal_bands_meet_in_the_middle_and_a_stronger_one_is_shorter() -> None:
    same = exact(A, band("B2"))
    for reading in same.readings:
        assert reading.ring == pytest.approx(reading.total / 2)
    for reading in exact(A, B).readings:
        assert reading.ring > reading.total / 2


def test_a_millimetre_off_centre_is_a_fifth_of_a_percent_at_stretch_1_6() -> None:
    """2 mm between the bands' lengths at L = 1.64 m, times d ln F / d L = 1.8 / L: 0.2 % (hand-worked)."""
    x = 1.6 * 1.029
    ratio = ratio_of(of_rows("B1", "B2", [(x + 0.001, x - 0.001)], (1.029, 1.029)))
    assert ratio.relative == pytest.approx(-0.0022, abs=0.0003)


def test_tape_alone_finds_a_difference_of_two_percent_within_its_limits() -> None:
    ratio = ratio_of(exact(A, B))
    assert ratio.relative == pytest.approx(1 / 1.02 - 1, abs=0.005)
    assert 0.01 < ratio.u < 0.02  # of it 0.65 x 1.7 % for the slope of the law


def test_a_softened_band_shows_against_its_reference() -> None:
    old, new = exact(A, B), exact(band("B1", 0.93), B)
    found = change_of(old, new)
    assert found.relative == pytest.approx(-0.07, abs=0.01)
    assert found.distinguishable
    assert not change_of(old, old).distinguishable


def test_which_is_the_stronger_is_known_where_by_how_much_is_not() -> None:
    """Twelve per cent apart: the slope of the law leaves the size open, and no law turns the sign."""
    found = ratio_of(exact(A, band("B2", 1.12)))
    assert found.distinguishable
    with assuming({"series_law": 0.12}):
        plain_rubber = ratio_of(exact(A, band("B2", 1.12)))
    assert plain_rubber.relative == found.relative
    assert plain_rubber.u < 0.4 * found.u


def test_the_other_way_round_is_refused() -> None:
    with pytest.raises(DataError, match="same two bands in the same order"):
        change_of(exact(A, B), exact(B, A))


def test_a_series_makes_a_pair_surer_and_leaves_what_agrees() -> None:
    before, after = pair_up([A, B]).pairs[0], pair_up([A, B], series=[exact(A, B)]).pairs[0]
    assert after.largest == pytest.approx(before.largest, rel=0.01)
    assert after.u < 0.95 * before.u


def test_a_series_pulls_two_scales_together() -> None:
    """Profiles by two scales 3 % apart, and a link in the middle: the difference shrinks."""
    other = band("B2", 1.03, check="other/2026-01-01")
    before = pair_up([A, other]).pairs[0]
    after = pair_up([A, other], series=[exact(A, band("B2"))]).pairs[0]
    assert abs(after.largest) < 0.8 * abs(before.largest)
    assert after.u < 0.9 * before.u


def test_a_profile_with_a_series_is_one_that_can_be_read_and_is_surer() -> None:
    unsure = band("B1", check="other/2026-01-01")
    told = tightened(unsure, [B], [exact(unsure, B)], [("B2.profile.json", "0" * 64)])
    assert told.force(1.6) == pytest.approx(unsure.force(1.6), rel=0.002)
    assert told.estimate(1.6).u < unsure.estimate(1.6).u
    assert told.branches.unloading is not None
    assert {f.key for f in told.factors} >= {"check:other/2026-01-01", "check:garage-hook/2026-02-27", "tape:T1"}
    assert [f.file for f in told.made.from_][-2:] == ["B1+B2.series.csv", "B2.profile.json"]
    assert sum(line.share.middle for line in told.budget) == pytest.approx(1.0)


@pytest.mark.slow
def test_intervals_by_tape_of_pairs_and_of_told_profiles_hold_the_truth() -> None:
    """20 simulated bands end to end with a reference, fixed seed; 4 sqrt(p (1 - p) / N) of room."""
    found = [told for number in range(20) if (told := try_ends(number))]
    room = 4 * (0.95 * 0.05 / len(found)) ** 0.5
    assert np.mean([t.by_tape for t in found]) > 0.95 - room
    assert np.mean([t.pair_held for t in found]) > 0.95 - room
    assert np.mean([t.told for t in found]) > 0.95 - room
    assert np.mean([t.sharper for t in found]) < 0.9


@pytest.mark.parametrize("name", ["treloar1944_ut", "james1975_ut", "jones1975_ut", "kawabata1981_ut"])
def test_the_slope_taken_for_rubber_at_large_is_that_of_published_rubber(name: str) -> None:
    """Mean slope d ln F / d ln L from stretch 1.45 to 2, in published tables of pulled rubber: within 2 u."""
    table = columns(f"{name}.csv")
    stretch, stress = list(table.values())[:2]
    measured = np.diff(np.log(np.interp([1.45, 2.0], stretch, stress)))[0]
    assumed = _log_pull(2.0) - _log_pull(1.45)
    assert abs(assumed / measured - 1) < value("series_law")


GOOD = head("B1", "B2") + "1,1,3300,1650\n"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("hello\n", "has no format"),
        (GOOD.replace("series/1", "series/2"), "newer than this program"),
        (GOOD.replace("link_length_mm", "link_lenght_mm"), "did you mean 'link_length_mm'"),
        (GOOD.replace("[length]", "[lenght]"), "did you mean 'length'"),
        (GOOD.replace('"B2"', '"B1"'), "of one band with itself"),
        (GOOD.replace('"B2"', '"../B2"'), "cannot be a name"),
        (GOOD.replace("ring_mm", "ring"), "unknown column 'ring'"),
        (GOOD.replace("1650", "x"), "ring 'x' is not a number"),
        (GOOD.replace("1650", "165"), "lying flat"),
        (GOOD.replace("3300", "nan"), "is not a number"),
        (head("B1", "B2"), "has 0 readings"),
        (GOOD.replace("flat_length_mm = 1029.00", "flat_length_mm = -1"), "should be greater than 0"),
    ],
)
def test_a_series_that_cannot_be_used_is_one_sentence(text: str, said: str) -> None:
    with pytest.raises(DataError) as caught:
        parse_series(text.encode(), "x.series.csv")
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_row_may_be_struck_and_one_that_was_cut_off_is_passed_over() -> None:
    text = (
        GOOD.replace("row,cycle,", "row,kind,cycle,")
        .replace("\n1,1,", "\n1,reading,1,")
        .replace("ring_mm\n", "ring_mm,note\n")
    )
    text += '2,reading,1,3400,1700,\n3,strike,,,,"row 1: misread"\n4,reading,1,35'
    assert [r.number for r in parse_series(text.encode(), "x").readings] == [2]


def test_a_reading_where_a_band_was_not_tested_is_refused() -> None:
    far = of_rows("B1", "B2", [(2.5, 2.5)], (1.029, 1.029))
    with pytest.raises(DataError, match="was not tested"):
        pair_up([A, B], series=[far])
    with pytest.raises(DataError, match="has no profile here"):
        pair_up([A, band("C1")], series=[exact(A, B)])


@pytest.fixture
def place(tmp_path: Path) -> Path:
    for profile in (A, B):
        save_profile(profile, tmp_path / f"{profile.band.id}.profile.json")
    x = 1.6 * 1.029
    rows = f"1,1,{1000 * (2 * x + LINK):.1f},{1000 * (x + LINK / 2):.1f}\n"
    (tmp_path / "B1+B2.series.csv").write_text(head("B1", "B2") + rows, "utf-8")
    return tmp_path


def test_pair_by_tape_alone_in_words_and_as_json(place: Path, capsys: Capture) -> None:
    series = str(place / "B1+B2.series.csv")
    assert run(["pair", "--series", series]) == 0
    assert "B1 pulls 0.0 +- 2.3 % less than B2 at the same length" in " ".join(capsys.readouterr().out.split())
    assert run(["pair", "--series", series, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["series"][0]["bands"] == ["B1", "B2"]
    narrow = ["pair", "--series", series, "--json", "--assume"]
    assert run([*narrow, "series_law=0.12"]) == 0
    assert json.loads(capsys.readouterr().out)["series"][0]["distinguishable"] is False
    assert run([*narrow, "relaxation=2"]) == 2
    assert "is not used by a series by tape alone" in capsys.readouterr().out
    assert run(["pair", *(str(place / f"{b}.profile.json") for b in ("B1", "B2")), "--series", series]) == 0
    assert "B1 + B2" in capsys.readouterr().out
    assert run(["pair"]) == 2
    assert run(["pair", "--series", str(place / "none.series.csv")]) == 1


def test_compare_by_tape_alone(place: Path, capsys: Capture) -> None:
    series = str(place / "B1+B2.series.csv")
    assert run(["compare", series, series, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["changed"] is False
    assert run(["compare", series, str(place / "B1.profile.json")]) == 2


def test_a_series_goes_on_with_a_band_that_was_renamed(place: Path, capsys: Capture) -> None:
    series, here = str(place / "B1+B2.series.csv"), ["--folder", str(place)]
    pair = ["pair", "--series", series, *here, "--json"]
    assert run([*pair, "B1", "B2"]) == 0
    before = json.loads(capsys.readouterr().out)["pairs"][0]
    assert run(["rename", "B1", "red1", *here]) == 0
    capsys.readouterr()
    for names in (["red1", "B2"], ["B1", "B2"], [str(place / f"{b}.profile.json") for b in ("B1", "B2")]):
        assert run([*pair, *names]) == 0
        found = json.loads(capsys.readouterr().out)["pairs"][0]
        assert found["bands"] == ["red1", "B2"]
        assert found["upper95_mean_N"] == pytest.approx(before["upper95_mean_N"], rel=0.05)


def test_fit_takes_a_series_with_the_other_bands_profile(place: Path, capsys: Capture) -> None:
    sample = Path(__file__).parents[3] / "sample_runs" / "KNEE.run.csv"
    assert run(["fit", str(sample), "--out", str(place), "--quiet"]) == 0
    alone = load_profile(place / "KNEE.profile.json")
    reference = band("REF", check="laboratory/2026-01-01")
    save_profile(reference, place / "REF.profile.json")
    made = exact(alone, reference, (1.45, 1.6))
    rows = "".join(f"{r.number},1,{1000 * r.total:.3f},{1000 * r.ring:.3f}\n" for r in made.readings)
    flat = (alone.band.flat_length_m, reference.band.flat_length_m)
    (place / "K.series.csv").write_text(head("KNEE", "REF", flat) + rows, "utf-8")
    told = ["--series", str(place / "K.series.csv"), "--with", str(place / "REF.profile.json")]
    assert run(["fit", str(sample), "--out", str(place), "--quiet", *told]) == 0
    surer_now = load_profile(place / "KNEE.profile.json")
    assert surer_now.estimate(1.6).u < 0.95 * alone.estimate(1.6).u
    assert run(["show", str(place / "KNEE.profile.json")]) == 0
    assert "K.series.csv" in {f.file for f in surer_now.made.from_}
    assert run(["fit", str(sample), "--out", str(place), "--series", told[1]]) == 2
    assert "be used together" in capsys.readouterr().err


ANSWERS = {
    "first band": "",  # as the file is called
    "second band": "",
    "flat length": "1029",
    "thickness": "4.5",
    "pin at its outer end": "10",
    "inner length": "40",
    "of its rod": "10",
}


@pytest.mark.terminal
def test_a_series_is_led_at_a_terminal_row_by_row(tmp_path: Path) -> None:
    terminal = Terminal(["pair", "--series", "B1+B2.series.csv"], tmp_path)
    slips = ["again", "3300", "165", "3300", "16500"]  # too early, a digit short, a digit too many: asked once more
    rows = iter([*slips, "3300", "1650", "again", "3300", "1651", ""])
    prompt = re.compile(
        r"(from \[B1\]|band \[B2\]|mm|done\)): $"
    )  # whole ones: half of "(Enter: done): " ends in a colon too
    while terminal.until([prompt]) is not None:
        said = terminal.text.rstrip().splitlines()[-1]
        fixed = next((answer for words, answer in ANSWERS.items() if words in said), None)
        terminal.send(fixed if fixed is not None else next(rows))
    assert terminal.wait() == 0
    assert terminal.all_text.count("type both lengths again") == 2
    assert "From this one, B1 pulls 0.0 % less than B2." in terminal.all_text
    assert re.search(r"B1 pulls 0\.\d \+- \d\.\d % less than B2", terminal.all_text)
    lines = (tmp_path / "B1+B2.series.csv").read_text("utf-8").splitlines()
    assert lines[-2:] == ["1,reading,1,loading,3300,1650,", "2,reading,2,loading,3300,1651,"]


@pytest.mark.terminal
def test_a_series_stopped_before_a_reading_leaves_no_file_and_one_after_it_says_what_is_kept(tmp_path: Path) -> None:
    for readings, said in (([], "nothing was written"), (["3300", "1650"], "series.csv holds 1 reading.")):
        terminal = Terminal(["pair", "--series", "B1+B2.series.csv"], tmp_path)
        rows = iter(readings)
        prompt = re.compile(r"(from \[B1\]|band \[B2\]|mm|done\)): $")
        while terminal.until([prompt]) is not None:
            asked = terminal.text.rstrip().splitlines()[-1]
            answer = next((answer for words, answer in ANSWERS.items() if words in asked), None)
            answer = next(rows, None) if answer is None else answer
            if answer is None:
                terminal.interrupt()
                break
            terminal.send(answer)
        assert terminal.wait() == 130
        assert said in terminal.all_text
        assert (tmp_path / "B1+B2.series.csv").exists() == bool(readings)


@pytest.mark.terminal
def test_the_quick_check_tells_what_to_do_and_asks_for_what_it_needs(place: Path) -> None:
    terminal = Terminal(["recheck", "B1"], place)
    for prompt, answer in (
        (r"kg\? $", "200"),  # more than the band was tested with: asked again
        (r"kg\? $", "10"),
        (r"mm\? $", "14"),  # a slip
        (r"mm\? $", "1375"),
        (r"not known\]: $", "21"),
    ):
        assert terminal.until([re.compile(prompt)]) == 0
        terminal.send(answer)
    assert terminal.wait() == 0
    said = " ".join(terminal.all_text.split())
    assert "a plate of 200 kg stretches B1 beyond its tested lengths" in said
    assert "throw it away" in said
    assert "eyes out of its line" in said
    # 125 (l - 1 / l^2) = 98.07 N at l = 1.3405; 1.3405 * 1027.1 mm less 13.9 mm for fittings and thickness
    assert "B1 was not tested there; with this load it should reach about 1363 mm" in said
    assert "PASS" in said
    (kept,) = parse_rechecks((place / "B1.rechecks.csv").read_bytes(), "x")
    assert (kept.hung.mass, kept.length, kept.hung.temperature) == (10.0, 1.375, 21.0)
