"""A view as text for a terminal: the kilos first and last, a dozen lines unless more is asked for."""

from collections.abc import Sequence

from calib.use.answers.parts import Doubt
from calib.use.report.layout import WIDTH, clean, sentence, table, wrap
from calib.use.report.view import Section, View

MOST_STEPS = 2  # things to do on the short screen; one where a second does not fit
MOST_LINES = 12  # of the short screen
STEP_LINES = 2  # of a first step, mostly
FEWEST = 3  # rows of a table that are shown whatever else is said
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
    lines = [wrap(line, width) for line in view.lines]
    room = MOST_LINES - _lines([first, *lines, *after, first])
    body = [_table(view, full=full, room=room - (STEP_LINES if view.findings else 0))] if view.grid else []
    body += lines
    if full:
        body += [f"\n{_section(section, width)}" for section in view.sections]
        body += [f"\n{findings_text(view.findings, width)}"]
    else:
        room = MOST_LINES - _lines([first, *body, *after, first])
        body += _steps(view.findings, width, all_of_it, room)
    body += after
    long = _lines(body) > SHORT
    return "\n".join([first, *body, *([first] if long else [])])


def _table(view: View, *, full: bool, room: int) -> str:
    """The table; on a short screen as many rows as there is room for, and how many more there are."""
    assert view.grid is not None
    rows = view.grid.rows
    if not full and view.cut_rows and len(rows) + 1 > room:
        rows = rows[: max(room - 2, FEWEST)]
    more = len(view.grid.rows) - len(rows)
    said = [f"  and {more} more {view.cut_rows}{'s' * (more != 1)}: --full"] if more else []
    return "\n".join([table(view.grid.headers, rows, "  "), *said])


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
