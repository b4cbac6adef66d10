"""A few rows at the foot of a conversation that change in place; where a terminal cannot, one line of them does."""

import os
import shutil
from collections.abc import Sequence

from calib.verbs.door import harmless
from calib.verbs.terminal import live
from calib.verbs.terminal.prompts import draw_prompt

LEAST_WIDE, LEAST_HIGH = 80, 24


def has_room() -> bool:
    """Whether the terminal can show rows that change in place, and has room for a plot."""
    size = shutil.get_terminal_size((80, 24))
    able = os.environ.get("TERM", "dumb") != "dumb" or os.name == "nt"
    return able and size.columns >= LEAST_WIDE and size.lines >= LEAST_HIGH


class Panel:
    """Rows shown below what was said. `clear` before anything is said, or it is written over."""

    def __init__(self) -> None:
        self._high = 0

    def show(self, rows: Sequence[str]) -> None:
        """Show rows in place of those before; the first alone where there is no room."""
        if not has_room() or len(rows) == 1:
            self.clear()
            live.show(rows[0])
            return
        width = shutil.get_terminal_size((80, 24)).columns - 1
        high = max(self._high, len(rows))
        padded = [*rows, *[""] * (high - len(rows))]
        text = "\x1b[K\n".join(harmless(row)[:width] for row in padded)
        draw_prompt(f"\r{text}\x1b[K\x1b[{high - 1}A\r")
        self._high = high

    def clear(self) -> None:
        """Take the rows away; the next word stands where they began."""
        if self._high:
            draw_prompt("\r\x1b[J")
            self._high = 0
        else:
            live.show("")
