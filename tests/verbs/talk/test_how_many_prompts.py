"""How often somebody is asked before the first reading, at a real terminal: the first time and the second."""

import re
from pathlib import Path

import pytest

from tests.verbs.pseudo_terminal import Terminal

pytestmark = pytest.mark.terminal

READING = re.compile(r"\[1/[0-9]+\] out: set")
PROMPT = re.compile(r": $")  # the last piece of every prompt: one may come in two
ANSWERS = (  # by what is asked; else Enter
    (r"Maximum printed", "50 kg"),
    (r"changes in steps", "0.05"),
    (r"Flat length of the band", "104 cm"),
    (r"[Ww]idth and thickness", "30 4.5 mm"),
    (r"pins or hooks|Diameters?", "12 12 mm"),
)


def asked(folder: Path, *arguments: str) -> int:
    """Prompts of one recording before its first reading; there it is left."""
    terminal = Terminal(["record", *arguments], folder)
    try:
        for count in range(30):
            found = terminal.until([READING, PROMPT])
            assert found is not None, terminal.all_text[-1500:]
            if found == 0:
                return count
            last = terminal.text.rstrip().rpartition("\n")[2]
            terminal.send(next((answer for words, answer in ANSWERS if re.search(words, last)), ""))
    finally:
        terminal.close()
    raise AssertionError("thirty prompts and no reading")


@pytest.mark.parametrize(("options", "first", "second"), [(["--quick"], 7, 2), ([], 9, 3)], ids=["quick", "full"])
def test_few_prompts_come_before_the_first_reading(options: list[str], first: int, second: int, tmp_path: Path) -> None:
    assert asked(tmp_path, "B07", *options) <= first
    assert asked(tmp_path, "B07", *options) <= second
