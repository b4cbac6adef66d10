"""How a stream writes its numbers: whether a comma parts decimals, thousands or columns, told by what many lines hold.

No single line can say it, and it is not guessed: a stream whose lines do not settle it is asked about.
"""

import re
from collections import Counter
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Literal

from calib.acquire.cell.line_format import MARKS, FormatQuestion
from calib.acquire.cell.line_grammar import Line, read_text
from calib.acquire.cell.line_layout import Mark, Notation

LONG = 20  # lines over which no force rises evenly
SURE = 2  # lines that have to agree: one may be torn

_BEGIN, _END = r"(?<![\w.])[1-9]\d{0,2}", r"(?![.,]?\d)"
_GROUPED = {
    "'": re.compile(_BEGIN + r"(?:['\u2019]\d{3})++(?:[.,]\d*+)?" + _END),
    ".": re.compile(_BEGIN + r"(?:\.\d{3})++,\d++" + _END),  # without a decimal comma it is 1.234
    ",": re.compile(_BEGIN + r"(?:,\d{3})++(?:\.\d*+)?" + _END),
    " ": re.compile(_BEGIN + r"(?:[ \u00a0\u202f\u2009]\d{3})++(?:[.,]\d*+)?(?!\s?\d)" + _END),
}
_BETWEEN = {mark: re.compile(rf"\d{re.escape(mark)}\d") for mark in _GROUPED}
_COMMA = re.compile(r"\d,\d")
_DOT = re.compile(r"\d\.\d")
_TWICE = re.compile(r"\d,\d+,\d")
_PARTED = re.compile(r"[;\t|]|,\s")


@lru_cache(maxsize=1024)
def mark_in(text: str) -> Mark | None:
    """The mark that may part groups of three digits in a line; None where there is no such number."""
    return next((mark for mark in MARKS.values() if _GROUPED[mark].search(text)), None)


def settle(
    lines: Sequence[Line], is_clock: Callable[[Sequence[float]], bool], named: int = 0
) -> Notation | FormatQuestion:
    """Say how lines with numbers write them.

    Args:
        lines: As the plain notation takes them apart.
        is_clock: Whether numbers run like a clock.
        named: How many columns a header names; 0 where there is none.

    Returns:
        The notation, or what has to be asked.
    """
    lines = [line for line in lines if line.kind == "numbers"]
    groups = _groups(lines)
    if groups == "unclear" and not _are_columns(lines, is_clock, named):
        return _about_groups(lines)
    if groups is not None and groups != "unclear":
        decimal = "," if groups != "," and _ends_in_comma(lines, groups) else "."
        return Notation("," if decimal == "," else ".", groups)
    with_comma = [line for line in lines if _COMMA.search(line.text)]
    if not with_comma or any(_TWICE.search(line.text) for line in with_comma):
        return Notation()
    return _about_comma(lines, with_comma, is_clock, named)


def _about_comma(
    lines: Sequence[Line], with_comma: Sequence[Line], is_clock: Callable[[Sequence[float]], bool], named: int
) -> Notation | FormatQuestion:
    """Whether a comma between digits parts decimals or columns."""
    comma = Notation(",")
    last = with_comma[-1]
    read = read_text(last.text, comma)
    dotted = sum(bool(_DOT.search(line.text)) for line in with_comma)
    if 2 * dotted > len(with_comma) or len(read.values) >= len(last.values) or named == len(last.values):
        return Notation()
    if _PARTED.search(last.text):
        return comma  # columns are parted by another sign
    bare = [line for line in lines if line not in with_comma]
    if sum(read_text(line.text, comma).shape == read.shape for line in bare) >= SURE:
        return comma  # the same line without decimals
    spots = last.layout.spots
    at = next((i for i, spot in enumerate(spots[:-1]) if last.text[spot.end : spot.end + 1] == ","), None)
    if at is None:
        return Notation()  # the comma stands in a name
    first = [line.values[at] for line in with_comma if len(line.values) == len(last.values)]
    if is_clock(first):
        return Notation()
    second = [line.digits(at + 1) for line in with_comma if len(line.values) == len(last.values)]
    spot = last.layout.spots[at + 1]
    even = len({len(digits) for digits in second}) == 1
    decimals = even or not any(digits.endswith("0") for digits in second)
    if decimals and (spot.unit or last.layout.spots[at].name.strip(" =:+-")):
        return comma
    return FormatQuestion(
        f"{last.text.strip()[:40]!r} may hold one number with a decimal comma, or two columns"
        "; give --format decimal-comma or --column",
        (at + 1, at + 2),
    )


def _are_columns(lines: Sequence[Line], is_clock: Callable[[Sequence[float]], bool], named: int) -> bool:
    """Whether a header names as many columns, or the first runs evenly for longer than a force does."""
    doubtful = next(line for line in reversed(lines) if mark_in(line.raw))
    mark = mark_in(doubtful.raw)
    if named == len(doubtful.values):
        return True
    whole = read_text(doubtful.text, Notation("," if mark == "." else ".", mark)).values
    if len(whole) != len(doubtful.values) - 1 or whole[0] == doubtful.values[0]:
        return False
    return len(lines) >= LONG and is_clock([line.values[0] for line in lines])


def _about_groups(lines: Sequence[Line]) -> FormatQuestion:
    doubtful = next(line for line in reversed(lines) if mark_in(line.raw))
    word = next(word for word, mark in MARKS.items() if mark == mark_in(doubtful.raw))
    typed = word if "." in doubtful.raw else f"'{word}, decimal-comma'"
    return FormatQuestion(
        f"{doubtful.raw.strip()[:40]!r} may hold one number in groups of three digits, or two numbers"
        f"; give --format {typed}, or --column"
    )


def _groups(lines: Sequence[Line]) -> Mark | Literal["unclear"] | None:
    """A mark between groups, None for none, or "unclear".

    Lines below a thousand hold no mark and as many numbers as the joined line: groups. Lines that hold the mark where
    no groups can be (`1000,99.5`, `0,512`), of the shape of the others: columns.
    """
    grouped = [line for line in lines if mark_in(line.raw)]
    if not grouped:
        return None
    mark = Counter(found for line in grouped if (found := mark_in(line.raw))).most_common(1)[0][0]
    grouped = [line for line in grouped if mark_in(line.raw) == mark]
    joined = Notation("," if _ends_in_comma(grouped, mark) else ".", mark)
    as_columns = _usual([line.shape for line in grouped])
    as_groups = _usual([read_text(line.text, joined).shape for line in grouped])
    others = [line for line in lines if mark_in(line.raw) != mark]
    apart = sum(line.shape == as_columns and bool(_BETWEEN[mark].search(line.raw)) for line in others)
    below = sum(
        not _BETWEEN[mark].search(line.raw) and read_text(line.text, joined).shape == as_groups for line in others
    )
    if max(apart, below) < SURE:
        return "unclear"
    return mark if below > apart else None


def _ends_in_comma(lines: Sequence[Line], mark: Mark) -> bool:
    """Whether numbers in groups of three digits end in decimals behind a comma."""
    return mark != "," and any("," in found[0] for line in lines for found in _GROUPED[mark].finditer(line.text))


def _usual(shapes: Sequence[tuple[str, ...]]) -> tuple[str, ...]:
    return Counter(shapes).most_common(1)[0][0]
