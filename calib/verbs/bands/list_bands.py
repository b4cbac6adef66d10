"""`bandcurve list`: what a folder holds, and what is due."""

import sys
from datetime import date
from pathlib import Path
from typing import Annotated

from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.answer import FULL_HELP, give
from calib.verbs.terminal.plain_text import complaint
from calib.verbs.terminal.quantities import UNIT_HELP, shown_in


def command(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where the files are.")] = Path(),
    named: Annotated[Path | None, typer.Option("--folder", hidden=True, help="The same, as others take it.")] = None,
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP)] = "kg",
    full: Annotated[bool, typer.Option("--full", help=FULL_HELP)] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")] = False,
) -> int:
    """List the bands and scales in a folder and the folders below, and what should be measured again.

    The folder of plain files is the whole store: copy somebody's folder into yours and both are one collection.

    \b
    Examples:
      bandcurve list
      bandcurve list profiles --json
    """
    shown = shown_in(unit)
    from calib.profile.store.collection import read_collection
    from calib.use.answers.bands import ListAnswer
    from calib.use.bands.listing import listed_band, listed_scale
    from calib.use.report.folder_views import list_view

    folder = named or folder
    found, today = read_collection(folder), date.today()
    answer = ListAnswer(
        folder=str(folder),
        bands=tuple(listed_band(band, found.register, today) for band in found.bands),
        scales=tuple(listed_scale(scale, today) for _, scale in found.scales),
        failed=tuple(found.failed),
        left_out=tuple(str(demo) for demo in found.register.invented),
    )
    for sentence in (*found.failed, *found.register.said):
        print(complaint(sentence), file=sys.stderr)
    give(answer, list_view(answer, shown, full=full), as_json=as_json, full=full)
    return 1 if found.failed else 0
