"""`bandcurve report`: a whole collection as one page of HTML to hand on."""

import sys
from datetime import date
from pathlib import Path
from typing import Annotated

from calib.errors import UsageError, printable
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.quantities import UNIT_HELP, shown_in


def command(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where the files are.")] = Path(),
    out: Annotated[
        Path | None, typer.Option("--out", "-o", metavar="FILE", help="A new .html; default: report.DAY.html here.")
    ] = None,
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP)] = "kg",
) -> int:
    """Put a collection on one page: what each band pulls at any length, pairs, rigs, history, what is due.

    The page is one file that needs no network: send it, open it on a phone, print it. It switches between kg and lb.

    \b
    Examples:
      bandcurve report
      bandcurve report bands --out bands.html --unit lb
    """
    from calib.profile.batch_document import NAME
    from calib.profile.store.own_files import own_files
    from calib.safe_write import write_new
    from calib.use.paper.collected import collect
    from calib.use.paper.collection_page import collection_page

    shown, today = shown_in(unit), date.today()
    target = out or Path(f"report.{today}.html")
    if target.suffix.lower() not in (".html", ".htm"):
        raise UsageError(f"--out {target.name}: a report is a page", remedy="end its name in .html")
    found = collect(folder, own_files(folder, "*.rig.toml"), own_files(folder, NAME), today)
    if not found.bands and not found.rigs and not found.scales:
        raise UsageError(f"{folder} is empty", remedy="measure a band, or name another folder")
    write_new(target, collection_page(found, shown.force))
    print(f"Report of {len(found.bands)} bands written to {printable(target)}.")
    for sentence in found.problems:
        print(f"bandcurve: {sentence}", file=sys.stderr)
    return 1 if found.problems else 0
