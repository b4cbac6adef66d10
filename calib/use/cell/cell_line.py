"""A load cell's line, opened and understood before anything is measured: its format, unit, step and noise.

What a number means comes from the scale's file or from the line; nothing is guessed. Nothing is recorded here.
"""

from collections.abc import Callable
from dataclasses import replace
from functools import partial

from calib.acquire.cell.baud import Setting
from calib.acquire.cell.line_format import Chosen, LineFormat
from calib.acquire.cell.lines import Record
from calib.acquire.cell.listening import Listening
from calib.acquire.cell.meter import NEWTON, Meter, noise_of, step_of
from calib.acquire.cell.port import ByteSource, open_source
from calib.acquire.cell.stream_figures import number_of
from calib.closing import Closing
from calib.errors import DataError
from calib.frozen import dataclass
from calib.scale import Scale
from calib.use.cell.kept_line import kept_format, kept_reversed, with_range
from calib.use.cell.line_news import LineNews

WAIT = 0.05  # s of one wait for bytes
LOOK = 20  # readings from which unit, step and noise are taken
PATIENCE_S = 60.0  # until a silent line is given up; what is wrong is said before
STALE_S = 5.0  # without a reading, until that is shown instead of the newest one
SLOW = 4.0  # readings a second: with fewer a stop is seen late


@dataclass(frozen=True)
class LineWanted:
    """What the options said of the line."""

    port: str
    baud: Setting | None = None
    column: int | None = None
    format: LineFormat | None = None
    reversed: bool = False
    ask: bytes = b""  # written to a device that says nothing by itself


@dataclass
class CellLine(Closing):
    """An open line that is understood."""

    listening: Listening
    meter: Meter
    unit: str | None  # of the line; None is counts
    rate: float  # readings a second
    restarted: bool = False  # the board started again, and what it shows with nothing on it may be another value

    def close(self) -> None:
        """Let the port go."""
        self.listening.source.close()

    def skip(self) -> None:
        """Throw away what came while something else was done."""
        while records := self.listening.poll(0.0):
            self.restarted = self.restarted or any(r.kind == "reset" for r in records)


def no_reading(for_s: float) -> str:
    """What to show where no reading has come for a while, "" before. [s]"""
    if for_s <= STALE_S:
        return ""
    return f"  no reading for {for_s:.0f} s: power, cable, another program at the port?"


def wanted_with(wanted: LineWanted, scale: Scale | None) -> LineWanted:
    """The options, with what the scale's file knows of its line where they are silent."""
    if scale is None:
        return wanted
    if wanted.format is None and wanted.column is None:
        wanted = replace(wanted, format=kept_format(scale))
    return replace(wanted, reversed=wanted.reversed or kept_reversed(scale))


def open_line(
    wanted: LineWanted,
    scale: Scale | None,
    opened: Callable[[str, Setting | None], ByteSource] | None = None,
    say: Callable[[str], object] = len,
    patience_s: float = PATIENCE_S,
) -> CellLine:
    """Open a line and listen until it is understood; a context manager that closes it.

    Args:
        wanted: Where, and what the user has said of it.
        scale: The scale's file, where there is one.
        opened: Gives the source; a port where None.
        say: Is told what is found, and what it is worth.
        patience_s: How long a line without a reading is listened to.

    Raises:
        FileError: It cannot be opened.
        DataError: It cannot be read, or only the user can say what it holds.
    """
    wanted = wanted_with(wanted, scale)
    opened = opened or partial(open_source, ask=wanted.ask)
    source = opened(wanted.port, wanted.baud)
    try:
        if source.warning:
            say(f"Note: {source.warning}.")
        chosen = with_range(Chosen(wanted.column, wanted.format), scale)
        return _understood(Listening(source, chosen, wanted.baud), wanted, scale, say, patience_s)
    except BaseException:
        source.close()
        raise


def refuse_no_length(line: CellLine) -> None:
    """Say that a sweep at no stated speed needs a length.

    Raises:
        DataError: The line carries none.
    """
    form = line.listening.format
    if form is None or "length" not in form.roles:
        raise DataError(
            "the line sends no length",
            where=line.listening.source.name,
            remedy="say which number it is, --format 'clock, value kg, length', or give a constant --speed",
        )


def _understood(
    listening: Listening, wanted: LineWanted, scale: Scale | None, say: Callable[[str], object], patience_s: float
) -> CellLine:
    news, readings, begun = LineNews(listening), list[Record](), listening.now()
    say(f"Listening to {listening.source.name} ...")
    while len(readings) < LOOK:
        records = listening.poll(WAIT)
        for record in records:
            news.figures.add(record)
        readings += [r for r in records if r.kind == "reading"]
        news.give_up(ended=listening.ended)
        trouble = news.trouble()
        if listening.now() - begun > patience_s or listening.ended:
            why = trouble or "no reading arrives"
            raise DataError(
                why.rstrip(".?"), where=listening.source.name, remedy=f"check it with: bandcurve listen {wanted.port}"
            )
    form = listening.format
    unit = form.unit if form else readings[-1].unit
    rate = news.figures.rate or SLOW
    say(f"  {form.described() if form else 'read'}; {rate:.3g} readings a second.")
    if rate < SLOW:
        say("  That is slow, so a stop is noticed late. Set the converter to ten a second or more if you can.")
    return CellLine(listening, _meter(unit, readings, scale, wanted.reversed), unit, rate)


def _meter(unit: str | None, readings: list[Record], scale: Scale | None, turned: bool) -> Meter:
    """What a number means; where the scale's file says how finely it shows, that is the step."""
    noise, step = noise_of([n for r in readings if (n := number_of(r)) is not None]), step_of(readings)
    known = scale.resolution_N if scale else 0.0
    counts = scale.counts if scale else None
    if unit is None and counts is not None:
        per = abs(counts.per_count_N)
        return Meter(counts.per_count_N, counts.zero_N, step=known or step * per, noise=noise * per)
    if unit is None:
        return Meter(reversed=turned, step=step, noise=noise, in_counts=True)
    if counts is not None:
        raise DataError(
            f"the line says {unit}, but the scale's file knows it in counts",
            where=f"scale {scale.id if scale else ''}",
            remedy="is it the right file, or the right column (--column)?",
        )
    return Meter(reversed=turned, step=known or step * NEWTON[unit], noise=noise * NEWTON[unit])
