"""What is printed carries no escape sequence of anybody else's to the terminal, whoever prints it."""

import io
import signal
import sys
from pathlib import Path

import pytest

from calib.verbs import app
from calib.verbs.door import Door, draw, harmless, own
from calib.verbs.terminal import pager, prompts
from calib.verbs.terminal.panel import Panel
from calib.verbs.terminal.progress import Progress

CLEARS = "\x1b[2J\x1b]0;title\x07"
TURNS = "\u202egpj.exe\u202c\x9b31m\x7f\r"
Capture = pytest.CaptureFixture[str]


def is_harmless(text: str) -> bool:
    return not set(text) & set("\x1b\x07\x7f\x9b\r\u202e\u202c")


def test_line_ends_tabs_and_all_writing_stay() -> None:
    text = "Gummi für Łukasz\t12 kg\r\nבּ 帯 🙂\n"
    assert harmless(text) == text


def test_a_command_that_prints_anything_prints_it_harmless(monkeypatch: pytest.MonkeyPatch, capsys: Capture) -> None:
    """Not the command takes care, the door does: this one does not."""

    def careless(arguments: object) -> int:
        print(f"file {CLEARS}{TURNS}")
        print(f"file {CLEARS}{TURNS}", file=sys.stderr)
        sys.stdout.writelines([CLEARS, TURNS])
        return 0

    monkeypatch.setattr(app, "_answered", careless)
    assert app.run(["list"]) == 0
    shown = capsys.readouterr()
    assert "file ?[2J" in shown.out
    assert "file ?[2J" in shown.err
    assert is_harmless(shown.out + shown.err)
    assert not isinstance(sys.stdout, Door)


@pytest.mark.parametrize("show", [prompts.say_prompt, prompts.say, lambda text: Panel().show([text, text])])
def test_questions_and_panels_show_it_harmless(show: object, capsys: Capture, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.setenv("LINES", "40")
    monkeypatch.setattr(sys, "stderr", Door(sys.stderr))
    assert callable(show)
    show(f"file {CLEARS}{TURNS}")
    err = capsys.readouterr().err
    assert "file ?[2J" in err
    assert "\x1b[2J" not in err
    assert "\x1b]" not in err


def test_the_line_editor_gets_a_harmless_prompt(monkeypatch: pytest.MonkeyPatch) -> None:
    """It writes to the terminal by itself, past the door."""
    asked: list[str] = []

    def line(prompt: str) -> str:
        asked.append(prompt)
        return ""

    monkeypatch.setattr("builtins.input", line)
    monkeypatch.setattr(prompts, "at_terminal", lambda: True)
    monkeypatch.setattr(sys, "stdout", type("Terminal", (io.StringIO,), {"isatty": lambda self: True})())
    prompts.ask_line(f"band {CLEARS}: ")
    assert asked == ["band ?[2J?]0;title?: "]


def test_what_the_program_draws_passes_and_its_own_page_passes_once() -> None:
    out = io.StringIO()
    door = Door(out)
    draw(door, "\x1b[K")  # type: ignore[arg-type]
    page = own("\x1b[1mUsage:\x1b[0m")
    print(page, file=door)
    print(page, file=door)
    assert out.getvalue() == "\x1b[K\x1b[1mUsage:\x1b[0m\n?[1mUsage:?[0m\n"


def test_a_bar_is_drawn_over_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = type("Terminal", (io.StringIO,), {"isatty": lambda self: True})()
    monkeypatch.setattr(sys, "stderr", Door(terminal))
    bar = Progress(f"fitting {CLEARS}")
    bar.begun -= 10
    bar.tell(0.5)
    assert terminal.getvalue().startswith("\rfitting ?[2J?]0;title? [####")


def test_text_for_a_pager_is_harmless_and_the_pager_minds_an_interruption(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    told = tmp_path / "told"
    reads = (
        "import pathlib, signal, sys; text = sys.stdin.read();"
        "ignored = signal.getsignal(signal.SIGINT) is signal.SIG_IGN;"
        f"pathlib.Path({str(told)!r}).write_text(f'{{ignored}} {{text!r}}')"
    )
    monkeypatch.setattr(pager, "_pager", lambda: [sys.executable, "-c", reads])
    before = signal.getsignal(signal.SIGINT)
    pager.page(f"note {CLEARS}\n" * 200)
    assert told.read_text().startswith("False 'note ?[2J")
    assert signal.getsignal(signal.SIGINT) is before
