"""Plain questions at a terminal or through a pipe: asked on standard error, never hanging, never tracing back.

What an answer means is the caller's business: it passes a function that reads the answer or raises a DataError.
"""

import re
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from calib.acquire.recording.typed_entry import clean
from calib.errors import DataError
from calib.errors import EndOfInputError as EndOfInputError
from calib.use.ask.asker import number_of, yes_or_no
from calib.verbs.door import draw, harmless
from calib.verbs.terminal import plain_text
from calib.verbs.terminal.plain_text import at_terminal as at_terminal
from calib.verbs.terminal.plain_text import columns, wrap

T = TypeVar("T")
_BEGIN = re.compile(r" *(?:- |[0-9]+  )?")  # what a line of a list begins with
COMMAND = "  bandcurve "  # what a line to copy begins with: it is not broken
ROOM = 10  # columns kept free behind a prompt
BACK, HELP = "back", ("?", "help")
HOW = "Type ? for help with any question, back to return to the one before."
ANYTHING = "Type the answer and press Enter; back asks the question before, Ctrl-C quits."  # in place of a hint
LONGEST_LINE = 2000  # characters; the rest of a longer line is read and dropped


class BackError(Exception):
    """Somebody typed `back` where there is no question before in this talk."""


@dataclass
class _Talk:
    """Questions that follow one another: what was answered, and how far a run of the talk has got."""

    given: list[str]
    keep: Callable[[Sequence[str]], None]
    at: int = 0

    @property
    def repeats(self) -> bool:
        """Whether the next question was answered before."""
        return self.at < len(self.given)

    def keep_answer(self, text: str) -> None:
        """An answer that could be read."""
        if not self.repeats:
            self.given.append(text)
            self.keep(self.given)
        self.at += 1


_talk: _Talk | None = None  # the one that goes on


def lead(
    talk: Callable[[], T],
    given: Sequence[str] = (),
    keep: Callable[[Sequence[str]], None] = lambda answers: None,
    how: str = HOW,
) -> T:
    """Lead a talk made of `ask`, `choose` and `yes`, in which `back` asks the question before again.

    The talk is an ordinary function. To go back it runs again from its beginning; what was answered is answered by
    itself, and nothing is said twice.

    Args:
        talk: Asks, and makes something of the answers. It must do nothing else that shows.
        given: Answers from before: the talk goes on behind them.
        keep: Gets the answers after each one.
        how: Said before the first question; empty where it was said.

    Raises:
        EndOfInputError: There are no more lines.
    """
    global _talk
    if how:
        say(how)
    before, _talk = _talk, _Talk(list(given), keep)
    now = _talk
    try:
        while True:
            now.at = 0
            try:
                return talk()
            except BackError:
                now.given.pop()
    finally:
        _talk = before


def say(*lines: str) -> None:
    """Talk on standard error, broken at spaces; a terminal that is gone is no reason to stop."""
    if _talk is not None and _talk.repeats:
        return
    try:
        for line in lines:
            print(broken(line), file=sys.stderr)
        sys.stderr.flush()
    except OSError:
        return


def broken(line: str, room: int = 0) -> str:
    """A line broken at spaces where it is wider than the terminal; what follows stands below its first word.

    Args:
        line: Without a line end.
        room: Columns to keep free, for an answer.
    """
    width = columns() - room
    if len(line) <= width or line.startswith(COMMAND):
        return line
    begin = _BEGIN.match(line)
    first = begin[0] if begin else ""
    return wrap(line[len(first) :], width, first, " " * len(first)) + (" " if line.endswith(" ") else "")


def prepare() -> None:
    """Make standard input take any bytes, and lines editable where there is a terminal."""
    if sys.stdin is not None and hasattr(sys.stdin, "reconfigure"):
        sys.stdin.reconfigure(errors="replace")
    if at_terminal():
        try:
            import readline
        except ImportError:  # Windows: the console edits lines by itself
            return
        readline.set_auto_history(False)


def ask_line(prompt: str, begun: str = "") -> str:
    """Ask for one line.

    Args:
        prompt: Shown before the answer.
        begun: What was typed already and belongs to the answer.

    Raises:
        EndOfInputError: There are no more lines.
    """
    if sys.stdin is None:
        raise EndOfInputError
    above, _, prompt = "\n".join(broken(line, ROOM) for line in prompt.split("\n")).rpartition("\n")
    if above:
        say(*above.split("\n"))
    try:
        if at_terminal() and sys.stdout.isatty():
            return _edited(prompt, begun)
        say_prompt(prompt + begun)
        line = sys.stdin.readline(LONGEST_LINE)
        part = line
        while part and not part.endswith("\n"):
            part = sys.stdin.readline(LONGEST_LINE)
    except (EOFError, OSError, ValueError) as error:
        raise EndOfInputError from error
    if not line:
        raise EndOfInputError
    if not at_terminal():
        say("")  # nobody's Enter ended the line
    return begun + line


def say_prompt(text: str) -> None:
    """Show the beginning of a line on standard error."""
    draw_prompt(harmless(text))


def draw_prompt(text: str) -> None:
    """The same with sequences of the program's own; other people's text in it is harmless already."""
    try:
        draw(sys.stderr, text)
        sys.stderr.flush()
    except OSError:
        return


def _edited(prompt: str, begun: str) -> str:
    """One line through the line editor; standard output is the same terminal."""
    sys.stderr.flush()
    prompt, begun = harmless(prompt), harmless(begun)  # the line editor writes past the door
    if not begun:
        return input(prompt)
    try:
        import readline
    except ImportError:
        return begun + input(prompt + begun)
    readline.set_startup_hook(lambda: readline.insert_text(begun))
    try:
        return input(prompt)
    finally:
        readline.set_startup_hook(None)


def ask(prompt: str, read: Callable[[str], T], *, empty: T | None = None, hint: str = "") -> T:
    """Ask until the answer can be read.

    Args:
        prompt: Shown before the answer.
        read: Turns the answer into a value, or raises a DataError whose sentence is shown.
        empty: The value of an empty answer; None where an answer is needed.
        hint: What `?` shows.

    Raises:
        EndOfInputError: There are no more lines.
        BackError: `back` was typed, in a talk that is led.
    """
    while True:
        text = _answer(prompt, hint)
        if not text and empty is not None:
            value = empty
        else:
            try:
                value = read(text)
            except DataError as error:
                _not_read(error)
                continue
        if _talk is not None:
            _talk.keep_answer(text)
        return value


def wait_for_enter(prompt: str, hint: str) -> None:
    """Wait until somebody is ready.

    Raises:
        EndOfInputError: There are no more lines.
        BackError: `back` was typed.
    """
    while True:
        text = clean(ask_line(prompt)).lower()
        if text == BACK:
            raise BackError
        if text not in HELP:
            return
        say(f"  {hint}")


def _answer(prompt: str, hint: str) -> str:
    """What was typed, or answered before; help is given by the way."""
    while True:
        if _talk is not None and _talk.repeats:
            return _talk.given[_talk.at]
        text = clean(ask_line(prompt))
        if text.lower() in HELP:
            say(f"  {hint or ANYTHING}")
        elif text.lower() == BACK and (_talk is None or not _talk.at):
            say("  This is the first question.")
        elif text.lower() == BACK:
            raise BackError
        else:
            return text


def _not_read(error: DataError) -> None:
    if _talk is not None:
        del _talk.given[_talk.at :]  # of an answer from before, and of those behind it
    say(f"  {sentence(error)}")


def sentence(error: DataError) -> str:
    """An error as a sentence of its own."""
    return plain_text.sentence(str(error))


def typed_path(text: str) -> Path:
    """A file or folder as typed, there or not.

    Raises:
        DataError: No file can be called that.
    """
    try:
        path = Path(text).expanduser()
        path.exists()
    except (OSError, RuntimeError, ValueError) as error:  # too long, or ~ of a user who is not there
        raise DataError(f"{text[:40]!a} can be no file or folder", remedy="type another name") from error
    return path


def choose(prompt: str, options: Sequence[T], *, default: int = 1, hint: str = "") -> T:
    """Ask for the number of one of some options, counted from 1."""
    return ask(f"{prompt} [{default}]: ", number_of(options), empty=options[default - 1], hint=hint)


def yes(prompt: str, *, default: bool = True, hint: str = "") -> bool:
    """Ask a question of yes or no."""
    return ask(f"{prompt} [{'Y/n' if default else 'y/N'}]: ", yes_or_no, empty=default, hint=hint)
