"""A rig and the profiles it names, read from their files and worked out. What is said of them is said elsewhere."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from calib.errors import BandcurveError

if TYPE_CHECKING:
    from calib.profile.document import Profile
    from calib.units import Unit
    from calib.use.bands.lookup import Found, Lookup
    from calib.use.rig.rig_file import Rig
    from calib.use.rig.statics import RigLoad


def read_rig(file: Path) -> "Rig":
    """Read a rig from a file."""
    from calib.safe_read import read_capped
    from calib.use.rig.rig_file import CAP_BYTES, parse_rig

    return parse_rig(read_capped(file, CAP_BYTES), file.name)


def read_profiles(rig: "Rig", file: Path) -> "list[Profile]":
    """Read the profile of each band of a rig, named as seen from the rig file."""
    return [found.profile for found in bands_of(rig, file)]


def bands_of(rig: "Rig", file: Path, lookup: "Lookup | None" = None) -> "list[Found]":
    """Of each band of a rig what answers for it: a profile as seen from the rig's file, or a band by its name.

    Args:
        rig: What the file says.
        file: The rig.
        lookup: Of the file's folder, where it was looked through already.
    """
    from calib.profile.store.cards import is_path
    from calib.use.bands.lookup import Found, Lookup
    from calib.use.rig.rig_file import band_name

    lookup, loaded = lookup or Lookup(file.parent), dict[str, Found]()
    for band in rig.band:
        if band.profile not in loaded:
            try:
                loaded[band.profile] = lookup.find(
                    file.parent / band.profile if is_path(str(file.parent / band.profile)) else band.profile
                )
            except BandcurveError as error:
                where = f"{file.name}: {band_name(band)}{', ' if error.where else ''}{error.where}"
                raise type(error)(error.what, where=where, remedy=error.remedy) from None
    return [loaded[band.profile] for band in rig.band]


def worked_out(
    file: Path, *, extrapolate: bool, unit: "Unit" = "kg", lookup: "Lookup | None" = None
) -> "tuple[RigLoad, list[Profile]]":
    """Read a rig and its profiles and work it out, its cautions among the findings.

    Args:
        file: The rig.
        extrapolate: Go beyond the tested lengths.
        unit: Of the weights in the cautions.
        lookup: Of the file's folder, where it was looked through already.
    """
    from calib.use.rig.anchors import cautions
    from calib.use.rig.rig_check import work_out

    rig = read_rig(file)
    bands = bands_of(rig, file, lookup)
    profiles = [found.profile for found in bands]
    told = tuple({f: None for found in bands for f in found.findings})
    with named(file):
        answer, _ = work_out(rig, profiles, extrapolate=extrapolate)
    return replace(answer, findings=(*answer.findings, *cautions(answer, unit), *told)), profiles


@contextmanager
def named(file: Path) -> Iterator[None]:
    """Name the rig's file in what is wrong with it."""
    try:
        yield
    except BandcurveError as error:
        raise type(error)(error.what, where=f"{file.name}: {error.where}", remedy=error.remedy) from None
