"""Text longer than the terminal goes through a pager, as `PAGER` names it; `PAGER=cat` turns that off."""

import os
import shlex
import shutil
import signal
import subprocess
import sys
from contextlib import suppress

from calib.verbs.door import harmless

USUAL = "less"
LESS = "FRX"  # leave where it fits a screen, keep bold, leave the text on the screen


def page(text: str) -> None:
    """Print a text; at a terminal that is too low for it, through a pager.

    Args:
        text: Lines; an end of line is added.
    """
    text = harmless(text)  # the pager shows colours
    command = _pager() if text.count("\n") + 2 > shutil.get_terminal_size().lines else []
    if not command:
        print(text)
        return
    sys.stdout.flush()
    before = signal.signal(signal.SIGINT, _leave_it)  # Ctrl-C is the pager's while it runs
    try:
        environment = {"LESS": LESS} | os.environ
        reader = subprocess.Popen(command, stdin=subprocess.PIPE, env=environment, encoding="utf-8", errors="replace")
        with suppress(BrokenPipeError):  # it was left before the end
            reader.communicate(text + "\n")
        reader.wait()
    finally:
        signal.signal(signal.SIGINT, before)


def _leave_it(*_: object) -> None:
    """Do nothing. A signal that is ignored altogether stays ignored in the pager too, a handler does not."""


def _pager() -> list[str]:
    """The command, where a person is at a terminal that can page; empty elsewhere."""
    if not (sys.stdin and sys.stdin.isatty() and sys.stdout.isatty()) or os.environ.get("TERM") in (None, "", "dumb"):
        return []
    try:
        command = shlex.split(os.environ.get("PAGER", USUAL), posix=os.name != "nt")
    except ValueError:  # a quotation mark that is not closed
        return []
    return command if command and command != ["cat"] and shutil.which(command[0]) else []
