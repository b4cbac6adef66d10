"""`--assume`: constants of docs/assumptions.md changed for one command, typed or in a file."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

from calib.assumptions import parse, parse_file
from calib.errors import BandcurveError, UsageError
from calib.safe_read import read_capped
from calib.verbs.terminal import typer_later as typer

LARGEST = 100_000  # bytes; a line for each constant is a few thousand

AssumeOption = Annotated[
    list[str] | None,
    typer.Option(
        "--assume",
        metavar="NAME=VALUE|FILE.toml",
        help="Change an assumption of docs/assumptions.md, or give a file of such lines.",
    ),
]


def assumed_of(given: Sequence[str], asker: str) -> dict[str, float]:
    """Values by name; what stands later counts.

    Args:
        given: As typed.
        asker: Who takes them: `FIT` or `SERIES` of calib.assumptions.

    Raises:
        UsageError: No such file, no such constant, or a value out of its range.
    """
    found: dict[str, float] = {}
    for text in given:
        try:
            if "=" not in text and text.endswith(".toml"):
                found |= parse_file(read_capped(Path(text), LARGEST), text, asker)
            else:
                found |= [parse(text, asker)]
        except BandcurveError as error:
            what = error.what if error.where else f"--assume {error.what}"
            raise UsageError(what, where=error.where, remedy=error.remedy) from None
    return found
