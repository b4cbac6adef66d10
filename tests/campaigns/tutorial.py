"""The pages that walk through commands: their files written, their commands run, their output put in again.

`python -m tests.campaigns.tutorial` writes the pages again; the test compares.
"""

import io
import os
import re
import shlex
from collections.abc import Callable, Iterator
from contextlib import chdir, contextmanager, redirect_stderr, redirect_stdout
from pathlib import Path
from tempfile import TemporaryDirectory
from unittest.mock import patch

from calib.verbs.app import run
from tests.verbs.shown_place import fill_box

DOCS = Path(__file__).parents[2] / "docs"
PAGES: dict[str, Callable[[Path], None]] = {"from_box_to_wall.md": lambda place: None, "lineup.md": fill_box}
_BLOCK = re.compile(r"```(file (?P<name>\S+)|console)\n(?P<body>.*?)```\n", re.DOTALL)


def made_anew(page: str, place: Path) -> str:
    """The page with the output its commands have now.

    Args:
        page: Blocks "file NAME" are written, blocks "console" run, one command each, after a dollar sign.
        place: A folder with what the page begins with.
    """
    with chdir(place), _as_documented():
        return _BLOCK.sub(_block, page)


def _block(found: re.Match[str]) -> str:
    if found["name"]:
        Path(found["name"]).write_text(found["body"], "utf-8")
        return found[0]
    command = found["body"].split("\n", 1)[0]
    return f"```console\n{command}\n{_output(command.removeprefix('$ '))}```\n"


def _output(command: str) -> str:
    words = shlex.split(command)
    assert words[0] == "bandcurve", command
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        status = run(words[1:])
    assert status == 0, f"{command}: {err.getvalue()}"
    return out.getvalue()


@contextmanager
def _as_documented() -> Iterator[None]:
    """A terminal of 80 columns."""
    with patch.dict(os.environ, {"COLUMNS": "80", "LINES": "24", "NO_COLOR": "1"}):
        yield


def main() -> None:
    """Write the pages again."""
    for name, fill in PAGES.items():
        with TemporaryDirectory() as empty:
            fill(Path(empty))
            (DOCS / name).write_text(made_anew((DOCS / name).read_text("utf-8"), Path(empty)), "utf-8")


if __name__ == "__main__":
    main()
