"""Tells those who watch that something is new, at once and from any thread; what is new they look up themselves."""

import asyncio
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field


@dataclass
class News:
    """Who watches."""

    _watching: set[tuple[asyncio.AbstractEventLoop, asyncio.Event]] = field(default_factory=set)

    def tell(self) -> None:
        """Wake everybody who watches."""
        for loop, event in tuple(self._watching):
            with suppress(RuntimeError):  # that loop has ended meanwhile
                loop.call_soon_threadsafe(event.set)

    @contextmanager
    def watch(self) -> Iterator[asyncio.Event]:
        """An event that is set when something is new; whoever waits for it clears it."""
        mine = (asyncio.get_running_loop(), asyncio.Event())
        self._watching.add(mine)
        try:
            yield mine[1]
        finally:
            self._watching.discard(mine)
