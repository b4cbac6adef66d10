"""Words and tables in columns: broken at spaces, aligned, other people's text made harmless. Nothing is printed here.

Everything is plain ASCII apart from what users wrote themselves.
"""

import re
import textwrap
import unicodedata
from collections.abc import Iterable, Sequence

WIDTH = 80  # columns, where nothing says how many there are
LONGEST_NAME = 60  # characters of a name or note in a table
_UNIT = re.compile(r"(?<=\d) (?=(?:%|kg|lb|N|mm|cm|m|in|s|g|J|C)(?![\w]))")  # the space between a number and its unit
_HARD_SPACE = "\u00a0"  # while lines are broken
_NUMBER = re.compile(r"[-+]?\d[\d.,]*( ?(kg|lb|N|m|cm|in|mm|%))?|-?")


def clean(text: str, longest: int | None = None) -> str:
    """Other people's text on one line: control, escape and direction-changing characters taken out.

    Args:
        text: As it came from a file or a keyboard.
        longest: Cut after so many characters, with "..." in place of the rest; None keeps all.

    >>> clean("knee" + chr(27) + "[2J  band" + chr(9) + "3")
    'knee[2J band 3'
    """
    spaced = " ".join("".join(c for c in text if c.isspace() or not _hidden(c)).split())
    if longest is not None and len(spaced) > longest:
        return spaced[: max(longest - 3, 0)] + "..."
    return spaced


def _hidden(character: str) -> bool:
    """Control, format, surrogate, private and unassigned characters."""
    return unicodedata.category(character).startswith("C")


def wrap(text: str, width: int = WIDTH, first: str = "", rest: str = "") -> str:
    """Break a paragraph at spaces, but not between a number and its unit.

    Args:
        text: One paragraph.
        width: Columns.
        first: What the first line begins with.
        rest: What the other lines begin with.

    >>> print(wrap("a band is a spring that forgets", 16, "- ", "  "))
    - a band is a
      spring that
      forgets
    """
    lines = textwrap.wrap(
        _UNIT.sub(_HARD_SPACE, text),
        width,
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return "\n".join(lines).replace(_HARD_SPACE, " ") or first.rstrip()


def table(headers: Sequence[str], rows: Iterable[Sequence[str]], indent: str = "") -> str:
    """Columns in line: numbers to the right, words to the left, two spaces between.

    Args:
        headers: One a column.
        rows: Cells as text; every row as long as the headers.
        indent: What each line begins with.

    >>> print(table(("length", "note"), (("1.2 m", "first"), ("12.0 m", "last"))))
    length  note
     1.2 m  first
    12.0 m  last
    """
    body = [[clean(cell, LONGEST_NAME) for cell in row] for row in rows]
    ways = []
    for i, header in enumerate(headers):
        cells = [row[i] for row in body]
        numbers = bool(body) and any(cells) and all(_NUMBER.fullmatch(cell) for cell in cells)
        ways.append((">" if numbers else "<", max(map(len, [header, *cells]))))
    return "\n".join(
        indent + "  ".join(f"{cell:{way}{wide}}" for cell, (way, wide) in zip(row, ways, strict=True)).rstrip()
        for row in [list(headers), *body]
    )


def sentence(text: str) -> str:
    """Other people's text with a capital letter at the start and a full stop at the end; a file keeps its name.

    >>> sentence("the scale drifted"), sentence("b07.run.csv:12: row 3 stands alone")
    ('The scale drifted.', 'b07.run.csv:12: row 3 stands alone.')
    """
    said = clean(text)
    begin = said[:1].upper() if said.split(" ", 1)[0].rstrip(",;").isalpha() else said[:1]
    return begin + said[1:] + ("" if said.endswith((".", "!", "?")) else ".")
