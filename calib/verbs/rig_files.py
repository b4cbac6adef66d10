"""A rig and the profiles it names, read from their files. What they say is worked out elsewhere."""

from pathlib import Path
from typing import TYPE_CHECKING

from calib.errors import BandcurveError

if TYPE_CHECKING:
    from calib.profile.document import Profile
    from calib.use.rig_file import Rig


def read_rig(file: Path) -> "Rig":
    """Read a rig from a file."""
    from calib.safe_write import file_error
    from calib.use.rig_file import CAP_BYTES, parse_rig

    try:
        with file.open("rb") as opened:
            data = opened.read(CAP_BYTES + 1)
    except OSError as error:
        raise file_error(error, file, "read") from None
    return parse_rig(data, file.name)


def read_profiles(rig: "Rig", file: Path) -> "list[Profile]":
    """Read the profile of each band of a rig, named as seen from the rig file."""
    from calib.profile.document import load_profile

    loaded: dict[str, Profile] = {}
    for i, band in enumerate(rig.band):
        if band.profile not in loaded:
            try:
                loaded[band.profile] = load_profile(file.parent / band.profile)
            except BandcurveError as error:
                where = f"{file.name}: band[{i}].profile, {error.where}"
                raise type(error)(error.what, where=where, remedy=error.remedy) from None
    return [loaded[band.profile] for band in rig.band]
