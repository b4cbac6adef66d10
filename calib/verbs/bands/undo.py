"""`bandcurve undo`: take back what was noted last of a band."""

from pathlib import Path

from calib.verbs.terminal.band_argument import BandArgument, FolderOption


def command(band: BandArgument, folder: FolderOption = Path()) -> int:
    """Undo the last note about a band: retired, renamed, merged, paired, repetitions, a re-check.

    Nothing is deleted: the row stays, and a later row cancels it. Run it again to undo the one before.

    \b
    Examples:
      bandcurve undo B07
    """
    from calib.profile.store.decide import last_noted, take_back
    from calib.profile.store.register import read_register

    register = read_register(folder)
    known = register.band(band)
    noted = last_noted(register, known)
    take_back(register, known, noted)
    print(f"Undone for band {known.address}: {noted.words}.")
    return 0
