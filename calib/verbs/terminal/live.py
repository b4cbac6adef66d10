"""The wait before a reading: a countdown on one line, a bell at its end, cut short by a key. Nothing is asked here."""

import shutil
import sys
import time
from collections.abc import Callable

from calib.frozen import dataclass
from calib.verbs.door import harmless
from calib.verbs.terminal.keyboard import keys
from calib.verbs.terminal.prompts import draw_prompt

TICK = 0.2  # s
BELL = "\a"
_WIDTH = 76


@dataclass(frozen=True)
class Waited:
    """How a wait ended."""

    held_s: float  # since the length was set
    begun: str = ""  # what was typed before the bell


@dataclass(frozen=True)
class Wait:
    """Times of one wait, and what is said meanwhile."""

    move_s: float  # to set the length
    dwell_s: float  # to hold it
    words: str = "hold still"


def can_wait() -> bool:
    """Whether there is a terminal with somebody in front of it."""
    return bool(sys.stdin and sys.stdin.isatty() and sys.stderr.isatty())


def countdown(wait: Wait, clock: Callable[[], float] = time.monotonic) -> Waited:
    """Count down the moving and the holding; a digit ends it early, Enter says that the length is set now.

    Args:
        wait: The two times.
        clock: Seconds from any start; passed in by tests.

    Raises:
        EndOfInputError: The terminal is gone.
    """
    with keys() as key:
        set_at = clock() + wait.move_s
        while (left := set_at + wait.dwell_s - clock()) > 0:
            moving = set_at - clock()
            show(f"  move to it: {moving:3.0f} s" if moving > 0 else f"  {wait.words}: {left:3.0f} s")
            pressed = key(min(TICK, left))
            if pressed in {"\r", "\n"}:
                set_at = clock()
            elif pressed:
                show("")
                return Waited(max(0.0, clock() - set_at), pressed)
        show("")
        draw_prompt(BELL)
        return Waited(wait.dwell_s)


def count_down_pause(seconds: float, words: str) -> None:
    """Count down a pause; Enter ends it.

    Another key does not: what is typed too early for the next question must not lose its first digit to the pause.

    Raises:
        EndOfInputError: The terminal is gone.
    """
    end = time.monotonic() + seconds
    with keys() as key:
        while (left := end - time.monotonic()) > 0 and key(min(TICK, left)) not in {"\r", "\n"}:
            show(f"  {words}: {left:3.0f} s, Enter goes on at once")
        show("")


def show(text: str) -> None:
    """Show the one line that changes, over what it showed before; cut at the terminal's edge."""
    width = min(_WIDTH, shutil.get_terminal_size().columns - 1)
    text = harmless(text)
    draw_prompt(f"\r{text[:width]:<{width}}\r{text[:width]}")
