"""The pages of the guide as text for a screen, and what of them explains one word. No file is read here.

A word is the code of a finding, the name of a page, a word of the glossary, or a word in a heading.
"""

import re
from collections.abc import Iterator, Mapping
from difflib import get_close_matches

from calib.errors import UsageError
from calib.finding import CODES
from calib.frozen import dataclass
from calib.use.answers.next_steps import next_step
from calib.use.report.layout import table, wrap

FINDINGS, GLOSSARY = "findings", "glossary"
_DRAWING = re.compile(r"!\[([^\]]+)\]\([^)]*\)")  # its words stand in its place
_LINK = re.compile(r"\[([^\]]+)\]\((?:[^)\s]*/)?([A-Za-z_]+)\.md(?:#[^)]*)?\)")
_OTHER_LINK = re.compile(r"\[([^\]]+)\]\([^)]*\)")
MOST_HEADINGS = 12


@dataclass(frozen=True)
class Guide:
    """All pages of the guide, by name."""

    pages: Mapping[str, str]

    def title(self, name: str) -> str:
        """What a page is called."""
        return self.pages[name].lstrip().split("\n", 1)[0].removeprefix("# ").strip()

    def explain(self, word: str, width: int) -> str:
        """What explains a word.

        Args:
            word: A code, a page, a word of the glossary or of a heading.
            width: Columns.

        Raises:
            UsageError: Nothing does.
        """
        asked = word.strip().lower().removeprefix("docs/").removesuffix(".md")
        key = asked.replace(" ", "-").replace("_", "-")
        if key in CODES:
            return self._finding(key, width)
        if asked.replace("-", "_").replace(" ", "_") in self.pages:
            return as_text(self.pages[asked.replace("-", "_").replace(" ", "_")], width)
        meaning = self._words().get(asked)
        if meaning:
            return wrap(f"{asked}: {_plain(meaning)}", width)
        found = [(name, part) for name in self.pages for part in sections(self.pages[name]) if asked in _heading(part)]
        if len(found) == 1:
            return as_text(found[0][1], width)
        if found and asked:
            return _several(found, width)
        raise self._unknown(word)

    def _finding(self, code: str, width: int) -> str:
        parts = {_heading(part): part for part in sections(self.pages.get(FINDINGS, ""))}
        do = next_step(code)
        told = as_text(parts[code], width) if code in parts else code
        return f"{told}\n\n{wrap(f'Do this next: {do}', width)}" if do else told

    def _words(self) -> dict[str, str]:
        """The glossary: each word with its meaning."""
        rows = [_cells(line) for line in self.pages.get(GLOSSARY, "").splitlines() if line.startswith("|")]
        return {word.strip().lower(): row[1] for row in rows[2:] if len(row) == 2 for word in row[0].split(",")}

    def _unknown(self, word: str) -> UsageError:
        names = [*CODES, *self.pages, *self._words()]
        near = get_close_matches(word.lower().replace(" ", "-"), names, n=2)
        remedy = f"did you mean {' or '.join(near)}? " if near else ""
        return UsageError(
            f"nothing in the guide explains {word[:40]!r}", remedy=f"{remedy}bandcurve explain lists the topics"
        )


def _several(found: list[tuple[str, str]], width: int) -> str:
    shown = [wrap(f"{name}: {_heading(part)}", width, "  ", "    ") for name, part in found[:MOST_HEADINGS]]
    more = [f"  and {len(found) - MOST_HEADINGS} more"] if len(found) > MOST_HEADINGS else []
    return "\n".join(["Several parts of the guide mention it; name a page to read it:", *shown, *more])


def sections(page: str) -> list[str]:
    """A page cut at its headings of the second kind, the first part left out; code blocks are not cut."""
    parts: list[list[str]] = []
    fenced = False
    for line in page.splitlines():
        fenced ^= line.startswith("```")
        if line.startswith("## ") and not fenced:
            parts.append([line])
        elif parts:
            parts[-1].append(line)
    return ["\n".join(part) for part in parts]


def _heading(part: str) -> str:
    return part.split("\n", 1)[0].lstrip("# ").strip().lower()


def as_text(page: str, width: int) -> str:
    """A page as plain text: paragraphs broken at the width, tables in line, commands as they are typed.

    Args:
        page: Markdown, as far as the guide uses it.
        width: Columns.
    """
    return "\n\n".join(_block(block, width) for block in _blocks(page))


def _blocks(page: str) -> Iterator[str]:
    """What stands between empty lines; a fenced block is one, whatever is in it."""
    block: list[str] = []
    fenced = False
    for line in [*page.splitlines(), ""]:
        fenced ^= line.startswith("```")
        if line.strip() or fenced:
            block.append(line)
        elif block:
            yield "\n".join(block)
            block = []


def _block(block: str, width: int) -> str:
    lines = block.split("\n")
    if lines[0].startswith("```"):
        return "\n".join(f"    {line}" for line in lines[1:] if not line.startswith("```"))
    if lines[0].startswith("    "):
        return block
    if lines[0].startswith("#"):
        rest = "\n".join(lines[1:])
        return _plain(lines[0].lstrip("# ")) + (f"\n{_block(rest, width)}" if rest.strip() else "")
    if lines[0].startswith("|"):
        return _table(lines, width)
    return "\n".join(wrap(item, width, rest=_hanging(item)) for item in _items(lines))


def _items(lines: list[str]) -> list[str]:
    """Paragraphs and points of a list, each in one line."""
    items: list[str] = []
    for line in lines:
        if not items or re.match(r"\s*([-*]|\d+\.) ", line):
            items.append(_plain(line.rstrip()))
        else:
            items[-1] += f" {_plain(line.strip())}"
    return items


def _hanging(item: str) -> str:
    found = re.match(r"\s*([-*]|\d+\.) ", item)
    return " " * len(found[0]) if found else ""


def _table(lines: list[str], width: int) -> str:
    rows = [[_plain(cell) for cell in _cells(line)] for line in lines if not re.fullmatch(r"[|\s:-]+", line)]
    if all(len(row) == len(rows[0]) for row in rows):
        whole = table(rows[0], rows[1:])
        if max(map(len, whole.split("\n"))) <= width:
            return whole
    return "\n".join(wrap("; ".join(filter(None, row)), width, "- ", "  ") for row in rows[1:])


def _cells(line: str) -> list[str]:
    return [cell.strip() for cell in line.strip().strip("|").split("|")]


def _plain(text: str) -> str:
    """Without marks for links, code and stress; a link to a page says how to read it."""
    text = _DRAWING.sub(r"\1", text)
    text = _LINK.sub(lambda m: f"{m[1]} (bandcurve explain {m[2]})" if m[1] != f"{m[2]}.md" else m[2], text)
    text = _OTHER_LINK.sub(r"\1", text)
    return re.sub(r"(`{1,2})(.+?)\1", r"\2", text).replace("**", "").replace("&nbsp;", " ")
