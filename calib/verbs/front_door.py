"""Bare `bandcurve` at a terminal: asks what somebody wants to know and starts the right command."""

import shlex
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

from calib.errors import BandcurveError, DataError
from calib.identity import check_id
from calib.verbs.overview import COMMANDS
from calib.verbs.talk.missing import asked_length
from calib.verbs.terminal.prompts import EndOfInputError, ask, choose, lead, prepare, say, typed_path


class MenuWish(NamedTuple):
    """Something to want, and how the command line for it is found."""

    command: str
    words: str
    arguments: Callable[[], list[str]]


def open_door() -> int:
    """Ask, then run the command chosen.

    Returns:
        Exit status.
    """
    from calib.verbs.app import run

    prepare()
    wishes = [wish for wish in WISHES if wish.command in COMMANDS]
    try:
        arguments = lead(lambda: _wanted(wishes), how="")
    except (EndOfInputError, KeyboardInterrupt):
        say("")
        return 130
    say(f"That is: bandcurve {shlex.join(arguments)}", "")
    return run(arguments)


def _wanted(wishes: Sequence[MenuWish]) -> list[str]:
    say("What do you want to know? (bandcurve --help lists all commands)")
    say(*(f"  {i + 1:>2}  {wish.words}" for i, wish in enumerate(wishes)))
    wish = choose("Which?", wishes, hint="Each choice starts a command and shows you which one.")
    return [wish.command, *wish.arguments()]


def _band() -> str:
    hint = "Letters, digits, dot, underscore and hyphen. The band's files start with this name."
    return ask("A name for the band (e.g. B07): ", check_id, hint=hint)


def _unfinished() -> list[str]:
    """Recordings of this folder in which something is still to be measured."""
    return [str(path) for path in sorted(Path().glob("*.run.csv")) if _is_open(path)]


def _is_open(path: Path) -> bool:
    from calib.acquire.files.run_file import read_run
    from calib.acquire.recording.state import Recording

    try:
        return Recording.from_run(read_run(path)).is_open
    except BandcurveError:
        return False


def _file(pattern: str, words: str) -> str:
    """The name of a file that is there; those of this folder are offered."""
    return _named(sorted(str(p) for p in Path().glob(pattern)), f"There is no {pattern} in this folder", words)


def _cut_off() -> list[str]:
    return ["--resume", _named(_unfinished(), "There is no unfinished recording in this folder", "Which run")]


def _named(there: Sequence[str], none: str, words: str) -> str:
    """The name of a file, some of which are offered."""
    found = there[:9]
    say(*(f"  {i + 1}  {name}" for i, name in enumerate(found)))
    if not found:
        say(f"{none}: give one with its folder, or Ctrl-C to leave.")

    def read(text: str) -> str:
        if text.isascii() and text.isdecimal() and 0 < int(text) <= len(found):
            return found[int(text) - 1]
        if text and typed_path(text).is_file():
            return str(typed_path(text))
        raise DataError(f"there is no file {text[:60]!r}" if text else "name a file")

    number = " (its number or name)" if found else ""
    return ask(f"{words}{number}: ", read)


def _known_or_new(pattern: str, words: str, work: str, name: str) -> list[str]:
    """Work on a file of this folder; where there is none, make one."""
    if any(Path().glob(pattern)):
        return [work, _file(pattern, words)]
    return ["new", ask(f"A name for {name}: ", check_id)]


def _predict() -> list[str]:
    return [_file("*.profile.json", "Which band"), "--between", asked_length()]


def _measured() -> list[str]:
    """The newest profile of each band here and in the folders below."""
    from calib.profile.store.collection import read_collection

    return [str(band.profiles[-1][0]) for band in read_collection(Path()).bands if band.profiles]


def _plate() -> str:
    from calib.acquire.files.typed import parse_mass

    return ask("Weight you will hang on it, including the hook, kg: ", lambda text: f"{parse_mass(text, 'kg'):g}kg")


def _box() -> list[str]:
    """Make a batch, or go on with one that is here."""
    from calib.acquire.recording.batch_plan import MOST_BANDS
    from calib.use.ask.readers import whole_number

    def number(text: str) -> int:
        count = whole_number(text)
        if not 1 <= count <= MOST_BANDS:
            raise DataError(f"type 1 to {MOST_BANDS}")
        return count

    def folder(text: str) -> str:
        return str(typed_path(text))

    name = ask("A name for the box, also used for its folder [box]: ", folder, empty="box")
    if any(Path(name).glob("*.run.csv")):
        return ["record", name]
    return ["new", name, "--count", str(ask("How many bands are in it: ", number))]


WISHES: Sequence[MenuWish] = (
    MenuWish(
        "record", "How hard does a band pull? First kilos in about 2 minutes, all in 4.", lambda: [_band(), "--quick"]
    ),
    MenuWish("record", "The full measurement: out and back, narrow limits, 15 minutes.", lambda: [_band()]),
    MenuWish("record", "Continue an unfinished recording.", _cut_off),
    MenuWish("import", "I have readings in a table (CSV or workbook).", lambda: [_file("*.csv", "Which table")]),
    MenuWish("predict", "What does a measured band pull at a length?", _predict),
    MenuWish("show", "Show a measured band.", lambda: [_file("*.profile.json", "Which profile")]),
    MenuWish("pair", "Which of these bands match as a left/right pair?", _measured),
    MenuWish("batch", "I have a box of new bands to measure.", _box),
    MenuWish("recheck", "Has a band gone soft? In a minute, with one plate.", lambda: [_band(), "--plate", _plate()]),
    MenuWish("list", "What is in this folder, and what needs a check?", list),
    MenuWish(
        "scale",
        "Does my scale read right?",
        lambda: _known_or_new("*.scale.json", "Which scale", "check", "your scale (e.g. garage)"),
    ),
    MenuWish(
        "rig",
        "How much load do bands put on my bar?",
        lambda: _known_or_new("*.rig.toml", "Which rig", "show", "this rig (e.g. squat)"),
    ),
    MenuWish("demo", "Show me an example with invented bands.", list),
)
