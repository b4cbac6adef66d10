"""One rig for several lifters on one page for the wall: where each one's bar begins and ends, and the load there."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from calib.units import POUND, SHOWN, Shown
from calib.use.answers.rigs import LifterLoads, LiftersAnswer
from calib.use.paper.wall_page import Kind, WallPage, wall_sheet
from calib.use.report.layout import clean, sentence
from calib.use.report.rig_views import REMINDER, URGENT
from calib.use.report.sheet import Paper
from calib.use.report.view import load, other_units

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MOST = 14  # lifters on a page
LINES = ("-", "--", "-.", ":")
NOTE = "± 95 %: the most that one set on another day may differ by along the lift. Drawn: going up."


def lifters_sheet(
    answer: LiftersAnswer, name: str, leads_to: str, kind: Kind, paper: Paper = "a4", shown: Shown = SHOWN["kg"]
) -> bytes:
    """Draw the page.

    Args:
        answer: The lifters, at most 14; who cannot be told has a sentence below.
        name: Of the rig.
        leads_to: What the code says.
        kind: "pdf", "png" or "html".
        paper: "a4" or "letter".
        shown: Units that come first.
    """
    page = _page(answer, name, leads_to, shown)
    return wall_sheet(page, lambda figure, place: _picture(figure, place, answer.lifters, shown), kind, paper)


def _page(answer: LiftersAnswer, name: str, leads_to: str, shown: Shown) -> WallPage:
    also = other_units(shown)
    rigs = [one.rig for one in answer.lifters if one.rig]
    under = [f"bar and plates {load(r.bar_and_plates_kg, shown)} {shown.force} / {load(r.bar_and_plates_kg, also)} "
             f"{also.force}" for r in rigs[:1]]  # fmt: skip
    left_out = [f"{one.lifter}: {one.error}." for one in answer.lifters if one.error]
    return WallPage(
        name=name,
        under=(*under, "going up, at the bottom and at the top"),
        leads_to=leads_to,
        headers=("lifter", f"from {shown.length}", f"to {shown.length}", f"bottom {shown.force}", f"top {shown.force}",
                 f"top {also.force}", f"± {shown.force}"),
        rows=tuple(_row(one, shown, also) for one in answer.lifters),
        table_note=NOTE,
        notes=(REMINDER, *_urgent(answer.lifters), *left_out),
        foot=f"Code: {leads_to}.",
    )  # fmt: skip


def _urgent(lifters: Sequence[LifterLoads]) -> list[str]:
    """What to mind first, each kind once, for the first lifter it is true of."""
    said: dict[str, str] = {}
    for one in lifters:
        for found in one.rig.findings if one.rig else ():
            if found.code in (*URGENT, "band-lets-go"):
                said.setdefault(found.code, f"{one.lifter}: {sentence(found.text)} {found.do}")
    return list(said.values())


def _row(one: LifterLoads, shown: Shown, also: Shown) -> tuple[str, ...]:
    ends = (clean(one.lifter), shown.tape(one.bottom_m)[:-1], shown.tape(one.top_m)[:-1])
    way = one.rig.up if one.rig else None
    if way is None:
        return (*ends, "-", "-", "-", "-")
    return (
        *ends,
        load(way.bar_load_kg[0], shown),
        load(way.bar_load_kg[-1], shown),
        load(way.bar_load_kg[-1], also),
        load(max(way.u95_next_set_kg), shown),
    )


def _picture(figure: "Figure", place: Sequence[float], lifters: Sequence[LifterLoads], shown: Shown) -> None:
    axes = figure.add_axes((place[0], place[1], place[2], place[3]))
    one = 1.0 if shown.force == "kg" else POUND
    for n, lifter in enumerate(lifters):
        if lifter.rig is not None and lifter.rig.up is not None:
            heights = [h / shown.metre for h in lifter.rig.heights_m]
            loads = [v / one for v in lifter.rig.up.bar_load_kg]
            axes.plot(loads, heights, LINES[n % len(LINES)], color="#1A1A1A", linewidth=1.6)
            end, name = (loads[-1], heights[-1]), clean(lifter.lifter, 20)
            axes.annotate(name, end, (4, 2), textcoords="offset points", fontsize=10, parse_math=False)
    axes.margins(x=0.15)
    axes.set(xlabel=f"load on the bar [{shown.force}]", ylabel=f"height of the bar [{shown.length}]")
    axes.grid(color="#D8D8D8", linewidth=0.6)
    axes.spines[["top", "right"]].set_visible(False)
