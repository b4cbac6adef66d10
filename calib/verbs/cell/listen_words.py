"""What `listen` says: ports, records, what was found, what is wrong and what would fix it. Nothing is printed here."""

from collections.abc import Sequence

from calib.acquire.cell.lines import Kind, Record
from calib.acquire.cell.port import PortFound
from calib.acquire.cell.stream_figures import StreamFigures, number_of
from calib.verbs.terminal.plain_text import clean, table

HEARD: dict[Kind, str] = {
    "reading": "reading{s}",
    "overload": "overload{s}",
    "fault": "fault{s}",
    "status": "line{s} of status",
    "torn": "torn line{s}",
    "reset": "line{s} at a restart or a break",
    "unknown": "other line{s}",
}


def ports_text(ports: Sequence[PortFound]) -> str:
    """Ports as a table, with what to do next."""
    if not ports:
        return (
            "No serial port found. Plug the board in by a cable that carries data, not only power; wait five"
            " seconds.\nA captured file or a network address works too: bandcurve listen capture.txt"
        )
    rows = [
        (
            port.name,
            _says_it_is(port),
            f"{port.vid:04x}:{port.pid:04x}" if port.vid is not None and port.pid is not None else "-",
            port.serial_number or "-",
            port.trouble or "free",
        )
        for port in ports
    ]
    said = [table(("port", "what it says it is", "usb id", "serial number", "state"), rows)]
    said += [f"The same device under a lasting name: {port.lasting_name}" for port in ports if port.lasting_name]
    likely = next((port for port in ports if port.vid is not None), ports[0])
    return "\n".join([*said, "Next:", f"  bandcurve listen {likely.name}"])


def _says_it_is(port: PortFound) -> str:
    maker = port.manufacturer if port.manufacturer and port.manufacturer not in port.description else ""
    return ", ".join(part for part in (port.description, maker) if part) or "-"


def record_text(record: Record) -> str:
    """A record in words."""
    raw = clean(record.raw, 60)
    if record.kind != "reading":
        return f"{record.kind}: {record.note or raw}"
    marks = {True: "  stable", False: "  moving", None: ""}[record.stable]
    return f"{number_text(record)}{marks}"


def number_text(record: Record) -> str:
    """The number of a reading, with its unit or "counts"."""
    number = number_of(record)
    return "-" if number is None else f"{number:.10g} {record.unit or 'counts'}"


def figure_text(value: float, digits: int = 3) -> str:
    """A figure to so many digits, never as a power of ten where it is large.

    >>> figure_text(1190.4), figure_text(0.01234)
    ('1190', '0.0123')
    """
    return f"{value:.{digits}g}" if abs(value) < 10**digits else f"{value:.0f}"


def summary(figures: StreamFigures) -> list[str]:
    """What was heard, in a line."""
    counts = figures.counts
    parts = [f"{n} {words.format(s='' if n == 1 else 's')}" for kind, words in HEARD.items() if (n := counts[kind])]
    each = f"{figures.rate:.3g} a second" if figures.rate else ""
    return [f"Heard: {', '.join(p for p in (*parts, each) if p) or 'nothing'}."]
