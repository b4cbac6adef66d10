"""A view as text for a terminal: the kilos first and last, a dozen lines unless more is asked for."""

from collections.abc import Sequence

from calib.use.answers.parts import Doubt
from calib.use.report.layout import WIDTH, clean, sentence, table, wrap
from calib.use.report.view import Section, View

MOST_STEPS = 2  # things to do on the short screen; one where a second does not fit
MOST_LINES = 12  # of the short screen
SHORT = 5  # lines after which the kilos are said again


def text_of(view: View, width: int = WIDTH, *, full: bool = False, all_of_it: str = "--full") -> str:
    """The view as lines.

    Args:
        view: What to show.
        width: Columns.
        full: Every section and every finding too.
        all_of_it: What shows the steps there is no room for.
    """
    first, after = wrap(view.kilos, width), [wrap(line, width) for line in view.after]
    body = [table(view.grid.headers, view.grid.rows, "  ")] if view.grid else []
    body += [wrap(line, width) for line in view.lines]
    if full:
        body += [f"\n{_section(section, width)}" for section in view.sections]
        body += [f"\n{findings_text(view.findings, width)}"]
    else:
        room = MOST_LINES - _lines([first, *body, *after, first])
        body += _steps(view.findings, width, all_of_it, room)
    body += after
    long = _lines(body) > SHORT
    return "\n".join([first, *body, *([first] if long else [])])


def _lines(parts: Sequence[str]) -> int:
    return sum(part.count("\n") + 1 for part in parts)


def _section(section: Section, width: int) -> str:
    parts = [section.title] if section.title else []
    parts += [table(section.grid.headers, section.grid.rows, "  ")] if section.grid else []
    parts += [section.picture] if section.picture else []
    return "\n".join([*parts, *(wrap(note, width) for note in section.notes)])


def _steps(findings: Sequence[Doubt], width: int, all_of_it: str, room: int) -> list[str]:
    """What to do next, the first few: as many as there is room for, and one at least."""
    steps = list(dict.fromkeys(f"{f.do} [{clean(f.code)}]" for f in findings if f.do))
    begin = ["Do this next: ", *("  then: " for _ in steps)]
    lines = [wrap(step, width, first, "  ") for step, first in zip(steps[:MOST_STEPS], begin, strict=False)]
    while len(lines) > 1 and _lines(lines) + (len(lines) < len(steps)) > room:
        lines.pop()
    more = len(steps) - len(lines)
    return [*lines, *([f"  and {more} more: {all_of_it}"] if more > 0 else [])]


def findings_text(findings: Sequence[Doubt], width: int = WIDTH) -> str:
    """Every finding with its code and what to do about it."""
    if not findings:
        return "No warnings."
    lines = [f"Warnings ({len(findings)}):"]
    for finding in findings:
        lines.append(wrap(f"{sentence(finding.text)} [{clean(finding.code)}]", width, "  - ", "    "))
        lines += [wrap(finding.do, width, "    > ", "      ")] if finding.do else []
    return "\n".join(lines)
