"""The walk of docs/box_walk.md: a box of twelve bands from labels to pairs, and a year later. All data are invented.

`python -m tests.campaigns.box_walk --write docs/box_walk.md` makes the page again; a test compares them. Commands run
in this process, somebody at the keyboard answers every prompt, each answer takes 15 s of a clock of the script's, and
the days in the files are its own too.
"""

import contextlib
import io
import os
import random
import re
import shlex
import shutil
import sys
import tempfile
import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from unittest.mock import patch

from scipy.optimize import brentq

from calib.verbs.app import run
from calib.verbs.talk.recorder import Pace

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "box_walk.md"
IDS = tuple(f"B{i:02d}" for i in range(1, 13))
FULL = IDS[:3]
ODD, SOFTENED, KEPT = "B09", "B02", "B01"
SOFTER = 0.94
FIRST, LATER = "2025-03-08", "2026-03-07"
STEP = 0.05  # kg, of the scale
OFFSET = 13.9  # mm from the tape between pins of 12 mm to the half path of 4.5 mm of rubber
LINK = 40.0  # mm, of 10 mm rod
WIDTH = 100
Answer = Callable[[str], str]


@dataclass
class World:
    """Twelve invented bands, and a scale that shows 0.3 % too much."""

    seed: int = 11
    gain: float = 1.003
    day: dict[str, float] = field(default_factory=dict)
    seconds: float = 1.7e9  # the clock

    def __post_init__(self) -> None:
        self.random = random.Random(self.seed)
        self.level = {band: 1 + self.random.uniform(-0.08, 0.08) for band in IDS}
        self.flat = {band: round(1029 * (1 + self.random.uniform(-0.02, 0.02))) for band in IDS}

    def pull(self, band: str, half_path: float, *, back: bool = False) -> float:
        """True pull at a half-path length in mm on the first day. [kgf]"""
        x = half_path / self.flat[band]
        force = 11.5 * self.level[band] * (x - x**-2) * (0.62 + 0.38 / x) * (1 + 0.05 * max(0.0, x - 1.4) ** 2)
        if band == ODD:
            force *= 1 + 0.2 * (x - 1) / 1.2
        return force * (0.95 if back else 1.0)

    def shown(self, band: str, taped: float, *, back: bool = False) -> str:
        """What the scale shows at a length in mm, in its steps. [kg]"""
        true = self.pull(band, taped + OFFSET + self.random.gauss(0, 1.0), back=back) * self.day.get(band, 1.0)
        return f"{round(true * self.gain * (1 + self.random.gauss(0, 0.003)) / STEP) * STEP:.2f}"

    def ring(self, first: str, second: str, total: float) -> float:
        """Where the middle of the link between two bands stands. [mm]"""
        over = OFFSET - 1.1  # one pin of 12 mm, one rod of 10 mm

        def tug(x: float) -> float:
            return self.pull(first, x + over) - self.pull(second, total - LINK - x + over)

        return float(brentq(tug, 0.3 * total, 0.7 * total)) + LINK / 2 + self.random.gauss(0, 1.0)


class Keyboard(io.StringIO):
    """Somebody at the keyboard: every line asked for is answered from what stands on the screen."""

    def __init__(self, screen: io.StringIO, answer: Answer) -> None:
        super().__init__()
        self.screen, self.answer = screen, answer

    def readline(self, size: int = -1, /) -> str:  # type: ignore[override]
        """Read the screen, type."""
        line = self.answer(self.screen.getvalue())
        self.screen.write(line)
        return line + "\n"


def nobody(screen: str) -> str:
    """No question is expected."""
    raise AssertionError(screen[-500:])


def typed(command: str, answer: Answer = nobody, expected: int = 0) -> str:
    """A command, and all that stands on the screen when it has ended."""
    screen, stdin = io.StringIO(), sys.stdin
    sys.stdin = Keyboard(screen, answer)
    arguments = [
        name
        for word in shlex.split(command)
        for name in (sorted(map(str, Path().glob(word))) if "*" in word else [word])
    ]
    try:
        with contextlib.redirect_stdout(screen), contextlib.redirect_stderr(screen):
            status = run(arguments)
    finally:
        sys.stdin = stdin
    assert status == expected, (command, status, screen.getvalue()[-2000:])
    return screen.getvalue()


NEW = {
    "changes in steps": "0.05",
    "Maximum printed": "50 kg",
    "Diameter of the two": "12",
    "Width and thickness": "30 4.5",
    "A known plate": "10",
    "Room temperature": "21",
}


def says(table: dict[str, str]) -> Answer:
    """Answers by what the last line asks; Enter alone to everything else."""

    def answer(screen: str) -> str:
        last = screen.rsplit("\n", 1)[-1]
        return next((line for words, line in table.items() if words in last), "")

    return answer


@dataclass
class Coach:
    """Measures the box: a slip, an undo, a break, then to the end."""

    world: World
    order: list[str]
    slip: str = ""  # the band at whose second length the decimal point is forgotten
    undo: str = ""  # the band at whose third length the second is taken back
    stop: str = ""  # the band at whose third length Ctrl-C is pressed
    band: str = ""

    def __call__(self, screen: str) -> str:
        """Answer the prompt at the end of the screen."""
        self.world.seconds += 15
        last = screen.rsplit("\n", 1)[-1]
        named = re.findall(r"^Band (B\d\d)(?:\.| continues)", screen, re.MULTILINE)
        self.band = named[-1] if named else self.band
        if last.startswith(("Next band", "Measure one of them")):
            return self.order.pop(0) if self.order else ""
        fixed = {
            "Flat length, end": str(self.world.flat.get(self.band)),
            "own mass": f"{300 * self.world.level.get(self.band, 1.0):.0f}",
            "known plate": "10.05",
            "Do not zero": "0",
            "Room temperature": "21",
        }
        found = next((line for words, line in fixed.items() if words in last), None)
        return found if found is not None else self._reading(screen) if last.startswith("  shows, kg") else ""

    def _reading(self, screen: str) -> str:
        number, way, taped = re.findall(r"^\[(\d+)/\d+\] (out|back): set (\d+) mm", screen, re.MULTILINE)[-1]
        if number == "3" and self.band == self.stop:
            raise KeyboardInterrupt
        if number == "3" and self.band == self.undo:
            self.undo = ""
            return "undo"
        line = self.world.shown(self.band, float(taped), back=way == "back")
        if number == "2" and self.band == self.slip:
            self.slip = ""
            return line.replace(".", "")
        return line


def dated(path: Path, day: str) -> None:
    """Set the day a run was begun."""
    text = path.read_text("utf-8")
    path.write_text(re.sub(r"# started = \S+", f"# started = {day}T10:00:00Z", text, count=1), "utf-8")


def series_text(world: World, first: str, second: str, day: str) -> str:
    """The file of two bands hooked end to end, two pulls of three lengths."""
    head = [f'format = "bandcurve-series/1"\n# started = {day}T12:00:00Z']
    for name, band in (("first", first), ("second", second)):
        head.append(f'[{name}]\n# id = "{band}"\n# flat_length_mm = {world.flat[band]}\n# thickness_mm = 4.5')
        head.append("fitting_diameter_mm = 12")
    head.append(f'[length]\n# kind = "band-inner"\n# link_length_mm = {LINK:g}\n# link_diameter_mm = 10')
    rows: list[str] = []
    flat = world.flat[first] + world.flat[second]
    for cycle in (1, 2):
        for stretch in (1.45, 1.6, 1.75):
            total = round(stretch * flat + LINK)
            ring = world.ring(first, second, total)
            rows.append(f"{len(rows) + 1},reading,{cycle},loading,{total},{ring:.0f},")
    return "".join(f"# {line}\n" for line in head) + "\n".join(
        ["row,kind,cycle,branch,total_mm,ring_mm,note", *rows, ""]
    )


def between(text: str, first: str, last: str = "") -> str:
    """Lines from the one that holds the first words to the one that holds the last ones; else to the end."""
    lines = text.strip("\n").split("\n")
    begin = next(i for i, line in enumerate(lines) if first in line)
    end = next((i for i, line in enumerate(lines) if last and i >= begin and last in line), len(lines) - 1)
    return "\n".join(line.rstrip() for line in lines[begin : end + 1]).strip("\n")


@dataclass
class Walked:
    """The walk as a page, and what a test may look at."""

    world: World
    screens: dict[str, str] = field(default_factory=dict)
    page: list[str] = field(default_factory=list)

    def words(self, text: str) -> None:
        """Paragraphs."""
        self.page += [textwrap.fill(paragraph, 118) for paragraph in text.split("\n\n")]

    def run(self, name: str, command: str, answer: Answer = nobody, expected: int = 0) -> str:
        """A command whose screen is kept under a name."""
        self.screens[name] = typed(command, answer, expected)
        return self.screens[name]

    def show(self, command: str, *parts: str) -> None:
        """A command with what stood on the screen, or parts of it."""
        self.page.append("```\n$ bandcurve " + command + "\n" + "\n...\n".join(parts) + "\n```")


def walk() -> Walked:
    """Walk through it all in the present folder, which is empty."""
    world = World()
    walked = Walked(world)

    def pace(counts_down: bool, move_s: float) -> Pace:
        return Pace(counts_down, move_s, lambda: world.seconds)

    with patch("calib.verbs.talk.recorder.Pace", pace):
        _first_day(walked)
        _by_tape(walked)
        _a_year_later(walked)
    _together(walked)
    return walked


def _first_day(walked: Walked) -> None:
    world = walked.world
    walked.words(
        "## The box\n\nWhat holds for all bands is asked once: a hanging scale to 50 kg, a known plate, a room of 21 C."
    )
    command = "batch new box --count 12 --flat 1029mm"
    walked.show(command, between(walked.run("new", command, says(NEW)), "12 bands, B01"))
    walked.words("The labels are printed, stuck on, and the bands measured as they come to hand: B04 first, then B07.")
    command = "batch record box"
    coach = Coach(world, ["4", "7"], slip="B07", undo="B04", stop="B01")
    screen = walked.run("record", command, coach, 130)
    walked.show(command, between(screen, "0 of 12 bands", "2 of 12 bands"), between(screen, "Stopped;"))
    walked.words(
        "At B07 the decimal point was forgotten, at B04 a reading taken back; then somebody came to the door in the "
        "middle of B01. The same command continues there, and to the end:"
    )
    screen = walked.run("record again", command, Coach(world, [], band="B01"))
    walked.show(command, between(screen, "2 of 12 bands", "shows, kg"), between(screen, "11 of 12 bands"))
    for band in IDS:
        dated(Path("box") / f"{band}.run.csv", FIRST)
    command = "batch fit box"
    walked.show(command, walked.run("fit", command).strip())
    walked.words(
        f"In truth {ODD} pulls 20 % more at its top than its like, and no other is odd. It is measured once more, in "
        "full, and is then known better:"
    )
    command = "batch record box"
    screen = walked.run("once more", command, Coach(world, [f"{ODD} full"]))
    walked.show(command, between(screen, "All 12", "Enter when done"), between(screen, "[1/30]", "[2/30]"))
    for path in Path("box").glob(f"{ODD}.2*.run.csv"):
        dated(path, FIRST)
        path.rename(Path("box") / f"{ODD}.{FIRST}.run.csv")
    walked.run("fit again", "batch fit box")
    walked.show("batch fit box", between(walked.screens["fit again"], ODD, ODD))
    walked.words("Left and right, over the lengths they work at:")
    command = "pair box/*.profile.json --over 1.2m..1.8m"
    walked.show(command, walked.run("pair", command).strip())


def _by_tape(walked: Walked) -> None:
    first, second = "B01", "B12"
    path = Path(f"{first}+{second}.series.csv")
    path.write_text(series_text(walked.world, first, second, FIRST), "utf-8")
    true = walked.world.pull(first, 1632) / walked.world.pull(second, 1632) - 1
    walked.words(
        f"## Two of them by tape alone\n\n{first} and {second} are hooked end to end between two pins, twice, and the "
        f"middle of the link between them is read at three lengths. In truth {first} pulls {100 * true:.1f} % more."
    )
    command = f"pair --series {path}"
    walked.show(command, walked.run("series", command).strip())
    walked.words("With the profiles it makes the pair more certain:")
    two = f"pair box/{first}.profile.json box/{second}.profile.json --over 1.2m..1.8m"
    walked.run("two", two)
    command = f"{two} --series {path}"
    walked.show(two, between(walked.screens["two"], "pair  ", first))
    walked.show(command, between(walked.run("two by series", command), "pair  ", first))


def _a_year_later(walked: Walked) -> None:
    world = walked.world
    walked.words(
        f"## A year later\n\n{SOFTENED} has lost {100 * (1 - SOFTER):.0f} % in truth, {KEPT} nothing. A year of "
        "training is in the log, and a minute with one plate comes first:"
    )
    world.day = {SOFTENED: SOFTER * 0.998, KEPT: 1.004}
    walked.run("log", f"log {SOFTENED} --reps 2400 --on 2025-12-20 --folder box")
    walked.show(f"log {SOFTENED} --reps 2400 --on 2025-12-20 --folder box", walked.screens["log"].strip())
    for band in (KEPT, SOFTENED):
        taped = brentq(lambda x, b=band: world.pull(b, x + OFFSET) * world.day[b] - 10.0, 1100, 2200)
        hung = f"--plate 10kg --load weighed --length {taped:.0f}mm --temperature 21"
        command = f"recheck {band} {hung} --on {LATER} --folder box"
        walked.show(command, walked.run(f"recheck {band}", command).strip())
    walked.words("Both are measured in full, with the gear of the box, and compared:")
    walked.run("second", "batch record box", Coach(world, [f"{KEPT} full"]))
    walked.run("third", "batch record box", Coach(world, [f"{SOFTENED} full"]))
    for band in (KEPT, SOFTENED):
        path = Path("box") / f"{band}.{LATER}.run.csv"
        next(p for p in Path("box").glob(f"{band}.2*.run.csv")).rename(path)
        dated(path, LATER)
    screen = walked.run("fit later", "batch fit box")
    walked.show("batch fit box", between(screen, KEPT, SOFTENED), between(screen, "Set aside"))
    for band in (KEPT, SOFTENED):
        command = f"compare box/{band}.profile.json box/{band}.{LATER}.profile.json --over 1.2m..1.8m"
        screen = walked.run(f"compare {band}", command)
        walked.show(command, screen.strip())
    command = f"history {SOFTENED} --folder box --over 1.2m..1.8m"
    walked.show(command, between(walked.run("history", command), "B02:", "Look again"))


def _together(walked: Walked) -> None:
    walked.words(
        "## Two people's bands\n\nA friend's folder is copied into this one, and `list` shows all that is there and "
        "what is due (KNEE is the invented band of sample_runs/):"
    )
    friend = Path("box") / "friend"
    friend.mkdir()
    shutil.copy(ROOT / "sample_runs" / "KNEE.profile.json", friend)

    class Today(date):
        @classmethod
        def today(cls) -> "Today":
            return cls.fromisoformat(LATER)

    with patch("calib.verbs.bands.list_bands.date", Today):
        walked.show("list box --full", walked.run("list", "list box --full").strip())


HEAD = """# A box of bands, from the labels to the same bands a year later

A coach's walk with twelve invented bands: levels within 8 %, flat lengths within 2 %, one of another rubber. The scale
shows 0.05 kg steps and 0.3 % too much, each pull differs by 0.3 %, each length by 1 mm. What the program says stands
here as it was printed, long screens cut (...). `python -m tests.campaigns.box_walk --write docs/box_walk.md` makes this
page anew, and a test compares them; the days in the files are the script's. [docs/boxes.md](boxes.md) says how it is
meant.
"""


@contextlib.contextmanager
def elsewhere() -> Iterator[None]:
    """A folder of its own, and lines of a fixed width."""
    here = Path.cwd()
    with tempfile.TemporaryDirectory() as folder, patch.dict(os.environ, {"COLUMNS": str(WIDTH)}):
        os.chdir(folder)
        try:
            yield
        finally:
            os.chdir(here)


def page_of(walked: Walked) -> str:
    """The whole page."""
    return HEAD + "\n" + "\n\n".join(walked.page) + "\n"


def main(arguments: Sequence[str]) -> None:
    """Print the page, or write it."""
    with elsewhere():
        text = page_of(walk())
    if "--write" in arguments:
        Path(arguments[arguments.index("--write") + 1]).write_text(text, "utf-8")
    else:
        print(text)


if __name__ == "__main__":
    main(sys.argv[1:])
