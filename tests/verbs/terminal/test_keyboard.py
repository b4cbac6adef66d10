"""Keys: on Windows with a stand-in for its console, elsewhere at a terminal of the test's own."""

import os
import sys
import time
from types import SimpleNamespace

import pytest

from calib.verbs.terminal.keyboard import keys
from calib.verbs.terminal.live import Wait, count_down_pause, countdown
from calib.verbs.terminal.prompts import EndOfInputError


def _console(monkeypatch: pytest.MonkeyPatch, pressed: str) -> None:
    waiting = list(pressed)
    console = SimpleNamespace(kbhit=lambda: bool(waiting), getwch=lambda: waiting.pop(0))
    monkeypatch.setitem(sys.modules, "msvcrt", console)


def test_a_key_is_seen_and_none_is_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    _console(monkeypatch, "r\r")
    with keys() as key:
        assert [key(0.0), key(0.0)] == ["r", "\r"]
        begun = time.monotonic()
        assert key(0.05) == ""
        assert time.monotonic() - begun == pytest.approx(0.05, abs=0.04)


def test_an_arrow_is_no_key_and_takes_no_key_with_it(monkeypatch: pytest.MonkeyPatch) -> None:
    _console(monkeypatch, "\xe0Hq\x00;\x1b5")
    with keys() as key:
        assert [key(0.0) for _ in range(5)] == ["", "q", "", "", "5"]


@pytest.mark.parametrize(("pressed", "error"), [("\x1a", EndOfInputError), ("\x03", KeyboardInterrupt)])
def test_the_end_and_an_interruption_are_said(
    pressed: str, error: type[BaseException], monkeypatch: pytest.MonkeyPatch
) -> None:
    _console(monkeypatch, pressed)
    with keys() as key, pytest.raises(error):
        key(0.0)


def test_a_digit_ends_a_countdown_early(monkeypatch: pytest.MonkeyPatch) -> None:
    _console(monkeypatch, "\r7")
    assert countdown(Wait(10.0, 10.0)).begun == "7"


def test_a_digit_does_not_end_a_pause_and_enter_does(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    _console(monkeypatch, "104\r7")
    begun = time.monotonic()
    count_down_pause(30.0, "let the band rest")
    assert time.monotonic() - begun < 10
    assert capsys.readouterr().err.count("let the band rest") > 3  # shown on after each digit
    with keys() as key:
        assert key(0.0) == "7"


@pytest.mark.skipif(sys.platform == "win32", reason="no terminals of one's own there")
def test_keys_of_a_terminal_come_one_by_one_and_it_is_set_back(monkeypatch: pytest.MonkeyPatch) -> None:
    import pty
    import termios

    hand, terminal = pty.openpty()
    before = termios.tcgetattr(terminal)
    with os.fdopen(terminal, encoding="utf-8") as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        with keys() as key:
            assert key(0.0) == ""
            for typed, seen in ((b"r", "r"), (b"\r", "\n"), (b"\x1b[A", ""), (b"7", "7")):
                os.write(hand, typed)
                assert key(1.0) == seen
            os.write(hand, b"\x04")
            with pytest.raises(EndOfInputError):
                key(1.0)
        assert termios.tcgetattr(terminal) == before
    os.close(hand)
