"""The profile a command was given: a band's name, a file, or standard input where "-" stands for it."""

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from calib.verbs.terminal.band_argument import band_of

if TYPE_CHECKING:
    from calib.finding import Finding
    from calib.profile.document import Profile

STANDARD = "-"  # standard input or output


class GivenProfile(NamedTuple):
    """A profile, where it is, and what is to be said of its band."""

    profile: "Profile"
    path: Path
    findings: "Sequence[Finding]"


def given_profile(band: str, folder: Path = Path()) -> GivenProfile:
    """Find the profile a command was given.

    Args:
        band: A band's name, or a file; "-" is standard input.
        folder: Where names are looked for.

    Raises:
        FileError: It cannot be read.
        DataError: It is not a profile, or no band has that name.
    """
    if band == STANDARD:
        from calib.profile.document import CAP_BYTES, parse_profile

        return GivenProfile(parse_profile(sys.stdin.buffer.read(CAP_BYTES + 1), "standard input"), Path(STANDARD), ())
    found = band_of(band, folder)
    return GivenProfile(found.profile, found.path, found.findings)
