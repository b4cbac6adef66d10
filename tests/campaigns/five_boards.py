"""`python -m tests.campaigns.five_boards`: five kinds of board, from plugging in to a profile, at pseudo-terminals.

In real time, side by side: about four minutes. Bands, boards and the person are invented. The table says what each
profile makes of the band's pull, and how long the first value took.
"""

import re
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from math import copysign, exp, log10
from pathlib import Path
from tempfile import TemporaryDirectory

from calib import load_profile
from calib.acquire.files.run_file import read_run
from calib.fit.curve.observations import observe
from calib.units import G_STANDARD
from tests.acquire.cell.cable import Cable
from tests.campaigns.run_through import answer
from tests.verbs.cell.bench import band_force
from tests.verbs.pseudo_terminal import Terminal

LENGTHS = (1.15, 1.25, 1.4, 1.6)
SPEED, RELAXING, LOOSE_S, PATIENCE_S = 40.0, 0.02, 4.0, 600.0


@dataclass
class World:
    """A band, a hand, and a board that prints ten lines a second; `lag` is the filter in a scale. [s]"""

    cable: Cable
    line: Callable[[int, float], str]
    lag: float = 0.0
    goal: float = 0.0
    ended: threading.Event = field(default_factory=threading.Event)
    _from: float = 0.0
    _since: float = 0.0

    def go_to(self, goal: float) -> None:
        """Pull to another force. [N]"""
        if goal != self.goal:
            now = time.monotonic()
            self._from, self.goal, self._since = self.force(now), goal, now

    def force(self, now: float) -> float:
        """On the cell. [N]"""
        way = 1 if self.goal >= self._from else -1

        def held(since: float) -> float:
            return self.goal * (1 - way * RELAXING * log10((since + 0.2) / 10.2))

        took, since = abs(held(0.0) - self._from) / SPEED, now - self._since
        return self._from + copysign(SPEED * since, held(0.0) - self._from) if since < took else held(since - took)

    def run(self) -> None:
        """Print until it is over."""
        begun, shown, i = time.monotonic(), 0.0, 0
        while not self.ended.is_set():
            force = self.force(time.monotonic())
            shown = force if not self.lag else shown + (force - shown) * (1 - exp(-0.1 / self.lag))
            self.cable.send(self.line(i, shown).encode())
            i += 1
            self.ended.wait(max(0.0, begun + 0.1 * i - time.monotonic()))


def _starred(text: str) -> str:
    check = 0
    for byte in text.encode():
        check ^= byte
    return f"{text}*{check:02X}\r\n"


BOARDS: dict[str, tuple[Callable[[int, float], str], float, tuple[str, ...]]] = {
    "kilograms": (lambda i, n: f"{n / G_STANDARD:.3f} kg\r\n", 0.0, ()),
    "clock, number and checksum": (lambda i, n: _starred(f"{100 * i},{i % 256},{n:.2f},N"), 0.0, ()),
    "a bench scale's letters, behind a filter of 1.5 s": (
        lambda i, n: f"{'ST' if abs(n) < 1 else 'US'},GS,{n / G_STANDARD:+08.3f}kg\r\n",
        1.5,
        (),
    ),
    "pounds in an object": (lambda i, n: f'{{"tow": {n / 4.4482216:.3f}, "unit": "lb", "n": {i}}}\n', 0.0, ()),
    "a line only its user can explain": (
        lambda i, n: f"node 7 / raw {84210 + 1097 * n:.0f} / pull={n / G_STANDARD:.3f}\r\n",
        0.0,
        ("--pattern", "{any}pull={value kg}"),
    ),
}


def _goal(text: str) -> float:
    """What is asked for: slack, or the force at the length that was named last."""
    asked = re.findall(r"slack|(out|back|loading|unloading): set (\d+) mm", text)
    if not asked or not asked[-1][1]:
        return 0.0
    branch, length = asked[-1]
    return band_force(int(length) / 1000, "loading" if branch in ("out", "loading") else "unloading")


def record(name: str, folder: Path, said: dict[str, str]) -> None:
    """One board, from plugging in to a profile."""
    line, lag, options = BOARDS[name]
    world = World(Cable(folder / "port"), line, lag)
    board = threading.Thread(target=world.run)
    board.start()
    lengths = " ".join(f"{1000 * x:.0f}" for x in LENGTHS)
    words = ["record", "T1", "--port", str(world.cable.link), "--flat", "1029mm", "--lengths", lengths, "--cycles", "1"]
    terminal = Terminal([*words, *options], folder)
    begun, first, pressed, slack = time.monotonic(), 0.0, 0, 0.0
    while not terminal.ended() and time.monotonic() < begun + PATIENCE_S:
        terminal.read_some(0.2)
        if not first and "readings a second" in terminal.all_text:
            first = time.monotonic() - begun
        if terminal.text.rstrip().endswith("Capacity of the cell, N:"):
            terminal.send("1000")
        answer(terminal)
        world.go_to(_goal(terminal.all_text))
        zeros = terminal.all_text.count("then press Enter")
        if zeros > pressed:
            slack = slack or time.monotonic()
            if time.monotonic() - slack > LOOSE_S:
                pressed, slack = zeros, 0.0
                terminal.press(b"\r")
    terminal.wait()
    world.ended.set()
    board.join()
    (folder / "log.txt").write_text(terminal.all_text)
    said[name] = _row(name, folder, first, terminal.all_text)


def _row(name: str, folder: Path, first: float, text: str) -> str:
    file = folder / "T1.profile.json"
    if not file.exists():
        return f"| {name} | {first:.1f} | no profile: {text[-300:]!r} | | |"
    profile = load_profile(file)
    off = [100 * (profile.force(x + 0.0139, extrapolate=True) / band_force(x, "loading") - 1) for x in LENGTHS]
    run = read_run(next(folder.glob("T1*.run.csv")))
    seen = observe([run])
    truth = [band_force(r.length or 0.0, r.branch or "loading") for r in run.readings]
    worst = max((100 * (float(pull) / true - 1) for pull, true in zip(seen.pull, truth, strict=True)), key=abs)
    return f"| {name} | {first:.1f} | {text.count('after the stop')} | {worst:+.3f} | {max(off, key=abs):+.2f} |"


def main() -> None:
    """Print the table."""
    said: dict[str, str] = {}
    with TemporaryDirectory() as where:
        people = []
        for i, name in enumerate(BOARDS):
            folder = Path(where) / str(i)
            folder.mkdir()
            people.append(threading.Thread(target=record, args=(name, folder, said)))
        for person in people:
            person.start()
        for person in people:
            person.join()
    print("| board | start to a value, s | points | worst point, % | worst of the profile, % |\n|---|---|---|---|---|")
    print("\n".join(said[name] for name in BOARDS))


if __name__ == "__main__":
    main()
