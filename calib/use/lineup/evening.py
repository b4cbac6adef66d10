"""What a plan for an evening starts from: the bands that may hang, the place, left and right. No table is read here."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from itertools import groupby
from pathlib import Path
from typing import get_args

from calib.errors import DataError
from calib.frozen import dataclass
from calib.units import Unit
from calib.use.bands.lookup import DOUBTFUL, Found, Lookup
from calib.use.lineup.lifters_table import Turn
from calib.use.lineup.lineup import Lineup, line_up
from calib.use.rig.from_python import made_pairs, with_bands
from calib.use.rig.plates import Plates, as_loaded, loadings
from calib.use.rig.rig_file import Arrangement
from calib.use.rig.rig_files import named, read_rig
from calib.use.rig.solve import Sought
from calib.use.rig.solve_place import RigPlace, hangings, place_of

NameOf = Callable[[Path, Path], str]


@dataclass(frozen=True)
class Box:
    """What there is to hang, and what may be tried."""

    bands: Sequence[Found]
    plates: Sequence[Plates] | None = None  # None: those of the rig
    heights: Sequence[float] = ()  # of the anchor [m]
    pegs: Sequence[float] = ()  # apart [m]
    arrangements: Sequence[Arrangement] | None = None  # None: all that the place has been measured for
    most: int = 1  # bands a side
    extrapolate: bool = False
    unit: Unit = "kg"  # of weights in sentences


def sound_bands(lookup: Lookup, names: Sequence[str] = ()) -> tuple[list[Found], list[tuple[str, str]]]:
    """The bands that may be used, all of the folder where none are named, and those left out with why.

    Raises:
        DataError: None is left.
    """
    known = names or [band.address for band in lookup.register().bands if band.calibrations]
    kept, left = list[Found](), list[tuple[str, str]]()
    for found in lookup.find_all(known):
        if found.is_retired or found.is_doubtful:
            said = [f.text for f in found.findings if f.code in (*DOUBTFUL, "box-verdict")]
            said += [f.text for f in found.profile.findings if f.code in DOUBTFUL]
            left.append((found.name, f"left out: {'; '.join(dict.fromkeys(said))}"))
        else:
            kept.append(found)
    if not kept:
        raise DataError("no band is left to use", remedy="measure some, or name other bands")
    return kept, left


def not_paired(bands: Sequence[Found], used: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    """Bands that are alone in their box and hang nowhere on two sides, each with why."""
    there = {band for pair in used for band in pair}
    return [
        (one.name, "not paired: " + "; ".join(f.text for f in one.findings if f.code == "box-verdict"))
        for one in bands
        if used and one.is_alone and one.profile.band.id not in there
    ]


def plan_evening(
    turns: Sequence[Turn], sought_at: Callable[[Turn], Sought], tell: Callable[[float], None] = lambda part: None
) -> tuple[list[Lineup], list[tuple[str, str]]]:
    """A plan for each day's exercise, and the pairs of the box that it was made of.

    Args:
        turns: In order.
        sought_at: What there is to choose from where a turn is lifted.
        tell: Told how much is done, 0 to 1.
    """
    chains = [list(chain) for _, chain in groupby(turns, key=lambda t: (t.day, t.exercise))]
    lineups, used = list[Lineup](), dict[tuple[str, str], None]()
    for n, chain in enumerate(chains):
        sought = sought_at(chain[0])
        ids = [c.profile.band.id for c in sought.candidates]
        used |= dict.fromkeys((ids[a], ids[b]) for a, b in sought.pairs or ())
        lineups.append(line_up(sought, chain, partial(_tell, tell, n, len(chains))))
    return lineups, list(used)


def _tell(tell: Callable[[float], None], n: int, of: int, part: float) -> None:
    tell((n + part) / of)


def sought_in(file: Path, box: Box, name_of: NameOf, pair: Callable[[Sought], Sought] | None = None) -> Sought:
    """What there is to choose from in a rig.

    Args:
        file: The rig.
        box: What there is to hang.
        name_of: A profile's name as seen from a rig file.
        pair: Says what is left and right; else it is as `bandcurve pair` makes it.

    Raises:
        DataError: The rig cannot be read, or one band is to hang on both sides.
    """
    rig = read_rig(file)
    with named(file):
        place = place_of(rig)
        tried: Sequence[Arrangement] = box.arrangements or get_args(Arrangement)
        if box.arrangements is None:  # a hitch nobody measured is known too badly to plan with
            tried = [a for a in tried if a != "choked" or _is_measured(place)]
        ways = hangings(place, tried, box.heights, box.pegs)
    loads = loadings(box.plates) if box.plates else as_loaded(rig.bar.plates)
    sought = Sought(place, (), ways, loads, (), 0.0, box.most, extrapolate=box.extrapolate, unit=box.unit)
    sought = with_bands(sought, box.bands, partial(name_of, file))
    if len(place.slots) < 2:
        return sought
    if len(box.bands) < 2:
        raise DataError("one band cannot hang on both sides", where=file.name, remedy="measure a second one")
    return pair(sought) if pair is not None else replace(sought, pairs=made_pairs(sought))


def _is_measured(place: RigPlace) -> bool:
    return all(slot.arrangement == "choked" and slot.slack_length is not None for slot in place.slots)
