"""`bandcurve log`: note how often a band was pulled."""

from datetime import date
from pathlib import Path
from typing import Annotated

from calib.errors import DataError, UsageError, printable
from calib.verbs.terminal import typer_later as typer


def command(
    band: Annotated[str, typer.Argument(metavar="ID", help="The band, for example B07.")],
    reps: Annotated[str, typer.Option(metavar="N", help="Number of repetitions.")],
    on: Annotated[str | None, typer.Option(metavar="DAY", help="Date, like 2026-03-01; default: today.")] = None,
    note: Annotated[str, typer.Option(metavar="TEXT", help="What the band was used for.")] = "",
    folder: Annotated[Path, typer.Option("--folder", metavar="DIR", help="Folder of the band's files.")] = Path(),
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")] = False,
) -> int:
    """Add repetitions to a band's use log, ID.uses.csv.

    \b
    Examples:
      bandcurve log B07 --reps 60
      bandcurve log B07 --reps 45 --on 2026-03-01 --note "squats, doubled"
    """
    from calib.profile.store.log_file import add_entry
    from calib.profile.store.register import read_register
    from calib.profile.store.uses import KIND, Use, checked_reps, reps_between, row_of
    from calib.stamp import stamp
    from calib.verbs.terminal.plain_text import clean
    from calib.verbs.terminal.quantities import day_gone_by

    try:
        count = checked_reps(reps)
    except DataError as error:
        raise UsageError(error.what, remedy=error.remedy) from None
    day = day_gone_by(on, "--on") if on is not None else date.today()
    register = read_register(folder)
    known = register.band(band)
    path = known.log_path(folder, KIND.name)
    use = Use(known.mark, day, count, clean(note), stamp(register.newest))
    add_entry(path, KIND, known.mark, lambda version: row_of(use, version))
    total = reps_between(read_register(folder).band(known.address).uses, None, None)
    if as_json:
        from calib.use.answers.bands import LogAnswer
        from calib.verbs.terminal.answer import give

        noted = LogAnswer(band=known.address, on=day.isoformat(), file=str(path), reps=count, reps_in_all=total)
        give(noted, None, as_json=True)
        return 0
    print(f"Band {known.address}: {count} repetitions on {day} noted in {printable(path)}, {total} in all.")
    return 0
