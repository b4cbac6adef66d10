"""Ways a band could hang in a place, and what it would pull there going up. What load is wanted is not known here.

A place is a rig file taken without its bands: each side keeps where its first band hangs and over what.
"""

import re
from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property, lru_cache
from math import inf
from posixpath import normpath
from typing import Literal, NamedTuple, get_args

import numpy as np

from calib.errors import DataError, OutOfRangeError
from calib.frozen import dataclass
from calib.gravity import local_gravity
from calib.itself import Itself
from calib.profile.document import Profile
from calib.records import Array
from calib.use.rig.rig_curve import RigCurve, loop_of
from calib.use.rig.rig_file import Arrangement, Rig, RigBand, band_name, check_band
from calib.use.rig.rig_geometry import run_of
from calib.use.rig.statics import GRID

ARRANGEMENTS: tuple[Arrangement, ...] = get_args(Arrangement)
TWO_PEGS = ("choked", "spread", "across")


class Candidate(NamedTuple):
    """A band that may be used."""

    name: str  # its profile as written in the rig file
    profile: Profile
    is_alone: bool = False  # no other band of its box is its match


class Hanging(NamedTuple):
    """One way to hang bands in a place."""

    arrangement: Arrangement
    anchor_height: float | None  # [m]; None leaves each side as it is in the file
    pegs_apart: float  # [m]


@dataclass(frozen=True)
class RigPlace:
    """Bar, anchor and where bands hang, one template a side, or one for the middle."""

    rig: Rig
    slots: tuple[RigBand, ...]

    @cached_property
    def heights(self) -> Array:
        """Of the bar, from bottom to top. [m]"""
        return np.linspace(self.rig.bar.bottom, self.rig.bar.top, GRID)

    @property
    def mirrored(self) -> bool:
        """Both sides hang alike, so that exchanging two bands changes nothing."""
        return len({_without_band(slot) for slot in self.slots}) == 1


def _without_band(slot: RigBand) -> RigBand:
    """Where a band hangs; a slack length is of its band, and to which side it leans makes no difference."""
    ends = abs(slot.sideways[0]), abs(slot.sideways[1])
    return replace(slot, side="left", profile="", slack_length=None, sideways=ends)


class Unusable(NamedTuple):
    """Why a band cannot hang so."""

    why: Literal["too long", "too short", "slack", "no unloading", "hitch"]
    text: str
    excess: float  # [m] how far off it is; the least of several is told


def place_of(rig: Rig) -> RigPlace:
    """Take a rig as a place: the first band of each side says where bands hang.

    A check of the rig was read with its own bands and is left out.

    Raises:
        DataError: Bands at the sides and in the middle, so that it is not known which to replace.
    """
    first: dict[str, RigBand] = {}
    for band in rig.band:
        first.setdefault(band.side, band)
    if "both" in first and len(first) > 1:
        raise DataError("has bands at the sides and in the middle", where="band",
                        remedy="keep those in the file whose place is to be used")  # fmt: skip
    return RigPlace(replace(rig, check=None), tuple(first.values()))


def hangings(
    place: RigPlace, arrangements: Sequence[Arrangement], heights: Sequence[float], pegs: Sequence[float]
) -> list[Hanging]:
    """Every way to hang that contradicts nothing.

    Args:
        place: Where.
        arrangements: Those to try; what the place cannot have is passed over.
        heights: Of the anchor; empty leaves it where it is. [m]
        pegs: Distances of two pegs, or across what may lie under the feet; empty leaves them as they are. [m]

    Raises:
        DataError: None is left; the first contradiction.
    """
    found: list[Hanging] = []
    refused: list[DataError] = []
    for arrangement in arrangements:
        for apart in _pegs(place, arrangement, pegs):
            for height in heights or (None,):
                hanging = Hanging(arrangement, height, apart)
                try:
                    for band in hung(place, hanging):
                        check_band(band, place.rig, band_name(band))
                except DataError as error:
                    refused.append(error)
                else:
                    found.append(hanging)
    if found:
        return found
    if refused:
        raise refused[0]
    raise DataError(
        f"no band can hang {' or '.join(arrangements)} there",
        where="band",
        remedy="across needs a place across, spread needs --pegs-apart",
    )


def _pegs(place: RigPlace, arrangement: Arrangement, pegs: Sequence[float]) -> Sequence[float]:
    """Distances of pegs to try with an arrangement; none where it cannot be used."""
    template = place.slots[0]
    if (arrangement == "across") != (template.arrangement == "across"):
        return ()
    if arrangement not in TWO_PEGS:
        return (0.0,)
    own = template.pegs_apart if template.arrangement in TWO_PEGS else 0.0
    if arrangement == "spread":
        return pegs or ([own] if own else ())
    if arrangement == "choked":
        return sorted({own if not pegs else 0.0, *pegs})
    return pegs or (own,)


def hung(place: RigPlace, hanging: Hanging, candidate: Candidate | None = None) -> tuple[RigBand, ...]:
    """The bands of one way to hang, one for each side of the place.

    A slack length was measured with one band in one hitch: it is kept for that band there, on whichever side, and for
    no other.
    """
    return tuple(_in_slot(slot, place.slots, hanging, candidate) for slot in place.slots)


def _in_slot(slot: RigBand, slots: Sequence[RigBand], hanging: Hanging, candidate: Candidate | None) -> RigBand:
    height = slot.anchor_height if hanging.anchor_height is None else hanging.anchor_height
    over = slot.anchor_diameter, slot.sleeve_diameter, hanging.arrangement, hanging.pegs_apart
    given = any(other.slack_length is not None for other in slots)
    measured = [
        other.slack_length
        for other in (slot, *slots)
        if given
        and candidate is not None
        and (other.anchor_diameter, other.sleeve_diameter, other.arrangement, other.pegs_apart) == over
        and is_of(other.profile, candidate)
    ]
    return replace(
        slot,
        profile=candidate.name if candidate else slot.profile,
        arrangement=hanging.arrangement,
        anchor_height=height,
        pegs_apart=hanging.pegs_apart,
        slack_length=measured[0] if measured else None,
    )


def is_of(written: str, candidate: Candidate) -> bool:
    """Whether what a rig file writes of a band, a file or its name, is this one, also where it was measured again.

    Args:
        written: `profile` of a band in the file.
        candidate: The band.
    """
    if normpath(written) == candidate.name:
        return True
    folder, _, file = normpath(written).rpartition("/")
    band = re.escape(candidate.profile.band.id)
    if re.fullmatch(band, file, re.IGNORECASE):
        return True
    again = rf"{band}(\.\d{{4}}-\d\d-\d\d[^/]{{0,40}})?\.profile\.json"
    return folder == candidate.name.rpartition("/")[0] and bool(re.fullmatch(again, file, re.IGNORECASE))


def pulls(
    place: RigPlace, hanging: Hanging, candidate: Candidate, *, extrapolate: bool = False
) -> tuple[Array | Unusable, ...]:
    """What a band pulls downward going up on each side of the place, at each height, or why it cannot. [kg]

    Args:
        place: Where.
        hanging: How.
        candidate: The band.
        extrapolate: Go beyond the tested lengths.
    """
    g, _ = local_gravity(place.rig.bar.latitude_deg, place.rig.bar.altitude)
    if any(slot.slack_length is not None for slot in place.slots):
        bands, which = _distinct(hung(place, hanging, candidate))
    else:  # alike for all bands
        bands, which = _hung_alike(Itself(place), hanging)
    found = []
    for band in bands:
        pull = _pull(place, band, candidate.profile, extrapolate)
        found.append(pull if isinstance(pull, Unusable) else pull / g)
    return tuple(found[n] for n in which)


@lru_cache(maxsize=64)
def _hung_alike(place: Itself[RigPlace], hanging: Hanging) -> tuple[tuple[RigBand, ...], tuple[int, ...]]:
    return _distinct(hung(place.it, hanging))


def _distinct(bands: Sequence[RigBand]) -> tuple[tuple[RigBand, ...], tuple[int, ...]]:
    """Each way a band hangs once, whatever the side; and which of them each is."""
    alike = [replace(band, side="left") for band in bands]
    each = tuple(dict.fromkeys(alike))
    return each, tuple(each.index(band) for band in alike)


def _pull(place: RigPlace, band: RigBand, profile: Profile, extrapolate: bool) -> Array | Unusable:
    above = band.source == "above"
    if above and profile.branches.unloading is None:
        text = "its unloading was not measured, and from above the lift follows it"
        return Unusable("no unloading", text, inf)
    try:
        run = run_of(band, place.rig.bar, place.heights, loop_of(profile))
    except DataError as error:
        return Unusable("hitch", error.what, inf)
    refused = _refused(run.length, profile, extrapolate)
    if refused:
        return refused
    try:
        tension = RigCurve(profile, place.rig, run.length, above, extrapolate).tension()
    except OutOfRangeError as error:
        return Unusable("too long", error.what, float(run.length.max()) - profile.branches.loading.length_m[-1])
    down: Array = (-1.0 if above else 1.0) * tension * run.down
    return down


def _refused(length: Array, profile: Profile, extrapolate: bool) -> Unusable | None:
    """The tested lengths are kept to, as the rig itself does; a band slack all the way pulls nothing."""
    first, last = profile.branches.loading.length_m[0], profile.branches.loading.length_m[-1]
    longest, pulled = float(length.max()), length[length > profile.band.rest_half_path_m]
    short = first - float(length.min() if not len(pulled) else pulled.min())
    if longest > last + 1e-6 and not extrapolate:
        text = f"would be {longest:.2f} m long (half path), tested to {last:.2f} m"
        return Unusable("too long", text, max(longest - last, short))
    if not len(pulled):
        return Unusable("slack", "would be slack throughout", short)
    if short > 1e-6 and not extrapolate:
        text = f"would be {first - short:.2f} m long (half path), tested from {first:.2f} m"
        return Unusable("too short", text, short)
    return None
