"""The page's server: an address on this computer, or for the phones of this network, until the terminal ends it.

What is served is in `pages`; who is let in is in `access`.
"""

import asyncio
import socket
import time
from collections.abc import Callable
from contextlib import closing

import uvicorn
from starlette.types import ASGIApp
from uvicorn.protocols.http.h11_impl import H11Protocol

from calib.errors import UsageError
from calib.frozen import dataclass

MOST_CONNECTIONS = 100  # at once; a browser opens six, and some systems let a program open 256 files
MOST_WAITING = 50  # to be taken up in one go


class Connection(H11Protocol):
    """A browser's connection. Where there are too many, the one longest open without a request makes room."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take up a connection."""
        super().connection_made(transport)
        self.since = time.monotonic()
        if len(self.connections) > MOST_CONNECTIONS:
            others = (c for c in self.connections if isinstance(c, Connection))
            idle = [c for c in others if c.cycle is None or c.cycle.response_complete]
            min(idle, key=lambda c: c.since).transport.abort()  # this one is among them


@dataclass(frozen=True)
class Address:
    """Where the page listens, and by which names browsers may call it."""

    host: str
    port: int
    socket: socket.socket

    @property
    def hosts(self) -> frozenset[str]:
        """As browsers send them in the Host header."""
        names = {self.host} if self.host != "127.0.0.1" else {"127.0.0.1", "localhost"}
        return frozenset(f"{name}:{self.port}" for name in names)

    @property
    def url(self) -> str:
        """The page's address without a code."""
        return f"http://{self.host}:{self.port}"


def listen(port: int, *, phone: bool) -> Address:
    """Take a port: the one asked for, or any free one.

    Args:
        port: 0 takes any.
        phone: Listen on this computer's address in its network, so that a phone reaches it; else on loopback only.

    Raises:
        UsageError: The port is taken, or this computer is not on a network.
    """
    host = own_address() if phone else "127.0.0.1"
    if host is None:
        raise UsageError("this computer is not on a network", remedy="join the phone's network, or leave out --phone")
    taken = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        taken.bind((host, port))
    except OSError:
        taken.close()
        raise UsageError(f"port {port} is taken by another program", remedy="leave out --port") from None
    return Address(host, taken.getsockname()[1], taken)


def own_address() -> str | None:
    """This computer's address in its network; None where it is in none.

    A datagram socket is connected to an address kept for documentation (RFC 5737), which sends nothing.
    """
    with closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
        except OSError:
            return None
        found = str(probe.getsockname()[0])
    return None if found.startswith("127.") or found == "0.0.0.0" else found


def serve(app: ASGIApp, address: Address, started: Callable[[], None]) -> None:
    """Serve until Ctrl-C or the end of the terminal.

    Args:
        app: The page.
        address: A port taken by `listen`.
        started: Called once when the first request can be answered.
    """

    class Server(uvicorn.Server):
        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            started()

    Server(settings(app)).run(sockets=[address.socket])


def settings(app: ASGIApp) -> uvicorn.Config:
    """How the page is served: quietly, and to so many at once."""
    return uvicorn.Config(
        app, http=Connection, backlog=MOST_WAITING, log_level="critical", access_log=False, timeout_graceful_shutdown=1,
        lifespan="off",
    )  # fmt: skip
