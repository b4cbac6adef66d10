"""Bytes from a load cell, cut into lines, with their checksums; and what a line becomes. No format is decided here.

Most devices end a line with CR, LF or both, or frame it between STX and ETX. Some end it with nothing: then the bytes
are cut where that gives pieces that are all alike, and only after a long stretch without any end. No port is opened.
"""

import re
from binascii import crc_hqx
from collections.abc import Callable, Iterator, Sequence
from functools import reduce
from operator import xor
from typing import Literal

from calib.frozen import dataclass

Kind = Literal["reading", "overload", "fault", "status", "torn", "reset", "unknown"]

LONGEST = 512  # bytes of one line; what is longer is no line of a scale
LOOKS = (128, 256, 384, 512)  # bytes without any end, after which it is looked for what else parts lines
PIECES = 12  # that have to be alike
STX, ETX = b"\x02", b"\x03"

_ENDS = re.compile(rb"\r\n|[\r\n\x02\x03]")


@dataclass(frozen=True, slots=True)
class RawLine:
    """The bytes between two line ends; `whole` is False where the beginning, the end or the middle is missing."""

    data: bytes
    whole: bool = True


@dataclass(frozen=True, slots=True)
class Record:
    """One line as the program goes on with it.

    Args:
        at_s: When the line was complete. [s]
        kind: Only a "reading" has a number: `value` with `unit`, or `counts` where the line names no unit. A "torn"
            line lacks bytes, or its number broke before it was sent: its reading is missing, nothing more. A "status"
            is said in words instead of a reading (a flat battery, a calibration that runs); a "reset" is a restart, or
            the line was interrupted.
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


_NO_ENDS = tuple(
    re.compile(cut)
    for cut in (
        rb"\x00+",
        rb"[;|]",
        rb"(?=[=#$>@!])",
        rb"(?=[+\-])",
        rb"(?<=[A-Za-z])(?= {0,8}[\d.])",
        rb" +",
    )
)
_DIGITS = re.compile(rb"[\d.]+")


def cut_without_ends(data: bytes) -> re.Pattern[bytes] | None:
    """What parts lines that have no end; None where nothing does.

    >>> cut_without_ends(b"+12.34kg" * 16).split(b"+12.34kg+12.35kg")
    [b'', b'+12.34kg', b'+12.35kg']
    """
    return next((cut for cut in _NO_ENDS if _are_alike(cut.split(data)[1:-1])), None)


def _are_alike(pieces: Sequence[bytes]) -> bool:
    if len(pieces) < PIECES:
        return False
    shapes = [_DIGITS.sub(b"0", piece) for piece in pieces]
    usual = max(set(shapes), key=shapes.count)
    return b"0" in usual and 10 * shapes.count(usual) >= 9 * len(shapes)


class LineSplitter:
    """Cuts a stream of bytes into lines; any cut of the stream gives the same lines."""

    def __init__(self, *, from_start: bool = True) -> None:
        self._pending = bytearray()
        self._whole = from_start  # joined in the middle, the first line may be a half
        self._framed = self._after_frame = self._frames_close = False
        self._ends_seen = False
        self._cut: re.Pattern[bytes] | None = None

    def feed(self, data: bytes) -> Iterator[RawLine]:
        """Take the next bytes and give the lines that they complete."""
        begin = 0
        for end in _ENDS.finditer(data):
            if end.start() > begin:
                yield from self._take(data[begin : end.start()])
            begin = end.end()
            self._ends_seen, self._cut = True, None
            line = self._end(end.group())
            if line is not None:
                yield line
        yield from self._take(data[begin:])

    def _take(self, piece: bytes) -> Iterator[RawLine]:
        while not self._ends_seen and piece:  # in steps, so that a cut of the stream changes nothing
            look = next((n for n in LOOKS if n > len(self._pending)), LONGEST) if self._cut is None else LONGEST
            room = max(look - len(self._pending), 1)
            self._pending += piece[:room]
            piece = piece[room:]
            if self._cut is None and len(self._pending) in LOOKS:
                self._cut = cut_without_ends(bytes(self._pending))
            if self._cut is not None:
                yield from self._pieces(self._cut)
            elif len(self._pending) > LONGEST:
                del self._pending[LONGEST:]
                self._whole = False
        room = LONGEST - len(self._pending)
        if len(piece) > room:
            self._whole = False
        self._pending += piece[: max(room, 0)]

    def _pieces(self, cut: re.Pattern[bytes]) -> Iterator[RawLine]:
        *done, rest = cut.split(bytes(self._pending))
        for piece in done:
            if piece:
                yield RawLine(piece, self._whole)
            self._whole = True
        self._pending[:] = rest

    def _end(self, mark: bytes) -> RawLine | None:
        """The line that ends here; None where it is empty."""
        whole, line = self._whole, None
        if mark == ETX:
            whole = whole and self._framed
            self._frames_close = self._frames_close or self._framed
            self._pending += ETX
        elif self._framed:
            whole = whole and not self._frames_close and mark != STX  # a frame that never closed
        behind_frame = self._after_frame and mark == STX and len(self._pending) <= 2  # its check bytes
        if self._pending and not behind_frame:
            line = RawLine(bytes(self._pending), whole and mark != STX)
        self._pending.clear()
        self._after_frame = mark == ETX
        self._framed = mark == STX
        self._whole = True
        if self._framed:
            self._pending += STX
        return line

    def finish(self) -> Iterator[RawLine]:
        """Give what is left without a line end, as a half."""
        if self._pending:
            yield RawLine(bytes(self._pending), whole=False)
        self._pending.clear()


def _exclusive_or(data: bytes) -> int:
    return reduce(xor, data, 0)


def _sum(data: bytes) -> int:
    return sum(data) & 0xFF


def _minus_sum(data: bytes) -> int:
    return -sum(data) & 0xFF


def _crc_table(polynomial: int, bits: int, *, reflected: bool) -> tuple[int, ...]:
    table, top, mask = [], 1 << bits - 1, (1 << bits) - 1
    for byte in range(256):
        crc = byte if reflected else byte << bits - 8
        for _ in range(8):
            if reflected:
                crc = crc >> 1 ^ (polynomial if crc & 1 else 0)
            else:
                crc = (crc << 1 ^ (polynomial if crc & top else 0)) & mask
        table.append(crc)
    return tuple(table)


def _crc(polynomial: int, bits: int, start: int, *, reflected: bool = False) -> Callable[[bytes], int]:
    """A cyclic check; `polynomial` is written turned round where bits go in from the low end."""
    table, mask = _crc_table(polynomial, bits, reflected=reflected), (1 << bits) - 1

    def high_first(data: bytes) -> int:
        crc = start
        for byte in data:
            crc = (crc << 8 ^ table[crc >> bits - 8 ^ byte]) & mask
        return crc

    def low_first(data: bytes) -> int:
        crc = start
        for byte in data:
            crc = crc >> 8 ^ table[(crc ^ byte) & 0xFF]
        return crc

    return low_first if reflected else high_first


def _crc_1021(start: int) -> Callable[[bytes], int]:
    """A cyclic check of sixteen bits by the polynomial 0x1021, high bit first: the standard library has it, faster."""
    return lambda data: crc_hqx(data, start)


# How many hexadecimal digits, and what is made of the bytes before them. The usual kinds; their check values over the
# text 123456789 are common knowledge and stand in the tests.
_CHECKS: dict[str, tuple[int, Callable[[bytes], int]]] = {
    "xor": (2, _exclusive_or),
    "sum": (2, _sum),
    "minus-sum": (2, _minus_sum),
    "crc8": (2, _crc(0x07, 8, 0)),
    "crc8-maxim": (2, _crc(0x8C, 8, 0, reflected=True)),
    "crc16-ccitt": (4, _crc_1021(0xFFFF)),
    "crc16-xmodem": (4, _crc_1021(0)),
    "crc16-modbus": (4, _crc(0xA001, 16, 0xFFFF, reflected=True)),
}
_HEX_END = re.compile(rb"([^0-9A-Za-z.+\-])([0-9A-Fa-f]{4}|[0-9A-Fa-f]{2})\s*$")
ALIKE = 8  # lines whose check has to come out, of ten


@dataclass(frozen=True, slots=True)
class Checksum:
    """How lines are checked: what is made of the bytes, whether with the sign before the check, without the first."""

    kind: str
    with_sign: bool = False
    skipped: int = 0

    @property
    def name(self) -> str:
        """As a word, for a file."""
        return f"{self.kind}{'+' if self.with_sign else ''}{self.skipped or ''}"

    def split(self, data: bytes) -> tuple[bytes, bool]:
        """The line without its check, and whether that comes out."""
        digits, made = _CHECKS[self.kind]
        data = data.rstrip()
        body, said = data[:-digits], data[-digits:]
        try:
            right = int(said, 16) == made(body[self.skipped :] if self.with_sign else body[self.skipped : -1])
        except ValueError:
            return data, False
        return body[:-1], right


CHECKS = {
    check.name: check
    for kind in _CHECKS
    for check in (Checksum(kind, sign, skip) for sign in (False, True) for skip in (0, 1))
}


def check_of(lines: Sequence[bytes]) -> Checksum | None:
    """The check that comes out for nearly all lines; by chance none does."""
    lines = [line for line in lines if _HEX_END.search(line)]
    if len(lines) < ALIKE:
        return None
    tried = list(CHECKS.values())
    if len(set(lines)) == 1 and b"*" not in lines[0]:  # at rest: one line may come out by chance
        plainly = re.search(rb"[A-F][0-9A-F]\s*$|[0-9A-F][A-F]\s*$", lines[0]) is not None
        tried = [check for check in tried if plainly and check.kind in ("xor", "sum")]
    return next((check for check in tried if sum(check.split(line)[1] for line in lines) >= 0.8 * len(lines)), None)
