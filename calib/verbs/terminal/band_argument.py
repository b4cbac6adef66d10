"""A band given to a command, by its name or as a file: which calibration answers, and what is said beside it."""

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.plain_text import complaint

if TYPE_CHECKING:
    from calib.finding import Finding
    from calib.use.answers.parts import Doubt
    from calib.use.bands.lookup import Found

BandArgument = Annotated[
    str, typer.Argument(metavar="BAND", help="A band's name, such as B07, or a profile, B07.profile.json.")
]
FolderOption = Annotated[
    Path, typer.Option("--folder", metavar="DIR", help="Folder to look for bands in, with the folders below.")
]


def band_of(name: str, folder: Path = Path()) -> "Found":
    """The calibration that answers for what was given; where it comes from is said if it was a name."""
    from calib.use.bands.lookup import find

    found = find(name, folder)
    if found.by_name:
        print(f"{found.source}:", file=sys.stderr)
    return found


def say_doubts(findings: "Iterable[Finding]") -> None:
    """What speaks against going by an answer, on standard error, before the answer: its kilos stand last."""
    for finding in findings:
        print(complaint(f"{finding.text} [{finding.code}]"), file=sys.stderr)


def say_doubtful(findings: "Iterable[Doubt]") -> None:
    """Of an answer about a rig, what speaks against going by its bands: failed, soft, suspect, retired, superseded."""
    from calib.use.bands.lookup import DOUBTFUL

    for finding in findings:
        if finding.code in DOUBTFUL or finding.code == "older-profile":
            print(complaint(f"{finding.text} [{finding.code}]"), file=sys.stderr)
