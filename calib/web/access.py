"""Who may use the page: a code that opens it once, a cookie from then on, and no request that came from elsewhere.

The page can write into the folder of a person's bands, so every request is doubted in the same order. Is it meant for
this server (Host, against names that others point here)? Did it come from this page (Origin)? Is it small, and not one
of a flood? Does it carry the cookie that a code from the terminal gave? A code works once: whoever photographs the
screen after the phone has joined gets nothing. Headers keep the browser from running or fetching what is not ours.
Nothing is rendered here but a sentence.
"""

import secrets
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

COOKIE = "bandcurve"
LARGEST_BODY = 16_384  # a typed reading has ten characters, a set-up some hundred
BURST, PER_SECOND = 200, 40.0  # requests; a slider that is dragged sends about 20 a second
MOST_SESSIONS = 20

HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",  # no-referrer would make a browser send the origin null with our own forms
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), payment=()",
    "Cache-Control": "no-store",
}


@dataclass
class Bucket:
    """Requests that one browser may still send."""

    left: float = BURST
    seen: float = 0.0

    def take(self, now: float) -> bool:
        """Whether one more is allowed."""
        self.left = min(BURST, self.left + PER_SECOND * (now - self.seen)) - 1
        self.seen = now
        if self.left < 0:
            self.left = 0.0
            return False
        return True


@dataclass
class Doorkeeper:
    """The codes that open the page and the browsers that have come in."""

    hosts: frozenset[str]  # "127.0.0.1:8765", as browsers send it
    joined: Callable[[], None] = lambda: None  # called after a code was used
    clock: Callable[[], float] = time.monotonic
    codes: set[str] = field(default_factory=set)
    sessions: dict[str, Bucket] = field(default_factory=dict)

    def new_code(self) -> str:
        """A code that opens the page once. 128 bits."""
        code = secrets.token_urlsafe(16)
        self.codes.add(code)
        return code

    def enter(self, code: str) -> str | None:
        """Use up a code; the cookie's value, or None for a wrong or used one."""
        found = next((known for known in self.codes if secrets.compare_digest(known.encode(), code.encode())), None)
        if found is None or len(self.sessions) >= MOST_SESSIONS:
            return None
        self.codes.discard(found)
        session = secrets.token_urlsafe(16)
        self.sessions[session] = Bucket(seen=self.clock())
        self.joined()
        return session

    def knows(self, session: str | None) -> bool:
        """Whether a cookie is one that was given."""
        return session is not None and session in self.sessions


class Guard:
    """ASGI middleware that lets through what the doorkeeper knows and answers everything else with one sentence."""

    def __init__(self, app: ASGIApp, door: Doorkeeper) -> None:
        self.app = app
        self.door = door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        refused = self._refusal(scope)
        if refused is not None:
            await refused(scope, receive, with_headers)
            return
        await self.app(scope, _bounded(receive), with_headers)

    def _refusal(self, scope: Scope) -> Response | None:
        """What to answer instead of the page; None lets the request through."""
        headers = Headers(scope=scope)
        if headers.get("host", "") not in self.door.hosts:
            return _sentence(421, "This address is not the page's. Open the address shown in the terminal.")
        if not _from_this_page(scope["method"], headers, self.door.hosts):
            return _sentence(403, "That request did not come from this page, so nothing was done.")
        if not _is_small(headers.get("content-length", "0")):
            return too_large()
        if scope["path"] == "/enter":
            return self._enter(scope)
        session = _cookie(headers)
        if session is None or not self.door.knows(session):
            return _sentence(403, "This browser has no access yet. Open the address in the terminal, or scan its code.")
        if not self.door.sessions[session].take(self.door.clock()):
            return _sentence(429, "Too many requests at once; wait a second.")
        return None

    def _enter(self, scope: Scope) -> Response:
        if self.door.knows(_cookie(Headers(scope=scope))):
            return RedirectResponse("/", 303)
        code = scope["query_string"].decode("ascii", "replace").removeprefix("code=")[:100]
        session = self.door.enter(code)
        if session is None:
            return _sentence(403, "That code is wrong or already used. Use the newest one in the terminal.")
        answer = RedirectResponse("/", 303)
        answer.set_cookie(COOKIE, session, httponly=True, samesite="lax", path="/")
        return answer


def too_large() -> Response:
    """The answer to more than is accepted at once."""
    return _sentence(413, "That is more than the page accepts at once.")


def _is_small(length: str) -> bool:
    """Whether a length that is claimed is a number of bytes, and not too many of them."""
    return length.isascii() and length.isdecimal() and len(length) < 10 and int(length) <= LARGEST_BODY


def _sentence(status: int, text: str) -> Response:
    return PlainTextResponse(text + "\n", status)


def _from_this_page(method: str, headers: Headers, hosts: Iterable[str]) -> bool:
    """Whether a request may have been sent by this page: a link may come from anywhere, a change may not."""
    if headers.get("sec-fetch-site", "none") not in ("none", "same-origin") and method not in ("GET", "HEAD"):
        return False
    origin = headers.get("origin")
    if method in ("GET", "HEAD"):
        return origin is None or origin in {f"http://{host}" for host in hosts}
    return origin in {f"http://{host}" for host in hosts}


def _cookie(headers: Headers) -> str | None:
    for part in headers.get("cookie", "").split(";"):
        name, _, value = part.strip().partition("=")
        if name == COOKIE:
            return value
    return None


def _bounded(receive: Receive) -> Receive:
    """Bodies that say no length, or a wrong one, end where they grow too large."""
    taken = 0

    async def bounded() -> dict[str, Any]:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > LARGEST_BODY:
            return {"type": "http.disconnect"}
        return dict(message)

    return bounded
