"""`bandcurve rig solve`: which bands, hung how, with which plates, put a wanted load on the bar."""

import os
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple, cast, get_args

from calib.errors import DataError, UsageError
from calib.units import SHOWN, Shown
from calib.verbs.rig.rig_place import plates_here, stand_in
from calib.verbs.rig.solve_options import UNIT_HELP_ALSO, load_option, plates_option, several_lengths, share_option
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.answer import FULL_HELP, give
from calib.verbs.terminal.band_argument import FolderOption, say_doubts
from calib.verbs.terminal.quantities import shown_in

if TYPE_CHECKING:
    from calib.units import Unit
    from calib.use.answers.rigs import SolveAnswer
    from calib.use.bands.lookup import Found
    from calib.use.rig.plates import Plates
    from calib.use.rig.rig_file import Arrangement, Rig
    from calib.use.rig.solve import Of, SolveResult, Sought, Wish

_SHARE_OF = ("bottom", "top", "average", "weight", "maximum")
_MOST_PROFILES = 200
PLATES_HINT = "Plates you have, both sides together. Others: --plates 20x4,10x2."


class _Asked(NamedTuple):
    """What is wanted of the bar."""

    loads: dict[str, float]  # [kg] at the bottom, at the top, on average
    share: "Wish | None"
    like: Path | None


class _Tries(NamedTuple):
    """What may be tried."""

    arrangements: "Sequence[Arrangement]"
    heights: Sequence[float]  # [m]
    pegs: Sequence[float]  # [m]
    plates: "list[Plates] | None"
    most: int
    each_once: bool
    pairs: str | None
    extrapolate: bool
    unit: "Unit"  # of weights in sentences


def command(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A rig: its bar, anchor, and where its bands hang.")],
    bands: Annotated[
        list[str] | None,
        typer.Argument(metavar="BAND", help="Bands to choose from, by name or profile; default: those of FILE."),
    ] = None,
    top: Annotated[str | None, typer.Option(metavar="LOAD", help="Wanted on the bar at the top, going up.")] = None,
    bottom: Annotated[str | None, typer.Option(metavar="LOAD", help="Wanted at the bottom.")] = None,
    average: Annotated[str | None, typer.Option(metavar="LOAD", help="Wanted on average over the lift.")] = None,
    like: Annotated[
        Path | None, typer.Option(metavar="RIG", help="Wanted: the loads of this rig at its bottom and top.")
    ] = None,
    share: Annotated[str | None, typer.Option(metavar="%", help="Share the bands are to pull, such as 25%.")] = None,
    share_of: Annotated[
        str | None,
        typer.Option(
            metavar="WHAT",
            help="What the share is of: the load at the bottom, at the top or on average; weight (bar and plates) or "
            "maximum (--maximum), both where the bands pull most.",
        ),
    ] = None,
    maximum: Annotated[str | None, typer.Option(metavar="LOAD", help="With --share-of maximum: the lifter's.")] = None,
    plates: Annotated[
        str | None, typer.Option(metavar="LIST", help="Plates you have, 20x4,10x2; default: those in FILE.")
    ] = None,
    arrangements: Annotated[
        str | None, typer.Option(metavar="LIST", help="Only these: straight,doubled,choked,spread,across.")
    ] = None,
    anchor_heights: Annotated[
        str | None, typer.Option(metavar="LIST", help="Holes to try: 80,130mm or first:last:step, 80:580:50mm.")
    ] = None,
    pegs_apart: Annotated[
        str | None, typer.Option(metavar="LIST", help="Distances of two pegs to try; across: under the feet.")
    ] = None,
    most: Annotated[int, typer.Option(min=1, max=3, help="Bands on a side, at most.")] = 1,
    each_once: Annotated[
        bool, typer.Option("--each-once", help="No band has a twin: left and right use two different profiles.")
    ] = False,
    pairs: Annotated[
        str | None, typer.Option(metavar="LIST", help="Left and right are these: B07+B08,B03+B05; or made, by pair.")
    ] = None,
    within: Annotated[str | None, typer.Option(metavar="LOAD", help="How close is close enough; 2.5 kg.")] = None,
    few: Annotated[int, typer.Option(min=1, max=20, help="How many to show.")] = 3,
    extrapolate: Annotated[
        bool, typer.Option("--extrapolate", help="Go beyond the tested lengths (marked, with wider limits).")
    ] = False,
    out: Annotated[
        Path | None, typer.Option(metavar="RIG", help="Write the first as a new rig file, for bandcurve rig.")
    ] = None,
    folder: FolderOption = Path(),
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP_ALSO)] = "kg",
    full: Annotated[bool, typer.Option("--full", help=FULL_HELP)] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")] = False,
) -> int:
    """Find which bands and plates, hung how, put the load you want on the bar.

    FILE gives the bar, its way and where bands hang; its own bands and plates are replaced. Every band is tried in
    every arrangement the place allows, at each anchor height and distance of pegs given, with every load the plates
    make alike on both sides.

    \b
    Examples:
      bandcurve rig solve press.rig.toml *.profile.json --top 80 --bottom 60 --plates 20x4,10x2,5x2
      bandcurve rig solve squat.rig.toml B07 --top 140 --share 25% --share-of top --plates 20x6
      bandcurve rig solve here.rig.toml *.profile.json --like there.rig.toml --anchor-heights 80:580:50mm
    """
    from calib.use.rig.from_python import WITHIN

    shown = cast("Unit", shown_in(unit).force)
    loads = {"bottom": bottom, "top": top, "average": average}
    wished = {of: load_option(text, f"--{of}", shown) for of, text in loads.items() if text is not None}
    asked = _Asked(wished, share_wish(share, share_of, maximum, shown), like)
    tries = _Tries(
        arrangements_of(arrangements),
        several_lengths(anchor_heights, "--anchor-heights") if anchor_heights is not None else (),
        several_lengths(pegs_apart, "--pegs-apart") if pegs_apart is not None else (),
        owned := _plates(plates, shown, as_json=as_json),
        most,
        each_once,
        pairs,
        extrapolate,
        "kg" if as_json else shown,
    )
    stand_in(file, owned, shown)
    near = load_option(within, "--within", shown) if within is not None else WITHIN
    solved = _solved(file, bands or [], folder, asked, tries, near, few)
    return _answer(solved, file, out, shown, as_json, full)


def _plates(text: str | None, unit: "Unit", *, as_json: bool) -> "list[Plates] | None":
    """The plates there are: as said, or as last time if somebody at a terminal says so; None for those in the rig."""
    from calib.verbs.terminal.prompts import at_terminal, yes

    if text is None and at_terminal() and not as_json and (kept := plates_here(Path())):
        text = kept if yes(f"Plates as last time, {kept}? (n: those in the rig)", hint=PLATES_HINT) else None
    return plates_option(text, unit) if text is not None else None


def share_wish(share: str | None, of: str | None, maximum: str | None, unit: str) -> "Wish | None":
    """Read the share that is wanted, whose meaning has to be named."""
    if share is None:
        if of or maximum:
            raise UsageError("--share-of and --maximum belong to --share", remedy="give --share, for example 25%")
        return None
    from calib.use.rig.solve import Wish

    wanted = share_option(share)
    if of not in _SHARE_OF:
        said = "a share has several meanings" if of is None else f"--share-of {of[:40]!r} is not known"
        raise UsageError(said, remedy=f"name one with --share-of: {', '.join(_SHARE_OF)}")
    if (of == "maximum") != (maximum is not None):
        raise UsageError("--share-of maximum and --maximum go together", remedy="for example --maximum 140kg")
    return Wish(cast("Of", of), None, wanted, load_option(maximum, "--maximum", unit) if maximum else 0.0)


def arrangements_of(text: str | None) -> "Sequence[Arrangement]":
    """Read the arrangements to try; all of them where none are named."""
    from calib.use.rig.rig_file import Arrangement

    known: tuple[Arrangement, ...] = get_args(Arrangement)
    if text is None:
        return known
    named = [part.strip() for part in text.split(",")]
    for name in named:
        if name not in known:
            raise UsageError(f"--arrangements {name[:40]!r} is not known", remedy=f"use some of {','.join(known)}")
    return [name for name in known if name in named]


def _solved(
    file: Path, names: Sequence[str], folder: Path, asked: _Asked, tries: _Tries, within: float, few: int
) -> "SolveResult":
    """With the sound bands, and only where they do not reach what is wanted with those that are in doubt too."""
    from calib.use.rig.from_python import with_bands
    from calib.use.rig.plates import as_loaded, loadings
    from calib.use.rig.rig_files import named, read_rig
    from calib.use.rig.solve import Sought, solve
    from calib.use.rig.solve_place import hangings, place_of
    from calib.verbs.terminal.progress import Progress

    wishes = _wishes(asked)
    rig = read_rig(file)
    with named(file):
        place = place_of(rig)
        ways = hangings(place, tries.arrangements, tries.heights, tries.pegs)
    wishes = wishes or _loads_of(cast("Path", asked.like), tries.extrapolate)
    loads = loadings(tries.plates) if tries.plates else as_loaded(rig.bar.plates)
    choices = _choices(file, rig, names, folder, two_sides=len(place.slots) > 1)
    sought = Sought(
        place, (), ways, loads, wishes, within, tries.most, tries.each_once, few=few,
        extrapolate=tries.extrapolate, unit=tries.unit,
    )  # fmt: skip
    progress = Progress("Trying every band")
    try:
        for some in choices:
            named_here = with_bands(sought, some, partial(seen_from, file))
            solved = solve(with_pairs(named_here, tries.pairs), progress.tell)
            if solved.proposals:
                break
        return solved
    except DataError as error:
        raise error.placed_at(file.name) from None
    finally:
        progress.close()


def with_pairs(sought: "Sought", written: str | None) -> "Sought":
    """With left and right as they were named, or as `bandcurve pair` makes them; several a side need pairs."""
    if len(sought.place.slots) < 2 or (written is None and not (sought.each_once and sought.most > 1)):
        return sought
    if written in (None, "made"):
        from calib.use.rig.from_python import made_pairs

        return replace(sought, pairs=made_pairs(sought))
    names = [c.profile.band.id.lower() for c in sought.candidates]
    named = [_pair(part, names) for part in (written or "").split(",")]
    return replace(sought, pairs=tuple((names.index(a), names.index(b)) for a, b in named))


def _pair(text: str, names: Sequence[str]) -> tuple[str, ...]:
    found = tuple(part.strip().lower() for part in text.split("+"))
    if len(found) != 2 or found[0] == found[1]:
        raise UsageError(f"--pairs {text[:40]!r} is not two bands", remedy="write --pairs B07+B08,B03+B05, or made")
    gone = [name for name in found if name not in names]
    if gone:
        raise UsageError(f"--pairs names {gone[0][:40]!r}, which is not among the bands", remedy="name it as BAND too")
    return found


def _wishes(asked: _Asked) -> "list[Wish]":
    """What is wanted in so many words; empty where it is what another rig gives."""
    from calib.use.rig.solve import Wish

    wishes = [Wish(cast("Of", of), load) for of, load in asked.loads.items()] + ([asked.share] if asked.share else [])
    if bool(wishes) == bool(asked.like):
        raise UsageError(
            "no load is wanted" if not wishes else "--like cannot be combined with another wanted load",
            remedy="give --top, --bottom, --average or --share, or --like alone",
        )
    return wishes


def _loads_of(file: Path, extrapolate: bool) -> "list[Wish]":
    """The loads of another rig at its bottom and top, going up."""
    from calib.use.rig.rig_average import load_of
    from calib.use.rig.rig_files import worked_out
    from calib.use.rig.solve import Wish

    answer, _ = worked_out(file, extrapolate=extrapolate)
    if answer.up is None:
        raise DataError("its load going up is not known", where=file.name, remedy="measure the bands unloading")
    return [Wish(of, float(load_of(answer, answer.up, of).value[0])) for of in ("bottom", "top")]


def _choices(
    file: Path, rig: "Rig", names: Sequence[str], folder: Path, *, two_sides: bool
) -> "Sequence[Sequence[Found]]":
    """The bands to choose from: the sound ones, then all of them; what speaks against one is said.

    Of several profiles of one band the newest is taken, and a retired band is left out; both are said.
    """
    from calib.use.bands.lookup import Lookup
    from calib.use.rig.from_python import tiers
    from calib.use.rig.rig_files import bands_of

    if len(set(names)) > _MOST_PROFILES:
        raise UsageError(f"{len(set(names))} bands are given", remedy=f"give at most {_MOST_PROFILES}")
    found = Lookup(folder).find_all(names) if names else list({f.path: f for f in bands_of(rig, file)}.values())
    for one in found:
        say_doubts(one.findings)
    return tiers(found, file, two_sides=two_sides)


def seen_from(file: Path, path: Path) -> str:
    """A profile's name as a rig file writes it."""
    return os.path.relpath(path.resolve(), file.resolve().parent).replace(os.sep, "/")


def _answer(solved: "SolveResult", file: Path, out: Path | None, unit: "Unit", as_json: bool, full: bool) -> int:
    from calib.use.report.solve_views import solve_view, too_far_text
    from calib.use.rig.rig_answers import proposed, solve_answer
    from calib.use.rig.rig_hold import hold_number

    holds = [hold_number(p.rig, p.profiles, extrapolate=solved.sought.extrapolate) for p in solved.proposals]
    answer = replace(solve_answer(solved, holds), file=str(out) if out else None)
    if not solved.proposals:
        said = too_far_text(answer, proposed(solved.nearest, None), SHOWN[unit])
        raise DataError(said, where=file.name, remedy=_other_ways(solved))
    if out is not None:
        _write(solved, answer, file, out, SHOWN[unit])
    give(answer, solve_view(answer, SHOWN[unit]), as_json=as_json, full=full)
    return 0


def _other_ways(solved: "SolveResult") -> str:
    """What may bring the load within reach, as far as it was not tried."""
    ways = {
        "other plates": len(solved.sought.loads.totals) == 1,
        "more bands a side (--most 2)": solved.sought.most == 1,
        "other anchor heights (--anchor-heights)": len({w.anchor_height for w in solved.sought.ways}) == 1,
    }
    named = [words for words, left in ways.items() if left] or ["other bands"]
    return f"ask for that, or try {', '.join(named)}, or allow more with --within"


def _write(solved: "SolveResult", answer: "SolveAnswer", file: Path, out: Path, shown: Shown) -> None:
    from calib.safe_write import write_new
    from calib.use.report.solve_views import wish_text
    from calib.use.rig.rig_written import rig_toml

    rig = solved.proposals[0].rig
    bands = tuple(replace(b, profile=seen_from(out, file.parent / b.profile)) for b in rig.band)
    wanted = " and ".join(wish_text(wish, shown) for wish in answer.wanted)
    notes = (f"Worked out by bandcurve for {wanted}, going up.",)
    write_new(out, rig_toml(replace(rig, band=bands), notes).encode())
