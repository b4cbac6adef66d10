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
    """Put a collection into one page: what each band pulls at any length, pairs, rigs, history, what is due.

    The page is one file that needs no network: send it, open it on a phone, print it. It switches between kg and lb.

    \b
    Examples:
      bandcurve report
      bandcurve report bands --out bands.html --unit lb
    """
    from calib.profile.batch_document import NAME
    from calib.safe_write import write_new
    from calib.use.paper.collected import collect
    from calib.use.paper.collection_page import collection_page

    shown, today = shown_in(unit), date.today()
    target = out or Path(f"report.{today}.html")
    if target.suffix.lower() not in (".html", ".htm"):
        raise UsageError(f"--out {target.name}: a report is a page", remedy="end its name in .html")
    found = collect(folder, _files(folder, "*.rig.toml"), _files(folder, NAME), today)
    if not found.bands and not found.rigs and not found.scales:
        raise UsageError(f"there is nothing in {folder} yet", remedy="measure a band, or name another folder")
    write_new(target, collection_page(found, shown.force))
    print(f"Report of {len(found.bands)} bands written to {printable(target)}.")
    for sentence in found.problems:
        print(f"bandcurve: {sentence}", file=sys.stderr)
    return 1 if found.problems else 0


def _files(folder: Path, pattern: str) -> list[Path]:
    """Files of a kind in a folder and below; those under a hidden folder are somebody else's."""
    found = folder.rglob(pattern) if folder.is_dir() else ()
    return sorted(p for p in found if p.is_file() and not _is_hidden(p.relative_to(folder)))


def _is_hidden(path: Path) -> bool:
    return any(part.startswith(".") for part in path.parts)
