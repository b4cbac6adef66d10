"""The load cell at this computer: which ports there are, and the one line that is open.

A browser may name only ports that the system lists or that were named at the terminal, so no file can be read by it.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from threading import Lock
from typing import cast

from calib.acquire.cell.port import find_ports
from calib.acquire.files.stream_file import StreamWriter, stream_path
from calib.acquire.points.hands_free import HandsFree
from calib.acquire.points.held import Grip
from calib.errors import DataError
from calib.profile.store.own_files import own_files
from calib.scale import Scale, load_scale
from calib.use.ask.given import Given
from calib.use.ask.readers import positive_force
from calib.use.cell.at_cell import grip_of, refuse_another_kind, u_sensor_of, unit_of, with_line, without_file
from calib.use.cell.cell_line import CellLine, LineWanted, open_line
from calib.web.cell.capture import Capture
from calib.web.measuring import Sitting

PATIENCE_S = 15.0  # until a silent line is given up: a browser waits for the answer
GRIPS = {"strap": "A strap, pins or a hook holds the length", "hand": "I hold it by hand"}


@dataclass
class Cells:
    """The line that is open, with what was said of it."""

    folder: Path
    named: tuple[str, ...] = ()  # ports named at the terminal
    line: CellLine | None = None
    scale: Scale | None = None
    scale_file: str | None = None
    grip: Grip = "strap"
    notes: tuple[str, ...] = ()
    capture: Capture | None = None
    lock: Lock = field(default_factory=Lock)

    def ports(self) -> dict[str, str]:
        """Ports by name, with what the system says of each."""
        found = {port.name: ", ".join(filter(None, (port.description, port.trouble))) for port in find_ports()}
        return {**dict.fromkeys(self.named, "named at the terminal"), **found}

    def scales(self) -> dict[str, Path]:
        """Scale files of the folder, as they are called on the page."""
        files = own_files(self.folder, "*.scale.json")
        return {p.relative_to(self.folder).as_posix().removesuffix(".scale.json"): p for p in files}

    def connect(self, port: str, scale: str, capacity: str, grip: str, *, turned: bool) -> None:
        """Open a line in place of the one that is open.

        Raises:
            DataError: It is none of the ports, or cannot be understood.
        """
        if port not in self.ports():
            raise DataError(f"there is no port {port[:60]!r} here", remedy="plug the load cell in, then look again")
        file = self.scales().get(scale)
        if scale and file is None:
            raise DataError(f"there is no scale {scale[:60]!r} here", remedy="choose one from the list")
        with self.lock:
            self._close()
            said: list[str] = []
            known = load_scale(file) if file else None
            line = open_line(LineWanted(port, reversed=turned), known, say=said.append, patience_s=PATIENCE_S)
            try:
                unit = unit_of(line)
                made = known or without_file(line, positive_force(unit)(f"{capacity} {unit}" if capacity else ""))
            except BaseException:
                line.close()
                raise
            self.line, self.scale, self.scale_file = line, made, str(file) if file else None
            self.grip, self.notes = cast(Grip, grip if grip in GRIPS else "strap"), tuple(said)

    def _close(self) -> None:
        if self.capture is not None and self.capture.running:
            raise DataError("the load cell is measuring", remedy="end that recording first")
        if self.capture is not None:
            self.capture.join()
        if self.line is not None:
            self.line.close()
        self.line = self.capture = None

    def given_at_cell(self, given: Given) -> Given:
        """What is known before the first question of a recording at the cell.

        Raises:
            DataError: No line is open.
        """
        if self.line is None:
            raise DataError("no load cell is connected", remedy="choose its port")
        found = with_line(given, self.line, self.scale, self.grip, by_sweeps=False)
        return replace(found, scale_file=self.scale_file)

    def attach(self, sitting: Sitting, tell: Callable[[], None]) -> None:
        """Let the cell take the points of a recording. The recording's lock is held.

        Raises:
            DataError: No line is open, it is at another recording, or its rows are of another kind.
        """
        with self.lock:
            if self.line is None:
                raise DataError("no load cell is connected", remedy="choose its port")
            if self.capture is not None and self.capture.running:
                raise DataError("the load cell is at another recording", remedy="end that one first")
            state, meter = sitting.state, self.line.meter
            refuse_another_kind(state, sitting.path, self.line, by_sweeps=False)
            u_sensor = u_sensor_of(state.head, None if meter.in_counts else self.scale)
            work = HandsFree(state, meter, grip_of(state.head, self.grip), u_sensor)
            stream = StreamWriter(stream_path(sitting.path), self.line.unit)
            offset = sitting.now() - self.line.listening.now()
            self.capture = Capture(work, sitting.writer, stream, self.line, offset, sitting.lock, sitting.follow, tell)
            sitting.capture = self.capture
            self.capture.start()
