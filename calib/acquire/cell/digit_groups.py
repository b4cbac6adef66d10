"""Numbers written in groups of three digits, `1,234.5 kg`, told from two columns by what the other lines hold.

No single line can say which of the two it is, and neither is guessed: a stream whose lines do not settle it is asked
about. Nothing is read from a port here.
"""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Literal

from calib.acquire.cell.lines import Line, read_text

Mark = Literal[",", ".", "'", " "]
MARKS: dict[str, Mark] = {  # by the word of a format as typed
    "thousands-comma": ",",
    "thousands-dot": ".",
    "thousands-apostrophe": "'",
    "thousands-blank": " ",
}
SURE = 2  # lines that have to agree: one may be torn

_BEGIN, _END = r"(?<![\w.])[1-9]\d{0,2}", r"(?![.,]?\d)"
_GROUPED = {
    "'": re.compile(_BEGIN + r"(?:['\u2019]\d{3})++(?:[.,]\d*+)?" + _END),
    ".": re.compile(_BEGIN + r"(?:\.\d{3})++,\d++" + _END),  # without a decimal comma it is 1.234
    ",": re.compile(_BEGIN + r"(?:,\d{3})++(?:\.\d*+)?" + _END),
    " ": re.compile(_BEGIN + r"(?:[ \u00a0\u202f]\d{3})++(?:[.,]\d*+)?(?!\s?\d)" + _END),
}
_BETWEEN = {mark: re.compile(rf"\d{re.escape(mark)}\d") for mark in _GROUPED}
_GAPS = re.compile("['\u2019 \u00a0\u202f]")


@lru_cache(maxsize=1024)
def mark_in(text: str) -> Mark | None:
    """The mark that may part groups of three digits in a line; None where there is no such number."""
    return next((mark for mark in MARKS.values() if _GROUPED[mark].search(text)), None)


def joined(line: Line, mark: Mark) -> Line:
    """The line with groups of three digits read as one number; the same line where it holds none.

    >>> [n.value for n in joined(read_text("1,234.5 kg"), ",").numbers]
    [1234.5]
    """
    text = _GROUPED[mark].sub(lambda found: _without(found[0], mark), line.raw)
    if line.kind != "numbers" or text == line.raw:
        return line
    again = read_text(text, framed=line.framed)
    return replace(again, raw=line.raw) if again.kind == "numbers" else line


def _without(number: str, mark: Mark) -> str:
    return number.replace(mark, "") if mark in ",." else _GAPS.sub("", number)


def has_decimal_comma(lines: Sequence[Line], mark: Mark) -> bool:
    """Whether numbers in groups of three digits end in decimals behind a comma."""
    return mark != "," and any("," in found[0] for line in lines for found in _GROUPED[mark].finditer(line.raw))


def settle(lines: Sequence[Line]) -> Mark | Literal["columns", "unclear"]:
    """Say what lines with numbers show: a mark between groups, columns, or neither for sure.

    Lines below a thousand hold no mark and as many numbers as the joined line: groups. Lines that hold the mark where
    no groups can be (`1000,99.5`, `0,512`), of the shape of the others: columns.
    """
    grouped = [line for line in lines if line.kind == "numbers" and mark_in(line.raw)]
    if not grouped:
        return "columns"
    mark = Counter(found for line in grouped if (found := mark_in(line.raw))).most_common(1)[0][0]
    grouped = [line for line in grouped if mark_in(line.raw) == mark]
    as_columns = _usual(grouped)
    as_groups = _usual([joined(line, mark) for line in grouped])
    others = [line for line in lines if line.kind == "numbers" and mark_in(line.raw) != mark]
    apart = sum(line.shape == as_columns and bool(_BETWEEN[mark].search(line.raw)) for line in others)
    below = sum(line.shape == as_groups and not _BETWEEN[mark].search(line.raw) for line in others)
    if max(apart, below) < SURE:
        return "unclear"
    return mark if below > apart else "columns"


def _usual(lines: Sequence[Line]) -> tuple[str, ...]:
    return Counter(line.shape for line in lines).most_common(1)[0][0]
