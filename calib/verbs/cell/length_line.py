"""`record --read-length` and `--length-port`: the length sensor of a recording, tied to the tape at two marks first."""

from dataclasses import dataclass
from statistics import median, pstdev

from calib.acquire.cell.line_format import Chosen
from calib.acquire.cell.lines import Record
from calib.acquire.cell.listening import Listening
from calib.acquire.cell.port import open_source
from calib.acquire.files.typed import parse_length
from calib.acquire.points.length_sensor import LengthSensor, Mark, tied
from calib.acquire.recording.typed_entry import number_in_unit
from calib.closing import Closing
from calib.errors import DataError
from calib.units import LENGTH
from calib.verbs.terminal.prompts import ask, say

LOOK_S, PATIENCE_S = 1.5, 15.0  # s; of one look, and until a silent sensor is given up
WAIT_S = 0.05


def number_of_length(record: Record) -> float | None:
    """What a length sensor's own line says, whatever its unit."""
    if record.length is not None:
        return record.length
    if record.kind != "reading":
        return None
    return record.counts if record.value is None else record.value


@dataclass
class LengthLine(Closing):
    """Where the length is read: the load cell's own line, or a second port.

    Args:
        listening: The line.
        own: Whether it is a port of the sensor's own, opened here.
    """

    listening: Listening
    own: bool

    def close(self) -> None:
        """Let the sensor's own port go."""
        if self.own:
            self.listening.source.close()

    def number(self, record: Record) -> float | None:
        """The sensor's number in a line, None where it holds none."""
        return number_of_length(record) if self.own else record.length

    def tie(self, settings: tuple[float, ...], unit: str, u_tape: float) -> LengthSensor:
        """Ask for the tape at two marks.

        Raises:
            DataError: The sensor is silent or says the same at both; or they are too near each other.
        """
        say("", "Calibrate the length sensor against the tape at two marks, one short and one long.")
        marks = [self._mark(place, unit) for place in (min(settings), max(settings))]
        sensor = tied(marks[0], marks[1], u_tape)
        say(f"  Length sensor: {sensor.described()}.")
        return sensor

    def _mark(self, place: float, unit: str) -> Mark:
        about = f"{number_in_unit(place, unit, LENGTH)} {unit}"
        taped = ask(
            f"Set it to about {about} and hold it there. The tape reads, {unit}: ",
            lambda text: parse_length(text, unit),
        )
        while self.listening.poll(0.0):
            pass
        seen: list[float] = []
        begun = self.listening.now()
        while self.listening.now() - begun < LOOK_S or not seen:
            seen += [n for r in self.listening.poll(WAIT_S) if (n := self.number(r)) is not None]
            if self.listening.ended or self.listening.now() - begun > PATIENCE_S:
                where = self.listening.source.name
                remedy = "is it powered? bandcurve listen shows what it sends; --format says which number is the length"
                raise DataError("the length sensor says nothing", where=where, remedy=remedy)
        return Mark(median(seen), pstdev(seen), taped)


def length_line(port: str, own: Listening) -> LengthLine:
    """The sensor's line: of a port of its own where one is named, else the load cell's. A context manager."""
    if not port:
        return LengthLine(own, own=False)
    source = open_source(port)
    return LengthLine(Listening(source, Chosen(quantity="length")), own=True)
