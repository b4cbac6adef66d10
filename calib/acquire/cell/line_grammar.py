"""One line, taken apart: its numbers with sign, unit and name, and what is said of the load.

A line by itself cannot say whether a comma parts decimals, thousands or columns, nor which number is the force. The
first is a `Notation`, which the stream decides (`digit_groups`); the second are roles (`number_roles`). Both look at
many lines. What the parts of a line may be stands in `line_layout`.

The idea: all digits of a line are turned into 0 before it is taken apart, and what was found is kept. Lines of one
format share the work, and only the digits themselves are read anew: a line costs what its numbers cost.

Tried and given up:

- A number wherever one is found, and the text around it compared: `24.31-` and `(24.31)` lost their sign, `24.31 N/mm`
  was newton, the letters that say whether the load stands made another format of the line.
- One expression for a whole line: each new place for a sign or a unit doubled it.
"""

import re
from dataclasses import field
from functools import lru_cache

from calib.acquire.cell.line_layout import PLAIN, Layout, LineKind, Notation, Taken
from calib.acquire.cell.lines import RawLine
from calib.frozen import dataclass

LARGEST = 1e15  # a number beyond it is rubbish: counts have at most 32 bits
MOST_KEPT = 4096  # layouts
_ALL_NOUGHT = bytes.maketrans(b"123456789", b"0" * 9)
_ANSI = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0e-\x1f\x7f-\x9f\ufffd]")
_OTHER_MINUS = str.maketrans(dict.fromkeys("\u2212\u2010\u2011\u2012\u2013\uff0d\ufe63", "-"))
_BLANKS = "['\u2019 \u00a0\u202f\u2009]"


@dataclass(frozen=True, slots=True)
class Line:
    """One line: what its layout says, and its numbers."""

    layout: Layout
    raw: str
    text: str
    values: tuple[float, ...] = ()

    @property
    def kind(self) -> LineKind:
        """What it is, as far as a line alone can say."""
        return self.layout.kind

    @property
    def shape(self) -> tuple[str, ...]:
        """What stands around the numbers."""
        return self.layout.shape

    def digits(self, i: int) -> str:
        """Number `i` as it was printed, without its sign."""
        return self.text[self.layout.spots[i].begin : self.layout.spots[i].end]


@dataclass(slots=True)
class Grammar:
    """Takes lines apart by one notation."""

    notation: Notation
    _kept: dict[bytes, Layout] = field(default_factory=dict)

    def read(self, raw: RawLine) -> Line:
        """Take a line of the wire apart."""
        data = raw.data
        noughts = data.translate(_ALL_NOUGHT)
        if not raw.whole:
            return Line(_BROKEN, visible(_decode(data)[0]), "")
        layout = self._kept.get(noughts)
        if layout is None:
            layout = self._learn(noughts)
        text = _decode(data)[0]
        if layout.kind == "broken":
            return Line(layout, visible(text), "")
        if not layout.tidied:
            return self._with_values(layout, text, text)
        if layout.framed and text.isascii() and "\x1b" not in text:
            return self._with_values(layout, f"<02>{text[1:-1]}<03>", text[1:-1])
        return self._with_values(layout, visible(_ANSI.sub("", text).strip("\0")), _tidy(text))

    def _learn(self, noughts: bytes) -> Layout:
        if len(self._kept) >= MOST_KEPT:
            self._kept.clear()
        self._kept[noughts] = layout = self._layout(noughts)
        return layout

    def _layout(self, noughts: bytes) -> Layout:
        text, clean = _decode(noughts)
        inner = _tidy(text)
        framed = text[:1] == "\x02" and text[-1:] == "\x03"
        if not clean or _CONTROL.search(inner):
            return _BROKEN
        if not inner.strip():
            return Layout("words", tidied=True)
        return Taken(inner, self.notation, tidied=inner != text, framed=framed).layout()

    def _with_values(self, layout: Layout, raw: str, text: str) -> Line:
        values = []
        for spot in layout.spots:
            digits = text[spot.begin : spot.stop]
            value = spot.sign * float(self._plain(digits) if spot.marked else digits)
            if spot.rest is not None:
                begin, end, factor = spot.rest
                value += spot.sign * factor * float(text[begin:end].replace(",", "."))
            if value > LARGEST or value < -LARGEST:
                return Line(_TOO_LARGE, raw, text)
            values.append(value)
        return Line(layout, raw, text, tuple(values))

    def _plain(self, digits: str) -> str:
        """A number as `float` wants it: without marks between groups, with a dot."""
        _, groups, _ = self.notation
        if groups is not None:
            digits = _GROUP_BLANKS.sub("", digits) if groups in "' " else digits.replace(groups, "")
        return digits.replace(",", ".")

    def text(self, text: str) -> Line:
        """Take a line of text apart."""
        return self.read(RawLine(text.encode()))


_BROKEN = Layout("broken")


@lru_cache(maxsize=32)
def grammar(notation: Notation = PLAIN) -> Grammar:
    """The grammar of a notation; one for all, since what it has learnt holds everywhere."""
    return Grammar(notation)


def read_text(text: str, notation: Notation = PLAIN) -> Line:
    """Take a line of text apart.

    >>> read_text("(24.31) kg").values, read_text("ST,GS,+  4.876kg").layout.stable
    ((-24.31,), True)
    """
    return grammar(notation).text(text)


_TOO_LARGE = Layout("overload")
_GROUP_BLANKS = re.compile(_BLANKS)


def _decode(data: bytes) -> tuple[str, bool]:
    """The text, and whether it can be one: UTF-8, or an older code page with few characters beyond ASCII."""
    try:
        return data.decode(), True
    except UnicodeDecodeError:
        return data.decode("latin-1"), 4 * sum(byte > 127 for byte in data) < len(data)


def _tidy(text: str) -> str:
    """Without colours, padding, frame marks; every minus the usual one."""
    if "\x1b" in text:
        text = _ANSI.sub("", text)
    text = text.strip("\0\ufeff")
    if text[:1] == "\x02" and text[-1:] == "\x03":
        text = text[1:-1]
    return text if text.isascii() else text.translate(_OTHER_MINUS)


def visible(text: str) -> str:
    """The text with control characters written out, so that it can be stored and shown."""
    return _CONTROL.sub(lambda found: f"<{ord(found[0]):02X}>", text)
