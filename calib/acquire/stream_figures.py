"""How often readings come and how much they jitter, kept up with every reading. Nothing is read or shown here."""

from collections import Counter, deque
from dataclasses import dataclass
from itertools import pairwise

from calib.acquire.lines import Kind, Record

RECENT = 200  # readings the figures are taken of
SPAN = 10.0  # s of them, at most


@dataclass(frozen=True, slots=True)
class _Sample:
    at_s: float
    number: float


class StreamFigures:
    """Rate, noise, extremes and counts of a stream; memory does not grow with it."""

    def __init__(self) -> None:
        self.last: Record | None = None  # of the readings
        self.newest: Record | None = None  # of any kind
        self.counts: Counter[Kind] = Counter()
        self.strange = 0  # lines since the first reading that were none, for no known reason
        self.gaps = 0
        self.lowest: float | None = None
        self.highest: float | None = None
        self._recent: deque[_Sample] = deque(maxlen=RECENT)

    def add(self, record: Record) -> None:
        """Take the next record."""
        self.counts[record.kind] += 1
        self.newest = record
        self.strange += self.last is not None and record.kind in {"unknown", "fault"}
        if record.kind == "reset":
            self.gaps += not record.raw
            self._recent.clear()
        number = number_of(record)
        if number is None:
            return
        self.last = record
        self.lowest = number if self.lowest is None else min(self.lowest, number)
        self.highest = number if self.highest is None else max(self.highest, number)
        self._recent.append(_Sample(record.at_s, number))
        while self._recent[0].at_s < record.at_s - SPAN and len(self._recent) > 3:
            self._recent.popleft()

    @property
    def rate(self) -> float | None:
        """Readings a second, over the newest ten seconds; None until it can be said."""
        if len(self._recent) < 3:
            return None
        took = self._recent[-1].at_s - self._recent[0].at_s
        return (len(self._recent) - 1) / took if took > 0 else None

    @property
    def noise(self) -> float | None:
        """Standard deviation of a reading, from the steps between neighbours: a slow change does not count."""
        if len(self._recent) < 10:
            return None
        steps = [b.number - a.number for a, b in pairwise(self._recent)]
        return float((sum(step * step for step in steps) / len(steps) / 2) ** 0.5)


def number_of(record: Record) -> float | None:
    """The number of a reading, in its unit or in counts; None for every other kind."""
    return record.counts if record.value is None else record.value
