"""`bandcurve undo`: take back what was noted last of a band."""

from pathlib import Path

from calib.verbs.terminal.band_argument import BandArgument, FolderOption


def command(band: BandArgument, folder: FolderOption = Path()) -> int:
    """Take back what was noted last of a band: retired, renamed, merged, paired, repetitions, a re-check.

    Nothing is deleted: the row stays, and a later one says that it does not count. Again takes back what was before it.

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
    print(f"Taken back, band {known.address}: {noted.words}.")
    return 0
