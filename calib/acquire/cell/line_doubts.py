"""What looks like a reading and is none, and what looks like an overload or a fault and may be a torn line.

A code, a read that broke off, a number beyond the scale's range are no readings. A line that is nearly one of the
format, but for a letter or a digit that makes an overload of it, counts when it says so twice in a row. So does a row
of nines that comes in one jump, as wide as the widest reading: a pull on its way passes 9.999 once, a display at its
limit stays there.
"""

import re
from collections import deque
from collections.abc import Callable
from dataclasses import replace
from difflib import SequenceMatcher
from statistics import median

from calib.acquire.cell.line_format import Chosen
from calib.acquire.cell.lines import Kind, Record
from calib.acquire.cell.meter import NEWTON
from calib.acquire.files.run_checks import LARGEST_FORCE

FULL_SCALE = frozenset({8388607.0, -8388608.0})  # what a saturated 24-bit converter sends
TAIL = 0xFF  # a read broken by an interrupt ends in ones
OFF_MADS = 8  # median absolute deviations that a broken read is off
RECENT = 15  # samples the median is taken of
NINES = 4  # nines in a row that a display out of range shows
ROUND_NINES = 0.1  # of a reading: nearer to the one before, a row of nines is a number like others
BEYOND = 1.1  # of the scale's range; scales show a little above it (common practice, no source)
LIKE = 0.6  # share of a line that is as in a line of the format, from which on it may be one that is torn

BROKEN = "broken read: it ends in ones, far off"
NINES_SAID, FULL_SAID, BEYOND_SAID = "a row of nines", "full-scale code of the converter", "beyond the scale's range"
NO_SCALE = "more than any band pulls"
SURE_BY_ITSELF = (FULL_SAID, BROKEN)  # many digits are as they have to be
ONCE = "it says so once, and may be torn"
_POWER = re.compile(r"(?<=\d)e(?=[+\-]?\d)")


class Doubts:
    """Looks at one stream; what it keeps does not grow. `printed` are the signs its lines hold."""

    def __init__(self, chosen: Chosen) -> None:
        self.printed: set[str] = set()
        self._sample = ""
        self._capacity, self._force = chosen.capacity, _force_of(chosen)
        self._recent: deque[float] = deque(maxlen=RECENT)
        self._widest = self._longest = 0  # digits of a reading so far, and with their marks
        self._plain: dict[str, float] = {}  # numbers of a unit up to here are within every range
        self._last_broken = False
        self._said: tuple[str, ...] | None = None  # by the last unsure line, until a reading comes

    def learn(self, line: str) -> None:
        """Take a line of the format."""
        self.printed |= set(line.lower())
        self._sample = self._sample or without_digits(line)

    def forget(self) -> None:
        """A converter that has just started says other numbers."""
        self._recent.clear()

    def instead(self, record: Record, digits: str, value: float) -> Record | None:
        """What a line with this number is where it is no reading; None where it is one."""
        found = self._no_number(digits, value, record.unit)
        if found is not None:
            return self.twice(replace(record, kind=found[0]), found[1], digits)
        self._said = None
        self._recent.append(value)
        if len(digits) > self._longest:
            self._longest, self._widest = len(digits), max(self._widest, len(_bare(digits)))
        return None

    def twice(self, record: Record, note: str, digits: str = "") -> Record:
        """The record with its note where that is sure by itself or said twice; else the line is torn.

        Args:
            record: What the line would be.
            note: Why.
            digits: Of its number; a row of nines has to stay as it is, and is sure where it is wider than all before.
        """
        nines = note == NINES_SAID
        sure = record.checked or note in SURE_BY_ITSELF or (nines and 0 < self._widest < len(_bare(digits)))
        sure = self._again(record.kind, note, digits if nines else "") or sure
        kind: Kind = record.kind if sure else "torn"
        return Record(record.at_s, kind, record.raw, stable=record.stable, note=note if sure else ONCE)

    def is_said(self, kind: Kind, text: str) -> bool:
        """Whether a line that says what is wrong is unlike those of the format, or says it twice in a row."""
        text = without_digits(text)
        return self._again(kind, text) or not self._is_like(text)

    def _again(self, *said: str) -> bool:
        before, self._said = self._said, said
        return before == said

    def _is_like(self, text: str) -> bool:
        """Whether it may be a torn line of the format: a piece of one, or one with other letters."""
        letters = {sign for sign in _POWER.sub("", text.lower()) if sign.isalpha()}
        whole = not any(sign.isalnum() for sign in text) and not set(text) <= self.printed
        if not whole and letters <= self.printed and len(text) <= len(self._sample):
            return True
        return SequenceMatcher(None, text, self._sample, autojunk=False).ratio() >= LIKE

    def _no_number(self, digits: str, value: float, unit: str | None) -> tuple[Kind, str] | None:
        if unit is not None and digits[0] != "9":
            plain = self._plain.get(unit) or self._plain_up_to(unit)
            if -plain <= value <= plain:
                return None
        force = self._force(value, unit)
        within = force is not None and self._capacity is not None and abs(force) <= self._capacity
        if digits[0] == "9" and not within and self._is_nines(digits, value):
            return "overload", NINES_SAID
        if unit is None:
            if value in FULL_SCALE:
                return "overload", FULL_SAID
            if self._is_broken(value):
                return "torn", BROKEN
        if force is not None and self._capacity is not None and abs(force) > BEYOND * self._capacity:
            return "overload", BEYOND_SAID
        return ("overload", NO_SCALE) if force is not None and abs(force) > LARGEST_FORCE else None

    def _plain_up_to(self, unit: str) -> float:
        range_of = LARGEST_FORCE if self._capacity is None else min(self._capacity, LARGEST_FORCE)
        self._plain[unit] = range_of / NEWTON[unit]
        return self._plain[unit]

    def _is_nines(self, digits: str, value: float) -> bool:
        """A row of nines that the readings before do not lead to, and that leaves no room for a larger number."""
        bare = _bare(digits)
        if len(bare) < max(NINES, self._widest) or bare.strip("9"):
            return False
        return not self._recent or abs(value - self._recent[-1]) > ROUND_NINES * abs(value)

    def _is_broken(self, counts: float) -> bool:
        """A single sample that ends in ones and is far off the median of those before it."""
        self._last_broken = not self._last_broken and self._off(counts)
        return self._last_broken

    def _off(self, counts: float) -> bool:
        if len(self._recent) < 5 or counts != int(counts) or int(counts) & TAIL != TAIL:
            return False
        middle = median(self._recent)
        spread = median(abs(x - middle) for x in self._recent)
        return abs(counts - middle) > OFF_MADS * max(spread, 1.0)


def without_digits(text: str) -> str:
    """The text with every row of digits as one 0."""
    return re.sub(r"\d+", "0", text.strip())


def _bare(digits: str) -> str:
    """The digits of a number alone."""
    return digits.replace(".", "").replace(",", "")


def _force_of(chosen: Chosen) -> Callable[[float, str | None], float | None]:
    """What gives the force of a number; None of counts that nobody can weigh. [N]"""

    def force(value: float, unit: str | None) -> float | None:
        if unit is not None:
            return value * NEWTON[unit]
        return None if chosen.per_count is None else chosen.zero + chosen.per_count * value

    return force
