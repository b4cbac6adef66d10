"""`bandcurve listen`: what a load cell on a serial line sends: ports, speed, format, live value. It never writes."""

import json
import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated, Any

import typer

from calib.errors import DataError, UsageError

if TYPE_CHECKING:
    from calib.acquire.baud import Setting
    from calib.acquire.line_agreement import Chosen
    from calib.acquire.lines import Record
    from calib.acquire.listening import Listening
    from calib.acquire.port import PortFound
    from calib.acquire.replay import Rate

WAIT = 0.1  # s of one wait for bytes


def command(
    name: Annotated[
        str | None, typer.Argument(metavar="[PORT|FILE|URL]", help="What to listen to; left out, ports are listed.")
    ] = None,
    column: Annotated[int | None, typer.Option("--column", min=1, help="Which number of a line is the force.")] = None,
    baud: Annotated[
        str | None, typer.Option("--baud", help="Speed, with its framing if not 8N1: 9600, 2400-7E1.")
    ] = None,
    line_format: Annotated[
        str | None, typer.Option("--format", help="What a line holds: 'clock, value kg, other', or decimal-comma.")
    ] = None,
    rate: Annotated[str, typer.Option("--rate", help="Of a captured file: real, fast, or lines a second.")] = "real",
    lasting: Annotated[
        float | None, typer.Option("--for", metavar="SECONDS", min=0.1, help="Stop by itself after so long.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object a line.")] = False,
) -> int:
    """Show what a load cell on a serial line sends: its speed, its format, and the value, large and live.

    It never writes to the device. A captured file is replayed like a port.

    \b
    Examples:
      bandcurve listen
      bandcurve listen /dev/ttyUSB0
      bandcurve listen socket://192.168.1.20:4001 --column 2
      bandcurve listen capture.txt --rate fast --json
    """
    from calib.acquire.listening import Listening
    from calib.acquire.port import find_ports, open_source
    from calib.verbs.prompts import say

    if name is None:
        _tell_ports(find_ports(), as_json=as_json)
        return 0
    chosen = _chosen(column, line_format)
    setting = _setting(baud)
    with open_source(name, setting, rate=_rate(rate)) as source:
        if source.warning:
            say(f"Note: {source.warning}.")
        listening = Listening(source, chosen, setting)
        if as_json or not sys.stdout.isatty():
            return _plain(listening, _as_json if as_json else _as_text, lasting)
        from calib.verbs.listen_screen import Screen

        return Screen(listening).run(lasting)


def _chosen(column: int | None, text: str | None) -> "Chosen":
    from calib.acquire.line_agreement import Chosen, parse_format

    if text is None:
        return Chosen(column)
    if column is not None:
        raise UsageError("--format says which number is the force already", remedy="leave --column out")
    try:
        return Chosen(format=parse_format(text))
    except DataError as error:
        raise UsageError(f"--format: {error.what}", remedy=error.remedy) from None


def _setting(text: str | None) -> "Setting | None":
    from calib.acquire.baud import Setting

    if text is None:
        return None
    number, _, framing = text.strip().upper().replace(" ", "-").partition("-")
    if not (number.isascii() and number.isdigit() and 50 <= int(number) <= 4_000_000):
        raise UsageError(f"--baud {text[:20]!r} is no speed", remedy="for example --baud 9600 or --baud 2400-7E1")
    if framing not in ("", "8N1", "7E1"):
        raise UsageError(f"--baud {text[:20]!r}: only 8N1 and 7E1 are known", remedy="for example --baud 2400-7E1")
    return Setting(int(number), "7E1" if framing == "7E1" else "8N1")


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
        raise UsageError(f"--rate {text[:20]!r} is no rate", remedy="use real, fast, or lines a second: --rate 80")
    return value


def _plain(listening: "Listening", written: "Callable[[Record], str]", lasting: float | None) -> int:
    """A line a record on standard output, talk on standard error."""
    from calib.verbs.listen_words import Talk
    from calib.verbs.prompts import say

    talk = Talk(listening)
    try:
        while not talk.over(lasting):
            records = listening.poll(WAIT)
            for record in records:
                talk.figures.add(record)
                print(written(record))
            if records:
                sys.stdout.flush()
            say(*talk.news())
            talk.give_up()
    except BrokenPipeError:  # whoever read it has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        say("", *talk.summary())
        raise
    talk.give_up(ended=True)
    say(*talk.summary())
    return 0


def _as_json(record: "Record") -> str:
    found: dict[str, Any] = {"at_s": round(record.at_s, 4), "kind": record.kind}
    if record.kind == "reading":
        found |= {"counts": record.counts} if record.value is None else {"value": record.value, "unit": record.unit}
        found |= {} if record.length is None else {"length": record.length}
    found |= {"stable": record.stable, "raw": record.raw}
    return json.dumps(found | ({"note": record.note} if record.note else {}))


def _as_text(record: "Record") -> str:
    from calib.verbs.listen_words import record_text

    return f"{record.at_s:10.3f} s  {record_text(record)}"


def _tell_ports(ports: "Sequence[PortFound]", *, as_json: bool) -> None:
    from calib.verbs.listen_words import ports_text

    print(json.dumps({"ports": [asdict(port) for port in ports]}, indent=2) if as_json else ports_text(ports))
