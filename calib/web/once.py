"""A form sent twice is done once: two taps, a page loaded again, an answer lost on its way.

A form carries a name that was made for it; the answer to the first one sent is the answer to all of that name.
"""

import secrets
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from threading import Lock

from markupsafe import Markup
from starlette.responses import Response

MOST_KEPT = 60  # forms; a browser sends its last one again, not those of an hour ago


@dataclass
class _Sent:
    lock: Lock = field(default_factory=Lock)
    answer: Response | None = None


@dataclass
class Once:
    """The answers to the forms that were sent last."""

    _sent: "OrderedDict[object, _Sent]" = field(default_factory=OrderedDict)
    _lock: Lock = field(default_factory=Lock)

    @staticmethod
    def field() -> Markup:
        """A form's name, as its hidden field."""
        return Markup('<input type="hidden" name="form" value="{}">').format(secrets.token_hex(8))

    def answer(self, browser: str, path: str, fields: Mapping[str, str], act: Callable[[], Response]) -> Response:
        """Do what a form says, unless it was done; what was refused, or has no name, is done each time.

        Args:
            browser: That sent it.
            path: To which address.
            fields: What it says; the same form with other words in it is another.
            act: Does it.
        """
        if not fields.get("form"):
            return act()
        with self._lock:
            key = (browser, path, tuple(fields.items()))
            sent = self._sent.setdefault(key, _Sent())
            self._sent.move_to_end(key)
            while len(self._sent) > MOST_KEPT:
                self._sent.popitem(last=False)
        with sent.lock:
            if sent.answer is None or sent.answer.status_code >= 400:
                sent.answer = act()
            return sent.answer
