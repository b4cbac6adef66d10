"""What every entry of a growing file carries: an id of its own and an instant in UTC. The clock is read here.

The id makes an entry the same one wherever its row is copied to; the instant orders entries of several machines and
time zones. A day ("on") is a date where the person was and is noted apart.
"""

import os
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256

from calib.frozen import dataclass

ID_DIGITS = 12
FIRST_YEAR, LAST_YEAR = 1900, 2199  # in which bands are measured
EARLIEST = datetime.min.replace(tzinfo=UTC)
LATEST = datetime.max.replace(tzinfo=UTC)
_TICK = timedelta(microseconds=1)
_AHEAD = timedelta(days=36525)  # a clock set wrongly may be years ahead, and what was noted by it counts
_WRITTEN = 2026  # year; a clock that shows an earlier one was never set


@dataclass(frozen=True)
class Stamp:
    """Id and instant of one entry."""

    entry: str  # 12 hex digits
    at: datetime  # UTC

    @property
    def at_text(self) -> str:
        """As files write it, to the microsecond."""
        return self.at.isoformat(timespec="microseconds").replace("+00:00", "Z")


def stamp(after: datetime = EARLIEST) -> Stamp:
    """A new one, now.

    Args:
        after: The newest it must come after: a clock that was set back, or one that was ahead, puts no entry before
            those that stand there already.
    """
    return Stamp(os.urandom(ID_DIGITS // 2).hex(), max(datetime.now(UTC), min(after, LATEST - _TICK) + _TICK))


def here_and_now() -> datetime:
    """Now, to the second, with the offset of the clock on the wall: its date is that of the person who measures."""
    return datetime.now().astimezone().replace(microsecond=0)


def is_to_come(at: datetime) -> bool:
    """Whether an instant is a century ahead: no program wrote it then. A clock that was never set judges none.

    >>> is_to_come(LATEST), is_to_come(EARLIEST)
    (True, False)
    """
    now = datetime.now(UTC)
    return now.year >= _WRITTEN and at > now + _AHEAD


def instant(text: str) -> datetime:
    """An instant as a file writes it; one without an offset is taken as UTC, since nothing better is known.

    >>> instant("2026-04-01T18:20:05+02:00").isoformat()
    '2026-04-01T16:20:05+00:00'

    Raises:
        ValueError: It is none.
    """
    found = datetime.fromisoformat(text)
    return found.replace(tzinfo=UTC) if found.tzinfo is None else found.astimezone(UTC)


def calendar_day(text: str) -> date:
    """A day as a file writes it, of the years in which bands are measured: one far off would put all others to shame.

    >>> calendar_day("2026-04-01").isoformat()
    '2026-04-01'

    Raises:
        ValueError: It is none, or not from 1900 to 2199.
    """
    found = date.fromisoformat(text)
    if not FIRST_YEAR <= found.year <= LAST_YEAR:
        raise ValueError(text)
    return found


def derived_id(*parts: str) -> str:
    """The id of an entry of an older format, which had none: the same row gives the same id."""
    return sha256("\x1f".join(parts).encode()).hexdigest()[:ID_DIGITS]
