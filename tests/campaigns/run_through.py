"""`python -m tests.campaigns.run_through`: a new user's way at the emulated board, printed as a log.

Listen, check with two loads, record three cycles with the cable pulled once, fit; in real time, about fifteen minutes.
Band, loads and board are invented. The firmware is the reference one, run in an emulator.
"""

import re
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

from calib.units import G_STANDARD
from tests.firmware.harness import EmulatedBoard
from tests.firmware.script import Array, Event, Hold, Pull, Script
from tests.verbs.cell.bench import LENGTHS, band_force
from tests.verbs.pseudo_terminal import Terminal

REST_S = 100.0  # slack at first: questions, and the zero
HELD_S = 18.0
LOAD_S = 25.0
CYCLES, PULLED_IN = 3, (2, 1.4)
RATE = 10.0
_LIVE = re.compile(
    r"(moving|to move|hold still:|wait for the bell|Enter takes it as|plug it in again|k keeps it)\s*\S*\s*s?\s*$"
)
_ANSWERS = (
    ("letter to change", ""),
    ("Enter to confirm", ""),
    ("Which\\?", "1"),
    ("Diameter of the two", ""),
    ("Capacity of the cell", "100"),
    ("Width and thickness", "30 4.5"),
    ("known plate", ""),
    ("emperature", "20"),
    ("easy pulls|Pull the band|Enter when", ""),
    ("Measure the flat length again", ""),
    ("Flat length at the end", "1029"),
    ("What will you hang|Number", "1"),
    ("A name for this set", ""),
)


def weights(at: Array) -> Array:
    """Known loads, a new one every 25 s: 0, 10, 20, 10, 0 kg."""
    steps = [0.0, 0.0, 10.0, 20.0, 10.0, 0.0, 0.0, 0.0]
    force: Array = at * 0.0
    for k, mass in enumerate(steps):
        force[at >= k * LOAD_S] = mass * G_STANDARD
    return force


def pull() -> tuple[Pull, float]:
    """Three cycles out and back, and when the cable is pulled: the band is let go, and pulled again."""
    holds: list[Hold] = []
    pulled_after = 0
    for cycle in range(1, CYCLES + 1):
        for length in LENGTHS:
            hold = Hold(band_force(length, "loading"), 40.0, HELD_S, -0.02)
            if (cycle, length) == PULLED_IN:
                pulled_after = len(holds)
                holds += [Hold(hold.force, 40.0, 8.0, -0.02), Hold(0.0, 60.0, 50.0, 0.0)]
            holds.append(hold)
        holds += [Hold(band_force(length, "unloading"), 40.0, HELD_S, 0.02) for length in LENGTHS[-2::-1]]
        holds.append(Hold(0.0, 40.0, 4.0 if cycle < CYCLES else 60.0, 0.0))
    made = Pull(tuple(holds), REST_S)
    return made, made.held()[pulled_after].stopped_s + 5.0


def main() -> None:
    """Print the log."""
    made, pulled_s = pull()
    with TemporaryDirectory() as name:
        folder = Path(name)
        _print("bandcurve listen", _run(["listen"], folder, "board"))
        with EmulatedBoard(Script(weights, 60.0), RATE, "pty", "paced", "resets") as board:
            _print(
                "bandcurve listen BOARD --for 5",
                _run(["listen", board.port, "--for", "5"], folder, board.port),
            )
        new = ["scale", "new", "cell", "--kind", "load-cell", "--resolution", "0.005kg", "--capacity", "100kg"]
        _print(f"bandcurve {' '.join(new)}", _run(new, folder, "board"))
        with EmulatedBoard(Script(weights, 300.0), RATE, "pty", "paced", "resets") as board:
            command = ["scale", "check", "cell.scale.json", "--port", board.port]
            _print("bandcurve scale check cell.scale.json --port BOARD", _run(command, folder, board.port, _loads()))
        events = (Event(pulled_s, "hang-up", 6.0),)
        script = Script(made, made.duration_s() + 200.0, events)
        with EmulatedBoard(script, RATE, "pty", "paced", "resets") as board:
            options = ["--flat", "1029mm", "--lengths", " ".join(f"{1000 * x:g}" for x in LENGTHS), "--cycles", "3"]
            command = ["record", "T1", "--port", board.port, "--scale", "cell.scale.json", *options]
            said = _run(command, folder, board.port, _record())
            _print(
                "bandcurve record T1 --port BOARD --scale cell.scale.json --flat 1029mm --lengths ... --cycles 3", said
            )


def _loads() -> Callable[[Terminal, float], None]:
    """Says what hangs, five seconds after it was hung."""
    due = [(LOAD_S * k + 5.0, text) for k, text in ((1, "0"), (2, "10"), (3, "20"), (4, "10"), (5, "0"), (6, ""))]

    def act(terminal: Terminal, since: float) -> None:
        if due and since >= due[0][0] and re.search(r"> hangs now, kg: $", terminal.text):
            terminal.send(due.pop(0)[1])

    return act


def _record() -> Callable[[Terminal, float], None]:
    """Presses Enter for a zero, once the band has been slack for a while."""
    seen = 0
    at: list[float] = []

    def act(terminal: Terminal, since: float) -> None:
        nonlocal seen
        asked = len(re.findall("then press Enter", terminal.all_text))
        if asked > seen:
            seen = asked
            at.append(since + (8.0 if seen == 1 else 20.0))
        if at and since >= at[0]:
            at.pop(0)
            terminal.press(b"\r")

    return act


def _run(
    arguments: Sequence[str], folder: Path, port: str, act: Callable[[Terminal, float], None] | None = None
) -> str:
    """One command at a terminal; questions are answered as they come."""
    terminal = Terminal(arguments, folder)
    begun = 0.0
    while not terminal.ended() or terminal.read_some(0):
        terminal.read_some(0.2)
        if not begun and ("Listening to" in terminal.all_text):
            begun = time.monotonic()
        answer(terminal)
        if act and begun:
            act(terminal, time.monotonic() - begun)
    return terminal.all_text.replace(port, "BOARD").replace(str(folder), ".")


def answer(terminal: Terminal) -> None:
    """Answer the question that is open, if one is."""
    last = terminal.text.rsplit("\n", 1)[-1]
    if last.rstrip().endswith("Enter goes on at once"):
        terminal.press(b"\r")
        return
    if not last.rstrip().endswith((":", "?")):
        return
    for pattern, text in _ANSWERS:
        if re.search(pattern, last):
            terminal.send(text)
            return


def _print(command: str, said: str) -> None:
    print(f"\n    $ {command}")
    for line in said.replace("\x07", "").split("\n"):
        changing = "\r" in line
        kept = [part for part in line.split("\r") if part.strip() and not (changing and _LIVE.search(part))]
        text = kept[-1].rstrip() if kept else ""
        if text or not changing:
            print(f"    {text}".rstrip(), flush=True)


if __name__ == "__main__":
    main()
