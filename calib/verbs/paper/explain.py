"""`bandcurve explain`: the guide, in the terminal, without a network."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from calib.errors import FileError
from calib.verbs.overview import guide_folder
from calib.verbs.terminal import typer_later as typer

if TYPE_CHECKING:
    from calib.use.paper.guide import Guide

NOT_FOR_READING = ("changelog", "contributing")  # for those who work on the program


def command(
    word: Annotated[
        list[str] | None,
        typer.Argument(metavar="[CODE|PAGE|WORD]", help="A finding's code, a page, a word; without it: what there is."),
    ] = None,
) -> int:
    """Explain a finding, a word, or show a page of the guide.

    \b
    Examples:
      bandcurve explain
      bandcurve explain gross-error
      bandcurve explain measuring
      bandcurve explain half-path length
    """
    from calib.verbs.terminal.pager import page
    from calib.verbs.terminal.plain_text import columns

    guide = _guide()
    page(guide.explain(" ".join(word), columns()) if word else _contents(guide))
    return 0


def _contents(guide: "Guide") -> str:
    from calib.finding import CODES
    from calib.verbs.terminal.plain_text import wrap

    names = [name for name in sorted(guide.pages) if name not in NOT_FOR_READING]
    wide = max(map(len, names))
    pages = [wrap(f"{name:<{wide}}  {guide.title(name)}", None, "  ", " " * (wide + 4)) for name in names]
    codes = wrap(", ".join(sorted(CODES)), None, "  ", "  ")
    return "\n".join(["Pages:", *pages, "", "Findings:", codes, "", "Read one: bandcurve explain measuring"])


def _guide() -> "Guide":
    """The pages: inside an installed package, or beside it in a source tree."""
    from calib.use.paper.guide import Guide

    folder = guide_folder()
    if folder is None:
        raise FileError("the guide is missing from this installation", remedy="install bandcurve again")
    return Guide({p.stem: p.read_text("utf-8") for p in sorted(Path(folder).glob("*.md"))})
