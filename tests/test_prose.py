"""What users read, in plain English of the trade: phrases that were put better, looked for in strings and pages.

Comments and docstrings of modules are left alone; what `--help` prints is made of docstrings and options, and is read.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PAGES = [
    *(ROOT / "docs").glob("*.md"),
    *(ROOT / name for name in ("README.md", "DEVELOPERS.md", "firmware_notes/README.md", "sample_runs/README.md")),
    *(ROOT / "calib").rglob("*.html"),
]
SOURCES = sorted((ROOT / "calib").rglob("*.py"))

BANNED = {
    r"(?<!quick-)\bmend(s|ed|ing)?\b": "correct, fix",
    r"\b(nought|nil)\b": "zero, none",
    r"\bways? (out|back)\b": "loading, unloading",
    r"\bgive or take\b": "+-",
    r"\bsigns long\b|\b(than|most) \S+ signs\b|\bcontrol signs\b": "characters",
    r"\b(wear|wears|wore) (its|their|no|a) units?\b": "a name ends with its unit",
    r"\bshall (lie|be|stand|go)\b": "should, is to, or the plain present",
    r"\b[Oo]f them, which\b": "which of them",
    r"\bsurer\b": "more certain, tighter",
    r"\bhangs? together\b": "correlate",
    r"\bout of reason\b": "out of range",
    r"\bof no account\b": "ignored",
    r"\bhas no say\b": "zero weight",
    r"\bcannot be had\b": "cannot be reached",
    r"\b(are|is) no one('s| band's)\b|\bis no band's\b": "cannot belong to one band, is not plausible",
    r"\bpull too unlike\b": "differ too much",
    r"\bin whatever company\b": "regardless of the others",
    r"\bcosts nothing and is nobody\b": "dummy vertex",
    r"\bfrom the second second\b": "after one second",
    r"\b(stand|stands) twice\b": "appears twice",
    r"\b(begin|made|set|measured|hooked|checked) anew\b": "again",
    r"(?<![Tt]here )\bis no (run|series|table|plate|folder|profile|decision|address|speed|rate|number)\b": "is not a",
    r"\blet off a little\b": "ease off",
    r"\btakes? after a band\b|\b[Tt]o know about it\b": "Warnings",
    r"\b[Ww]here the doubt\b.{0,30}\bcomes? from\b": "uncertainty budget",
    r"\btranscripts?\b": "log",
    r"\bthat is what was wanted\b": "Done",
    r"\b[Gg]oing on from there\b": "Continuing",
    r"\bas it comes\b": "ordinary",
    r"\btells most\b": "helps most",
    r"\bby way of\b": "through",
    r"\bday not noted\b": "unknown date, date not recorded",
    r"\bnobody is here\b": "there is no terminal to ask at",
    r"\bdo not go together\b": "cannot be combined",
    r"\b[Bb]egin a new\b": "start a new",
    r"\b[Tt]he most (the scale|it) takes\b": "capacity",
    r"\btakes it so\b": "takes it anyway",
    r"\bfor want of\b": "out of",
    r"\bno readings? comes?\b": "no readings arrive",
    r"\bhook and all\b": "hook included",
    r"\b[Mm]iddle to middle\b": "centre to centre",
    r"\bcell\b.{0,20}\bthe other way round\b": "reversed",
    r"\b(typed|type|the unit) behind\b": "after",
    r"\bin the (folder|network) the\b": "the folder's, the phone's",
    r"\bas (nearly )?alike as can be\b": "as nearly alike as possible",
}


def _said_to_users(path: Path) -> Iterator[tuple[int, str]]:
    """Strings of a module, and of its docstrings those of commands, which `--help` prints."""
    tree = ast.parse(path.read_text("utf-8"))
    silent, pieces = set[int](), set[int]()
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef) and ast.get_docstring(node):
            printed = isinstance(node, ast.FunctionDef) and path.parts[-3:][0] != "tests" and node.name == "command"
            if not printed:
                silent.add(id(node.body[0].value))  # type: ignore[attr-defined]
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            pieces |= {id(part) for part in node.values}
            said = "".join(p.value if isinstance(p, ast.Constant) else "{}" for p in node.values)  # type: ignore[misc]
            yield node.lineno, said
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in silent | pieces:
            yield node.lineno, node.value


def _found(lines: Iterator[tuple[int, str]] | Iterator[str], name: str) -> list[str]:
    numbered = (line if isinstance(line, tuple) else (n, line) for n, line in enumerate(lines, 1))
    return [
        f"{name}:{number}: {match[0]!r}, better: {better}"
        for number, text in numbered
        for phrase, better in BANNED.items()
        if (match := re.search(phrase, text))
    ]


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_pages_are_in_plain_english(page: Path) -> None:
    assert not _found(iter(page.read_text("utf-8").splitlines()), page.name)


def test_what_the_program_says_is_in_plain_english() -> None:
    assert not [line for path in SOURCES for line in _found(_said_to_users(path), str(path.relative_to(ROOT)))]


def test_every_banned_phrase_is_found_where_it_stands(tmp_path: Path) -> None:
    examples = [
        "mend the value", "nought", "the way out", "give or take 2", "more than 64 signs", "wears its unit",
        "shall lie", "Of them, which two", "made surer", "hang together", "out of reason", "of no account",
        "has no say", "cannot be had", "are no one band's", "pull too unlike", "in whatever company",
        "costs nothing and is nobody", "from the second second on", "stands twice", "set anew", "is no run",
        "let off a little", "Where the doubt about the mean comes from", "a transcript", "that is what was wanted",
        "Going on from there", "iron as it comes", "what tells most", "by way of", "to know about it",
        "on a day not noted", "nobody is here to answer", "they do not go together", "begin a new run",
        "the most it takes", "Enter takes it so", "for want of memory", "no reading comes", "hook and all",
        "middle to middle", "the cell is the other way round", "the unit behind it", "in the network the phone is in",
        "as nearly alike as can be",
    ]  # fmt: skip
    assert len(examples) == len(BANNED)
    missed = [text for text in examples if not _found(iter([text]), "x")]
    assert not missed
    module = tmp_path / "module.py"
    module.write_text('"""mend"""\n\ndef f():\n    """mend"""\n    return f"mend {1}", "nil"\n', "utf-8")
    assert [said for _, said in _said_to_users(module)] == ["mend {}", "nil"]
