"""Who hangs what, on one page for the wall: the plan of one day's exercise, a line a lifter."""

from calib.units import SHOWN, Shown
from calib.use.answers.lineup import LineupDay, LineupTurn
from calib.use.paper.wall_page import Kind, WallPage, wall_sheet
from calib.use.report.layout import clean, sentence
from calib.use.report.rig_views import REMINDER
from calib.use.report.sheet import Paper
from calib.use.report.solve_views import cautions_of, plates_text, wanted_loads
from calib.use.report.view import load, other_units

MOST = 24  # lifters on a page
NOTE = "Going up. ± 95 %: one set on another day. Check: what a scale in place of the bar shows, left / right."


def plan_sheet(
    day: LineupDay, name: str, leads_to: str, kind: Kind, paper: Paper = "a4", shown: Shown = SHOWN["kg"]
) -> bytes:
    """Draw the page.

    Args:
        day: The plan, at most 24 lifters.
        name: What stands above it.
        leads_to: What the code says.
        kind: "pdf", "png" or "html".
        paper: "a4" or "letter".
        shown: Units that come first.
    """
    return wall_sheet(_page(day, name, leads_to, shown), None, kind, paper)


def _page(day: LineupDay, name: str, leads_to: str, shown: Shown) -> WallPage:
    also, force = other_units(shown), shown.force
    hung = {(b.arrangement, b.hangs_from) for t in day.turns if t.proposal for b in t.proposal.bands}
    ways = "; ".join(f"{arrangement}, from {source}" for arrangement, source in sorted(hung))
    said: dict[str, str] = {}
    for turn in day.turns:
        for one in cautions_of(turn.proposal) if turn.proposal else ():
            said.setdefault(one.code, sentence(f"{turn.lifter}: {one.text}"))
    return WallPage(
        name=name,
        under=(ways, f"{day.moves} changes of a band or an anchor, each side by itself"),
        leads_to=leads_to,
        headers=("lifter", "left", "right", f"hole {shown.length}", f"a side {force}", f"bottom {force}",
                 f"top {force}", f"top {also.force}", f"± {force}", f"check {force}"),
        rows=tuple(_row(turn, shown, also) for turn in day.turns),
        table_note=NOTE,
        notes=(REMINDER, *said.values(), *(f"{t.lifter}: {t.error}." for t in day.turns if t.error)),
        foot=f"Code: {leads_to}. Made with bandcurve.",
    )  # fmt: skip


def _row(turn: LineupTurn, shown: Shown, also: Shown) -> tuple[str, ...]:
    plan, name = turn.proposal, clean(turn.lifter, 24)
    if plan is None:
        return (name, *["-"] * 9)
    left, right = (" ".join(b.band for b in plan.bands if b.side in (side, "both")) for side in ("left", "right"))
    top = plan.loads["top"].bar_load_kg
    known = max(one.u95_next_set_kg for one in wanted_loads(plan, turn.wanted))
    pulls = [load(side.pull_kg, shown) for side in plan.check_number.sides.values()] if plan.check_number else ["-"]
    return (
        name,
        left or "-",
        right or "-",
        " ".join(dict.fromkeys(shown.tape(b.anchor_height_m)[:-1] for b in plan.bands)),
        plates_text(plan.plates_a_side_kg, shown).replace(" + ", "+").replace(" x ", "x"),
        load(plan.loads["bottom"].bar_load_kg, shown),
        load(top, shown),
        load(top, also, 0 if also.force == "lb" else 1),
        load(known, shown),
        " / ".join(dict.fromkeys(pulls)),
    )
