"""`?` and `back` at every prompt: every question of every talk, and every place where a line is asked for."""

import ast
import io
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from calib.errors import DataError
from calib.use.ask.conversation import Talk
from calib.use.ask.measuring import MEASURING
from calib.use.ask.question import Question
from calib.verbs.talk.asking import ask_flat_again, ask_one
from calib.verbs.terminal import prompts
from calib.verbs.terminal.prompts import BackError, EndOfInputError, ask, choose, lead, wait_for_enter, yes

VERBS = Path(prompts.__file__).parents[1]
OWN_LINES = {  # places that read a line past `ask`; each says itself what ? and back do there, and is tested for it
    "terminal/prompts.py:wait_for_enter",
    "terminal/prompts.py:_answer",
    "talk/asking.py:ask_one",
    "talk/asking.py:ask_flat_again",
    "talk/setup_talk.py:_summary",
    "talk/recorder.py:_line",
    "talk/recorder.py:_ask_elsewhere",
    "scale/scale_questions.py:ask_rows",
    "cell/port_check.py:check_at_line",
    "cell/port_check.py:_nothing_on_again",
}


def typed(monkeypatch: pytest.MonkeyPatch, *lines: str) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in lines)))


@pytest.mark.parametrize("question", MEASURING, ids=lambda q: q.key)
def test_every_question_of_a_measurement_explains_itself_and_goes_back(
    question: Question, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    typed(monkeypatch, "?", "back")
    with pytest.raises(BackError):
        ask_one(Talk("full"), question)
    said = capsys.readouterr().err
    for line in question.help:
        assert line.split()[0] in said
    assert question.help


def test_the_flat_length_asked_again_does_too(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    typed(monkeypatch, "?", "back")
    with pytest.raises(BackError):
        ask_flat_again("1029 mm", {"unit": "mm"})
    assert "from fold to fold" in capsys.readouterr().err


def _refusing(text: str) -> str:
    if text in ("?", "help", "back"):
        raise DataError("a command was read as an answer")
    return text


ASKED: dict[str, Callable[[], object]] = {
    "ask": lambda: ask("A: ", _refusing),
    "choose": lambda: choose("B", ("one", "two")),
    "yes": lambda: yes("C?"),
}


@pytest.mark.parametrize("name", ASKED)
def test_a_question_by_itself_takes_neither_for_an_answer(
    name: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    typed(monkeypatch, "?", "HELP", "back", "1" if name == "choose" else "y")
    assert ASKED[name]() is not None
    said = capsys.readouterr().err
    assert said.count(prompts.ANYTHING[:30]) == 2
    assert "This is the first question." in said
    assert "a command was read" not in said


@pytest.mark.parametrize("name", ASKED)
def test_a_question_in_a_talk_goes_back_to_the_one_before(
    name: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    answer = "1" if name == "choose" else "y"
    typed(monkeypatch, "first", "?", "back", "second", answer)
    assert lead(lambda: (ask("Before: ", _refusing), ASKED[name]()))[0] == "second"
    assert capsys.readouterr().err.count("Before: ") == 2


def test_a_wait_for_enter_too(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    typed(monkeypatch, "?", "back")
    with pytest.raises(BackError):
        wait_for_enter("Enter: ", "the hint")
    assert "the hint" in capsys.readouterr().err


def test_no_other_place_reads_a_line() -> None:
    found = set()
    for path in VERBS.rglob("*.py"):
        for function in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(function, ast.FunctionDef) and _reads_a_line(function):
                found.add(f"{path.relative_to(VERBS).as_posix()}:{function.name}")
    assert found == OWN_LINES


def _reads_a_line(function: ast.FunctionDef) -> bool:
    calls = (node.func for node in ast.walk(function) if isinstance(node, ast.Call))
    return any(isinstance(call, ast.Name) and call.id == "ask_line" for call in calls)


def test_the_lines_of_a_scale_check(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    from calib.verbs.scale.scale_questions import ask_rows

    typed(monkeypatch, "?", "back", "0 0", "10 10", "back", "10 10.1", "20 20.1", "")
    rows = ask_rows("kg", litres=False, locks=True, keep=lambda rows: None)
    assert [row.shown for row in rows] == pytest.approx([0, 10.1 * 9.80665, 20.1 * 9.80665])
    said = capsys.readouterr().err
    assert said.count("Start with nothing on it") == 2
    assert "Nothing to undo." in said


def test_the_loads_of_a_check_at_a_load_cell(capsys: pytest.CaptureFixture[str]) -> None:
    from calib.use.scales.typed_check import Sheet
    from calib.verbs.cell import port_check

    taken = port_check._Taken(Sheet("kg", False).with_row((), 0.0))
    for text in ("?", "back"):
        port_check._take_load(None, taken, text, 100.0)  # type: ignore[arg-type]  # no value is taken
    said = capsys.readouterr().err
    assert port_check.HANGS[:30] in said
    assert "Taken back." in said
    assert taken.sheet.rows == ()


def test_the_end_of_the_input_ends_every_question(monkeypatch: pytest.MonkeyPatch) -> None:
    for question in ASKED.values():
        typed(monkeypatch)
        with pytest.raises(EndOfInputError):
            question()
