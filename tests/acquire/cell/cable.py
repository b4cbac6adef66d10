"""A device at the end of a cable: a pseudo-terminal behind a link. Closing its end is pulling the plug. Posix only."""

import os
import tty
from contextlib import suppress
from pathlib import Path


class Cable:
    """A device that is plugged in, printed from, pulled out and plugged in again under the same link."""

    def __init__(self, link: Path) -> None:
        self.link = link
        self._far = self._near = -1
        self.plug()

    def plug(self) -> None:
        """A new device appears; the link points at it."""
        self._far, self._near = os.openpty()
        tty.setraw(self._near)
        os.set_blocking(self._far, False)
        self.link.unlink(missing_ok=True)
        self.link.symlink_to(os.ttyname(self._near))

    def send(self, data: bytes) -> None:
        """The device prints; what nobody fetches is lost when the buffer is full."""
        with suppress(BlockingIOError):
            os.write(self._far, data)

    def received(self) -> bytes:
        """What was written to the device."""
        try:
            return os.read(self._far, 65536)
        except BlockingIOError:
            return b""

    def pull(self) -> None:
        """The plug is out, and the name is gone."""
        self.link.unlink(missing_ok=True)
        for end in (self._near, self._far):
            if end >= 0:
                os.close(end)
        self._far = self._near = -1
