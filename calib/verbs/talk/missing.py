"""What a command line leaves out and the command needs: asked at a terminal, with what is there to choose from."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from calib.errors import BandcurveError, DataError
from calib.profile.store.own_files import own_files
from calib.use.bands.box_folder import boxes
from calib.verbs.terminal.prompts import ask, at_terminal, lead, prepare, say

MOST = 9  # things to choose from that are shown
FILES = {  # what the files of a command are called; of the last word of its name, or of the whole of it
    "rig": ("*.rig.toml",),
    "scale": ("*.scale.json",),
    "lineup": ("*.csv", "*.toml"),
    "import": ("*.csv", "*.xlsx", "*.ods"),
    "fit": ("*.run.csv",),
}
OURS = (".run.csv", ".series.csv", ".uses.csv", ".rechecks.csv", ".rig.toml", ".plates.json")  # no table of somebody's
QUESTIONS = {  # by what an argument is called; else what its help says
    **dict.fromkeys(("BAND", "ID", "BAND|RUN", "BAND|OLD"), "Which band"),
    "BAND|RIG|BOX": "Of which band, rig or box",
    **dict.fromkeys(("FOLDER", "FOLDER|RUN..."), "The box's folder"),
    "TABLE": "Which table",
    "RUN...": "Which run",
    "NAME": "What name",
    "count": "How many bands",
}
BANDS = ("BAND", "ID", "BAND|RUN", "BAND|OLD", "BAND|RIG|BOX")


def can_be_asked(arguments: Sequence[str]) -> bool:
    """Whether somebody sits there and wants words."""
    return at_terminal() and "--json" not in arguments


def asked_for(parameter: Any, command: str, said: str = "") -> list[str]:
    """Ask for what is missing.

    Args:
        parameter: As typer has it.
        command: As it was typed, without the program's name.
        said: Why the answer before was none.

    Returns:
        Words to put behind those typed.

    Raises:
        EndOfInputError: There are no more lines.
    """
    prepare()
    offered = _offered(parameter, command)[:MOST]
    say(*([f"  {said}"] if said else ()), *(f"  {i + 1}  {name}" for i, name in enumerate(offered)))

    def read(text: str) -> str:
        if text.isascii() and text.isdecimal() and 0 < int(text) <= len(offered):
            return offered[int(text) - 1]
        if not text or text.startswith("-"):
            raise DataError("type an answer, or Ctrl-C to leave")
        return text

    known = QUESTIONS | {"FILE": f"Which {command.split()[0]}"}
    what = known.get(parameter.metavar or parameter.name) or str(parameter.help).rstrip(".")
    which = f" (its number, or type another) [{offered[0]}]" if offered else ""
    hint = str(parameter.help or what)
    answer = lead(lambda: ask(f"{what}{which}: ", read, empty=offered[0] if offered else None, hint=hint), how="")
    return [parameter.opts[0], answer] if parameter.param_type_name == "option" else [answer]


def _offered(parameter: Any, command: str) -> list[str]:
    """What is there to choose from, the likeliest first."""
    metavar = str(parameter.metavar or "")
    if parameter.param_type_name == "option":
        return []
    if command == "batch new":
        return ["box"]
    if command.startswith("batch"):
        return list(boxes(Path()))
    if metavar in BANDS and command not in ("plan", "scale new"):
        return bands_here()
    words = command.split()
    if metavar == "NAME" or not words or words[-1] == "new":
        return []
    if words[0] == "rig":
        from calib.verbs.rig.rig_place import rigs_here

        return rigs_here(Path())
    found = [p for pattern in FILES.get(words[0], ()) for p in own_files(Path(), pattern)]
    return [str(p) for p in found if words[0] in ("scale", "fit") or not p.name.endswith(OURS)]


def bands_here() -> list[str]:
    """Bands of this folder that were measured, by name."""
    from calib.profile.store.register import read_register

    try:
        return [band.address for band in read_register(Path()).bands if band.calibrations]
    except BandcurveError:
        return []


def asked_length() -> str:
    """A length as the tape reads it, asked for, as an option takes it."""
    from calib.acquire.files.typed import parse_length
    from calib.use.ask import readers

    def read(text: str) -> str:
        unit = readers.unit_behind(text, "length")
        if unit is None:
            raise DataError("cm or in", remedy="type the unit after the number, like 160 cm or 63 in")
        return f"{parse_length(text, unit):.4f}m"

    return ask("How long is the band there, as your tape reads it? (160 cm, 63 in): ", read)
