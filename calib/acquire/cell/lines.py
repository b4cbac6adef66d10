"""Bytes from a load cell, cut into lines, each read by itself. No port is opened and no format is decided here."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

Kind = Literal["reading", "overload", "fault", "status", "torn", "reset", "unknown"]
LineKind = Literal["numbers", "overload", "fault", "words", "broken"]

LONGEST = 512  # bytes of one line; what is longer is no line of a scale
LARGEST = 1e15  # a number beyond it is rubbish: counts have at most 32 bits
STX, ETX = b"\x02", b"\x03"

UNITS = {
    "g": "g",
    "gram": "g",
    "grams": "g",
    "kg": "kg",
    "lb": "lb",
    "lbs": "lb",
    "oz": "oz",
    "n": "N",
    "kn": "kN",
    "kgf": "kgf",
    "gf": "gf",
    "lbf": "lbf",
}

_NUMBER = re.compile(
    r"(?<![\w.+\-])(?<!\d[/:])(?:([+\-])[ \t]*+)?"  # a sign may stand apart; a date or a time of day is no number
    r"(\d++(?:\.\d*+)?|\.\d++)([eE][+\-]?\d{1,3})?"
    r"(?:[ \t]*,?[ \t]*(kgf|kg|kn|grams?|gf|g|lbf|lbs?|oz|n)(?!\w))?"
    r"(?!\w|\.\d|[/:\-]\d)",
    re.IGNORECASE,
)
_OVERLOAD = re.compile(
    r"^\s*(?:H+|L+|-*OL-*|UL|High|Low|Over|Under|S [+\-])\s*$|^\s*(?:OL|UL)\s*,"
    r"|\b(?:over|under) ?(?:load|range|flow)(?:ed)?\b|\bovf\b|\binf(?:inity)?\b|\bsaturated\b",
    re.IGNORECASE,
)
_FAULT = re.compile(
    r"\bnot (?:found|ready|connected|responding)\b|\bdisconnected\b|\bno (?:response|sensor|signal)\b"
    r"|\btime(?:d)?[- ]?out\b|\bfail(?:ed|ure)?\b|\bfault\b|\berr(?:or)?\b(?!\s*[:=]\s*[+\-\d.])|\bnan\b"
    r"|\bcheck (?:the )?wiring\b|^\s*S I\s*$",
    re.IGNORECASE,
)
_ALL_NOUGHT = str.maketrans("123456789", "0" * 9)
_STATUS = re.compile(r"^\s*(?:(ST|US)\s*,|S ([SD])(?= ))")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0e-\x1f\x7f-\x9f\ufffd]")
_ENDS = re.compile(rb"[\r\n\x02\x03]")
_NOT_SHAPE = re.compile(r"[\s\d]+")
_FRAME_STATUS = {"G": True, "N": True, "M": False}


@dataclass(frozen=True, slots=True)
class RawLine:
    """The bytes between two line ends; `whole` is False where the beginning, the end or the middle is missing."""

    data: bytes
    whole: bool = True


@dataclass(frozen=True, slots=True)
class Number:
    """One number in a line, with its unit where one stands right behind it."""

    value: float
    unit: str | None
    text: str  # the digits as they came, without sign


@dataclass(frozen=True, slots=True)
class Line:
    """What can be said of one line without knowing the others.

    `shape` is what stands before, between and behind the numbers, without blanks, digits, units and stability marks:
    lines of one format share it.
    """

    kind: LineKind
    raw: str
    numbers: tuple[Number, ...] = ()
    shape: tuple[str, ...] = ()
    stable: bool | None = None
    framed: bool = False


@dataclass(frozen=True, slots=True)
class Record:
    """One line as the program goes on with it.

    Args:
        at_s: When the line was complete. [s]
        kind: Only a "reading" has a number: `value` with `unit`, or `counts` where the line names no unit. A "torn"
            line lacks bytes: its reading is missing, nothing more. A "status" is said in words instead of a reading (a
            flat battery, a calibration that runs); a "reset" is a restart, or the line was interrupted.
        raw: The line as it came.
        stable: What the sender says about it; None where it says nothing.
        length: A second channel named so by a header line, in the sender's own unit, `length_unit` where it names one.
        step: One unit of the last place as printed, in the unit of the number: 0.01 for `0.00`.
        clock_s: The sender's own clock, wraps taken out; None where the line carries none. [s]
        sequence: The line's own number, wraps taken out: what lies between two of them that follow is missing.
        checked: Whether a checksum was there and right; a line whose checksum is wrong is "torn".
        note: Why it is no reading, where that is not plain from the line.
    """

    at_s: float
    kind: Kind
    raw: str
    value: float | None = None
    unit: str | None = None
    counts: float | None = None
    stable: bool | None = None
    length: float | None = None
    length_unit: str | None = None
    step: float | None = None
    clock_s: float | None = None
    sequence: int | None = None
    checked: bool = False
    note: str = ""


class LineSplitter:
    """Cuts a stream of bytes into lines at CR, LF or a frame's marks; any cut of the stream gives the same lines."""

    def __init__(self, *, from_start: bool = True) -> None:
        self._pending = bytearray()
        self._whole = from_start  # joined in the middle, the first line may be a half
        self._framed = False

    def feed(self, data: bytes) -> Iterator[RawLine]:
        """Take the next bytes and give the lines that they complete."""
        begin = 0
        for end in _ENDS.finditer(data):
            self._take(data[begin : end.start()])
            begin = end.end()
            yield from self._end(end.group())
        self._take(data[begin:])

    def _take(self, piece: bytes) -> None:
        room = LONGEST - len(self._pending)
        if len(piece) > room:
            self._whole = False
        self._pending += piece[: max(room, 0)]

    def _end(self, mark: bytes) -> Iterator[RawLine]:
        whole = self._whole
        if mark == ETX:
            whole = whole and self._framed
            self._pending += ETX
        elif self._framed:
            whole = False  # a frame that never closed
        if self._pending:
            yield RawLine(bytes(self._pending), whole and mark != STX)
        self._pending.clear()
        self._framed = mark == STX
        self._whole = True
        if self._framed:
            self._pending += STX

    def finish(self) -> Iterator[RawLine]:
        """Give what is left without a line end, as a half."""
        if self._pending:
            yield RawLine(bytes(self._pending), whole=False)
        self._pending.clear()


def read_line(line: RawLine) -> Line:
    """Read one line by itself: its numbers, its stability mark, or why it holds none."""
    text, clean = _decode(line.data)
    framed = text[:1] == "\x02" and text[-1:] == "\x03"
    inner = text[1:-1] if framed else text
    if not line.whole or not clean or _CONTROL.search(inner):
        return Line("broken", _visible(text))
    return read_text(inner, framed=framed)


def read_text(text: str, *, framed: bool = False) -> Line:
    """Read the text of a whole line.

    Args:
        text: Without line end and marks.
        framed: Whether a frame's marks were around it.
    """
    return _read_frame(text) if framed else _read_text(text)


def _read_frame(text: str) -> Line:
    """Sign, weight, status letter: G, N stable, M moving, O, U beyond the range."""
    body, status = text.rstrip(), ""
    if body[-1:] in {"G", "N", "M", "O", "U"} and body[-2:] != "KG":
        body, status = body[:-1], body[-1]
    if status in {"O", "U"}:
        return Line("overload", text, framed=True)
    line = _read_text(body)
    return replace(line, raw=text, stable=_FRAME_STATUS.get(status, line.stable), framed=True)


def _read_text(text: str) -> Line:
    layout = _layout(text.translate(_ALL_NOUGHT))
    if layout.kind != "numbers":
        return Line(layout.kind, text, (), layout.shape)
    numbers = tuple(
        [
            Number(float(text[spot.begin : spot.end]) * spot.sign, spot.unit, text[spot.begin : spot.digits_end])
            for spot in layout.spots
        ]
    )
    if any(abs(number.value) > LARGEST for number in numbers):
        return Line("overload", text)
    return Line("numbers", text, numbers, layout.shape, layout.stable)


@dataclass(frozen=True, slots=True)
class _Spot:
    """Where a number stands in a line."""

    sign: int
    begin: int
    digits_end: int
    end: int  # behind the exponent
    unit: str | None


@dataclass(frozen=True, slots=True)
class _Layout:
    kind: LineKind
    shape: tuple[str, ...] = ()
    spots: tuple[_Spot, ...] = ()
    stable: bool | None = None


@lru_cache(maxsize=4096)
def _layout(text: str) -> _Layout:
    """What a line with these signs holds; all its digits are 0, so that lines of one format share the work."""
    if _OVERLOAD.search(text):
        return _Layout("overload")
    if _FAULT.search(text):
        return _Layout("fault")
    status = _STATUS.match(text)
    stable = (status[1] or status[2]) in {"ST", "S"} if status else None
    if text.rstrip().endswith("?"):
        stable = False
    spots, shape = _spots(text, status.end() if status else 0)
    if status and not spots:
        return _Layout("overload")  # a continuous output that shows blanks for the weight
    return _Layout("numbers" if spots else "words", shape, spots, stable)


def _spots(text: str, begin: int) -> tuple[tuple[_Spot, ...], tuple[str, ...]]:
    spots, shape = [], []
    last = begin
    for found in _NUMBER.finditer(text, begin):
        unit = UNITS[found[4].lower()] if found[4] else None
        end = found.end(3) if found[3] else found.end(2)
        spots.append(_Spot(-1 if found[1] == "-" else 1, found.start(2), found.end(2), end, unit))
        shape.append(_gap(text[last : found.start()]))
        last = found.end()
    shape.append(_gap(text[last:]))
    if begin:
        shape[0] = "*" + shape[0]
    return tuple(spots), tuple(shape)


def _gap(text: str) -> str:
    """What stands between two numbers, without blanks, digits and a doubt mark."""
    return _NOT_SHAPE.sub("", text.rstrip().removesuffix("?")).lower()


def _decode(data: bytes) -> tuple[str, bool]:
    """The text, and whether it can be one: UTF-8, or an older code page with few signs beyond ASCII."""
    try:
        return data.decode(), True
    except UnicodeDecodeError:
        return data.decode("latin-1"), 4 * sum(byte > 127 for byte in data) < len(data)


def _visible(text: str) -> str:
    """The text with control signs written out, so that it can be stored and shown."""
    return _CONTROL.sub(lambda found: f"<{ord(found[0]):02X}>", text)
