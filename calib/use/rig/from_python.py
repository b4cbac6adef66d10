"""A rig worked out, and a wanted load solved for, in one call: what the command line asks, for Python and the page."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import cast, get_args

from calib.errors import DataError
from calib.units import SHOWN
from calib.use.answers.rigs import RigAnswer, SolveAnswer
from calib.use.bands.lookup import Found, Lookup
from calib.use.bands.pair import pair_up
from calib.use.report.solve_views import too_far_text
from calib.use.rig.plates import Plates, as_loaded, loadings
from calib.use.rig.rig_answers import proposed, refuse_flying, rig_answer, solve_answer
from calib.use.rig.rig_file import Arrangement, Rig
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
    bands: Sequence[Path | str] = (),
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
        bands: To choose from, by file or by name; those of the rig if none.
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
        raise DataError("nothing is wanted", remedy="give bottom_kg, top_kg or average_kg")
    rig = read_rig(where)
    known: tuple[Arrangement, ...] = get_args(Arrangement)
    with named(where):
        place = place_of(rig)
        ways = hangings(place, [a for a in known if not arrangements or a in arrangements], anchor_heights_m,
                        pegs_apart_m)  # fmt: skip
    loads = loadings([Plates(m, n) for m, n in plates.items()]) if plates else as_loaded(rig.bar.plates)
    chosen = _candidates(where, rig, bands, Path(folder))
    sought = Sought(place, chosen, ways, loads, wishes, within_kg, most, each_once, few=few, extrapolate=extrapolate)
    if each_once and most > 1 and len(place.slots) > 1:
        sought = replace(sought, pairs=made_pairs(chosen))
    solved = solve(sought)
    holds = [hold_number(p.rig, p.profiles, extrapolate=extrapolate) for p in solved.proposals]
    answer = solve_answer(solved, holds)
    if not solved.proposals:
        said = too_far_text(answer, proposed(solved.nearest, None), SHOWN["kg"])
        raise DataError(said, where=where.name, remedy="ask for that, or allow more")
    return answer


def made_pairs(candidates: Sequence[Candidate]) -> tuple[tuple[int, int], ...]:
    """Left and right as `bandcurve pair` makes them of these bands, by their place among them.

    Args:
        candidates: Two or more.

    Raises:
        DataError: Fewer than two, or no length that all were tested at.
    """
    ids = [c.profile.band.id for c in candidates]
    made = pair_up([c.profile for c in candidates]).pairs
    return tuple((ids.index(pair.bands[0]), ids.index(pair.bands[1])) for pair in made)


def _candidates(file: Path, rig: Rig, bands: Sequence[Path | str], folder: Path) -> list[Candidate]:
    """The bands to choose from, each once, without the retired."""
    found: list[Found] = Lookup(folder).find_all(bands) if bands else [
        *{f.path: f for f in bands_of(rig, file)}.values()
    ]  # fmt: skip
    kept = [one for one in found if not one.is_retired]
    if not kept:
        raise DataError("all bands given are retired", where=file.name, remedy="give others")
    return [Candidate(str(one.path), one.profile) for one in kept]
