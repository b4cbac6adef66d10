"""Somebody who records a band: reads the prompts, types readings with noise and slips, is interrupted, goes on.

The band and all readings are invented. What the user saw accepted is compared with the file, row by row.
"""

import random
import re
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from calib.acquire.files.run_file import read_run
from calib.records import Row
from tests.verbs.pseudo_terminal import Terminal

Interruption = Literal["ctrl-c", "end-of-input", "hang-up", "kill"]
FLAT = 1000.0  # mm
ANCHOR = 120.0  # kg on the platform
KG = 9.80665

SETUP: tuple[tuple[str, str], ...] = (
    (r"Floor scale[^\n]*\nWhich\? \[1\]: $", "way"),
    (r"Maximum printed[^\n]*: $", "capacity"),
    (r"changes in steps of[^\n]*: $", "step"),
    (r"freezes after a moment\nWhich\? \[1\]: $", "locks"),
    (r"Plates you have[^\n]*: $", "enter"),
    (r"Loads you will hang[^\n]*: $", "loads"),
    (r"Mass of the hook, strap or pin[^\n]*: $", "enter"),
    (r"Flat length of the band[^\n]*: $", "flat"),
    (r"holes of a rack\nWhich\? \[1\]: $", "enter"),
    (r"The band's own mass, grams[^\n]*: $", "mass"),
    (r"letter to change its line: $", "summary"),
    (r"Lengths to measure at[^\n]*: $", "lengths"),
    (r"A known plate[^\n]*: $", "plate"),
    (r"Measure the flat length again[^\n]*: $", "enter"),
)
RECORDING: tuple[tuple[str, str], ...] = (
    (r"Zero the scale\. It shows, \w+ \[0\]: $", "zero"),
    (r"weight on the scale\. It shows, \w+: $", "zero"),
    (r"as at the start\. Do not zero the scale\. It shows, \w+: $", "zero"),
    (r"[Tt]he known plate [^\n]*: $", "check-load"),
    (r"Flat length at the end, mm \[Enter: not measured\]: $", "flat-end"),
    (r"  shows, \w+: $", "reading"),
    (r"  length, mm: $", "length"),
)
PROMPTS = [re.compile(pattern) for pattern, _ in SETUP + RECORDING]
NAMES = [name for _, name in SETUP + RECORDING]
WANTED = re.compile(r"\[\d+/\d+\] (out|back): (?:set ([\d.]+) mm|hang ([\d.]+) \w+)")
EDITS_TO_NOTHING = "\x01\x0b\x07"
RUBBISH = (
    "abc",
    "9" * 300,
    "\u0663\u0664\u0665",
    "1e5",
    "--",
    "12..5",
    "nan",
    "16.35.2",
    "@",
    "@ 5",
    EDITS_TO_NOTHING,
    "x" * 3000,
)


@dataclass
class User:
    """One person with one band and one set of gear, on one day."""

    seed: int
    folder: Path
    interruptions: Sequence[Interruption] = ()
    accepted: list[tuple[str, float]] = field(default_factory=list)  # kind and value in SI, in the order accepted
    resumed: int = 0
    interrupted_at: list[str] = field(default_factory=list)
    doubted: int = 0

    def __post_init__(self) -> None:
        self.random = random.Random(self.seed)
        self.way = self.random.choice((1, 1, 2, 3))
        self.unit = self.random.choice(("kg", "lb"))
        self.locks = self.random.choice((1, 1, 2, 3)) if self.way == 1 else 1
        self.level = self.random.uniform(6, 14)  # kg
        self.lengths = sorted(self.random.sample(range(1150, 2100, 50), self.random.choice((3, 4, 5))))
        self.wanted = ("out", 0.0)
        first = (11, 26) if "kill" in self.interruptions else (3, 22)  # the talk before the first row is some 12 lines
        self.pending = [self.random.randint(*(first if i == 0 else (2, 9))) for i in range(len(self.interruptions))]
        self.steps = 0
        self.path = self.folder / "B1.run.csv"
        self.to_change = ["lengths", "known plate"] if self.way != 2 else []  # lines of the summary

    @property
    def in_unit(self) -> float:
        """Newton in the unit of scale or plates."""
        return KG if self.unit == "kg" else 0.45359237 * KG

    def pull(self, length: float, branch: str) -> float:
        """Of an invented band. [kg]"""
        stretch = (length + 16) / FLAT
        out = self.level * (1 + 0.5 / stretch) * (stretch - stretch**-2)
        return out * (0.93 if branch == "back" else 1.0)

    def length_under(self, mass: float, branch: str) -> float:
        """Where the band hangs still under a load. [mm]"""
        low, high = 985.0, 4000.0
        for _ in range(50):
            middle = (low + high) / 2
            low, high = (middle, high) if self.pull(middle, branch) < mass else (low, middle)
        return low

    def record(self) -> None:
        """Record the band, with all interruptions, and check the file."""
        arguments = ["record", "B1", "--no-countdown", "--no-fit", "--cycles", "1" if self.seed % 3 else "2"]
        while True:
            done = self._session(arguments)
            self.check_file()
            if done:
                return
            if self.path.exists():
                self.resumed += 1
                arguments = ["record", "--resume", self.path.name, "--no-countdown", "--no-fit"]

    def _session(self, arguments: list[str]) -> bool:
        """One run of the program; True when the recording was finished."""
        terminal = Terminal(arguments, self.folder)
        try:
            return self._talk(terminal)
        finally:
            terminal.close()

    def _talk(self, terminal: Terminal) -> bool:
        while (found := terminal.until(PROMPTS)) is not None:
            self.steps += 1
            if self.pending and self.steps >= self.pending[0]:
                self._interrupt(terminal, NAMES[found])
                return terminal.status == 0
            if found < len(SETUP):
                terminal.send(self.setup_answer(NAMES[found], terminal.text))
            else:
                self._entry(terminal, NAMES[found])
        assert terminal.wait() == 0, terminal.all_text[-1500:]
        assert "Traceback" not in terminal.all_text
        return True

    def _interrupt(self, terminal: Terminal, prompt: str) -> None:
        """Something comes between, perhaps with a line on its way."""
        self.pending.pop(0)
        self.steps = 0
        kind = self.interruptions[len(self.interrupted_at)]
        self.interrupted_at.append(prompt)
        if kind == "kill":
            self._kill(terminal, prompt)
        elif kind == "hang-up":
            terminal.hang_up()
            assert terminal.wait() in (1, -1), terminal.all_text[-800:]
        else:
            terminal.interrupt(b"\x03" if kind == "ctrl-c" else b"\x04")
            closing = kind == "end-of-input" and prompt in ("zero", "check-load", "flat-end")
            if terminal.wait() == 0 and closing:
                return  # all readings were there: the end of input is the end of the recording
            assert terminal.status == (130 if kind == "ctrl-c" else 1), terminal.all_text[-800:]
            said = "--resume B1.run.csv" if self.path.exists() else "nothing was recorded"
            assert said in terminal.all_text
        assert "Traceback" not in terminal.all_text, terminal.all_text[-2000:]

    def _kill(self, terminal: Terminal, prompt: str) -> None:
        """Killed a moment after Enter: the line may have been accepted or not, and must be whole or absent."""
        before = len(self._rows())
        self.see(terminal)
        measured = any(prompt == name for _, name in RECORDING)
        line, value = self.value(prompt) if measured else (self.setup_answer(prompt, terminal.text), 0.0)
        terminal.send(line)
        time.sleep(self.random.uniform(0, 0.03))
        terminal.kill()
        after = self._rows()
        assert len(after) - before in (0, 1), "one line typed, more than one row"
        if len(after) > before:
            self.accepted.append((after[-1].kind, value))

    def _rows(self) -> list[Row]:
        if not self.path.exists() or not self.path.read_text().count("\nrow,"):
            return []
        kinds = ("reading", "zero", "check-load", "flat")
        return [row for row in read_run(self.path).rows if row.kind in kinds]

    def see(self, terminal: Terminal) -> None:
        wanted = WANTED.findall(terminal.text)
        if wanted:
            branch, length, load = wanted[-1]
            self.wanted = (branch, float(length or load))

    def change(self, text: str) -> str:
        """The letter of a line of the summary to be changed; Enter where none is left."""
        letters: dict[str, str] = {
            label: letter for letter, label in re.findall(r"^  ([a-z])  ([a-z,' ]+?)  ", text, re.MULTILINE)
        }
        while self.to_change:
            label = self.to_change.pop(0)
            if label in letters:
                return letters[label]
        return ""

    def setup_answer(self, prompt: str, text: str = "") -> str:
        if prompt == "summary":
            return self.change(text)
        gear = {
            "enter": "",
            "way": str((1, 3, 4)[self.way - 1]),
            "step": "0.05" if self.unit == "kg" else "0.1",
            "capacity": "300 kg" if self.unit == "kg" else "600 lb",
            "locks": str(self.locks),
            "flat": f"{FLAT:.0f} mm",
            "lengths": " ".join(map(str, self.lengths)),
            "loads": "2.5 5 7.5 10 kg" if self.unit == "kg" else "5 10 15 20 lb",
            "plate": self.random.choice(("", "10")),
            "mass": self.random.choice(("", "310", "310 g")),
        }
        return gear[prompt]

    def value(self, prompt: str) -> tuple[str, float]:
        """What the gear shows now, as text and in SI."""
        branch, wanted = self.wanted
        noise = 1 + self.random.gauss(0, 0.004)
        if prompt == "flat-end":
            return "1001", 1.001
        if prompt == "length":
            text = f"{self.length_under(wanted * self.in_unit / KG, branch) + self.random.gauss(0, 2):.0f}"
            return text, float(text) / 1000
        if prompt == "zero":
            shown = ANCHOR * KG / self.in_unit if self.way == 3 else 0.05
        elif prompt == "check-load":
            shown = (10 * self.in_unit / KG + (ANCHOR if self.way == 3 else 0)) * KG / self.in_unit
        else:
            pull = self.pull(wanted, branch) * noise
            shown = (ANCHOR - pull if self.way == 3 else pull) * KG / self.in_unit
        text = f"{shown:.2f}"
        return text, float(text) * self.in_unit

    def _entry(self, terminal: Terminal, prompt: str) -> None:
        """Answer one prompt of the recording, some way or other."""
        self.see(terminal)
        chance = self.random.random()
        if chance < 0.04:
            rubbish = self.random.choice(RUBBISH)
            if prompt == "zero" and rubbish == EDITS_TO_NOTHING:
                rubbish = "abc"  # an empty line is an answer there
            terminal.send(rubbish)
            return
        if chance < 0.10 and prompt in ("reading", "length"):
            terminal.send(self.random.choice(("help", "rows", "note chalk on the strap", "skip", "undo")))
            return
        if chance < 0.12 and prompt == "reading":
            numbers = [r.number for r in self._rows()]
            terminal.send(f"strike {self.random.choice(numbers)} strap slipped")
            return
        text, value = self.value(prompt)
        if chance < 0.22 and prompt in ("reading", "length"):
            text, value = self._slip(text, value)
        kind = {"length": "reading", "flat-end": "flat"}.get(prompt, prompt)
        self._type(terminal, kind, text, value)

    def _slip(self, text: str, value: float) -> tuple[str, float]:
        wrong = self.random.choice(("tenfold", "swapped", "negative", "length", "comma"))
        if wrong == "tenfold":
            return f"{float(text) * 10:.1f}", value * 10
        if wrong == "negative" and self.way != 2:
            return "-" + text, -value
        if wrong == "length" and self.way == 1:
            return f"{self.wanted[1]:.0f}", self.wanted[1] * self.in_unit
        if wrong == "swapped" and text[0] != text[1] and "." not in text[:2] and text[1] != "0":
            swapped = text[1] + text[0] + text[2:]
            return swapped, value * float(swapped) / float(text)
        return (text.replace(".", ","), value) if "." in text else (text, value)

    def _type(self, terminal: Terminal, kind: str, text: str, value: float) -> None:
        """Type a value; when it is questioned, insist or put it right."""
        terminal.send(text)
        found = terminal.until(PROMPTS)
        if found is None or "Right after all" not in terminal.text:
            if not re.search(r"\n  [A-Z][^\n]*(; |read the tape)[^\n]*\.\n", terminal.text):
                self.accepted.append((kind, value))
            return
        self.doubted += 1
        if self.random.random() < 0.3:
            terminal.send(self.random.choice(("keep", text)))
            if terminal.until(PROMPTS) is None or "flat length" not in terminal.text.split("\n[")[0]:
                self.accepted.append((kind, value))

    def check_file(self) -> None:
        """Every accepted value is in the file exactly once, in order, and nothing else is; numbers rise by one."""
        rows = self._rows()
        got = [(row.kind, row.length if row.kind == "flat" or self.way == 2 else row.force) for row in rows]
        assert [kind for kind, _ in got] == [kind for kind, _ in self.accepted], (got, self.accepted)
        for (_, here), (_, typed) in zip(got, self.accepted, strict=True):
            assert here is not None
            assert abs(here - typed) <= 1e-9 * max(1.0, abs(typed)), (got, self.accepted)
        if self.path.exists() and rows:
            numbers = [row.number for row in read_run(self.path).rows]
            assert numbers == list(range(1, len(numbers) + 1))
