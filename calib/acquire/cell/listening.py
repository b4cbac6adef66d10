"""A source, the search for its speed, and the line reader as one: call `poll`, get records. No port is opened here.

    with open_source(name) as source:
        listening = Listening(source)
        while not listening.ended:
            for record in listening.poll(0.1):
                ...

What interrupts a stream (cable, another program, a change of speed) comes as a record of kind "reset" with the reason
as its note, as does a restart of the board: whoever measures takes a new zero after either.
"""

from collections import deque

from calib.acquire.cell.baud import BaudSearch, Setting
from calib.acquire.cell.line_agreement import LineReader
from calib.acquire.cell.line_format import Chosen, FormatQuestion, LineFormat
from calib.acquire.cell.lines import Record
from calib.acquire.cell.port import Arrival, ByteSource

UNREAD = 1000  # arrivals kept while no speed is found; the older ones are forgotten


class Listening:
    """One stream being listened to.

    Args:
        source: Already open; the caller closes it.
        chosen: A column or a format the user has said or a scale's file knows.
        setting: Speed and framing; searched for where None.

    `away` says why the device is gone, "" while it is there; `last_gap` why it was gone last. `ended` is True when a
    captured file is over.
    """

    def __init__(self, source: ByteSource, chosen: Chosen | None = None, setting: Setting | None = None) -> None:
        self.source = source
        self.away = self.last_gap = ""
        self.ended = False
        self.last_data_s: float | None = None
        self.search = BaudSearch(setting, hunting=source.has_baud)
        self._reader = LineReader(chosen, from_start=False)
        self._unread: deque[Arrival] = deque(maxlen=UNREAD)
        self._gone_s = 0.0

    @property
    def format(self) -> LineFormat | None:
        """What the lines hold, once it is known."""
        return self._reader.format

    @property
    def question(self) -> FormatQuestion | None:
        """What only the user can say, if anything."""
        return self._reader.question

    @property
    def complaint(self) -> str:
        """The fault or overload that the device reports instead of readings, "" where it does not."""
        return self._reader.complaint

    @property
    def setting(self) -> Setting | None:
        """Speed and framing, once found; None where the source has none."""
        return self.search.setting if self.search.found and self.source.has_baud else None

    def now(self) -> float:
        """Seconds since the source was opened, or the time within a captured file. [s]"""
        return self.source.now()

    def answer(self, chosen: Chosen) -> list[Record]:
        """Say which column or format it is; gives what waited for that."""
        return self._reader.answer(chosen)

    def poll(self, wait_s: float) -> list[Record]:
        """The records of the next arrival, waiting at most so long for it. [s]"""
        arrival = self.source.read(wait_s)
        if arrival is None or self.ended:
            return []
        if arrival.kind == "data":
            self.last_data_s = arrival.at_s
            return self._read(arrival)
        if arrival.kind == "gap":
            self.away = self.last_gap = arrival.note
            self._gone_s = arrival.at_s
            self._unread.clear()
            return self._reader.interrupted(arrival.at_s, arrival.note)
        if arrival.kind == "back":
            note = f"the device is back as {arrival.note} after {arrival.at_s - self._gone_s:.1f} s: take a new zero"
            self.away = ""
            return [Record(arrival.at_s, "reset", "", note=note)]
        self.ended = True
        return self._read_on() + self._reader.finish(arrival.at_s)

    def _read(self, arrival: Arrival) -> list[Record]:
        was_found, before = self.search.found, self.search.setting
        switch = self.search.feed(arrival.data, arrival.at_s)
        if switch:
            self.source.set_line(switch)
        if was_found and self.search.found:
            return self._reader.feed(arrival.data, arrival.at_s)
        if was_found:  # the speed that was right is not any more
            return self._reader.interrupted(arrival.at_s, f"nothing can be read at {before} any more")
        if switch and not self.search.found:
            self._unread.clear()
            return []
        self._unread.append(arrival)
        return self._read_on() if self.search.found else []

    def _read_on(self) -> list[Record]:
        """Read what came while the speed was not known yet."""
        records: list[Record] = []
        while self._unread:
            arrival = self._unread.popleft()
            data = arrival.data
            if self.search.setting.framing != "8N1":
                data = bytes(byte & 0x7F for byte in data)
            records += self._reader.feed(data, arrival.at_s)
        return records
