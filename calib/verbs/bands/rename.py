"""`bandcurve rename`: a band gets another name; its files stay as they are."""

from pathlib import Path
from typing import Annotated

from calib.errors import DataError
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.band_argument import BandArgument, FolderOption


def command(
    band: BandArgument,
    name: Annotated[str, typer.Argument(metavar="NAME", help="The new name.")],
    folder: FolderOption = Path(),
) -> int:
    """Give a band another name. Its files stay as they are, and the old name still leads to it.

    Given a file, only that calibration gets the new name: use this when two bands were measured under one name.

    \b
    Examples:
      bandcurve rename B07 red-07
      bandcurve rename bob/B03 bob-B03
      bandcurve rename "B03 (2).profile.json" B13
    """
    from calib.profile.store.cards import is_path
    from calib.profile.store.decide import rename
    from calib.profile.store.register import read_register

    register = read_register(folder)
    if not is_path(band):
        known = register.band(band)
        rename(register, known, name)
        print(f"Band {known.address} is now called {name}. Back: bandcurve undo {name}")
        return 0
    where = Path(band).resolve()
    found = register.band_of_file(Path(band))
    cards = [c for c in (*found.calibrations, *found.aside) if c.path.resolve() == where] if found else []
    if found is None or not cards:
        raise DataError(
            "is not a calibration of a band here", where=band, remedy="name a profile in this folder or below"
        )
    rename(register, found, name, cards)
    print(f"{cards[0].path} is now of band {name}. Back: bandcurve undo {name}")
    return 0
