"""The talk before the first reading: how many prompts, what is remembered, `back`, `?`, a talk broken off."""

import io
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from calib.acquire.files.run_file import read_run
from calib.profile.document import load_profile
from calib.use.ask.measuring import MEASURING
from calib.verbs.app import run

FIRST_QUICK = ["1", "50 kg", "0.05", "102.9 cm", "1", ""]
FIRST_FULL = ["1", "50 kg", "0.05", "1", "102.9 cm", "1", "", ""]
QUICK_PULLS = ["4.9", "9.55", "16.9", "24.65"]

Typed = Callable[..., tuple[int, str, str]]


@pytest.fixture
def typed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Typed:
    """A command with some lines typed: exit status, what was said, what was printed."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")

    def done(arguments: Sequence[str], lines: Sequence[str]) -> tuple[int, str, str]:
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
        status = run(arguments)
        captured = capsys.readouterr()
        return status, captured.err, captured.out

    return done


def prompts(said: str) -> int:
    """How many lines were asked for before the first reading; each prompt ends a line by itself in a pipe."""
    before, found, _ = said.partition("  shows, ")
    assert found, said[-800:]
    return sum(line.endswith(": ") for line in before.splitlines())


@pytest.mark.parametrize(
    ("options", "first", "second", "most"),
    [
        (["--quick"], FIRST_QUICK, ["", "0"], (7, 2)),
        ([], FIRST_FULL, ["", "", "0"], (9, 3)),
    ],
)
def test_few_prompts_before_the_first_reading_and_fewer_the_second_time(
    options: list[str], first: list[str], second: list[str], most: tuple[int, int], typed: Typed
) -> None:
    """Every line that is asked for counts: questions, summary, flat length again, zero."""
    _, said, _ = typed(["record", "B07", "--no-fit", *options], [*first, "0"])
    assert prompts(said) == len(first) + 1 <= most[0]
    _, said, _ = typed(["record", "B07", "--no-fit", *options], second)
    assert "as last time" in said
    assert prompts(said) == len(second) <= most[1]


def test_another_band_needs_its_flat_length_and_no_more(typed: Typed, tmp_path: Path) -> None:
    typed(["record", "B07", "--no-fit", "--quick"], [*FIRST_QUICK, "0"])
    _, said, _ = typed(["record", "B08", "--no-fit", "--quick"], ["101.5", "0"])
    assert prompts(said) == 2
    assert read_run(tmp_path / "B08.run.csv").head.band.flat_length == pytest.approx(1.015)
    assert "Flat length of B08" in said


def test_a_quick_look_leads_on_with_its_gear_and_readings(typed: Typed, tmp_path: Path) -> None:
    _, _, printed = typed(["record", "B07", "--quick"], [*FIRST_QUICK, "0", *QUICK_PULLS, *QUICK_PULLS])
    assert "bandcurve record B07" in printed
    options = ["--cycles", "1", "--lengths", "122cm 141.5cm 178cm 224.5cm"]
    assert "zero-drift" not in {f.code for f in load_profile(tmp_path / "B07.profile.json").findings}
    _, said, _ = typed(["record", "B07", *options], ["1", "", "0"])
    assert "How will you measure?" not in said
    assert prompts(said) == 3  # letting off, not asked for the quick look, stands below the summary
    assert "The 8 readings of today's quick look (B07.run.csv) are included." in said
    full = next(tmp_path.glob("B07.2*.run.csv"))
    status, said, printed = typed(["record", "--resume", str(full)], [*QUICK_PULLS, "15.8", "9", "4.4", "0", ""])
    assert status == 0, said
    assert {f.file for f in load_profile(tmp_path / "B07.profile.json").made.from_} == {"B07.run.csv", full.name}
    status, said, printed = typed(["predict", "b07", "--length", "1.5m"], [])
    assert status == 0
    assert "B07, calibrated " in said
    assert "B07 at 1.500 m on the tape" in printed


def test_answers_survive_the_end_of_the_talk(typed: Typed) -> None:
    status, said, _ = typed(["record", "B07", "--quick"], FIRST_QUICK[:3])
    assert status == 1
    assert "Your answers are kept for next time." in " ".join(said.split())
    _, said, _ = typed(["record", "B07", "--quick", "--no-fit"], [*FIRST_QUICK[3:], "0"])
    assert "Continuing with your earlier answers" in said
    assert "Maximum printed" not in said
    assert prompts(said) == 4


def test_back_asks_the_question_before_again(typed: Typed, tmp_path: Path) -> None:
    _, said, _ = typed(["record", "B07", "--quick"], ["back", "1", "500 kg", "back", "50 kg", *FIRST_QUICK[2:], "0"])
    assert "This is the first question." in said
    head = read_run(tmp_path / "B07.run.csv").head
    assert head.extensions["capacity_N"] == pytest.approx(50 * 9.80665)


def test_back_before_the_first_reading_leads_to_the_answers_again(typed: Typed, tmp_path: Path) -> None:
    lines = [*FIRST_QUICK, "back", "l", "115 140 180", "", "0"]
    _, said, _ = typed(["record", "B07", "--quick", "--no-fit"], lines)
    assert said.count("Warm the band up") == 2
    run_now = read_run(tmp_path / "B07.run.csv")
    assert [round(100 * x) for x in run_now.head.extensions["settings"]] == [115, 140, 180]
    assert len(list(tmp_path.glob("*.run.csv"))) == 1


def test_back_past_a_zero_leads_to_the_answers_too(typed: Typed, tmp_path: Path) -> None:
    """The first pull is told to end in `back` where it shows too much: that has to work after the zero as well."""
    lines = [*FIRST_QUICK, "0", "back", "back", "l", "115 140 180", "", "0.05"]
    _, said, _ = typed(["record", "B07", "--quick", "--no-fit"], lines)
    assert "Nothing to undo" not in said
    run_now = read_run(tmp_path / "B07.run.csv")
    assert [round(100 * x) for x in run_now.head.extensions["settings"]] == [115, 140, 180]
    assert [row.kind for row in run_now.rows if row.number not in run_now.struck] == ["zero"]


def test_ctrl_c_before_the_first_reading_says_that_nothing_was_read(typed: Typed) -> None:
    _, said, _ = typed(["record", "B07", "--quick", "--no-fit"], [*FIRST_QUICK, "0"])
    assert "No readings yet; your answers are safe" in said


def test_every_question_has_help_and_where_the_tape_goes_is_drawn(typed: Typed) -> None:
    """`?` at each prompt of a talk; all that may be asked has a help of its own."""
    lines = [line for answer in FIRST_FULL for line in ("?", answer)]
    _, said, _ = typed(["record", "B07", "--no-fit"], [*lines, "0"])
    assert "1  inside edge to inside edge ------" in said
    assert "<----------- flat length" in said
    assert prompts(said) == 2 * len(FIRST_FULL) + 1
    for question in MEASURING:
        assert question.help
        assert all(len(line) <= 76 for line in question.sketch), question.key


def test_what_the_memory_holds_by_hand_is_passed_over(typed: Typed, tmp_path: Path) -> None:
    typed(["record", "B07", "--no-fit", "--quick"], [*FIRST_QUICK, "0"])
    memory = tmp_path / "bandcurve.memory.json"
    memory.write_text(memory.read_text().replace("50 kg", "fifty"))
    _, said, _ = typed(["record", "B08", "--no-fit", "--quick"], ["50 kg", "0.05", "101", "", "0"])
    assert "Maximum printed" in said
    assert read_run(tmp_path / "B08.run.csv").head.extensions["capacity_N"] == pytest.approx(50 * 9.80665)
    memory.write_text("{rubbish")
    _, said, _ = typed(["record", "B09", "--no-fit", "--quick"], [*FIRST_QUICK, "0"])
    assert read_run(tmp_path / "B09.run.csv").head.band.id == "B09"


def test_every_option_of_a_question_answers_it(typed: Typed) -> None:
    """With all options given nothing is asked but the summary, the flat length again and the zero."""
    gear = ["--method", "scale-in-line", "--capacity", "50kg", "--resolution", "0.05kg", "--locks", "no"]
    tape = ["--kind", "band-inner", "--fittings", "12mm", "--flat", "102.9cm", "--section", "30 4.5"]
    day = ["--temperature", "21", "--plate", "10kg", "--mass", "310g", "--lengths", "115cm 140cm 180cm"]
    _, said, _ = typed(["record", "B07", "--no-fit", *gear, *tape, *day], ["", "", "0", "10.05"])
    assert prompts(said) == 4
    assert "30 mm, 4.5 mm" in said
