"""The live screen of `listen`: the value large, rate, noise and format below; keys q and, where asked, a digit."""

import os
import shutil
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from math import log10

from calib.acquire.cell.line_format import Chosen
from calib.acquire.cell.lines import Record
from calib.acquire.cell.listening import Listening
from calib.acquire.cell.stream_figures import number_of
from calib.use.cell.line_news import LineNews
from calib.verbs.cell.listen_words import figure_text, record_text, summary
from calib.verbs.door import draw, harmless
from calib.verbs.terminal.big_text import HIGH, big_text
from calib.verbs.terminal.keyboard import keys_if_any
from calib.verbs.terminal.live_plot import Strip
from calib.verbs.terminal.panel import LEAST_WIDE
from calib.verbs.terminal.plain_text import clean, wrap
from calib.verbs.terminal.prompts import EndOfInputError

REDRAW = 0.2  # s
STALE = 3.0  # s without a reading until the value is no longer shown as live; ten times a slow board's period at least
MOST_PLACES = 6  # after the point
LEAST_PLOT, MOST_PLOT = 5, 14  # rows of the plot, its axis included

_STATUS = {"overload": "OVER", "fault": "FAULT"}


class Screen:
    """A terminal that shows one stream.

    Args:
        listening: The stream.
        shown: What a record is shown as: a reading in counts as one in kilograms, where that is known.
    """

    def __init__(self, listening: Listening, shown: Callable[[Record], Record]) -> None:
        self._listening = listening
        self._shown = shown
        self._talk = LineNews(listening)
        self._places = 0
        self._strip = Strip()
        self._dumb = os.environ.get("TERM", "dumb") == "dumb"
        self._block = "#" if os.environ.get("NO_COLOR") else "\N{FULL BLOCK}"

    def run(self, lasting: float | None) -> int:
        """Show it until q is pressed, the file is over, or the time is up. [s]

        Raises:
            DataError: It cannot be read, and waiting does not fix that.
        """
        if not self._dumb:
            self._write("\x1b[?1049h\x1b[?25l")  # a screen of its own, without a cursor
        try:
            with keys_if_any() as key, suppress(EndOfInputError):
                self._show(key, lasting)
        finally:
            if not self._dumb:
                self._write("\x1b[?25h\x1b[?1049l")
            print("", *map(wrap, [*self._talk.unsaid(), *summary(self._talk.figures)]), sep="\n", flush=True)
        self._talk.give_up(ended=True)
        return 0

    def _show(self, key: Callable[[float], str], lasting: float | None) -> None:
        drawn = -REDRAW
        while not self._talk.is_over(lasting):
            for record in self._listening.poll(REDRAW / 2):
                self._take(record)
            if time.monotonic() - drawn < REDRAW:
                continue
            drawn = time.monotonic()
            self._draw()
            if not self._go_on(key(0.0)):
                return

    def _go_on(self, pressed: str) -> bool:
        question = self._listening.question
        if question is None or not question.columns:
            self._talk.give_up()
        elif pressed.isdigit() and int(pressed) in question.columns:
            for record in self._listening.answer(Chosen(column=int(pressed))):
                self._take(record)
        return pressed not in ("q", "Q")

    def _take(self, record: Record) -> None:
        record = self._shown(record)
        self._talk.figures.add(record)
        number = number_of(record)
        if number is not None:
            self._strip.add(record.at_s, number)
        if number is not None and self._places < MOST_PLACES:
            shown = len(f"{number:.{MOST_PLACES}f}".rstrip("0").partition(".")[2])
            printed = 0 if record.step is None else round(-log10(record.step))
            self._places = max(self._places, min(max(shown, printed), MOST_PLACES))

    def _draw(self) -> None:
        if self._dumb:
            value = harmless(self._value())
            self._write(f"\r{value:<40.40}\r{value:.40}")
            return
        wide, high = shutil.get_terminal_size((80, 24))
        head, below = wrap(self._head(), wide - 1).split("\n"), self._below(wide)
        room = high - 1 - len(head) - len(below) - 2  # blank rows between
        plot = self._plot(wide, room - HIGH - 2)  # a unit of its own row, and a blank one
        rows = [*head, "", *self._large(wide - 1, room - len(plot) - bool(plot)), *plot, "", *below]
        shown = "\x1b[K\r\n".join(harmless(row)[: wide - 1] for row in rows[: high - 1])
        self._write(f"\x1b[H{shown}\x1b[K\x1b[J")

    def _plot(self, wide: int, height: int) -> list[str]:
        """The newest half minute below the value, where there is room for both."""
        if wide < LEAST_WIDE or height < LEAST_PLOT:
            return []
        last = self._talk.figures.last
        known = last is not None and last.unit is not None  # what counts are with nothing on says nothing
        return ["", *self._strip.rows(wide - 1, min(height, MOST_PLOT), min(self._places, 2), from_zero=known)]

    def _head(self) -> str:
        listening = self._listening
        speed = f"  {listening.setting}" if listening.setting else ""
        form = f"  {listening.format.described()}" if listening.format else ""
        return f"{clean(listening.source.name)}{speed}{form}"

    def _large(self, wide: int, high: int) -> list[str]:
        """The value, with its unit where that leaves the digits as large as they can be."""
        value, _, unit = self._value().partition(" ")
        whole = big_text(f"{value} {unit}".rstrip(), wide, high, self._block)
        digits = big_text(value, wide, high, self._block)
        return whole if len(whole) == len(digits) or not unit else [*digits, unit]

    def _value(self) -> str:
        """What is shown large: the value, or in a word why there is none."""
        if self._listening.away:
            return "GONE"
        figures = self._talk.figures
        last, newest = figures.last, figures.newest
        if newest is not None and newest.kind in _STATUS:
            return _STATUS[newest.kind]
        period = 1 / figures.rate if figures.rate else 0.0
        if last is None or self._listening.now() - last.at_s > max(STALE, 3 * period):
            return "WAIT"
        number = number_of(last)
        return "WAIT" if number is None else f"{number:.{self._places}f} {last.unit or ''}".rstrip()

    def _below(self, wide: int) -> list[str]:
        figures, question = self._talk.figures, self._listening.question
        unit = (figures.last.unit or "counts") if figures.last else ""
        rate = f"{figures.rate:.1f} a second" if figures.rate else "-"
        noise = f"{figure_text(figures.noise)} {unit}" if figures.noise is not None else "-"
        ends = [figure_text(end, 10) for end in (figures.lowest, figures.highest) if end is not None]
        span = f"{' to '.join(ends)} {unit}" if ends else "-"
        stable = {True: ", stable", False: ", moving", None: ""}[figures.last.stable] if figures.last else ""
        rows = wrap(f"rate {rate}, noise {noise} (one standard deviation), seen {span}{stable}", wide - 1).split("\n")
        rows.append(f"last: {record_text(figures.newest) if figures.newest else 'nothing yet'}")
        said = question.text if question and question.columns else self._talk.trouble()
        rows += wrap(said, wide - 1).split("\n") if said else [""]
        ask = f"   {', '.join(map(str, question.columns))}: that column" if question and question.columns else ""
        return [*rows, f"q ends{ask}"]

    def _write(self, text: str) -> None:
        draw(sys.stdout, text)
        sys.stdout.flush()
