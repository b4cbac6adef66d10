"""`bandcurve listen`: what a load cell on a serial line sends: ports, speed, format, live value. It never writes."""

import contextlib
import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from calib.errors import DataError, UsageError
from calib.units import G_STANDARD
from calib.verbs.terminal import typer_later as typer

if TYPE_CHECKING:
    from calib.acquire.cell.baud import Setting
    from calib.acquire.cell.line_format import Chosen
    from calib.acquire.cell.lines import Record
    from calib.acquire.cell.listening import Listening
    from calib.acquire.cell.port import PortFound
    from calib.acquire.cell.replay import Rate
    from calib.scale import Scale

WAIT = 0.1  # s of one wait for bytes


def command(
    name: Annotated[
        str | None, typer.Argument(metavar="[PORT|FILE|URL]", help="What to listen to; left out, the ports are listed.")
    ] = None,
    column: Annotated[int | None, typer.Option("--column", min=1, help="Which number of a line is the force.")] = None,
    baud: Annotated[
        str | None, typer.Option("--baud", help="Baud rate, with framing if not 8N1: 9600, 2400-7E1.")
    ] = None,
    line_format: Annotated[
        str | None, typer.Option("--format", help="What a line holds: 'clock, value kg, other', or decimal-comma.")
    ] = None,
    pattern: Annotated[
        str | None, typer.Option("--pattern", help="A line with fields where it changes: 't={clock ms} kg={value kg}'.")
    ] = None,
    rate: Annotated[str, typer.Option("--rate", help="Of a captured file: real, fast, or lines a second.")] = "real",
    scale_file: Annotated[
        Path | None, typer.Option("--scale", metavar="FILE", help="Use the format and the counts of this scale's file.")
    ] = None,
    keep: Annotated[bool, typer.Option("--keep", help="Store the format found in the --scale file.")] = False,
    lasting: Annotated[
        float | None, typer.Option("--for", metavar="SECONDS", min=0.1, help="Stop after this long.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object a line.")] = False,
    csv_file: Annotated[
        Path | None, typer.Option("--csv", metavar="FILE", help="Also write each reading to a new file.")
    ] = None,
    ask: Annotated[
        str | None,
        typer.Option("--ask", metavar="TEXT", help="WRITE this to a silent device, again and again: 'R\\r'."),
    ] = None,
) -> int:
    """Show what a load cell on a serial line sends: its speed, its format, and the value, large and live.

    It never writes to the device unless you give --ask. A captured file is replayed like a port.

    \b
    Examples:
      bandcurve listen
      bandcurve listen /dev/ttyUSB0
      bandcurve listen socket://192.168.1.20:4001 --column 2
      bandcurve listen capture.txt --rate fast --json
      bandcurve listen /dev/ttyUSB0 --scale cell-3.scale.json --keep
      bandcurve listen /dev/ttyUSB0 --csv pull.csv
    """
    from calib.acquire.cell.line_format import Chosen
    from calib.acquire.cell.listening import Listening
    from calib.acquire.cell.port import find_ports, open_source
    from calib.use.cell.kept_line import kept_format, with_range
    from calib.verbs.cell.readings_csv import Written, asked_of, readings_file
    from calib.verbs.terminal.prompts import say

    if name is None:
        _tell_ports(find_ports(), as_json=as_json)
        return 0
    chosen = chosen_of(column, line_format, pattern)
    setting = setting_of(baud)
    scale = _scale(scale_file, keep=keep)
    if scale is not None and chosen == Chosen():
        chosen = Chosen(format=kept_format(scale))
    chosen = with_range(chosen, scale)
    asking = asked_of(ask, name, baud)
    kept = contextlib.nullcontext(None) if csv_file is None else readings_file(csv_file)
    with open_source(name, setting, ask=asking, rate=_rate(rate)) as source, kept as rows:
        if source.warning:
            say(f"Note: {source.warning}.")
        listening = Listening(source, chosen, setting)
        if rows is not None:
            listening = Written(listening, rows, _force_of(scale))
        try:
            if as_json or not sys.stdout.isatty():
                return _plain(listening, _written(scale, as_json=as_json), lasting)
            from calib.verbs.cell.listen_screen import Screen

            return Screen(listening, _in_kilos(scale)).run(lasting)
        finally:
            if keep and scale is not None and scale_file is not None:
                _keep(listening, scale, scale_file)


def _scale(file: Path | None, *, keep: bool) -> "Scale | None":
    if file is None:
        if keep:
            raise UsageError("--keep needs the scale's file", remedy="give --scale NAME.scale.json")
        return None
    from calib.scale import load_scale

    return load_scale(file)


def _keep(listening: "Listening", scale: "Scale", file: Path) -> None:
    """Store the format that was found in the scale's file."""
    from calib.scale import update_scale
    from calib.use.cell.kept_line import with_line
    from calib.verbs.terminal.prompts import say

    if listening.format is None:
        return
    kept = with_line(scale, listening.format, listening.setting)
    update_scale(file, lambda now: now.with_changes(scale, kept))
    say(f"Kept in {file}: {listening.format.described()}.")


def _in_kilos(scale: "Scale | None") -> "Callable[[Record], Record]":
    """Turns a reading in counts into kilograms where the scale's file says what a count is."""
    from math import ceil, log10

    counts = scale.counts if scale else None
    places = ceil(-log10(abs(counts.per_count_N) / G_STANDARD)) if counts else 0  # those that a count moves

    def turned(record: "Record") -> "Record":
        if counts is None or record.counts is None:
            return record
        return replace(record, value=round(counts.force(record.counts) / G_STANDARD, places), unit="kg", counts=None)

    return turned


def _force_of(scale: "Scale | None") -> "Callable[[Record], float | None]":
    """The force of a reading, where its unit or the scale's file says it. [N]"""
    from calib.acquire.cell.meter import NEWTON

    counts = scale.counts if scale else None

    def force(record: "Record") -> float | None:
        if record.value is not None:
            return record.value * NEWTON[record.unit or "N"]
        return counts.force(record.counts) if counts and record.counts is not None else None

    return force


def _written(scale: "Scale | None", *, as_json: bool) -> "Callable[[Record], str]":
    in_kilos, counts = _in_kilos(scale), scale.counts if scale else None
    if not as_json:
        return lambda record: _as_text(in_kilos(record))

    from calib.use.cell.reading_line import json_line

    def written(record: "Record") -> str:
        force = counts.force(record.counts) if counts and record.counts is not None else None
        return json_line(record, force)

    return written


def chosen_of(column: int | None, text: str | None, pattern: str | None = None) -> "Chosen":
    """What `--column`, `--format` and `--pattern` say; a format with a brace in it is a pattern.

    Raises:
        UsageError: They cannot be read, or contradict one another.
    """
    from calib.acquire.cell.line_format import Chosen, parse_format, parse_pattern

    option, said = ("--format", text) if pattern is None else ("--pattern", pattern)
    if said is None:
        return Chosen(column)
    if column is not None or (text is not None and pattern is not None):
        other = "--column" if column is not None else "--format"
        raise UsageError(f"{option} says which number is the force already", remedy=f"leave {other} out")
    try:
        return Chosen(format=parse_pattern(said) if "{" in said or pattern is not None else parse_format(said))
    except DataError as error:
        raise UsageError(f"{option}: {error.what}", remedy=error.remedy) from None


def setting_of(text: str | None) -> "Setting | None":
    """What `--baud` says.

    Raises:
        UsageError: It is not a speed.
    """
    from calib.acquire.cell.baud import FRAMINGS, Setting

    if text is None:
        return None
    number, _, framing = text.strip().upper().replace(" ", "-").partition("-")
    if not (number.isascii() and number.isdigit() and 50 <= int(number) <= 4_000_000):
        raise UsageError(f"--baud {text[:20]!r} is not a speed", remedy="for example --baud 9600 or --baud 2400-7E1")
    known = next((one for one in FRAMINGS if one == (framing or "8N1")), None)
    if known is None:
        raise UsageError(f"--baud {text[:20]!r}: only {', '.join(FRAMINGS)} are known", remedy="like --baud 2400-7E1")
    return Setting(int(number), known)


def _rate(text: str) -> "Rate":
    if text == "real":
        return "real"
    if text == "fast":
        return "fast"
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0.01 <= value <= 1e6:
        raise UsageError(f"--rate {text[:20]!r} is not a rate", remedy="use real, fast, or lines a second: --rate 80")
    return value


def _plain(listening: "Listening", written: "Callable[[Record], str]", lasting: float | None) -> int:
    """A line a record on standard output, talk on standard error."""
    from calib.use.cell.line_news import LineNews
    from calib.verbs.cell.listen_words import summary
    from calib.verbs.terminal.prompts import say

    talk = LineNews(listening)
    try:
        while not talk.is_over(lasting):
            records = listening.poll(WAIT)
            for record in records:
                talk.figures.add(record)
                print(written(record))
            if records:
                sys.stdout.flush()
            say(*talk.unsaid())
            talk.give_up()
    except BrokenPipeError:  # whoever read it has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        say("", *summary(talk.figures))
        raise
    talk.give_up(ended=True)
    say(*summary(talk.figures))
    return 0


def _as_text(record: "Record") -> str:
    from calib.verbs.cell.listen_words import record_text

    return f"{record.at_s:10.3f} s  {record_text(record)}"


def _tell_ports(ports: "Sequence[PortFound]", *, as_json: bool) -> None:
    from calib.use.answers.gear import PortsAnswer, SerialPort
    from calib.verbs.cell.listen_words import ports_text
    from calib.verbs.terminal.answer import give

    if as_json:
        give(PortsAnswer(ports=tuple(SerialPort(**asdict(port)) for port in ports)), None, as_json=True)
        return
    print(ports_text(ports))
