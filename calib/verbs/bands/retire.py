"""`bandcurve retire`: a band is not used any more, or used with care; or a calibration is not gone by."""

from pathlib import Path
from typing import Annotated

from calib.errors import DataError
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.band_argument import BandArgument, FolderOption


def command(
    band: BandArgument,
    suspect: Annotated[
        bool, typer.Option("--suspect", help="Not retired yet: every answer mentions it, and it is paired last.")
    ] = False,
    note: Annotated[str, typer.Option(metavar="TEXT", help="The reason, shown with its answers.")] = "",
    folder: FolderOption = Path(),
) -> int:
    """Retire a band: it is not paired or chosen for a rig any more, and every answer for it says so.

    Given a file, only that calibration is set aside, and another answers for the band. `bandcurve undo` reverses it.

    \b
    Examples:
      bandcurve retire B07 --note "nick near the seam"
      bandcurve retire B07 --suspect --note "left in the sun"
      bandcurve retire B07.2026-03-01.profile.json --note "tape read in the wrong place"
    """
    from calib.profile.store.cards import is_path
    from calib.profile.store.decide import decide, set_status
    from calib.profile.store.register import read_register
    from calib.verbs.terminal.plain_text import clean

    register = read_register(folder)
    if is_path(band):
        known = register.band_of_file(Path(band))
        card = (
            next((c for c in known.calibrations if c.path.resolve() == Path(band).resolve()), None) if known else None
        )
        if known is None or card is None:
            what = "is not a calibration in use"
            raise DataError(what, where=band, remedy="name a profile in this folder, or give its --folder")
        decide(folder, "set-aside", known.mark, [card.key], note=clean(note), after=register.newest)
        print(
            f"{card.path} is set aside and no longer answers for {known.address}. Back: bandcurve undo {known.address}"
        )
        return 0
    known = register.band(band)
    set_status(register, known, "suspect" if suspect else "retired", clean(note))
    said = "suspect" if suspect else "retired"
    print(f"Band {known.address} is {said}. Its files stay. Back: bandcurve undo {known.address}")
    return 0
