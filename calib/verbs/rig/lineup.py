"""`bandcurve lineup`: one plan for several lifters, of the bands, holes and plates there are."""

import sys
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

from calib.errors import DataError, FileError, UsageError, printable
from calib.units import SHOWN
from calib.verbs.rig.rig_group import END
from calib.verbs.rig.solve_options import UNIT_HELP_ALSO, plates_option, several_lengths
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.answer import FULL_HELP, give
from calib.verbs.terminal.band_argument import FolderOption
from calib.verbs.terminal.plain_text import complaint
from calib.verbs.terminal.quantities import paper_size, shown_in

if TYPE_CHECKING:
    from calib.units import Shown, Unit
    from calib.use.answers.lineup import LineupAnswer
    from calib.use.bands.lookup import Found
    from calib.use.lineup.evening import Box
    from calib.use.lineup.lifters_table import Turn
    from calib.use.paper.wall_page import Kind
    from calib.use.report.sheet import Paper
    from calib.verbs.terminal.progress import Progress


def command(
    table: Annotated[Path, typer.Argument(metavar="TABLE", help="Lifters, heights, wanted loads: .csv or .toml.")],
    bands: Annotated[
        list[str] | None, typer.Argument(metavar="BAND", help="Bands to use; default: all in the folder.")
    ] = None,
    rig: Annotated[
        Path | None, typer.Option("--rig", metavar="RIG", help="The rig; default: EXERCISE.rig.toml for each exercise.")
    ] = None,
    plates: Annotated[
        str | None, typer.Option(metavar="LIST", help="Plates you have, 20x4,10x2; default: those of the rig.")
    ] = None,
    anchor_heights: Annotated[
        str | None, typer.Option(metavar="LIST", help="Holes: 80,130mm or first:last:step, 80:580:50mm.")
    ] = None,
    pegs_apart: Annotated[str | None, typer.Option(metavar="LIST", help="Distances of two pegs.")] = None,
    arrangements: Annotated[
        str | None, typer.Option(metavar="LIST", help="Only these: straight,doubled,choked,spread,across.")
    ] = None,
    pairs: Annotated[
        str | None, typer.Option(metavar="LIST", help="Left and right: B07+B08,B03+B05; default: as pair makes them.")
    ] = None,
    most: Annotated[int, typer.Option(min=1, max=3, help="Bands on a side, at most.")] = 1,
    extrapolate: Annotated[
        bool, typer.Option("--extrapolate", help="Go beyond the tested lengths (marked, with wider limits).")
    ] = False,
    sheet: Annotated[
        Path | None,
        typer.Option("--sheet", metavar="FILE", help="Also write a page for the wall: a new .pdf, .png or .html."),
    ] = None,
    paper: Annotated[str, typer.Option(metavar="SIZE", help="Of that page: a4 or letter.")] = "a4",
    folder: FolderOption = Path(),
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP_ALSO)] = "kg",
    full: Annotated[bool, typer.Option("--full", help=FULL_HELP)] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")] = False,
) -> int:
    """Plan a session: who uses which bands and plates, hung how and in which hole.

    TABLE has a line per lifter: lifter,bottom_mm,top_mm,want_bottom_kg,want_top_kg and, if you like, want_average_kg,
    want_share_of_top, order, day, exercise. Bands stay on from one lifter to the next where that costs nothing.

    \b
    Examples:
      bandcurve lineup evening.csv --rig squat.rig.toml --plates 20x4,10x4,5x2,2.5x2
      bandcurve lineup evening.csv --rig squat.rig.toml --plates 20x4,10x4 --sheet evening.pdf
      bandcurve lineup week.csv --plates 20x4,10x4,5x2 --anchor-heights 80:430:50mm --most 2
      bandcurve lineup evening.csv B01 B02 B03 B04 --rig squat.rig.toml --pairs B01+B03,B02+B04 --json
    """
    from calib.safe_read import read_capped
    from calib.use.lineup.evening import Box, not_paired, plan_evening, sought_in
    from calib.use.lineup.lifters_table import CAP_BYTES, parse_lifters
    from calib.use.lineup.lineup_answers import lineup_answer, lineup_view
    from calib.verbs.rig.rig_solve import arrangements_of, seen_from, with_pairs

    shown = cast("Unit", shown_in(unit).force)
    size = paper_size(paper)
    turns = parse_lifters(read_capped(table, CAP_BYTES), table.name)
    if sheet is not None:
        _check_sheet(sheet, turns)
    rig = rig or _asked_place(turns, as_json=as_json)
    kept, left = _sound_bands(folder, bands or [])
    box = Box(
        kept,
        plates_option(plates, shown) if plates is not None else None,
        several_lengths(anchor_heights, "--anchor-heights") if anchor_heights is not None else (),
        several_lengths(pegs_apart, "--pegs-apart") if pegs_apart is not None else (),
        arrangements_of(arrangements) if arrangements is not None else None,
        most,
        extrapolate,
        "kg" if as_json else shown,
    )
    pair = partial(with_pairs, written=pairs) if pairs is not None else None
    progress = _begun(box)
    try:
        lineups, used = plan_evening(
            turns, lambda turn: sought_in(_rig_of(turn, rig, table), box, seen_from, pair), progress.tell
        )
    finally:
        progress.close()
    answer = lineup_answer(lineups, used, [*left, *not_paired(kept, used)])
    if sheet is not None:
        _write_sheet(answer, sheet, size, table.name, SHOWN[shown])
    give(answer, lineup_view(answer, SHOWN[shown]), as_json=as_json, full=full)
    return 0 if any(one.proposal for lineup in lineups for one in lineup.turns) else 1


def _asked_place(turns: "Sequence[Turn]", *, as_json: bool) -> Path | None:
    """The rig for exercises that name none, asked at a terminal; None where it need not or cannot be."""
    from calib.verbs.rig.rig_place import rigs_here
    from calib.verbs.terminal.prompts import at_terminal, choose, prepare, say

    rigs = [] if as_json or all(turn.exercise for turn in turns) or not at_terminal() else rigs_here(Path())
    if len(rigs) < 2:
        return Path(rigs[0]) if rigs else None
    prepare()
    say(*(f"  {i + 1}  {name}" for i, name in enumerate(rigs)))
    return Path(choose("In which rig?", rigs, hint="The place: its bar, its rack, and where the bands hang."))


def _sound_bands(folder: Path, names: list[str]) -> "tuple[list[Found], list[tuple[str, str]]]":
    """The bands there are, and those left out with why."""
    from calib.use.bands.lookup import Lookup
    from calib.use.lineup.evening import sound_bands

    try:
        return sound_bands(Lookup(folder), names)
    except DataError as error:
        raise error.placed_at(str(folder)) from None


def _check_sheet(sheet: Path, turns: "Sequence[Turn]") -> None:
    """Say at once what would fail after the work."""
    from calib.use.paper.plan_sheet import MOST
    from calib.use.paper.wall_page import KINDS

    if sheet.suffix.lower().removeprefix(".") not in KINDS:
        raise UsageError(f"--sheet {sheet.name}: not a kind of sheet", remedy="end its name in .pdf, .png or .html")
    if sheet.exists():
        raise FileError("is there already and is not overwritten", where=str(sheet), remedy="choose another name")
    chains = len({(turn.day, turn.exercise) for turn in turns})
    if chains > 1:
        raise UsageError(
            f"--sheet is for one exercise of one day, and {chains} are planned",
            remedy="plan one exercise and day at a time",
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
    print(f"Sheet written to {printable(sheet)}.", file=sys.stderr)


def _begun(box: "Box") -> "Progress":
    """What is told while it is worked out; first of plates without a twin, which hang on no side."""
    from calib.verbs.terminal.progress import Progress

    if box.plates:
        from calib.units import POUND
        from calib.use.rig.plates import loadings

        odd = loadings(box.plates).left_over
        if odd:
            of = ", ".join(f"{mass / (POUND if box.unit == 'lb' else 1.0):.4g}" for mass in odd)
            said = f"one plate of {of} {box.unit} has no twin and stays off: both sides are loaded equally"
            print(complaint(said), file=sys.stderr)
    return Progress("Planning")


def _rig_of(turn: "Turn", rig: Path | None, table: Path) -> Path:
    """The place of an exercise: the one named, or the rig file of its name beside the table."""
    if rig is not None:
        return rig if rig.suffix or rig.exists() else Path(f"{rig}{END}")
    if not turn.exercise:
        raise UsageError("no rig is named", remedy="give --rig squat.rig.toml, or a column exercise")
    from calib.identity import check_id

    return table.parent / f"{check_id(turn.exercise)}{END}"
