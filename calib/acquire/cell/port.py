"""Bytes from a serial port, a network address or a captured file, each with the time it came; the one user of pyserial.

Nothing is written to a device unless its user asks for that (`ask`). Lines, formats and numbers are not known here
(`listening.py` puts them together).

    with open_source("/dev/ttyUSB0") as source:      # or "socket://10.0.0.5:4001", "rfc2217://...", "capture.txt"
        while True:
            arrival = source.read(0.1)               # waits at most so long; None where nothing came
            ...                                      # arrival.kind: "data", "gap", "back", "end"

Unplugging is no error: `read` gives one "gap", then None until the same device is there again, then "back".
"""

import os
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Any, Literal, Protocol, Self

from calib.acquire.cell.baud import SETTINGS, Setting
from calib.acquire.cell.port_trouble import group_of, holder, is_there, refusal
from calib.acquire.cell.replay import Rate, timed_lines
from calib.closing import Closing
from calib.errors import UsageError, file_error
from calib.frozen import dataclass
from calib.safe_read import open_regular

__all__ = ["Arrival", "ByteSource", "PortFound", "find_ports", "open_source"]

TICK = 0.05  # s; the longest single wait within a read
GATHER = 0.004  # s; bytes of a slow line are taken together: four readings of a fast cell are 50 ms
RETRY = 0.5  # s between two looks for a device that is gone
MOST = 1 << 16  # bytes of one arrival
URLS = ("socket://", "rfc2217://", "loop://")

ASK_EVERY_S, ASK_AGAIN_S = 0.1, 0.6  # s; after an answer, and where none came

ArrivalKind = Literal["data", "gap", "back", "end"]


@dataclass(frozen=True, slots=True)
class Arrival:
    """What a source had to give.

    Args:
        at_s: Since the source was opened; of a captured file, the file's own time. [s]
        kind: "data" with bytes; "gap": the device is gone; "back": it is there again; "end": the file is over.
        data: Empty but for "data".
        note: Why there is a gap, or under which name the device came back.
    """

    at_s: float
    kind: ArrivalKind
    data: bytes = b""
    note: str = ""


class ByteSource(Protocol):
    """Where bytes come from; a context manager."""

    name: str
    has_baud: bool  # False: a captured file, or a plain network socket
    warning: str  # said at opening, "" if nothing is

    def read(self, wait_s: float) -> Arrival | None:
        """The next arrival, None where nothing came in time."""

    def now(self) -> float:
        """Seconds since it was opened, or the time within a captured file. [s]"""

    def shared_with(self) -> str:
        """Another program that has the port open, "" where none is seen."""

    def set_line(self, setting: Setting) -> None:
        """Change speed and framing of the open port; it is not opened again, which would restart the board."""

    def close(self) -> None:
        """Let it go; twice does no harm."""

    def __enter__(self) -> Self: ...
    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...


@dataclass(frozen=True)
class PortFound:
    """One serial port of this computer, and what the system says of what is plugged in."""

    name: str
    description: str = ""
    vid: int | None = None
    pid: int | None = None
    serial_number: str | None = None
    location: str | None = None
    manufacturer: str | None = None
    lasting_name: str | None = None  # one that stays when others are plugged in
    trouble: str = ""  # why it cannot be opened, "" where it can

    def is_same_device(self, other: "PortFound") -> bool:
        """Whether two ports are one device: by its serial number, else by kind and socket."""
        if (self.vid, self.pid) != (other.vid, other.pid):
            return False
        if self.serial_number or other.serial_number:
            return self.serial_number == other.serial_number
        return self.location == other.location


def find_ports() -> tuple[PortFound, ...]:
    """Serial ports the system lists; pseudo-terminals and network addresses never are."""
    from serial.tools import list_ports

    lasting = {os.path.realpath(link): str(link) for link in _links()}
    return tuple(
        PortFound(
            name=info.device,
            description=info.description if info.description not in (None, "n/a") else "",
            vid=info.vid,
            pid=info.pid,
            serial_number=info.serial_number,
            location=info.location,
            manufacturer=info.manufacturer,
            lasting_name=lasting.get(os.path.realpath(info.device)),
            trouble=_trouble(info.device),
        )
        for info in sorted(list_ports.comports(), key=lambda info: str(info.device))
    )


def _links() -> Iterator[Path]:
    with suppress(OSError):
        yield from sorted(Path("/dev/serial/by-id").iterdir())


def _trouble(name: str) -> str:
    if os.name == "posix" and not os.access(name, os.R_OK | os.W_OK):
        return f"no permission: {group_of(name)}"
    other = holder(name)
    return f"in use by {other}" if other else ""


def open_source(
    name: str,
    setting: Setting | None = None,
    *,
    ask: bytes = b"",
    rate: Rate = "real",
    clock: Callable[[], float] = time.monotonic,
    ports: Callable[[], Sequence[PortFound]] = find_ports,
) -> ByteSource:
    """Open a port, a network address or a captured file.

    Args:
        name: A device, a link to one, `socket://HOST:PORT`, `rfc2217://HOST:PORT`, or a regular file.
        setting: Speed and framing; the most usual where None, until `set_line`.
        ask: Written to the device again and again, for one that says nothing by itself; nothing is written where empty.
        rate: Of a captured file: "real", "fast", or lines a second.
        clock: Seconds from any start.
        ports: What is plugged in; passed in by tests.

    Raises:
        FileError: It cannot be opened; says why and what would fix it.
        UsageError: No such kind of address.
    """
    if "://" in name:
        if not name.startswith(URLS):
            raise UsageError(f"{name[:60]!r} is not an address to listen to", remedy=f"use {' or '.join(URLS)}")
        if "logging=" in name:
            raise UsageError("the address asks for a log on the terminal", remedy="leave out logging=")
        return SerialSource(name, setting or SETTINGS[0], clock, ports, ask)
    with suppress(OSError):  # a name no file can have: the port's own refusal says so
        if Path(name).is_file():
            return FileSource(Path(name), rate, clock)
    return SerialSource(name, setting or SETTINGS[0], clock, ports, ask)


class SerialSource(Closing):
    """A port that may come and go."""

    warning = ""

    def __init__(
        self,
        name: str,
        setting: Setting,
        clock: Callable[[], float],
        ports: Callable[[], Sequence[PortFound]],
        ask: bytes = b"",
    ) -> None:
        self.name = name
        self._ask, self._asked_s, self._answered = ask, float("-inf"), True
        self.has_baud = not name.startswith(("socket://", "loop://"))
        self._setting = setting
        self._clock = clock
        self._ports = ports
        self._present = tuple(ports()) if "://" not in name else ()
        self._identity = _port_named(name, self._present)
        self._begun = clock()
        self._tried = -RETRY
        self._port: Any = None
        other = "" if "://" in name or "/pts/" in os.path.realpath(name) else holder(name)
        try:
            self._port = _open(name, setting)
        except _broken_port() as error:
            raise refusal(error, name) from error
        if other:
            self.warning = f"another program ({other}) has {name} open too; if it reads from it, lines get lost"

    def read(self, wait_s: float) -> Arrival | None:
        """The next bytes, or news of the device; None where nothing came in time."""
        end = self._clock() + wait_s
        while True:
            arrival = self._look_for_it() if self._port is None else self._take(wait_s > 0)
            left = end - self._clock()
            if arrival or left <= 0:
                return arrival
            if self._port is None:
                time.sleep(min(TICK, left))

    def _take(self, may_wait: bool) -> Arrival | None:
        data = b""
        try:
            self._ask_again()
            if may_wait or self._port.in_waiting:
                data = self._port.read(1)
            if not data:
                return None
            time.sleep(GATHER)
            while len(data) < MOST and (waiting := self._port.in_waiting):
                data += self._port.read(min(waiting, MOST))
        except _broken_port() as error:
            if not data:  # otherwise it is the next read that finds the device gone
                return self._lose(error)
        if self._setting.framing != "8N1":
            data = bytes(byte & 0x7F for byte in data)  # adapters that cannot do seven bits pass the parity on
        self._answered = True
        return Arrival(self.now(), "data", data)

    def _ask_again(self) -> None:
        """Ask a device that says nothing by itself for its next reading."""
        due = ASK_EVERY_S if self._answered else ASK_AGAIN_S
        if self._ask and self._clock() - self._asked_s >= due:
            self._asked_s, self._answered = self._clock(), False
            self._port.write(self._ask)

    def _lose(self, error: BaseException) -> Arrival:
        self._shut()
        self._tried = self._clock()
        shared = "multiple access" in str(error) and is_there(self.name) and holder(self.name)
        why = f"another program ({shared}) reads from the port too" if shared else "the device is gone"
        return Arrival(self.now(), "gap", note=why)

    def _look_for_it(self) -> Arrival | None:
        """Try to open the same device again, by whatever name it has now."""
        if self._clock() - self._tried < RETRY:
            return None
        self._tried = self._clock()
        name = self._name_now()
        if name is None:
            return None
        try:
            self._port = _open(name, self._setting)
        except _broken_port():
            return None  # not ready yet, or not allowed yet: the system sets permissions a moment later
        self.name = name
        return Arrival(self.now(), "back", note=name)

    def _name_now(self) -> str | None:
        """The device's name at this moment; None while it is away."""
        if self._identity is None or self._identity.vid is None:
            return self.name if is_there(self.name) else None
        there = tuple(self._ports())
        same = [port for port in there if port.is_same_device(self._identity)]
        if not same and not self._identity.serial_number:  # no serial number, and in another socket than before
            kind = (self._identity.vid, self._identity.pid)
            before = {port.location for port in self._present}
            same = [port for port in there if (port.vid, port.pid) == kind and port.location not in before]
        return same[0].name if len(same) == 1 else None

    def shared_with(self) -> str:
        """Another program that has the port open."""
        return "" if "://" in self.name else holder(self.name)

    def set_line(self, setting: Setting) -> None:
        """Change speed and framing; what arrived at the old ones is thrown away."""
        self._setting = setting
        if self._port is None or not self.has_baud:
            return
        with suppress(*_broken_port()):  # a device that is gone shows at the next read
            _set(self._port, setting)
            self._port.reset_input_buffer()

    def close(self) -> None:
        """Let the port go."""
        self._shut()

    def _shut(self) -> None:
        if self._port is not None:
            with suppress(*_broken_port()):
                self._port.close()
        self._port = None

    def now(self) -> float:
        """Seconds since it was opened."""
        return self._clock() - self._begun


class FileSource(Closing):
    """A captured file that is read like a port, line by line with its own times."""

    has_baud = False
    warning = ""

    def __init__(self, path: Path, rate: Rate, clock: Callable[[], float]) -> None:
        self.name = str(path)
        self._clock = clock
        self._begun = clock()
        self._fast = rate == "fast"
        self._seven = False
        self._file = open_regular(path)
        try:
            head = self._file.read(MOST)
        except OSError as error:
            raise file_error(error, path, "read") from error
        blocks = iter(lambda: self._file.read(MOST), b"")
        self._lines = timed_lines(head, blocks, rate)
        self._next = next(self._lines, None)
        self._last_s = 0.0

    def read(self, wait_s: float) -> Arrival | None:
        """The next line when its time has come, at once where the rate is "fast"."""
        if self._next is None:
            return Arrival(self._last_s, "end")
        at_s, line = self._next
        early = at_s - (self._clock() - self._begun)
        if not self._fast and early > 0:
            time.sleep(min(early, max(wait_s, 0.0)))
            if early > wait_s:
                return None
        self._next = next(self._lines, None)
        self._last_s = at_s
        return Arrival(at_s, "data", bytes(byte & 0x7F for byte in line) if self._seven else line)

    def now(self) -> float:
        """The time of the line given last."""
        return self._last_s

    def shared_with(self) -> str:
        """Nobody takes bytes from a file."""
        return ""

    def set_line(self, setting: Setting) -> None:
        """Take the parity away where the file holds bytes of seven bits."""
        self._seven = setting.framing != "8N1"

    def close(self) -> None:
        """Close the file."""
        self._file.close()


def _port_named(name: str, ports: Sequence[PortFound]) -> PortFound | None:
    target = os.path.realpath(name) if os.name == "posix" else name.upper()
    for port in ports:
        if target == (os.path.realpath(port.name) if os.name == "posix" else port.name.upper()):
            return port
    return None


def _broken_port() -> tuple[type[BaseException], ...]:
    """Everything pyserial raises where a device is gone; `termios.error` is no OSError, and not there on Windows."""
    try:
        import termios
    except ImportError:
        return (OSError, ValueError)
    return (OSError, ValueError, termios.error)


def _open(name: str, setting: Setting) -> Any:
    import serial

    port = serial.serial_for_url(
        name, do_not_open=True, timeout=TICK, exclusive=True, baudrate=setting.baud, **_frame(setting)
    )
    port.open()
    return port


def _set(port: Any, setting: Setting) -> None:
    port.baudrate = setting.baud
    for field, value in _frame(setting).items():
        setattr(port, field, value)


def _frame(setting: Setting) -> dict[str, Any]:
    return {"bytesize": int(setting.framing[0]), "parity": setting.framing[1]}
