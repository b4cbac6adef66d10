"""`bandcurve log`: note how often a band was pulled."""

from datetime import date, datetime
from pathlib import Path
from typing import Annotated

import typer

from calib.errors import DataError, UsageError


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
    from calib.profile.uses import CAP_BYTES, Use, checked_reps, new_log, parse_uses, reps_between, row_of
    from calib.safe_write import write_atomically
    from calib.strict_json import read_capped
    from calib.verbs.plain_text import clean
    from calib.verbs.quantities import day_gone_by

    try:
        count, name = checked_reps(reps), check_id(band)
    except DataError as error:
        raise UsageError(error.what, remedy=error.remedy) from None
    day = day_gone_by(on, "--on") if on else date.today()
    path = folder / f"{name}.uses.csv"
    there = read_capped(path, CAP_BYTES) if path.exists() else new_log(name).encode()
    before = parse_uses(there, path.name)
    if before and before[0].band != name:
        raise DataError(f"is the log of {before[0].band}", where=str(path), remedy="give it back its name")
    use = Use(name, datetime.now().astimezone().isoformat(timespec="seconds"), day, count, clean(note))
    kept = there[: there.rfind(b"\n") + 1]  # a row that was cut off goes
    write_atomically(path, kept + row_of(use).encode())
    total = reps_between([*before, use], None, None)
    print(f"Band {name}: {count} repetitions on {day} noted in {path}, {total} in all.")
    return 0
