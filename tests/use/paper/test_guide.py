"""The guide in the terminal: every code and page is explained, nothing is wider than asked, the wheel has it all."""

import tomllib
from pathlib import Path

import pytest

from calib.errors import UsageError
from calib.finding import CODES
from calib.use.paper.guide import Guide, as_text, sections
from calib.verbs.app import run

ROOT = Path(__file__).parents[3]
GUIDE = Guide({p.stem: p.read_text("utf-8") for p in (ROOT / "docs").glob("*.md")})


@pytest.mark.parametrize("code", sorted(CODES))
def test_every_finding_is_explained(code: str) -> None:
    told = GUIDE.explain(code, 80)
    assert told.startswith(code)
    assert len(told.splitlines()) > 2


def test_pages_words_and_headings_are_found() -> None:
    assert GUIDE.explain("measuring", 80).startswith("How to measure a band well")
    assert GUIDE.explain("docs/rig.md", 80).startswith(GUIDE.title("rig"))
    assert GUIDE.explain("Half-path length", 80).startswith("half-path length: half of the closed path")
    assert GUIDE.explain("unloading", 80).startswith("unloading: ")


def test_what_is_unknown_names_what_is_near() -> None:
    with pytest.raises(UsageError, match="gross-error"):
        GUIDE.explain("gros-error", 80)
    with pytest.raises(UsageError, match="lists the topics"):
        GUIDE.explain("", 80)


def test_a_page_becomes_plain_text() -> None:
    page = (
        "# One\n\nSee [two](two.md) and `code`\nthere.\n\n- a point that is\n  broken\n- another\n\n"
        "```\n## kept   as it is\n```\n\n| a | b |\n|---|---|\n| 1 | two |\n\n## Next\n\nlast\n"
    )
    assert as_text(page, 40) == (
        "One\n\nSee two (bandcurve explain two) and code\nthere.\n\n- a point that is broken\n- another\n\n"
        "    ## kept   as it is\n\na  b\n1  two\n\nNext\n\nlast"
    )
    assert sections(page) == ["## Next\n\nlast"]


def test_paragraphs_keep_to_the_width() -> None:
    for line in GUIDE.explain("findings", 60).splitlines():
        assert len(line) <= 60 or " " not in line.strip(), line


def test_the_command_lists_and_explains(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["explain"]) == 0
    listed = capsys.readouterr().out
    assert "gross-error" in listed and "measuring" in listed
    assert run(["explain", "half-path", "length"]) == 0
    assert run(["explain", "no such thing"]) == 2


def test_the_wheel_has_the_guide() -> None:
    made = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    assert made["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]["docs"] == "calib/_docs"
