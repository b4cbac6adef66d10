"""From an empty folder to the first and the final kilos at a terminal: lines typed, seconds it takes.

    python -m tests.campaigns.quick_seconds

A made-up person does a quick look of an invented band, in real time; Enter says that a length is set, and every hold is
waited for. What the hands need is assumed, as on the page (`page_first_kilos`), and added by waiting.
"""

import re
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.acquire.recording.test_state_machine import shown
from tests.campaigns.page_first_kilos import KEY_S, PULLS_S, READ_S, SET_S, TAPE_S
from tests.verbs.pseudo_terminal import Terminal

QUESTION_S = 3.0  # to read a question
SUMMARY_S = 8.0  # to read what is to be confirmed, beside the cautions
MOVING = re.compile(r"move to it: +[0-9]+ s$")
READING = re.compile(r"set ([0-9.]+) cm.*\n(?:.|\n)*  shows, kg: $")
ASKED = re.compile(r": $")
PLACE = re.compile(r"set ([0-9.]+) cm")
ANSWERS = (
    (r"Maximum printed", 0.0, "50 kg"),
    (r"changes in steps", 0.0, "0.05"),
    (r"Flat length of the band", TAPE_S, "100 cm"),
    (r"Enter to confirm", READ_S + SUMMARY_S, ""),
    (r"Band slack", PULLS_S, "0"),
)


def type_in(terminal: Terminal, line: str) -> None:
    """Type a line as fast as fingers do."""
    time.sleep(KEY_S * (len(line) + 1))
    terminal.send(line)


def answer(terminal: Terminal) -> None:
    """Answer the question that stands on the screen, after what has to be done first."""
    last = terminal.text.rstrip().rpartition("\n")[2]
    spent_s, line = next(((s, said) for words, s, said in ANSWERS if re.search(words, last)), (0.0, ""))
    time.sleep(QUESTION_S + spent_s)
    type_in(terminal, line)


def main() -> None:
    """Do it once, and say how long it took."""
    with TemporaryDirectory(prefix="quick") as folder:
        begun_s = time.monotonic()
        terminal = Terminal(["record", "B07", "--quick"], Path(folder), columns=80)
        typed, first_reading_s, first_s, place = 0, 0.0, 0.0, ""
        while (found := terminal.until([MOVING, ASKED])) is not None:
            if not first_s and "First kilos" in terminal.all_text:
                first_s = time.monotonic() - begun_s
            named = PLACE.findall(terminal.all_text)
            place = named[-1] if named else ""
            if found == 0:
                first_reading_s = first_reading_s or time.monotonic() - begun_s
                time.sleep(SET_S)
                terminal.send("")
                terminal.until([READING, ASKED])
                kilos = shown(float(place) / 100 + 0.014)
                type_in(terminal, f"{round(kilos / 0.05) * 0.05:.2f}")
            else:
                answer(terminal)
            typed += 1
        last_s = time.monotonic() - begun_s
        print(terminal.all_text[-900:])
    print(
        f"{typed} lines typed; {first_reading_s:.0f} s to the first length, {first_s:.0f} s to the first kilos, ",
        end="",
    )
    print(f"{last_s:.0f} s to all of them.")


if __name__ == "__main__":
    main()
