"""A serial port behind a network address after RFC 2217, with a device that sends at one speed only.

Everything that reaches the device is written down: bytes, changes of its speed, and the two control lines that restart
many boards.
"""

import socket
import threading
import time
from typing import Any

from serial.rfc2217 import PortManager
from serial.urlhandler.protocol_loop import Serial as Loop

from calib.acquire.cell.baud import Setting
from tests.acquire.cell.uart import on_the_wire


class _Recording(Loop):
    """A port that goes nowhere and notes what happens to its control lines."""

    def __init__(self) -> None:
        self.lines: list[tuple[str, bool]] = []
        self._dtr_state = self._rts_state = True
        super().__init__("loop://", timeout=0)

    def _update_dtr_state(self) -> None:
        self.lines.append(("DTR", bool(self._dtr_state)))

    def _update_rts_state(self) -> None:
        self.lines.append(("RTS", bool(self._rts_state)))


class NetworkPort:
    """A server for one client; a context manager."""

    def __init__(self, sender: Setting, line: bytes, period_s: float = 0.02) -> None:
        self.written = b""  # to the device
        self.settings: list[Setting] = []
        self._sender, self._line, self._period_s = sender, line, period_s
        self._server = socket.create_server(("127.0.0.1", 0))
        self.name = f"rfc2217://127.0.0.1:{self._server.getsockname()[1]}"
        self._device = _Recording()
        self.control_lines = self._device.lines
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._serve, daemon=True)

    def __enter__(self) -> "NetworkPort":
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self._server.close()
        self._thread.join(5)

    def _serve(self) -> None:
        try:
            client, _ = self._server.accept()
        except OSError:
            return
        with client:
            client.settimeout(self._period_s)
            self._talk(client)

    def _talk(self, client: socket.socket) -> None:
        device: Any = self._device
        connection: Any = _Connection(client)
        manager = PortManager(device, connection)
        while not self._over.is_set():
            try:
                data = client.recv(4096)
                if not data:
                    return
                self.written += b"".join(manager.filter(data))
            except TimeoutError:
                pass
            except OSError:
                return
            self._send(client, manager)
            time.sleep(self._period_s)

    def _send(self, client: socket.socket, manager: Any) -> None:
        now = Setting(self._device.baudrate, "7E1" if self._device.bytesize == 7 else "8N1")
        if self.settings[-1:] != [now]:
            self.settings.append(now)
        data = on_the_wire(self._line * 3, self._sender, now)
        try:
            client.sendall(b"".join(manager.escape(data)))
        except OSError:
            self._over.set()


class _Connection:
    def __init__(self, client: socket.socket) -> None:
        self._client = client

    def write(self, data: bytes) -> None:
        self._client.sendall(data)
