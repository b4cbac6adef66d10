"""Words and tables for a terminal, shared by the commands: aligned columns, other people's text made harmless.

Everything is plain ASCII apart from what users wrote themselves. Nothing is printed here and no file is read.
"""

import os
import re
import shutil
import sys
import textwrap
import unicodedata
from collections.abc import Iterable, Sequence
from typing import Protocol

WIDEST = 100  # columns: longer lines are tiring to read
LONGEST_NAME = 60  # signs of a name or note in a table
_UNIT = re.compile(r"(?<=\d) (?=(?:%|kg|lb|N|mm|m|in|s|g|J|C)(?![\w]))")  # the space between a number and its unit
_HARD_SPACE = "\u00a0"  # while lines are broken
_NUMBER = re.compile(r"[-+]?\d[\d.,]*( ?(kg|N|m|mm|%))?|-?")


class Doubt(Protocol):
    """A finding, from a fit or from a stored profile."""

    @property
    def code(self) -> str: ...  # noqa: D102
    @property
    def text(self) -> str: ...  # noqa: D102


def clean(text: str, longest: int | None = None) -> str:
    """Other people's text on one line: control, escape and direction-changing signs taken out.

    Args:
        text: As it came from a file or a keyboard.
        longest: Cut after so many signs, with "..." in place of the rest; None keeps all.

    >>> clean("knee" + chr(27) + "[2J  band" + chr(9) + "3")
    'knee[2J band 3'
    """
    spaced = " ".join("".join(c for c in text if c.isspace() or not _hidden(c)).split())
    if longest is not None and len(spaced) > longest:
        return spaced[: max(longest - 3, 0)] + "..."
    return spaced


def _hidden(sign: str) -> bool:
    """Control, format, surrogate, private and unassigned signs."""
    return unicodedata.category(sign).startswith("C")


def columns() -> int:
    """Columns of the terminal, 80 where there is none, never more than is good to read."""
    return max(40, min(shutil.get_terminal_size((80, 24)).columns, WIDEST))


def wrap(text: str, width: int | None = None, first: str = "", rest: str = "") -> str:
    """Break a paragraph at spaces, but not between a number and its unit.

    Args:
        text: One paragraph.
        width: Columns; None takes the terminal's.
        first: What the first line begins with.
        rest: What the other lines begin with.

    >>> print(wrap("a band is a spring that forgets", 16, "- ", "  "))
    - a band is a
      spring that
      forgets
    """
    lines = textwrap.wrap(
        _UNIT.sub(_HARD_SPACE, text),
        width or columns(),
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


def findings_text(findings: Sequence[Doubt], width: int | None = None) -> str:
    """What is doubtful, one paragraph a finding with its code behind it; says so where nothing is.

    Args:
        findings: Of a run, a fit or a profile.
        width: Columns; None takes the terminal's.
    """
    if not findings:
        return "Nothing doubtful was found."
    head = f"To know about it ({len(findings)}; docs/findings.md says more of each):"
    paragraphs = [wrap(f"{sentence(f.text)} [{clean(f.code)}]", width, "  - ", "    ") for f in findings]
    return "\n".join([head, *paragraphs])


def sentence(text: str) -> str:
    """Other people's text with a capital letter at the start and a full stop at the end; a file keeps its name.

    >>> sentence("the scale drifted"), sentence("b07.run.csv:12: row 3 stands alone")
    ('The scale drifted.', 'b07.run.csv:12: row 3 stands alone.')
    """
    said = clean(text)
    begin = said[:1].upper() if said.split(" ", 1)[0].rstrip(",;").isalpha() else said[:1]
    return begin + said[1:] + ("" if said.endswith((".", "!", "?")) else ".")


def complaint(sentence: str) -> str:
    """What standard error is told of an error: one line in a pipe, broken at spaces at a terminal.

    Args:
        sentence: Where, what, and what would mend it.
    """
    said = f"bandcurve: {sentence}"
    return wrap(said, rest="  ") if sys.stderr.isatty() else said


def heading(text: str) -> str:
    """A heading: strong at a terminal that can show it, plain in a pipe, with NO_COLOR or on a dumb terminal."""
    plain = bool(os.environ.get("NO_COLOR")) or os.environ.get("TERM") == "dumb" or not sys.stdout.isatty()
    return text if plain else f"\033[1m{text}\033[0m"
