"""Words at a terminal: as wide as it is, findings as a list, errors. Layout is report.layout's."""

import shutil
import sys
from collections.abc import Sequence
from typing import Protocol

from calib.use.report import layout
from calib.use.report.layout import clean, sentence, table

__all__ = ["clean", "columns", "complaint", "findings_text", "sentence", "table", "wrap"]

WIDEST = 100  # columns: longer lines are tiring to read


class ShownDoubt(Protocol):
    """A finding, from a fit or from a stored profile."""

    @property
    def code(self) -> str: ...
    @property
    def text(self) -> str: ...


def columns() -> int:
    """Columns of the terminal, 80 where there is none, never more than is good to read."""
    return max(40, min(shutil.get_terminal_size((80, 24)).columns, WIDEST))


def at_terminal() -> bool:
    """Whether somebody sits at a keyboard."""
    return bool(sys.stdin and sys.stdin.isatty())


def wrap(text: str, width: int | None = None, first: str = "", rest: str = "") -> str:
    """Break a paragraph at spaces, but not between a number and its unit.

    Args:
        text: One paragraph.
        width: Columns; None takes the terminal's.
        first: What the first line begins with.
        rest: What the other lines begin with.
    """
    return layout.wrap(text, width or columns(), first, rest)


def findings_text(findings: Sequence[ShownDoubt], width: int | None = None) -> str:
    """What is doubtful, one paragraph a finding with its code behind it; says so where nothing is.

    Args:
        findings: Of a run, a fit or a profile.
        width: Columns; None takes the terminal's.
    """
    if not findings:
        return "No warnings."
    head = f"Warnings ({len(findings)}; bandcurve explain CODE says more):"
    paragraphs = [wrap(f"{sentence(f.text)} [{clean(f.code)}]", width, "  - ", "    ") for f in findings]
    return "\n".join([head, *paragraphs])


def complaint(said: str) -> str:
    """What standard error is told of an error: one line in a pipe, broken at spaces at a terminal.

    Args:
        said: Where, what, and what would fix it.
    """
    line = f"bandcurve: {said}"
    return wrap(line, rest="  ") if sys.stderr.isatty() else line
