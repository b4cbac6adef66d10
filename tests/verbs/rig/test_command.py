"""`bandcurve rig` as a coach uses it: words in kg and lb, a JSON document, a figure, one sentence for a mistake."""

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from calib.profile.document import Profile, parse_profile, save_profile
from calib.units import POUND
from calib.use.report.rig_figures import rig_figure
from calib.use.rig.anchors import cautions, loading_order
from calib.use.rig.rig_answers import rig_answer
from calib.use.rig.statics import RigLoad, calculate
from calib.verbs.app import run
from tests.campaigns.rig_speed import LIFTS as LIFTS_TIMED
from tests.campaigns.rig_speed import rig_ms
from tests.profile.invented import document
from tests.use.rig.made import band_text, linear, rig, rig_text

Capture = pytest.CaptureFixture[str]


def invented(**more: Any) -> Profile:
    return parse_profile(json.dumps(document(**more)).encode(), "invented")


@pytest.fixture
def place(tmp_path: Path) -> Path:
    save_profile(invented(), tmp_path / "B.profile.json")
    return tmp_path


def written(place: Path, text: str) -> str:
    path = place / "press.rig.toml"
    path.write_text(text, "utf-8")
    return str(path)


PRESS = rig_text(band_text(side="left"), band_text(side="right"), bottom=1350, top=1900)
SQUAT = rig_text(
    *(band_text("choked", 100, side, slack_length_mm=760, pegs_apart_mm=80) for side in ("left", "right")),
    bottom=1000,
    top=1500,
)
BENCH = rig_text(
    *(band_text("straight", 2300, side, source="above", sleeve_diameter_mm=30) for side in ("left", "right")),
    bottom=750,
    top=1100,
)
DEADLIFT = rig_text(
    *(band_text("doubled", 80, side) for side in ("left", "right")),
    bottom=600,
    top=900,
    anchor="[anchor]\nholds_kg = 60\nfootprint_mm = 400",
)
ACROSS = rig_text(
    band_text("across", 20, sideways_mm=300, pegs_apart_mm=400, anchor_diameter_mm=20), bottom=450, top=700
)
LIFTS = {"press": PRESS, "squat": SQUAT, "bench": BENCH, "deadlift": DEADLIFT, "across": ACROSS}


@pytest.mark.parametrize("lift", LIFTS)
@pytest.mark.parametrize("unit", ["kg", "lb"])
def test_five_lifts_from_tape_measure_to_printed_answer(lift: str, unit: str, place: Path, capsys: Capture) -> None:
    assert run(["rig", written(place, LIFTS[lift]), "--unit", unit, "--full"]) == 0
    said = capsys.readouterr().out
    weight = 60 / (POUND if unit == "lb" else 1)
    assert f"Bar and plates {weight:.1f} {unit}" in said
    assert "Going up" in said
    assert "Coming down" in said
    assert "lets go" in said
    assert said.isascii()


def test_the_document_says_what_other_programs_need(place: Path, capsys: Capture) -> None:
    assert run(["rig", written(place, PRESS), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["heights_m"][0] == 1.35
    assert told["heights_m"][-1] == 1.9
    for way in ("up", "down"):
        for name in ("bar_load_kg", "u_kg", "u95_mean_kg", "u95_next_set_kg"):
            assert len(told[way][name]) == len(told["heights_m"])
        pulled = np.add(told[way]["sides"]["left"]["vertical_N"], told[way]["sides"]["right"]["vertical_N"])
        assert 60 + pulled / told["gravity_m_s2"] == pytest.approx(told[way]["bar_load_kg"], rel=1e-6)
        assert min(told[way]["sides"]["left"]["u_N"]) > 0
        assert all(a > b for a, b in zip(told[way]["u95_next_set_kg"], told[way]["u95_mean_kg"], strict=True))
    more = np.subtract(told["up"]["bar_load_kg"], told["down"]["bar_load_kg"])
    assert min(more[1:-1]) > 0.1
    assert more[[0, -1]] == pytest.approx(0, abs=1e-4)  # the loop closes where the lift turns
    assert {"code", "text", "do"} == set(told["findings"][0])


def test_bands_from_above_take_most_off_at_the_bottom_and_lift_along_the_way_back(place: Path, capsys: Capture) -> None:
    assert run(["rig", written(place, BENCH), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    up, down = told["up"]["bar_load_kg"], told["down"]["bar_load_kg"]
    assert up[0] < up[-1] < 60
    assert min(np.subtract(up, down)[1:-1]) > 0.1  # less is taken off along the unloading branch
    codes = [f["code"] for f in told["findings"]]
    assert codes.count("loading-order") == 2
    assert "band-wear" in codes


def test_a_light_bar_under_strong_bands_from_above_is_said_to_fly_up() -> None:
    bands = [band_text("doubled", 1850, side, source="above") for side in ("left", "right")]
    made = rig(*bands, bottom=750, top=1100)
    answer = calculate(made, [linear()] * 2)
    assert answer.up is not None
    assert answer.up.load.value[0] < 0
    first, second = loading_order(answer)
    pull = abs(answer.up.bands[0].down[0]) / answer.gravity
    more = answer.up.sides["left"].next_u95[0] / answer.gravity
    assert first.least_plates_kg == pytest.approx(pull + more - 20, rel=1e-6)
    assert second.least_plates_kg == pytest.approx(2 * pull + answer.up.load.next_u95[0] - 20, rel=1e-6)
    assert second.net_kg == pytest.approx(answer.up.load.value[0], rel=1e-6)


def _benched(plates: float = 0.0, **keys: Any) -> RigLoad:
    bands = [band_text("straight", 2300, side, source="above") for side in ("left", "right")]
    made = rig(*bands, bottom=750, top=1100, bar="".join(f"{key} = {value}\n" for key, value in keys.items()))
    return calculate(replace(made, bar=replace(made.bar, plates=plates)), [linear()] * 2)


def test_the_least_plates_keep_the_bar_down_along_the_lift_and_not_only_on_high_hooks() -> None:
    """At the hooks the bands hardly pull, at the bottom more than the bare bar weighs: 19.3 kg by hand, and limits.

    L = 1.55 + pi 0.0545 / 2 = 1.63561 m, two bands of 200 N/m: 254.2 N or 25.92 kg, 5.92 more than the bar.
    """
    bare = _benched(hooks_mm=1200)
    assert [f.code for f in cautions(bare)].count("bar-may-lift") == 1
    first, second = loading_order(bare)
    assert second.net_kg > 0
    assert first.least_plates_kg < second.least_plates_kg
    assert 5.92 < second.least_plates_kg < 5.92 + 3
    for more, lifts in ((-0.01, True), (0.01, False)):
        codes = [f.code for f in cautions(_benched(second.least_plates_kg + more, hooks_mm=1200))]
        assert ("bar-may-lift" in codes) == lifts
    enough = [f.text for f in cautions(_benched(30, hooks_mm=1200)) if f.code == "loading-order"]
    assert "no plates are needed" in enough[0]


def test_hooks_below_the_lift_are_where_bands_from_above_pull_most() -> None:
    """0.1 m lower than the bottom: two bands of 200 N/m pull 40 N or 4.08 kg more."""
    lower, level = _benched(30, hooks_mm=650), _benched(30, hooks_mm=750)
    for one, other in zip(loading_order(lower), loading_order(level), strict=True):
        assert one.least_plates_kg >= other.least_plates_kg
    last, at_bottom = loading_order(lower)[-1], loading_order(level)[-1]
    assert at_bottom.net_kg - last.net_kg == pytest.approx(40 / lower.gravity, rel=1e-6)
    assert last.least_plates_kg - at_bottom.least_plates_kg > 4


def test_hooks_too_far_to_tell_are_said_and_do_not_refuse_the_lift() -> None:
    made = rig(band_text(side="left"), band_text(side="right"), bottom=1350, top=1900, bar="hooks_mm = 8000")
    answer = calculate(made, [invented()] * 2)
    assert answer.hooks is None
    assert any("on its hooks a band is stretched too far" in f.text for f in answer.findings)


def test_an_anchor_too_light_is_named_with_its_numbers(place: Path, capsys: Capture) -> None:
    text = DEADLIFT.replace("holds_kg = 60", "holds_kg = 30")
    assert run(["rig", written(place, text), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    lifted = max(max(told[way]["bar_load_kg"]) - 60 for way in ("up", "down"))
    sentence = next(f["text"] for f in told["findings"] if f["code"] == "anchor-may-lift")
    assert f"up to {lifted:.1f} kg" in sentence
    assert "weighs 30.0 kg" in sentence


def test_a_slack_band_pulls_nothing_and_says_where() -> None:
    made = rig(band_text(anchor_mm=500), bottom=1000, top=1700)
    answer = calculate(made, [linear()])
    assert answer.up is not None
    slack = answer.up.bands[0].slack
    assert slack[0]
    assert not slack[-1]
    assert answer.up.load.value[0] == 60
    assert not answer.up.load.u[0]
    assert "band-slack" in [f.code for f in answer.findings]


def test_sides_that_share_a_check_differ_more_sharply_than_they_are_known() -> None:
    made = rig(band_text(side="left"), band_text(side="right"), bottom=1350, top=1900)
    one, other = linear("ONE"), linear("TWO", stiffness=190.0)
    up = calculate(made, [one, other]).known_ways["up"]
    apart, alone = up.difference.u[-1], up.sides["left"].u[-1]
    assert apart < 1.4 * alone
    assert up.difference.value[-1] == pytest.approx(0.05 * up.sides["left"].value[-1], rel=1e-6)


def test_the_figure_shows_the_loads_of_both_ways() -> None:
    profile = invented()
    answer = calculate(rig(band_text(), bottom=1350, top=1900), [profile])
    figure = rig_figure(rig_answer(answer, [profile]), "squat $x$")
    lines = {line.get_gid(): line for axes in figure.axes for line in axes.lines}
    for way, name in zip(answer.known_ways, ("loading", "unloading"), strict=True):
        assert np.allclose(lines[f"load-{name}"].get_xdata(), answer.known_ways[way].load.value)
        left = answer.known_ways[way].sides["left"].value / answer.gravity
        assert np.allclose(lines[f"left-{name}"].get_xdata(), left)
        assert not np.asarray(lines[f"right-{name}"].get_xdata()).any()
    assert profile.band.id in figure.get_suptitle()


def test_a_figure_file_is_written_once(place: Path, capsys: Capture) -> None:
    made = written(place, PRESS)
    assert run(["rig", made, "--figure", str(place / "p.png")]) == 0
    assert (place / "p.png").read_bytes().startswith(b"\x89PNG")
    assert run(["rig", made, "--figure", str(place / "p.png")]) == 1
    assert "p.png" in capsys.readouterr().err


def test_without_a_way_back_coming_down_is_null(place: Path, capsys: Capture) -> None:
    save_profile(invented(unloading=False), place / "B.profile.json")
    assert run(["rig", written(place, PRESS), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["down"] is None
    assert "no-unloading" in [f["code"] for f in told["findings"]]


BAD = {
    "bottom_mm = 1350": (
        "bottom_mm = 2350",
        r"bar\.top_mm: the top at 1\.9 m \(74\.8 in\) is not above the bottom at 2\.35 m",
    ),
    "anchor_height_mm = 100": ("anchor_height_mm = 1400", r"B on the left: anchor_height_mm: .*run into it"),
    "mass_kg = 20": ("mas_kg = 20", r"bar\.mas_kg: unknown field 'mas_kg'; did you mean 'mass_kg'"),
    "sleeve_diameter_mm = 50": ("sleeve_diameter = 50", r"B on the left: sleeve_diameter: .* has no unit"),
    'side = "left"': ('side = "middle"', r"band\[0\]\.side: should be 'left', 'right' or 'both'"),
    'arrangement = "straight"': ('arrangement = "spread"', r"B on the left: pegs_apart_mm: .*two pegs"),
    "plates_kg = 40": ("plates_kg = nan", r"bar\.plates_kg: plates_kg is nan"),
    "bottom_mm = 1350\n": ('bottom_mm = "1350"\n', r'bar\.bottom_mm: should be a valid number, not "1350";'),
    'profile = "B.profile.json"': (
        'profile = "C.profile.json"',
        r"C on the left, .*C\.profile\.json: .*no such file",
    ),
    "bandcurve-rig/1": ("bandcurve-rig/2", r"format: is of version 2, newer"),
    "top_mm = 1900": ("top_mm = 2900", r"B on the left: with the bar at .*tested from 1\.13 m \(44\.5 in\) to 2\.1 m"),
    "[bar]": ("[bar", r"is not TOML"),
    "tempo_s = 10": ("tempo_s = 1e-300", r"bar\.tempo_s: should be greater than or equal to 0\.1"),
    "temperature_C = 21": ("u_reading_mm = 2000", r"bar\.u_reading_mm: should be less than 1 m, not 2\.0 m"),
    "latitude_deg = 45": (
        "hooks_mm = 120",
        r"bar\.hooks_mm: the hooks at 0\.12 m .* are not clear of the anchor of B on",
    ),
    "sleeve_diameter_mm = 50\n": (
        "sleeve_diameter_mm = 50\nfore_mm = [1, 2, 3]\n",
        r"B on the left: fore_mm: has 3 values; give one, or two: for the bottom, for the top",
    ),
    "altitude_m = 0": ("altitude_m = 0\n[ancor]", r"ancor: unknown field 'ancor'; did you mean 'anchor'"),
}


@pytest.mark.parametrize("right", BAD)
def test_each_mistake_is_one_sentence_with_its_place_and_a_remedy(right: str, place: Path, capsys: Capture) -> None:
    wrong, sentence = BAD[right]
    assert right in PRESS
    assert run(["rig", written(place, PRESS.replace(right, wrong, 1))]) == 1
    out, err = capsys.readouterr()
    assert not out
    assert re.search(rf"^bandcurve: press\.rig\.toml(:2)?: {sentence}", err), err
    assert err.count("\n") == 1
    assert ";" in err


def test_a_slack_length_longer_than_the_band_is_refused(place: Path, capsys: Capture) -> None:
    assert run(["rig", written(place, SQUAT.replace("slack_length_mm = 760", "slack_length_mm = 1060"))]) == 1
    assert "B on the left: slack_length_mm: the slack length 1.06 m" in capsys.readouterr().err


def test_beyond_the_tested_lengths_a_marked_guess_is_wider(place: Path, capsys: Capture) -> None:
    far = written(place, PRESS.replace("top_mm = 1900", "top_mm = 2250"))
    assert run(["rig", far, "--json", "--extrapolate"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert "outside-tested" in [f["code"] for f in told["findings"]]
    pulls = np.array(told["up"]["bar_load_kg"]) - 60
    relative = np.array(told["up"]["u_kg"]) / pulls
    tested = int(np.flatnonzero(np.array(told["heights_m"]) < 2.11)[-1])  # 2.1 m of half path
    assert relative[-1] > 1.2 * relative[tested]


def test_an_unknown_unit_is_wrong_usage(place: Path) -> None:
    assert run(["rig", written(place, PRESS), "--unit", "stone"]) == 2


def test_a_file_alone_is_short_for_show_and_a_word_that_is_none_is_wrong_usage(place: Path, capsys: Capture) -> None:
    path = written(place, PRESS)
    assert run(["rig", path, "--json"]) == 0
    short = capsys.readouterr().out
    assert run(["rig", "show", path, "--json"]) == 0
    assert capsys.readouterr().out == short
    assert run(["rig", "--json", path]) == 0
    assert capsys.readouterr().out == short
    assert run(["rig", "shwo"]) == 2


def test_more_bands_than_a_rig_holds_and_none_are_said_in_plain_words(place: Path, capsys: Capture) -> None:
    head = PRESS.partition("[[band]]")[0]
    assert run(["rig", written(place, f"band = []\n{head}")]) == 1
    assert "press.rig.toml: band: should have at least 1 item, not 0; correct the list" in capsys.readouterr().err
    assert run(["rig", written(place, head + 25 * band_text())]) == 1
    assert "press.rig.toml: band: should have at most 24 items, not 25; correct the list" in capsys.readouterr().err


@pytest.mark.parametrize("lift", LIFTS_TIMED)
def test_one_rig_takes_less_than_50_ms_of_computing(lift: tuple[str, float, float]) -> None:
    """Time of this process, as other work on the machine does not count; docs/speed.md has the figures."""
    assert rig_ms(*lift, count=2) < 50
