"""How often readings come and how much they jitter, kept up with every reading. Nothing is read or shown here."""

from collections import Counter, deque

from calib.acquire.cell.lines import Kind, Record
from calib.frozen import dataclass

RECENT = 200  # readings the figures are taken of
SPAN = 10.0  # s of them, at most
KINDS = 100  # records the share of rubbish is taken of
KEPT, SEEN = 0.9, 0.789  # share of the smallest, and of a normal scatter what is seen of it then
BREAKS = 3  # restarts or gaps
OFTEN = 60.0  # s


@dataclass(frozen=True, slots=True)
class _Sample:
    at_s: float
    number: float


class StreamFigures:
    """Rate, noise, extremes and counts of a stream; memory does not grow with it."""

    def __init__(self) -> None:
        self.last: Record | None = None  # of the readings
        self.newest: Record | None = None  # of any kind
        self.fault: Record | None = None  # the newest
        self.counts: Counter[Kind] = Counter()
        self.lowest: float | None = None
        self.highest: float | None = None
        self._recent: deque[_Sample] = deque(maxlen=RECENT)
        self._kinds: deque[Kind] = deque(maxlen=KINDS)
        self._breaks: deque[float] = deque(maxlen=BREAKS)

    def add(self, record: Record) -> None:
        """Take the next record."""
        if record.kind == "reset" and (self.newest is None or self.newest.kind != "reset"):
            self._breaks.append(record.at_s)
        self.counts[record.kind] += 1
        if self.last is not None:
            self._kinds.append(record.kind)
        self.newest = record
        if record.kind == "fault":
            self.fault = record
        if record.kind == "reset":
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
    def breaks_often(self) -> bool:
        """Whether the stream broke off or began again three times within a minute."""
        return len(self._breaks) == BREAKS and self._breaks[-1] - self._breaks[0] < OFTEN

    @property
    def rubbish(self) -> float:
        """Share of the newest hundred records that say nothing; 0 until so many have come since the first reading."""
        return self._share("unknown") + self._share("torn")

    @property
    def faults(self) -> float:
        """Share of them in which the board says what is wrong; 0 until so many have come."""
        return self._share("fault")

    def _share(self, kind: Kind) -> float:
        return self._kinds.count(kind) / KINDS if len(self._kinds) == KINDS else 0.0

    @property
    def rate(self) -> float | None:
        """Readings a second, over the newest ten seconds; None until it can be said."""
        if len(self._recent) < 3:
            return None
        took = self._recent[-1].at_s - self._recent[0].at_s
        return (len(self._recent) - 1) / took if took > 0 else None

    @property
    def noise(self) -> float | None:
        """Standard deviation of a reading, from how far each lies off the middle of its neighbours.

        An even change does not count, nor does the largest tenth: there a pull begins or ends.
        """
        if len(self._recent) < 10:
            return None
        numbers = [sample.number for sample in self._recent]
        bends = sorted(abs(a - 2 * b + c) for a, b, c in zip(numbers, numbers[1:], numbers[2:], strict=False))
        kept = bends[: round(KEPT * len(bends))]
        return float((sum(bend * bend for bend in kept) / len(kept) / 6) ** 0.5) / SEEN


def number_of(record: Record) -> float | None:
    """The number of a reading, in its unit or in counts; None for every other kind."""
    return record.counts if record.value is None else record.value
