"""The page's server: whoever opens connections and asks nothing keeps nobody else out."""

import socket
import time
from collections.abc import Iterator
from contextlib import ExitStack
from threading import Thread

import pytest
import uvicorn
from starlette.responses import PlainTextResponse

from calib.web.server import MOST_CONNECTIONS, Address, listen, settings

REQUEST = b"GET / HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n"


@pytest.fixture
def served() -> Iterator[Address]:
    address = listen(0, phone=False)
    server = uvicorn.Server(settings(PlainTextResponse("here")))
    thread = Thread(target=server.run, kwargs={"sockets": [address.socket]})
    thread.start()
    end = time.monotonic() + 10
    while not server.started and time.monotonic() < end:
        time.sleep(0.01)
    yield address
    server.should_exit = True
    thread.join(10)
    assert not thread.is_alive()


def answer_to(browser: socket.socket) -> bytes:
    """What a request is answered with, to the end."""
    browser.sendall(REQUEST)
    return b"".join(iter(lambda: browser.recv(1000), b""))


def test_connections_that_ask_nothing_keep_nobody_out(served: Address) -> None:
    with ExitStack() as opened:

        def connect() -> socket.socket:
            return opened.enter_context(socket.create_connection((served.host, served.port), 5))

        idle = [connect() for _ in range(MOST_CONNECTIONS)]
        asking = connect()
        assert answer_to(asking).endswith(b"here")
        assert idle[0].recv(1) == b""  # closed: the one open longest made room
        assert answer_to(idle[-1]).endswith(b"here")
