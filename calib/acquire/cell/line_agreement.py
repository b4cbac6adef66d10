"""The format of a stream of lines: found by the agreement of about ten of them, kept, stated in words, or asked.

The stream is read on from there: restarts of the board, full-scale codes and broken reads are told from readings. What
each number of a line is belongs to `number_roles`. No port is opened here.
"""

import re
from collections import Counter, deque
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import pairwise
from statistics import median
from typing import Literal

from calib.acquire.cell.digit_groups import MARKS, Mark, has_decimal_comma, joined, mark_in, settle
from calib.acquire.cell.line_format import Chosen, LineFormat, Question
from calib.acquire.cell.lines import UNITS, Line, LineSplitter, RawLine, Record, read_line, read_text
from calib.acquire.cell.number_roles import decide, header_names, is_clock, names_of_numbers, unwrapped

AGREE = 10  # lines looked at
ENOUGH = 8  # of them of one shape: 80 %
PATIENCE = 40  # lines until an undecided column, or lines of no common shape, is asked about
MOST_WAITING = 200  # lines kept while no format is found
SURE = 3  # faults and overloads without a format until they are taken for all there is
LOST = 20  # lines in a row of another shape: the format has changed
SETTLE = 4  # samples after a restart: the converter settles that long
FULL_SCALE = frozenset({8388607.0, -8388608.0})  # what a saturated 24-bit converter sends
TAIL = 0xFF  # a read broken by an interrupt ends in ones
OFF_MADS = 8  # median absolute deviations that a broken read is off
RECENT = 15  # samples the median is taken of

_BOOT = re.compile(
    r"\b(?:boot\w*|start(?:ing|ed|up)?|init\w*|set-?up|rst:|ets |reset\w*|tare\w*|taring|calibrat\w*|version|firmware"
    r"|ready|hello|booting|power ?on|copyright|place|remove)\b",
    re.IGNORECASE,
)
_WORD = re.compile(r"[^\W\d_]{2,}")


class LineReader:
    """Bytes in, records out. Before the format is found nothing comes out; then what waited comes with its own time.

    `format` is what was found; `question` what has to be asked instead. `complaint` is the fault or overload
    that comes instead of readings, "" where none does or a format is found. `broken_reads` counts reads set aside.
    """

    def __init__(self, chosen: Chosen | None = None, *, from_start: bool = True) -> None:
        self.format: LineFormat | None = None
        self.question: Question | None = None
        self.complaint = ""
        self.broken_reads = 0
        self._chosen = chosen or Chosen()
        self._split = LineSplitter(from_start=from_start)
        self._waiting: list[tuple[float, Line]] = []
        self._header: tuple[str, ...] = ()
        self._numbered = 0  # lines with numbers, heard without a format
        self._track = _Track()
        if self._chosen.format:
            self.format = self._chosen.format

    def feed(self, data: bytes, at_s: float) -> list[Record]:
        """Take bytes that arrived at a time and give the records they complete."""
        return self._read(self._split.feed(data), at_s)

    def answer(self, chosen: Chosen) -> list[Record]:
        """Take what the user says about the format, and give the records that waited for it."""
        self._chosen, self.question, self._numbered = chosen, None, -1
        self.format = chosen.format
        if self.format is None and not (self._waiting and self._agree()):
            return []
        return self._release()

    def interrupted(self, at_s: float, note: str) -> list[Record]:
        """End the stream here for a while: a half line is none, and what comes next may begin in the middle of one.

        Args:
            at_s: When it broke off. [s]
            note: Why; carried by a record of kind "reset".
        """
        records = self._read(self._split.finish(), at_s)
        self._split = LineSplitter(from_start=False)
        self._track.settle()
        return [*records, Record(at_s, "reset", "", note=note)]

    def finish(self, at_s: float) -> list[Record]:
        """Give what is left: a half line, and lines too few to find a format in."""
        records = self._read(self._split.finish(), at_s)
        return records + self._release()

    def _read(self, lines: Iterable[RawLine], at_s: float) -> list[Record]:
        records: list[Record] = []
        for raw in lines:
            line = self._in_groups(read_line(raw))
            if self.format is None:
                self._waiting.append((at_s, line))
                self._hear_complaint(line)
                if self._agree():
                    records += self._release()
                elif len(self._waiting) > MOST_WAITING:
                    at, oldest = self._waiting.pop(0)
                    records.append(_alone(oldest, at))
            else:
                records.append(self._track.record(line, self.format, at_s))
                if self._track.strange >= LOST and self._chosen.format is None:
                    self.format, self._waiting, self._track = None, [], _Track()
        return self._told(records)

    def _in_groups(self, line: Line) -> Line:
        """Read groups of three digits as one number where the format says so, or where only that makes it fit."""
        if self.format is None or line.kind != "numbers":
            return line
        if self.format.groups:
            return joined(line, self.format.groups)
        if _fits(line, self.format) or (mark := mark_in(line.raw)) is None:
            return line
        again = joined(line, mark)
        if not _fits(again, self.format):
            return line
        self.format = replace(self.format, groups=mark)  # the first value above a thousand
        return again

    def _hear_complaint(self, line: Line) -> None:
        if _kind_alone(line) != "unknown" and sum(_kind_alone(one) != "unknown" for _, one in self._waiting) >= SURE:
            words = line.raw.strip(_AROUND_WORDS)
            self.complaint = words if _kind_alone(read_text(words)) == line.kind else line.raw.strip()

    def _told(self, records: Iterable[Record]) -> list[Record]:
        told = [record for record in records if record.note != _LABEL]
        unit = next((record.unit for record in told if record.unit), None)
        if unit and self.format is not None and self.format.unit is None:  # typed without one
            self.format = replace(self.format, unit=unit)
        self.broken_reads += sum(record.note == _BROKEN for record in told)
        return told

    def _release(self) -> list[Record]:
        waiting, self._waiting = self._waiting, []
        if self.format is None:
            return [_alone(line, at) for at, line in waiting]
        return self._told(self._track.record(line, self.format, at) for at, line in waiting)

    def _agree(self) -> bool:
        """Look for a format in what waits; True when it is found."""
        newest = self._waiting[-1][1]
        if newest.kind == "words":
            self._header = header_names(newest.raw) or self._header
        if newest.kind != "numbers":
            return False
        self._numbered += 1
        if len(self._waiting) > PATIENCE and self._numbered % AGREE:
            return False  # asked already: a look at every tenth line is soon enough
        with_numbers = [line for _, line in self._waiting if line.kind in {"numbers", "broken"}]
        groups, decimal_comma = self._groups(with_numbers), False
        if groups == "unclear":
            return False
        if groups is not None:
            decimal_comma = has_decimal_comma(with_numbers, groups)
            self._waiting = [(at, joined(line, groups)) for at, line in self._waiting]
            with_numbers = [joined(line, groups) for line in with_numbers]
        last = with_numbers[-AGREE:]
        shape, count = Counter(line.shape for line in last).most_common(1)[0]
        if len(last) < AGREE or count < ENOUGH or not shape:
            if len(with_numbers) >= PATIENCE:
                self.question = Question("the lines have no common form; give it with --format, or another --baud")
            return False
        alike = [line for line in with_numbers if line.shape == shape]
        found = decide(alike, self._chosen.column, self._header, decimal_comma=decimal_comma)
        if isinstance(found, Question):
            self.question = found if len(alike) >= PATIENCE or found.columns == () else None
            return False
        if found.unit is None and "constant" in found.roles and self._chosen.column is None and len(alike) < PATIENCE:
            return False  # a load at rest stands still too: look longer
        self.question, self.complaint = None, ""
        self.format = replace(found, label=_label([line for _, line in self._waiting]), groups=groups)
        return True

    def _groups(self, lines: Sequence[Line]) -> Mark | Literal["unclear"] | None:
        """What parts groups of three digits, None where nothing does; asks where the lines do not show it."""
        found = settle(lines)
        if found == "columns":
            return None
        if found != "unclear":
            return found
        doubtful = next(line for line in reversed(lines) if mark_in(line.raw))
        named = len(names_of_numbers(self._header, doubtful.shape)) == len(doubtful.numbers)
        if self._chosen.column is not None or named or _first_is_clock(lines, doubtful):
            return None
        if len(lines) >= PATIENCE:
            word = next(word for word, mark in MARKS.items() if mark == mark_in(doubtful.raw))
            decimals = "" if "." in doubtful.raw else ", --format decimal-comma"
            self.question = Question(
                f"{doubtful.raw.strip()[:40]!r} may hold one number in groups of three digits, or two numbers"
                f"; give --format {word}{decimals}, or --column"
            )
        return "unclear"


def _first_is_clock(lines: Sequence[Line], doubtful: Line) -> bool:
    """Whether the doubt is only about a first number that rises evenly, over enough lines that no force does."""
    mark = mark_in(doubtful.raw)
    whole = joined(doubtful, mark).numbers if mark else doubtful.numbers
    if len(whole) != len(doubtful.numbers) - 1 or whole[0].value == doubtful.numbers[0].value:
        return False
    firsts = [line.numbers[0].value for line in lines if line.kind == "numbers"]
    return len(firsts) >= 2 * AGREE and is_clock(firsts)


def _label(lines: Sequence[Line]) -> str | None:
    """The line of words that stands before most values, if one does."""
    before = Counter(a.raw.strip() for a, b in pairwise(lines) if (a.kind, b.kind) == _PAIR)
    found = before.most_common(1)
    return found[0][0] if found and found[0][1] >= ENOUGH else None


_PAIR = ("words", "numbers")
_LABEL = "label"
_SETTLES = "settling after a restart"
_SETTLING = re.compile(r"\bsettling\b", re.IGNORECASE)  # said of a line by the sender
_AROUND_WORDS = "0123456789.,;:+- \t"
_BROKEN = "broken read: it ends in ones, far off"


def _alone(line: Line, at_s: float) -> Record:
    """What can be said of a line without a format."""
    kind = _kind_alone(line)
    return Record(at_s, kind, line.raw, note="no format found" if kind == "unknown" else "")


def _kind_alone(line: Line) -> Literal["overload", "fault", "unknown"]:
    return line.kind if line.kind == "overload" or line.kind == "fault" else "unknown"


class _Track:
    """Goes along a stream whose format is known: restarts, codes and broken reads."""

    def __init__(self) -> None:
        self.strange = 0  # lines of another shape in a row
        self._settling = 0
        self._clock: float | None = None
        self._recent: deque[float] = deque(maxlen=RECENT)
        self._last_broken = False
        self._seen = False

    def record(self, line: Line, form: LineFormat, at_s: float) -> Record:
        """Turn one line into a record; a banner before any reading is no restart."""
        if line.kind == "overload" or line.kind == "fault":
            return Record(at_s, line.kind, line.raw, stable=line.stable)
        if line.kind == "words" and form.label is not None and line.raw.strip() == form.label:
            return Record(at_s, "unknown", line.raw, note=_LABEL)
        if self._settling and line.kind == "numbers" and _SETTLING.search(line.raw):
            self._settling -= 1
            return Record(at_s, "reset", line.raw, note=_SETTLES)
        if not _fits(line, form):
            self.strange += line.kind in {"numbers", "broken"}
            if _is_banner(line, form) and self._seen:
                self.settle()
                return Record(at_s, "reset", line.raw, note="the board has started again")
            return Record(at_s, "unknown", line.raw)
        self.strange = 0
        if self._clock_fell(line, form):
            self.settle()
        if self._settling:
            self._settling -= 1
            return Record(at_s, "reset", line.raw, note=_SETTLES)
        return self._reading(line, form, at_s)

    def settle(self) -> None:
        """The next samples are those of a converter that has just started."""
        self._settling = SETTLE
        self._clock = None
        self._recent.clear()

    def _clock_fell(self, line: Line, form: LineFormat) -> bool:
        if "clock" not in form.roles:
            return False
        before, self._clock = self._clock, line.numbers[form.roles.index("clock")].value
        return before is not None and unwrapped(self._clock - before) < 0

    def _reading(self, line: Line, form: LineFormat, at_s: float) -> Record:
        value, unit, stable = _value(line, form)
        step = _step(line, form)
        if unit is None and value in FULL_SCALE:
            return Record(at_s, "overload", line.raw, stable=line.stable, note="full-scale code of the converter")
        if unit is None and self._is_broken(value):
            return Record(at_s, "fault", line.raw, stable=line.stable, note=_BROKEN)
        self._recent.append(value)
        self._seen = True
        length = line.numbers[form.roles.index("length")].value if "length" in form.roles else None
        if unit is None:
            return Record(at_s, "reading", line.raw, counts=value, stable=stable, length=length, step=step)
        return Record(at_s, "reading", line.raw, value=value, unit=unit, stable=stable, length=length, step=step)

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


def _fits(line: Line, form: LineFormat) -> bool:
    if line.kind != "numbers" or len(line.numbers) != len(form.roles):
        return False
    if form.decimal_comma and any("." in number.text for number in line.numbers):
        return False
    return form.shape is None or line.shape == form.shape


def _value(line: Line, form: LineFormat) -> tuple[float, str | None, bool | None]:
    if form.decimal_comma:
        whole, part = line.numbers
        size = abs(whole.value) + part.value / 10.0 ** len(part.text)
        negative = str(whole.value).startswith("-")
        return (-size if negative else size), part.unit or form.unit, line.stable
    number = line.numbers[form.roles.index("value")]
    blank = form.unit is not None and form.shape is not None and number.unit is None
    return number.value, number.unit or form.unit, False if blank else line.stable


def _step(line: Line, form: LineFormat) -> float:
    """One unit of the last printed place: counted in the text, for 0.00 is a number too."""
    if form.decimal_comma:
        return float(10.0 ** -len(line.numbers[1].text))
    text = line.numbers[form.roles.index("value")].text
    return float(10.0 ** -len(text.partition(".")[2]))


def _is_banner(line: Line, form: LineFormat) -> bool:
    """Words of a program that starts; a torn or doubled line of the format itself is none."""
    if line.kind not in {"words", "numbers"}:
        return False
    if _BOOT.search(line.raw) or form.shape is None:
        return _BOOT.search(line.raw) is not None
    known = "".join(form.shape or ()) + "".join(_WORD.findall((form.label or "").lower()))
    new = [word for word in _WORD.findall(line.raw.lower()) if word not in known and word not in UNITS]
    return len(new) >= 2
