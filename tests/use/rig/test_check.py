"""`bandcurve rig check`: what a scale shows in the rig narrows slack length, grip, level, and tells if all agree."""

import io
import json
import re
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from calib.profile.document import save_profile
from calib.units import G_STANDARD
from calib.use.rig.rig_check import learn, work_out
from calib.use.rig.rig_file import Check, Rig, parse_rig
from calib.use.rig.rig_written import rig_toml as text_of
from calib.use.rig.statics import calculate
from calib.verbs.app import run
from tests.use.rig.made import REST, STIFFNESS, band_text, linear, rig, rig_text
from tests.verbs.rig.test_command import BENCH, PRESS, SQUAT, Capture, invented, written

SIDES = ("left", "right")
PAIR = [linear("ONE"), linear("TWO")]
HEIGHTS = (1.1, 1.3, 1.5)


def choked(slack_mm: float | None) -> Rig:
    more = {} if slack_mm is None else {"slack_length_mm": slack_mm}
    return rig(*(band_text("choked", 100, side, **more) for side in SIDES), bottom=1100, top=1500)


def read_in(real: Rig, heights: tuple[float, ...] = HEIGHTS, **more: Any) -> Check:
    """What a perfect platform scale would show, 100 kg alone."""
    answer = calculate(real, PAIR)
    pull = np.interp(heights, answer.heights, answer.known_ways["up"].pull.value)
    return Check("platform", heights, tuple(100 + pull / G_STANDARD), 100.0, **more)


@pytest.mark.parametrize(("taken", "true"), [(780.0, 770.0), (None, 800.0)])
def test_slack_length_follows_the_readings(taken: float | None, true: float) -> None:
    made = choked(taken)
    checked = replace(made, check=read_in(choked(true), resolution=0.01, u_gain=0.0))
    before, (after, learned) = calculate(made, PAIR), work_out(checked, PAIR, extrapolate=False)
    truth = calculate(choked(true), PAIR).known_ways["up"].load.value
    assert learned is not None
    assert learned.agrees
    for way in ("up", "down"):
        off_before, off_after = (abs(a.known_ways[way].load.value - truth) for a in (before, after))
        assert (off_after < 0.6 * off_before).all()
        assert (after.known_ways[way].load.u < before.known_ways[way].load.u).all()
    assert abs(learned.rig.band[0].slack_length * 1e3 - true) < 2e3 * learned.u_slack[0]  # type: ignore[operator]


def test_a_reading_worth_nothing_changes_nothing_and_one_without_doubt_is_met() -> None:
    made = choked(780.0)
    before = calculate(made, PAIR).known_ways["up"].load
    rough = replace(made, check=read_in(choked(770.0), resolution=1e4))
    same = work_out(rough, PAIR, extrapolate=False)[0].known_ways["up"].load
    assert same.value == pytest.approx(before.value, rel=1e-6)
    assert same.u == pytest.approx(before.u, rel=1e-4)
    still = {"cycle_gain": 0.0, "hook_shift_m": 0.0, "between_day_gain": 0.0, "between_day_assumed": True}
    steady = [linear(name, repeatability=still) for name in ("ONE", "TWO")]
    sharp = replace(choked(780.0), check=read_in(choked(779.0), (1.5,), resolution=0.0, u_gain=0.0))
    sharp = replace(sharp, bar=replace(sharp.bar, u_reading=0.0005))
    met = work_out(sharp, steady, extrapolate=False)[0].known_ways["up"].load
    assert met.value[-1] == pytest.approx(calculate(choked(779.0), PAIR).known_ways["up"].load.value[-1], rel=2e-4)


def test_a_check_with_the_wrong_band_does_not_agree() -> None:
    made = choked(780.0)
    answer = calculate(made, [linear("ONE", stiffness=240.0), linear("TWO", stiffness=240.0)])
    shown = tuple(100 + np.interp(HEIGHTS, answer.heights, answer.known_ways["up"].pull.value) / G_STANDARD)
    after, learned = work_out(replace(made, check=Check("platform", HEIGHTS, shown, 100.0)), PAIR, extrapolate=False)
    assert learned is not None
    assert not learned.agrees
    assert after.findings[0].code == "rig-disagrees"
    assert after.known_ways["up"].load.value == pytest.approx(calculate(made, PAIR).known_ways["up"].load.value)
    assert learned.level[0] > 2 * learned.level[1] > 0


def test_a_hooked_scale_is_read_along_the_band_with_its_own_thickness() -> None:
    """Expected: F(L) by hand, L = D + pi ((50 + 12) / 2 + 4.5) / 2 mm over fittings of 50 and 12 mm."""
    made = rig(band_text(anchor_mm=100, sideways_mm=300), bottom=1300, top=1310)
    far = (1.2**2 + 0.3**2) ** 0.5
    force = STIFFNESS * (far + np.pi * (0.031 + 0.0045) / 2 - REST)
    checked = learn(made, Check("hook", (1.3,), (force / G_STANDARD,)), PAIR[:1])
    grip = checked.expected[0] - force  # half of the way to gripping is expected
    assert 0 < grip < 0.05 * force
    assert checked.agrees
    assert checked.shown[0] == pytest.approx(force)


def test_a_hook_on_one_choked_band_says_nothing_of_the_others_slack_length() -> None:
    made = choked(780.0)
    look = learn(made, Check("hook", (1.3,), (1.0,)), PAIR)
    read = float(look.expected[0]) / G_STANDARD * 1.01
    learned = learn(made, Check("hook", (1.3,), (read,)), PAIR)
    assert learned.agrees
    assert learned.u_slack[0] < 0.9 * 0.005
    assert learned.u_slack[1] == pytest.approx(0.005)
    assert learned.rig.band[0].slack_length < 0.78  # type: ignore[operator]
    assert learned.rig.band[1].slack_length == pytest.approx(0.78)


def test_plates_until_the_bar_hovers_weigh_what_the_bands_pull() -> None:
    made = rig(*(band_text("doubled", 1850, side, source="above") for side in SIDES), bottom=750, top=1100)
    pull = abs(calculate(made, PAIR).known_ways["down"].pull.value[0]) / calculate(made, PAIR).gravity
    checked = replace(made, check=Check("hover", (0.75,), (pull - 20,)))
    after, learned = work_out(checked, PAIR, extrapolate=False)
    assert learned is not None
    assert learned.agrees
    assert learned.shown[0] == pytest.approx(-pull * after.gravity)
    assert after.known_ways["down"].load.u[0] < calculate(made, PAIR).known_ways["down"].load.u[0]


def test_limits_after_a_check_hold_and_false_alarms_are_as_rare_as_stated() -> None:
    """150 rigs whose errors are drawn by formulas written here; the bands are linear."""
    rng = np.random.default_rng(5)
    count, held, alarms = 150, 0, 0
    grid = np.array(HEIGHTS)
    for _ in range(count):
        gain, shown, truth = rng.normal(0, 0.004), np.full(3, 0.0), 0.0
        heights, top = grid + rng.normal(0, 0.005, 3), 1.5 + rng.normal(0, 0.005)
        for _side in SIDES:
            slack, anchor = 0.78 + rng.normal(0, 0.005), 0.1 + rng.normal(0, 0.005)
            level, zero = 1 + gain + rng.normal(0, 0.003), rng.normal(0, 0.15) + rng.normal(0, 0.1)
            today = 1 + rng.normal(0, 0.006) + rng.normal(0, 0.01)
            hooked = rng.normal(0, 0.0015)
            truth += level * STIFFNESS * (REST * (top - anchor) / slack - REST) + zero
            shown += today * (level * STIFFNESS * (REST * (heights - anchor) / slack - REST + hooked) + zero)
        seen = shown * (1 + rng.normal(0, 0.006)) / G_STANDARD + rng.normal(0, 0.1 / 6**0.5, 3)
        made = replace(choked(780.0), check=Check("platform", HEIGHTS, tuple(100 + seen), 100.0))
        after, learned = work_out(made, PAIR, extrapolate=False)
        assert learned is not None
        load = after.known_ways["up"].load
        held += bool(load.low[-1] <= 60 + truth / after.gravity <= load.high[-1])
        alarms += not learned.agrees
    allowed = 4 * (0.05 * 0.95 / count) ** 0.5
    assert abs(held / count - 0.95) < allowed
    assert alarms / count < 0.05 + allowed


def test_a_check_is_kept_in_the_rigs_file_and_read_again() -> None:
    made = replace(choked(780.0), check=read_in(choked(770.0), u_gain=0.002, wait_s=5.0))
    again = parse_rig(text_of(made).encode(), "again")
    assert again.check is not None
    assert again.check.heights == pytest.approx(HEIGHTS)
    assert again.check.shown == pytest.approx(made.check.shown)  # type: ignore[union-attr]
    assert (again.check.how, again.check.alone, again.check.u_gain, again.check.wait_s) == ("platform", 100, 0.002, 5)


@pytest.fixture
def place(tmp_path: Path) -> Path:
    save_profile(invented(), tmp_path / "B.profile.json")
    return tmp_path


READ = ["--how", "platform", "--alone", "130kg", "--read", "1.4m=149.5kg", "--read", "190cm=170.9kg"]


def test_with_options_as_a_document_and_written_for_later(place: Path, capsys: Capture) -> None:
    path, new = written(place, PRESS), place / "new.rig.toml"
    assert run(["rig", "check", path, *READ, "--json", "--out", str(new)]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [r["height_m"] for r in told["readings"]] == [1.4, 1.9]
    assert told["readings"][0]["shown_N"] == pytest.approx(19.5 * G_STANDARD)
    assert told["grip"]["u_share"] < 0.29
    assert run(["rig", str(new), "--json"]) == 0
    again = json.loads(capsys.readouterr().out)["up"]
    for name in ("bar_load_kg", "u_kg", "u95_next_set_kg"):
        assert again[name] == pytest.approx(told["after"]["up"][name], rel=1e-6)
    assert told["after"]["up"] != told["before"]["up"]
    assert run(["rig", "check", str(new), "--full"]) == 0  # what is in the file, again
    assert "What the readings say" in capsys.readouterr().out


def test_a_slack_length_that_was_learned_is_told_with_its_band(place: Path, capsys: Capture) -> None:
    assert run(["rig", "check", written(place, SQUAT), "--how", "hook", "--read", "1.3m=14kg", "--full"]) == 0
    assert "Slack length of B07 on the left: " in " ".join(capsys.readouterr().out.split())


def test_asked_for_through_a_pipe_in_lb(place: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("1\ny\n286\n55 1/8 329\n100 300\n74 375\n\n"))
    assert run(["rig", "check", written(place, PRESS), "--unit", "lb"]) == 0
    out, err = capsys.readouterr()
    assert "55.12 in" in out
    assert "2.54 m is not between the ends of the lift" in " ".join(err.split())
    assert "low, middle, high" in out


BAD: dict[str, tuple[str, list[str], int, str]] = {
    "no way": (PRESS, ["--read", "1.4m=150kg"], 2, "--how"),
    "another way": (PRESS, ["--how", "guess", "--read", "1.4m=150kg"], 2, "use platform, hook, hover"),
    "nothing alone": (PRESS, ["--how", "platform", "--read", "1.4m=150kg"], 2, "--alone is missing"),
    "no height": (PRESS, ["--how", "hook", "--read", "14kg"], 2, "write --read 120cm=125.3kg"),
    "too high": (PRESS, ["--how", "hook", "--read", "2.2m=14kg"], 1, "not between the ends"),
    "no such band": (PRESS, ["--how", "hook", "--band", "7", "--read", "1.4m=14kg"], 1, r"no band number 7"),
    "hovering below": (PRESS, ["--how", "hover", "--read", "1.4m=14kg"], 1, "only bands from above"),
    "under the feet": (
        rig_text(band_text("across", 20, sideways_mm=300, pegs_apart_mm=400), bottom=450, top=700),
        ["--how", "platform", "--alone", "100kg", "--read", "0.5m=120kg"],
        1,
        "under the feet",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_what_cannot_be_a_check_is_one_sentence(name: str, place: Path, capsys: Capture) -> None:
    text, options, status, sentence = BAD[name]
    assert run(["rig", "check", written(place, text), *options]) == status
    out, err = capsys.readouterr()
    assert not out
    assert re.search(sentence, err), err
    assert err.count("\n") == 1


def test_anchors_on_the_scale_and_no_answers_are_refused(
    place: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    for typed, sentence in {"1\nn\n": "put the anchors beside it", "": "give --how", "1\ny\n": "ended before"}.items():
        monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
        assert run(["rig", "check", written(place, SQUAT)]) == 1
        assert sentence in capsys.readouterr().err


def test_lifters_are_told_in_the_light_of_the_check(place: Path, capsys: Capture) -> None:
    path, new = written(place, PRESS), str(place / "new.rig.toml")
    assert run(["rig", "check", path, *READ, "--json", "--out", new]) == 0
    after = json.loads(capsys.readouterr().out)["after"]["up"]
    assert run(["rig", new, "--lifters", "Ana 1350mm 1900mm, Bo 1.25m 1.7m", "--json"]) == 0
    ana, _ = json.loads(capsys.readouterr().out)["lifters"]
    assert ana["rig"]["up"]["bar_load_kg"] == pytest.approx(after["bar_load_kg"])
    assert run(["rig", written(place, BENCH)]) == 0
