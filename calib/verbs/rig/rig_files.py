"""A rig and the profiles it names, read from their files and worked out. What is said of them is said elsewhere."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from calib.errors import BandcurveError

if TYPE_CHECKING:
    from calib.profile.document import Profile
    from calib.use.report.rig_words import Unit
    from calib.use.rig.rig_file import Rig
    from calib.use.rig.statics import Answer


def read_rig(file: Path) -> "Rig":
    """Read a rig from a file."""
    from calib.strict_json import read_capped
    from calib.use.rig.rig_file import CAP_BYTES, parse_rig

    return parse_rig(read_capped(file, CAP_BYTES), file.name)


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


def worked_out(file: Path, *, extrapolate: bool, unit: "Unit" = "kg") -> "tuple[Answer, list[Profile]]":
    """Read a rig and its profiles and work it out, its cautions among the findings.

    Args:
        file: The rig.
        extrapolate: Go beyond the tested lengths.
        unit: Of the weights in the cautions.
    """
    from calib.use.rig.anchors import cautions
    from calib.use.rig.rig_check import work_out

    rig = read_rig(file)
    profiles = read_profiles(rig, file)
    with named(file):
        answer, _ = work_out(rig, profiles, extrapolate=extrapolate)
    return replace(answer, findings=(*answer.findings, *cautions(answer, unit))), profiles


@contextmanager
def named(file: Path) -> Iterator[None]:
    """Name the rig's file in what is wrong with it."""
    try:
        yield
    except BandcurveError as error:
        raise type(error)(error.what, where=f"{file.name}: {error.where}", remedy=error.remedy) from None
