"""What the walk through the commands shows is what the commands print."""

from pathlib import Path

import pytest

from tests.campaigns.tutorial import DOCS, PAGES, made_anew


@pytest.mark.parametrize("name", PAGES)
def test_a_page_shows_what_its_commands_print(name: str, tmp_path: Path) -> None:
    PAGES[name](tmp_path)
    page = (DOCS / name).read_text("utf-8")
    assert made_anew(page, tmp_path) == page, "make the pages again: python -m tests.campaigns.tutorial"


def test_another_output_is_seen(tmp_path: Path) -> None:
    page = "```console\n$ bandcurve explain unloading\nsomething else\n```\n"
    assert made_anew(page, tmp_path).startswith("```console\n$ bandcurve explain unloading\nunloading: ")
