"""`bandcurve log`: note how often a band was pulled."""

import sys
from datetime import date, datetime
from pathlib import Path
from typing import Annotated

import typer

from calib.errors import DataError, UsageError
from calib.verbs.terminal.band_file import add_row


def command(
    band: Annotated[str, typer.Argument(metavar="ID", help="The band, for example B07.")],
    reps: Annotated[str, typer.Option(metavar="N", help="How many repetitions it was pulled for.")],
    on: Annotated[str | None, typer.Option(metavar="DAY", help="The day, as 2026-03-01; default: today.")] = None,
    note: Annotated[str, typer.Option(metavar="TEXT", help="What it was used for.")] = "",
    folder: Annotated[Path, typer.Option("--folder", metavar="DIR", help="Where the band's files are.")] = Path(),
) -> int:
    """Add repetitions to a band's use log, ID.uses.csv.

    \b
    Examples:
      bandcurve log B07 --reps 60
      bandcurve log B07 --reps 45 --on 2026-03-01 --note "squats, doubled"
    """
    from calib.identity import check_id
    from calib.profile.store.uses import Use, checked_reps, new_log, parse_uses, reps_between, row_of
    from calib.verbs.terminal.plain_text import clean
    from calib.verbs.terminal.quantities import day_gone_by

    try:
        count, name = checked_reps(reps), check_id(band)
    except DataError as error:
        raise UsageError(error.what, remedy=error.remedy) from None
    day = day_gone_by(on, "--on") if on is not None else date.today()
    path = folder / f"{name}.uses.csv"
    new = not path.exists()
    use = Use(name, datetime.now().astimezone().isoformat(timespec="seconds"), day, count, clean(note))
    total = reps_between(add_row(path, name, new_log(name), row_of(use), parse_uses), None, None)
    if new:
        _doubt(name, folder)
    print(f"Band {name}: {count} repetitions on {day} noted in {path}, {total} in all.")
    return 0


def _doubt(name: str, folder: Path) -> None:
    """Say so where no band of that name is known: a slip would begin the log of a band that is none."""
    from calib.profile.store.collection import read_collection

    measured = [b.id for b in read_collection(folder).bands if b.profiles]
    if name not in measured:
        known = f"; known there: {', '.join(measured[:12])}" if measured else ""
        print(f"bandcurve: a log was begun; no band {name} was measured in {folder}{known}", file=sys.stderr)
