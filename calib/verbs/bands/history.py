"""`bandcurve history`: all calibrations of one band, and when to look again."""

import sys
from functools import partial
from pathlib import Path
from typing import Annotated

from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.answer import FULL_HELP, give
from calib.verbs.terminal.plain_text import complaint
from calib.verbs.terminal.quantities import UNIT_HELP, range_in_si, shown_in


def command(
    band: Annotated[str, typer.Argument(metavar="ID", help="The band, for example B07.")],
    over: Annotated[
        str | None,
        typer.Option(metavar="A..B", help="Working half-path lengths, for example 1.2m..1.6m; default: all tested."),
    ] = None,
    folder: Annotated[Path, typer.Option("--folder", metavar="DIR", help="Where the files are.")] = Path(),
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP)] = "kg",
    figure: Annotated[
        Path | None,
        typer.Option("--figure", "-f", metavar="FILE", help="Also draw it, in a new .png, .svg or .pdf file."),
    ] = None,
    full: Annotated[bool, typer.Option("--full", help=FULL_HELP)] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")] = False,
) -> int:
    """Show how a band has drifted since it was first measured, with time and with use.

    Calibrations (ID...profile.json), re-checks (ID.rechecks.csv) and the use log (ID.uses.csv) are looked for in the
    folder and below.

    \b
    Examples:
      bandcurve history B07
      bandcurve history B07 --figure B07-history.svg
      bandcurve history B07 --folder profiles --over 1.2m..1.6m --json
    """
    shown = shown_in(unit)
    wanted = range_in_si(over, "--over") if over is not None else None
    if figure is not None:
        from calib.verbs.terminal.drawing import check_figure

        check_figure(figure)
    from calib.profile.store.collection import read_collection
    from calib.use.bands.history import history, history_answer
    from calib.use.bands.listing import of_the_band
    from calib.use.report.folder_views import history_view

    collection = read_collection(folder)
    found = collection.band(band)
    made = history(found.calibrations(), found.uses, wanted, found.rechecks, found.begun)
    answer = history_answer(made, found.calibrations(), of_the_band(found, collection.register))
    if figure is not None:
        from calib.use.paper.answer_figures import history_figure
        from calib.verbs.terminal.drawing import save_figure

        save_figure(figure, partial(history_figure, answer))
    missing = collection.failed_of(found)
    for said in missing:
        print(complaint(f"left out, {said}"), file=sys.stderr)
    give(answer, history_view(answer, shown, full=full), as_json=as_json, full=full)
    return 1 if missing else 0
