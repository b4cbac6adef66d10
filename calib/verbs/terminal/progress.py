"""A bar for work that takes long: on standard error, at a terminal only, from the second second on."""

import sys
import time

from calib.verbs.door import draw, harmless

WIDTH = 30
PATIENCE_S = 1.0


class Progress:
    """Shows how much is done; nothing before a second has gone by, nothing in a pipe."""

    def __init__(self, words: str) -> None:
        self.words, self.begun, self.shown = words, time.monotonic(), -1
        self.wanted = sys.stderr.isatty()

    def tell(self, part: float) -> None:
        """Draw the bar where it has grown.

        Args:
            part: Done, from 0 to 1.
        """
        filled = int(part * WIDTH)
        if self.wanted and filled != self.shown and time.monotonic() - self.begun > PATIENCE_S:
            bar = "#" * filled + "." * (WIDTH - filled)
            draw(sys.stderr, f"\r{harmless(self.words)} [{bar}] {100 * part:3.0f} %")
            sys.stderr.flush()
            self.shown = filled

    def close(self) -> None:
        """Wipe the bar away."""
        if self.shown >= 0:
            draw(sys.stderr, f"\r{'':{len(self.words) + WIDTH + 9}}\r")
            sys.stderr.flush()
