"""`bandcurve lineup`: one plan for several lifters, of the bands, holes and plates there are."""

import sys
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

from calib.errors import DataError, FileError, UsageError
from calib.units import SHOWN
from calib.verbs.rig.solve_options import UNIT_HELP_ALSO, plates_option, several_lengths
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.answer import FULL_HELP, give
from calib.verbs.terminal.band_argument import FolderOption
from calib.verbs.terminal.quantities import shown_in

if TYPE_CHECKING:
    from calib.units import Shown
    from calib.use.answers.lineup import LineupAnswer
    from calib.use.bands.lookup import Found
    from calib.use.lineup.lifters_table import Turn
    from calib.use.lineup.lineup import Lineup
    from calib.use.paper.wall_page import Kind
    from calib.use.report.rig_words import Unit
    from calib.use.report.sheet import Paper
    from calib.use.rig.plates import Plates
    from calib.use.rig.solve import Sought
    from calib.use.rig.solve_place import RigPlace
    from calib.verbs.terminal.progress import Progress

END = ".rig.toml"


def command(
    table: Annotated[Path, typer.Argument(metavar="TABLE", help="Lifters, heights, wanted loads: .csv or .toml.")],
    bands: Annotated[
        list[str] | None, typer.Argument(metavar="BAND", help="The bands there are; all of the folder if none.")
    ] = None,
    rig: Annotated[
        Path | None, typer.Option("--rig", metavar="RIG", help="The place; else each exercise has EXERCISE.rig.toml.")
    ] = None,
    plates: Annotated[
        str | None, typer.Option(metavar="LIST", help="Plates that exist, 20x4,10x2; those of the rig if not given.")
    ] = None,
    anchor_heights: Annotated[
        str | None, typer.Option(metavar="LIST", help="Holes: 80,130mm or first:last:step, 80:580:50mm.")
    ] = None,
    pegs_apart: Annotated[str | None, typer.Option(metavar="LIST", help="Distances of two pegs.")] = None,
    arrangements: Annotated[
        str | None, typer.Option(metavar="LIST", help="Only these: straight,doubled,choked,spread,across.")
    ] = None,
    pairs: Annotated[
        str | None, typer.Option(metavar="LIST", help="Left and right: B07+B08,B03+B05; else as pair makes them.")
    ] = None,
    most: Annotated[int, typer.Option(min=1, max=3, help="Bands on a side, at most.")] = 1,
    extrapolate: Annotated[
        bool, typer.Option("--extrapolate", help="Go beyond the tested lengths, marked, with wider limits.")
    ] = False,
    sheet: Annotated[
        Path | None, typer.Option("--sheet", metavar="FILE", help="A page for the wall too: a new .pdf, .png or .html.")
    ] = None,
    paper: Annotated[str, typer.Option(metavar="SIZE", help="Of that page: a4 or letter.")] = "a4",
    folder: FolderOption = Path(),
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP_ALSO)] = "kg",
    full: Annotated[bool, typer.Option("--full", help=FULL_HELP)] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of words.")] = False,
) -> int:
    """Plan an evening: who hangs which bands, how, in which hole, with which plates.

    TABLE has a line a lifter: lifter,bottom_mm,top_mm,want_bottom_kg,want_top_kg and, if you like, want_average_kg,
    want_share_of_top, order, day, exercise. Bands stay on from one lifter to the next where that costs nothing.

    \b
    Examples:
      bandcurve lineup evening.csv --rig squat.rig.toml --plates 20x4,10x4,5x2,2.5x2
      bandcurve lineup evening.csv --rig squat.rig.toml --plates 20x4,10x4 --sheet evening.pdf
      bandcurve lineup week.csv --plates 20x4,10x4,5x2 --anchor-heights 80:430:50mm --most 2
      bandcurve lineup evening.csv B01 B02 B03 B04 --rig squat.rig.toml --pairs B01+B03,B02+B04 --json
    """
    from calib.safe_read import read_capped
    from calib.use.lineup.lifters_table import CAP_BYTES, parse_lifters
    from calib.use.lineup.lineup_answers import lineup_answer, lineup_view

    shown = cast("Unit", shown_in(unit).force)
    turns = parse_lifters(read_capped(table, CAP_BYTES), table.name)
    if sheet is not None:
        _check_sheet(sheet, paper, turns)
    kept, left = _box(bands or [], folder)
    box = _Box(
        kept,
        pairs,
        plates_option(plates, shown) if plates is not None else None,
        several_lengths(anchor_heights, "--anchor-heights") if anchor_heights is not None else (),
        several_lengths(pegs_apart, "--pegs-apart") if pegs_apart is not None else (),
        arrangements,
        most,
        extrapolate,
        "kg" if as_json else shown,
    )
    lineups, used = _planned(turns, rig, table, box)
    answer = lineup_answer(lineups, used, [*left, *_not_paired(kept, used)])
    if sheet is not None:
        _write_sheet(answer, sheet, cast("Paper", paper), table.name, SHOWN[shown])
    give(answer, lineup_view(answer, SHOWN[shown]), as_json=as_json, full=full)
    return 0 if any(one.proposal for lineup in lineups for one in lineup.turns) else 1


def _check_sheet(sheet: Path, paper: str, turns: "Sequence[Turn]") -> None:
    """Say at once what would fail after the work."""
    from calib.use.paper.plan_sheet import MOST
    from calib.use.paper.wall_page import KINDS

    if paper not in ("a4", "letter"):
        raise UsageError(f"--paper {paper!r} is not a size", remedy="a4 or letter")
    if sheet.suffix.lower().removeprefix(".") not in KINDS:
        raise UsageError(f"--sheet {sheet.name}: not a kind of sheet", remedy="end its name in .pdf, .png or .html")
    if sheet.exists():
        raise FileError("is there already and is not overwritten", where=str(sheet), remedy="choose another name")
    chains = len({(turn.day, turn.exercise) for turn in turns})
    if chains > 1:
        raise UsageError(
            f"--sheet is for one exercise of one day, and {chains} are planned", remedy="plan it by itself"
        )
    if len(turns) > MOST:
        raise UsageError(f"{len(turns)} lifters do not fit on a page", remedy=f"give at most {MOST} at a time")


def _write_sheet(answer: "LineupAnswer", sheet: Path, paper: "Paper", of: str, shown: "Shown") -> None:
    from calib.safe_write import write_new
    from calib.use.paper.plan_sheet import plan_sheet

    day = answer.days_planned[0]
    name = " ".join(filter(None, (day.day_named, day.exercise))) or of.rpartition(".")[0]
    kind = cast("Kind", sheet.suffix.lower().removeprefix("."))
    write_new(sheet, plan_sheet(day, name, of, kind, paper, shown))
    print(f"Sheet written to {sheet}.", file=sys.stderr)


class _Box:
    """What there is to hang."""

    def __init__(
        self, bands: "Sequence[Found]", pairs: str | None, plates: "Sequence[Plates] | None", heights: Sequence[float],
        pegs: Sequence[float], arrangements: str | None, most: int, extrapolate: bool, unit: "Unit",
    ) -> None:  # fmt: skip
        self.bands, self.pairs, self.plates, self.heights, self.pegs = bands, pairs, plates, heights, pegs
        self.arrangements, self.most, self.extrapolate, self.unit = arrangements, most, extrapolate, unit


def _box(names: Sequence[str], folder: Path) -> "tuple[list[Found], list[tuple[str, str]]]":
    """The bands that may be used, and those left out with why."""
    from calib.use.bands.lookup import DOUBTFUL, Lookup

    lookup = Lookup(folder)
    known = names or [band.address for band in lookup.register().bands if band.calibrations]
    kept, left = list["Found"](), list[tuple[str, str]]()
    for found in lookup.find_all(known):
        if found.is_retired or found.is_doubtful:
            said = [f.text for f in found.findings if f.code in (*DOUBTFUL, "box-verdict")]
            said += [f.text for f in found.profile.findings if f.code in DOUBTFUL]
            left.append((found.name, f"left out: {'; '.join(dict.fromkeys(said))}"))
        else:
            kept.append(found)
    if not kept:
        raise DataError("no band is left to hang", where=str(folder), remedy="measure some, or name others")
    return kept, left


def _planned(
    turns: "Sequence[Turn]", rig: Path | None, table: Path, box: _Box
) -> "tuple[list[Lineup], list[tuple[str, str]]]":
    from itertools import groupby

    from calib.use.lineup.lineup import line_up
    from calib.verbs.terminal.progress import Progress

    chains = [list(chain) for _, chain in groupby(turns, key=lambda t: (t.day, t.exercise))]
    progress, lineups, used = Progress("Planning"), [], dict[tuple[str, str], None]()
    try:
        for n, chain in enumerate(chains):
            sought = _sought(_rig_of(chain[0], rig, table), box)
            named = [c.profile.band.id for c in sought.candidates]
            used |= dict.fromkeys((named[a], named[b]) for a, b in sought.pairs or ())
            lineups.append(line_up(sought, chain, partial(_tell, progress, n, len(chains))))
    finally:
        progress.close()
    return lineups, list(used)


def _not_paired(bands: "Sequence[Found]", used: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    """Bands that are alone in their box and hang nowhere on two sides, each with why."""
    there = {band for pair in used for band in pair}
    return [
        (one.name, "; ".join(f.text for f in one.findings if f.code == "box-verdict"))
        for one in bands
        if used and one.is_alone and one.profile.band.id not in there
    ]


def _tell(progress: "Progress", n: int, of: int, part: float) -> None:
    progress.tell((n + part) / of)


def _rig_of(turn: "Turn", rig: Path | None, table: Path) -> Path:
    """The place of an exercise: the one named, or the rig file of its name beside the table."""
    if rig is not None:
        return rig if rig.suffix or rig.exists() else Path(f"{rig}{END}")
    if not turn.exercise:
        raise UsageError("no place is named", remedy="give --rig squat.rig.toml, or a column exercise")
    from calib.identity import check_id

    return table.parent / f"{check_id(turn.exercise)}{END}"


def _sought(file: Path, box: _Box) -> "Sought":
    from calib.use.rig.from_python import made_pairs, with_bands
    from calib.use.rig.plates import as_loaded, loadings
    from calib.use.rig.rig_files import named, read_rig
    from calib.use.rig.solve import Sought
    from calib.use.rig.solve_place import hangings, place_of
    from calib.verbs.rig.rig_solve import arrangements_of, seen_from, with_pairs

    rig = read_rig(file)
    with named(file):
        place = place_of(rig)
        tried = arrangements_of(box.arrangements)
        if box.arrangements is None:  # a hitch nobody measured is known too badly to plan with
            tried = [a for a in tried if a != "choked" or _is_measured(place)]
        ways = hangings(place, tried, box.heights, box.pegs)
    loads = loadings(box.plates) if box.plates else as_loaded(rig.bar.plates)
    sought = Sought(place, (), ways, loads, (), 0.0, box.most, extrapolate=box.extrapolate, unit=box.unit)
    sought = with_bands(sought, box.bands, partial(seen_from, file))
    if len(place.slots) < 2:
        return sought
    if len(box.bands) < 2:
        raise DataError("one band cannot hang on both sides", where=file.name, remedy="measure a second one")
    if box.pairs is not None:
        return with_pairs(sought, box.pairs)
    return replace(sought, pairs=made_pairs(sought))


def _is_measured(place: "RigPlace") -> bool:
    return all(slot.arrangement == "choked" and slot.slack_length is not None for slot in place.slots)
