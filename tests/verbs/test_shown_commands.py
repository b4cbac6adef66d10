"""Every command that the README and the guide show is run as it stands there, in a folder with the files it names.

What needs a device, or a person who answers, is not run here: it is counted, and its words and options are checked all
the same. Pages whose output is shown are made again from their commands by tests of their own.
"""

import re
import shlex
import shutil
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from calib.verbs.app import _MODULES, run
from calib.verbs.terminal.plain_line import called
from tests.verbs.shown_place import fill

ROOT = Path(__file__).parents[2]
MADE_AGAIN = {"box_walk.md", "rig_walks.md", "from_box_to_wall.md", "lineup.md"}  # with their output, by other tests
PAGES = [p for p in (ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))) if p.name not in MADE_AGAIN]
NOT_RUN = {
    "device": r"--port\b|--length-port|^bandcurve listen(?! capture)|scale new cell|T1\b|^bandcurve fit RUN",
    "asked": r"^bandcurve($| (record|page|batch (new|record)|rig (new|check)|scale|recheck)\b)|"
    r"import (readings|box.xlsx$)|pair --series \S+$",
    "another folder": r"^python3 -m venv",
}
HOW_MANY = {"device": 27, "asked": 26, "another folder": 1}


def shown() -> Iterator[tuple[str, str]]:
    """Each command with its page, what stands behind a # left out."""
    for page in PAGES:
        fenced = False
        for line in page.read_text("utf-8").splitlines():
            fenced ^= line.startswith("```")
            text = line.strip().removeprefix("$ ").partition(" #")[0].strip()
            if (fenced or line.startswith("    ")) and re.match(r"bandcurve( |$)|.*&& \S*bandcurve ", text):
                yield page.name, text


def _kind(command: str) -> str:
    return next((kind for kind, words in NOT_RUN.items() if re.search(words, command)), "")


RUN = sorted({command for _, command in shown() if not _kind(command)})


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("guide")
    fill(place)
    return place


def _words(command: str) -> list[str]:
    """As a shell would hand them over."""
    found: list[str] = []
    for word in shlex.split(command)[1:]:
        found += sorted(map(str, Path().glob(word))) or [word] if "*" in word else [word]
    return found


@pytest.mark.parametrize("command", RUN)
def test_a_command_of_the_guide_does_what_it_says(
    command: str, filled: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    here = tmp_path / "here"
    shutil.copytree(filled, here)
    monkeypatch.chdir(here)
    monkeypatch.setenv("HOME", str(here))
    assert run(_words(command)) == 0, capsys.readouterr().err
    out = capsys.readouterr().out
    assert out.strip()


@pytest.mark.parametrize("command", sorted({c for _, c in shown() if _kind(c) in ("device", "asked")} - {"bandcurve"}))
def test_what_is_not_run_is_at_least_a_command_with_such_options(command: str, filled: Path) -> None:
    if "..." not in command:
        assert called(_words(command), _MODULES) is not None


def test_what_is_not_run_is_counted() -> None:
    assert Counter(filter(None, (_kind(c) for _, c in shown()))) == HOW_MANY
    assert len(RUN) > 30
