"""A rig worked out, and a wanted load solved for, in one call: what the command line asks, for Python and the page."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import cast, get_args

from calib.errors import DataError
from calib.units import SHOWN
from calib.use.answers.rigs import RigAnswer, SolveAnswer
from calib.use.bands.box import kept_pairs
from calib.use.bands.lookup import Found, Lookup
from calib.use.bands.pair import pair_up
from calib.use.report.solve_views import too_far_text
from calib.use.rig.plates import Plates, as_loaded, loadings
from calib.use.rig.rig_answers import proposed, refuse_flying, rig_answer, solve_answer
from calib.use.rig.rig_file import Arrangement
from calib.use.rig.rig_files import bands_of, named, read_rig, worked_out
from calib.use.rig.rig_hold import hold_number
from calib.use.rig.solve import Of, Sought, Wish, solve
from calib.use.rig.solve_place import Candidate, hangings, place_of

WITHIN = 2.5  # kg: a proposal further off is not made unless asked; two of the smallest usual plates


def rig_loads(file: Path | str, *, extrapolate: bool = False) -> RigAnswer:
    """What the bands of a rig put on the bar at each height, going up and coming down.

    Args:
        file: The rig, NAME.rig.toml; its bands are found beside it, by file or by name.
        extrapolate: Go beyond the tested lengths, marked by a finding.

    Returns:
        Loads in kilograms with u and both limits; `calib.answer_json` makes the document of it that `bandcurve rig
        --json` prints.

    Raises:
        FileError, DataError: The rig or a profile cannot be used.
        OutOfRangeError: A band is pulled to where it was not measured.

    >>> answer = calib.rig(rig_path)
    >>> f"{answer.up.bar_load_kg[0]:.0f} kg at the bottom, {answer.up.bar_load_kg[-1]:.0f} kg at the top"
    '76 kg at the bottom, 100 kg at the top'
    """
    answer, profiles = worked_out(Path(file), extrapolate=extrapolate)
    refuse_flying(answer)
    return rig_answer(answer, profiles)


def solve_for(
    file: Path | str,
    bands: Sequence[Path | str | Found] = (),
    *,
    bottom_kg: float | None = None,
    top_kg: float | None = None,
    average_kg: float | None = None,
    plates: Mapping[float, int] | None = None,
    arrangements: Sequence[str] = (),
    anchor_heights_m: Sequence[float] = (),
    pegs_apart_m: Sequence[float] = (),
    most: int = 1,
    each_once: bool = False,
    within_kg: float = WITHIN,
    few: int = 3,
    extrapolate: bool = False,
    folder: Path | str = Path(),
) -> SolveAnswer:
    """Which bands, hung how, with which plates, put a wanted load on the bar, going up.

    Args:
        file: A rig: its bar, anchor, and where its bands hang.
        bands: To choose from, by file or by name, or as they were looked up; those of the rig if none.
        bottom_kg: Wanted at the bottom. [kg]
        top_kg: Wanted at the top. [kg]
        average_kg: Wanted on average over the lift. [kg]
        plates: How many there are of each mass, {20: 4, 10: 2}; None leaves those of the rig. [kg]
        arrangements: Only these.
        anchor_heights_m: Heights of the anchor to try. [m]
        pegs_apart_m: Distances of two pegs to try. [m]
        most: Bands on a side, at most.
        each_once: No band has a twin.
        within_kg: How far off is near enough. [kg]
        few: How many proposals.
        extrapolate: Go beyond the tested lengths, marked.
        folder: Where bands are looked for by name.

    Raises:
        DataError: Nothing is wanted, or it cannot be reached; the sentence names the nearest.

    >>> found = calib.solve(rig_path, top_kg=98, plates={20: 4, 10: 2}, within_kg=5)
    >>> found.proposals[0].bands[0].arrangement
    'straight'
    """
    where = Path(file)
    wanted = {"bottom": bottom_kg, "top": top_kg, "average": average_kg}
    wishes = [Wish(cast("Of", of), load) for of, load in wanted.items() if load is not None]
    if not wishes:
        raise DataError("no load is wanted", remedy="give bottom_kg, top_kg or average_kg")
    rig = read_rig(where)
    known: tuple[Arrangement, ...] = get_args(Arrangement)
    with named(where):
        place = place_of(rig)
        ways = hangings(place, [a for a in known if not arrangements or a in arrangements], anchor_heights_m,
                        pegs_apart_m)  # fmt: skip
    loads = loadings([Plates(m, n) for m, n in plates.items()]) if plates else as_loaded(rig.bar.plates)
    sought = Sought(place, (), ways, loads, wishes, within_kg, most, each_once, few=few, extrapolate=extrapolate)
    found = [one for one in bands if isinstance(one, Found)]
    if named_ones := [one for one in bands if not isinstance(one, Found)]:
        found += Lookup(Path(folder)).find_all(named_ones)
    found = found or list({f.path: f for f in bands_of(rig, where)}.values())
    for some in tiers(found, where, two_sides=len(place.slots) > 1):
        sought = with_bands(sought, some, str)
        if each_once and most > 1 and len(place.slots) > 1:
            sought = replace(sought, pairs=made_pairs(sought))
        solved = solve(sought)
        if solved.proposals:
            break
    holds = [hold_number(p.rig, p.profiles, extrapolate=extrapolate) for p in solved.proposals]
    answer = solve_answer(solved, holds)
    if not solved.proposals:
        said = too_far_text(answer, proposed(solved.nearest, None), SHOWN["kg"])
        raise DataError(said, where=where.name, remedy="choose that, or allow more")
    return answer


def tiers(found: Sequence[Found], file: Path, *, two_sides: bool) -> list[list[Found]]:
    """The bands to choose from: the sound ones, and all but the retired for where those do not reach what is wanted.

    Args:
        found: As they were looked up, each once.
        file: The rig, named in an error.
        two_sides: Left and right are wanted: then a band that is alone in its box is not among the first.

    Raises:
        DataError: All are retired.
    """
    usable = [one for one in found if not one.is_retired]
    if not usable:
        raise DataError("all bands given are retired", where=file.name, remedy="give others, or bandcurve undo one")
    together = {n for pair in kept_pairs(usable) for n in pair}
    sound = [
        f for n, f in enumerate(usable) if not f.is_doubtful and not (two_sides and f.is_alone and n not in together)
    ]
    return [usable] if len(sound) in (0, len(usable)) else [sound, usable]


def with_bands(sought: Sought, found: Sequence[Found], named: Callable[[Path], str]) -> Sought:
    """A question with the bands to choose from, and those of them that somebody keeps together.

    Args:
        sought: The question.
        found: The bands.
        named: How a profile is written in the rig.
    """
    candidates = [Candidate(named(one.path), one.profile, one.is_alone) for one in found]
    return replace(sought, candidates=candidates, kept=tuple(kept_pairs(found)))


def made_pairs(sought: Sought) -> tuple[tuple[int, int], ...]:
    """Left and right as `bandcurve pair` makes them of a question's bands, by their place among them.

    Args:
        sought: The question, of two bands or more; pairs that are kept stay, one that is alone in its box gets no
            partner where others do.

    Raises:
        DataError: Fewer than two, or no length that all were tested at.
    """
    ids = [c.profile.band.id for c in sought.candidates]
    loose = [c for i, c in enumerate(sought.candidates) if not any(i in pair for pair in sought.kept)]
    sound = [c for c in loose if not c.is_alone]
    if len(sound) < 2:
        sound = [] if sought.kept else loose
    made = pair_up([c.profile for c in sound]).pairs if sound or not sought.kept else ()
    return (*sought.kept, *((ids.index(pair.bands[0]), ids.index(pair.bands[1])) for pair in made))
