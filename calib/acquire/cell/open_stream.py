"""The readings of a load cell as a Python iterator: time, force, status. Opens a port through `port.py`.

with calib.open_stream("/dev/ttyUSB0", scale="cell.scale.json") as stream:
for reading in stream:
print(reading.time_s, reading.force_N, reading.status)
"""

from collections import deque
from collections.abc import Iterator
from pathlib import Path

from calib.acquire.cell.baud import Setting
from calib.acquire.cell.line_format import Chosen, parse_format
from calib.acquire.cell.lines import Record
from calib.acquire.cell.listening import Listening
from calib.acquire.cell.meter import NEWTON
from calib.acquire.cell.port import ByteSource, open_source
from calib.acquire.cell.replay import Rate
from calib.closing import Closing
from calib.errors import DataError
from calib.frozen import dataclass
from calib.scale import Scale, load_scale
from calib.units import LENGTH

WAIT_S = 0.1  # of one wait for bytes


@dataclass(frozen=True)
class StreamReading:
    """One line of a load cell.

    Args:
        time_s: Since the port was opened; of a captured file its own time. [s]
        force_N: None where the line is no reading, or is in counts and nothing says what a count is. [N]
        status: "ok", "stable", "moving"; else why there is no force: "overload", "fault", "torn", "reset", "status",
            "unknown".
        counts: Where the line names no unit.
        length_m: Where the line carries a length with a unit that it names. [m]
        raw: The line as it came.
    """

    time_s: float
    force_N: float | None
    status: str
    counts: float | None
    length_m: float | None
    raw: str


class Stream(Closing):
    """An open line to go through; a context manager. Going through it waits for the next line."""

    def __init__(self, source: ByteSource, chosen: Chosen, setting: Setting | None, scale: Scale | None) -> None:
        self._listening = Listening(source, chosen, setting)
        self._scale = scale
        self._waiting: deque[StreamReading] = deque()

    def close(self) -> None:
        """Let the port go."""
        self._listening.source.close()

    def __iter__(self) -> Iterator[StreamReading]:
        return self

    def __next__(self) -> StreamReading:
        """The next line.

        Raises:
            DataError: What the lines hold is a question, or nothing can be read at any usual speed.
        """
        while not self._waiting:
            if self._listening.ended:
                raise StopIteration
            self._waiting.extend(map(self._read, self._listening.poll(WAIT_S)))
            self._refuse()
        return self._waiting.popleft()

    def _refuse(self) -> None:
        listening = self._listening
        if listening.question is not None:
            what, _, remedy = listening.question.text.partition("; ")
            raise DataError(what, where=listening.source.name, remedy=remedy)
        if listening.search.exhausted:
            what = "nothing can be read at any usual speed"
            raise DataError(what, where=listening.source.name, remedy="say the speed: baud=9600")

    def _read(self, record: Record) -> StreamReading:
        status = {True: "stable", False: "moving", None: "ok"}[record.stable]
        status = status if record.kind == "reading" else record.kind
        unit = LENGTH.get(record.length_unit or "")
        length = None if record.length is None or unit is None else record.length * unit
        return StreamReading(record.at_s, self._force(record), status, record.counts, length, record.raw)

    def _force(self, record: Record) -> float | None:
        if record.kind != "reading":
            return None
        if record.value is not None:
            return record.value * NEWTON[record.unit or "N"]
        counts = self._scale.counts if self._scale else None
        return None if counts is None or record.counts is None else counts.force(record.counts)


def open_stream(
    port: str,
    *,
    baud: int | None = None,
    format: str | None = None,
    scale: str | Path | Scale | None = None,
    ask: bytes = b"",
    rate: Rate = "real",
) -> Stream:
    """Open a port, a network address or a captured file, and give its readings one by one.

    Args:
        port: As for `bandcurve listen`: "/dev/ttyUSB0", "COM3", "socket://192.168.1.20:4001", "capture.txt".
        baud: Searched for where None. [bits/s]
        format: What a line holds, as `--format` says it; found where None.
        scale: Its file, or the scale: says what a count is.
        ask: Written to the device again and again; nothing is written where empty.
        rate: Of a captured file: "real", "fast", or lines a second.

    Raises:
        FileError: It cannot be opened, or the scale's file cannot be read.
        DataError: The format cannot be read.
    """
    known = load_scale(Path(scale)) if isinstance(scale, (str, Path)) else scale
    chosen = Chosen(format=parse_format(format)) if format else Chosen()
    setting = Setting(baud, "8N1") if baud else None
    return Stream(open_source(port, setting, ask=ask, rate=rate), chosen, setting, known)
