"""`bandcurve rig new`: a coach's answers, typed or piped, become a rig's file; a contradiction is asked again."""

import io
import re
import sys
from pathlib import Path

import pytest

from calib.profile.document import save_profile
from calib.use.rig.rig_file import Rig, parse_rig
from calib.use.rig.rig_talk import Ruler
from calib.verbs.app import run
from tests.verbs.pseudo_terminal import Terminal
from tests.verbs.rig.test_command import Capture, invented

Monkey = pytest.MonkeyPatch
HOLES = ["y", "3", "30", "5", "2"]
BAR = ["60", "hole 17", "hole 28", "h 27", "", "12"]
CHOKED = ["3", "1", "B", "B.profile.json", "1", "hole 4", "2.5", "5", "0", "6..2", "8", "78", "77,5"]
STAND = ["1", *HOLES, "20", "n", "80", "120"]
SQUAT = [*STAND, *BAR, *CHOKED, "n"]
BENCH_LB = [
    *("2", "n", "45", "y", "135", "30", "43 1/2", "", "2", "68F"),
    *("1", "1", "B", "B", "2", "91", "1", "2", "", "", "n"),
]


@pytest.fixture
def gym(tmp_path: Path, monkeypatch: Monkey) -> Path:
    save_profile(invented(), tmp_path / "B.profile.json")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def piped(answers: list[str], monkeypatch: Monkey, name: str = "made", *options: str) -> int:
    monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{a}\n" for a in answers)))
    return run(["rig", "new", name, *options])


def made(gym: Path) -> Rig:
    return parse_rig((gym / "made.rig.toml").read_bytes(), "made.rig.toml")


def test_a_squat_choked_on_two_pegs_by_rack_holes(gym: Path, monkeypatch: Monkey, capsys: Capture) -> None:
    assert piped(SQUAT, monkeypatch, "made", "--latitude", "52") == 0
    assert "Written: made.rig.toml" in capsys.readouterr().out
    rig = made(gym)
    assert (rig.bar.bottom, rig.bar.top, rig.bar.hooks) == pytest.approx((1.02, 1.57, 1.52))  # 0.3 + 14 x 0.05 + 0.02
    assert (rig.bar.latitude_deg, rig.bar.temperature, rig.weight_kg) == (52, 12, 80)
    assert (rig.anchor.holds, rig.anchor.footprint, rig.anchor.bolted) == (80, 1.2, False)
    left, right = rig.band
    assert (left.side, left.arrangement, left.source) == ("left", "choked", "below")
    assert left.anchor_height == pytest.approx(0.35)
    assert left.fore == pytest.approx((0.06, 0.02))
    assert (left.slack_length, right.slack_length) == pytest.approx((0.78, 0.775))
    assert run(["rig", "made.rig.toml", "--extrapolate"]) == 0


def test_a_bench_press_with_bands_from_above_in_lb_and_inches(gym: Path, monkeypatch: Monkey) -> None:
    assert piped(BENCH_LB, monkeypatch) == 0
    rig = made(gym)
    assert rig.weight_kg == pytest.approx(180 * 0.45359237)
    assert (rig.bar.bottom, rig.bar.top) == pytest.approx((0.762, 1.1049))
    assert rig.bar.temperature == pytest.approx(20)
    assert rig.anchor.bolted
    assert [(b.side, b.source) for b in rig.band] == [("left", "above"), ("right", "above")]
    assert rig.band[0].anchor_height == pytest.approx(91 * 0.0254)
    assert run(["rig", "made.rig.toml", "--unit", "lb"]) == 0


def test_a_band_across_under_the_feet(gym: Path, monkeypatch: Monkey) -> None:
    answers = ["1", "n", "", "n", "", "", "", "45", "90", "", "", ""]
    assert piped([*answers, "5", "B", "1", "2", "2", "", "30", "", "35", "n"], monkeypatch) == 0
    (band,) = made(gym).band
    assert (band.side, band.arrangement) == ("both", "across")
    assert (*band.sideways, band.pegs_apart) == pytest.approx((0.3, 0.3, 0.35))
    assert made(gym).bar.mass == 20


def test_what_contradicts_itself_is_said_and_asked_again(gym: Path, monkeypatch: Monkey, capsys: Capture) -> None:
    lying = [*CHOKED[:-2], "178", "177"]  # longer than the band
    typed = ["1", "n", "20", "n", "80", "120", "60", "102", "1.0 m", "157", "hole 7", "900", "", "", ""]
    bands = [band.replace("hole 4", "35") for band in (*lying, *CHOKED)]
    bands[2:3] = ["C", "B"]  # no such profile
    assert piped([*typed, *bands, "n"], monkeypatch) == 0
    said = " ".join(capsys.readouterr().err.split())
    for sentence in (
        "The top at 1 m is not above the bottom at 1.02 m",
        "The rack's holes were not described",
        "900 is 9 m; type cm",
        "no such file",
        "That does not fit: the slack length 1.78 m (70.1 in) is not below the half path",
    ):
        assert sentence in said, sentence
    assert made(gym).band[0].slack_length == pytest.approx(0.78)


def test_answers_that_end_too_soon_write_nothing(gym: Path, monkeypatch: Monkey, capsys: Capture) -> None:
    assert piped(SQUAT[:12], monkeypatch) == 1
    assert capsys.readouterr().err.endswith(
        "bandcurve: made: the input ended before the rig was complete; begin again\n"
    )
    assert not (gym / "made.rig.toml").exists()


def test_an_existing_rig_is_not_overwritten(gym: Path, monkeypatch: Monkey, capsys: Capture) -> None:
    (gym / "made.rig.toml").write_text("mine")
    assert piped(SQUAT, monkeypatch) == 1
    assert "made.rig.toml: is there already" in capsys.readouterr().err
    assert (gym / "made.rig.toml").read_text() == "mine"


def test_holes_are_counted_from_a_known_one_and_only_a_bar_stands_above_them() -> None:
    ruler = Ruler("in", hole=10, height=0.9, pitch=0.0508, above=0.03)
    assert ruler.level("#12", bar=False) == pytest.approx(0.9 + 2 * 0.0508)
    assert ruler.level("Hole 8", bar=True) == pytest.approx(0.93 - 2 * 0.0508)
    assert ruler.level("4ft 1in", bar=True) == pytest.approx(49 * 0.0254)


@pytest.mark.terminal
@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_at_a_terminal(gym: Path) -> None:
    terminal = Terminal(["rig", "new", "made"], gym)
    try:
        for answer in SQUAT:
            assert terminal.until([re.compile(r"(?<!Enter)(?<!hooks)(?<!pegs): $")]) == 0  # whole prompts only
            terminal.send(answer)
        assert terminal.wait() == 0
    finally:
        terminal.close()
    assert "bandcurve rig made.rig.toml" in terminal.all_text
    assert len(made(gym).band) == 2


PROMPT = re.compile(r"(?<!Enter)(?<!hooks)(?<!pegs): $")


def type_in(gym: Path, name: str, answers: list[str], *, stopped: bool = False) -> str:
    """What a terminal shows of a talk; the talk is left with Ctrl-C where it is stopped."""
    terminal = Terminal(["rig", "new", name], gym)
    try:
        for answer in answers:
            assert terminal.until([PROMPT]) == 0, terminal.all_text
            terminal.send(answer)
        if stopped:
            assert terminal.until([PROMPT]) == 0
            terminal.interrupt()
        assert terminal.wait() == (130 if stopped else 0)
    finally:
        terminal.close()
    return terminal.all_text


@pytest.mark.terminal
@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_back_and_help_at_any_question_and_nothing_is_lost_by_ctrl_c(gym: Path) -> None:
    said = type_in(gym, "made", ["back", "?", "1", "n", "25", "?", "back", "20"], stopped=True)
    assert "This is the first question." in said
    assert "You can type another unit after any number" in said
    assert said.count("The bar alone [20 kg]:") == 2
    assert said.count("Weights and lengths in:") == 1
    bands = [answer.replace("hole 4", "35") for answer in CHOKED]
    said = type_in(gym, "made", ["n", "80", "120", "60", "102", "back", "101", "157", "", "", "", *bands, "n"])
    assert "Continuing after your 3 earlier answers" in said
    assert "Weights and lengths in:" not in said
    assert made(gym).bar.mass == 20
    assert made(gym).bar.bottom == pytest.approx(1.01)


@pytest.mark.terminal
@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_rack_and_bar_are_offered_as_last_time(gym: Path, monkeypatch: Monkey) -> None:
    assert piped(SQUAT, monkeypatch, "first") == 0
    said = type_in(gym, "made", ["", *BAR, *CHOKED, "n"])
    assert "As last time (kg and cm, bar 20 kg, hole 3 at 30 cm, bands held by 80 kg)? [Y/n]" in " ".join(said.split())
    assert (gym / "made.rig.toml").read_text("utf-8") == (gym / "first.rig.toml").read_text("utf-8")
