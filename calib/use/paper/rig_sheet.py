"""A rig's wall card: what each height gives, up and down, left and right, plates, the check number, what to mind."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from calib.units import POUND, SHOWN, Shown
from calib.use.answers.rigs import RigAnswer, RigWay
from calib.use.paper.wall_page import Kind, WallPage, wall_sheet
from calib.use.report.layout import sentence
from calib.use.report.rig_figures import draw_load, draw_sides, used_words
from calib.use.report.rig_views import REMINDER, URGENT
from calib.use.report.sheet import Paper
from calib.use.report.view import load, other_units

if TYPE_CHECKING:
    from matplotlib.figure import Figure

ROWS = 6
NOTE = "± 95 %: what one set on another day may differ by. Left and right: what the bands of that side pull down."


def rig_sheet(
    answer: RigAnswer,
    name: str,
    check_number: str,
    leads_to: str,
    kind: Kind,
    paper: Paper = "a4",
    shown: Shown = SHOWN["kg"],
) -> bytes:
    """Draw a rig's wall card.

    Args:
        answer: What the rig does.
        name: Of the rig.
        check_number: What a scale in place of the bar shows, in a sentence.
        leads_to: What the code says.
        kind: "pdf", "png" or "html".
        paper: "a4" or "letter".
        shown: Units that come first.
    """
    page = _page(answer, name, check_number, leads_to, shown)
    return wall_sheet(page, lambda figure, place: _picture(figure, place, answer, shown), kind, paper)


def _page(answer: RigAnswer, name: str, check_number: str, leads_to: str, shown: Shown) -> WallPage:
    also, first = other_units(shown), answer.up or answer.down
    plates = f"bar and plates {load(answer.bar_and_plates_kg, shown)} {shown.force} / "
    plates += f"{load(answer.bar_and_plates_kg, also)} {also.force}"
    sides = [f"{side}: {_side(answer, side)}" for side in ("left", "right", "both") if _side(answer, side)]
    count = len(answer.heights_m)
    places = sorted({round(i * (count - 1) / (ROWS - 1)) for i in range(ROWS)})
    first_said = (*URGENT, "band-lets-go")
    urgent = sorted(answer.findings, key=lambda f: f.code not in first_said)
    return WallPage(
        name=name,
        under=(plates, *sides),
        leads_to=leads_to,
        headers=(f"bar at {shown.length}", f"up {shown.force}", f"up {also.force}", f"± {shown.force}",
                 f"down {shown.force}", f"down {also.force}", f"left {shown.force}", f"right {shown.force}"),
        rows=tuple(_row(answer, first, i, shown, also) for i in places) if first else (),
        table_note=NOTE,
        notes=(check_number, REMINDER, *(f"{sentence(f.text)} {f.do}" for f in urgent[:5])),
        foot=f"Bands measured: {used_words(answer)}. Code: {leads_to}.",
    )  # fmt: skip


def _side(answer: RigAnswer, side: str) -> str:
    return ", ".join(f"{b.band} {b.arrangement}, from {b.hangs_from}" for b in answer.used if b.side == side)


def _row(answer: RigAnswer, first: RigWay, i: int, shown: Shown, also: Shown) -> tuple[str, ...]:
    weight = answer.gravity_m_s2 * (1.0 if shown.force == "kg" else POUND)
    sides = (f"{first.sides[side].vertical_N[i] / weight:.1f}" for side in ("left", "right"))
    return (
        shown.tape(answer.heights_m[i])[:-1],
        *_loads(answer.up, i, shown, also),
        load(first.u95_next_set_kg[i], shown),
        *_loads(answer.down, i, shown, also),
        *sides,
    )


def _loads(way: RigWay | None, i: int, shown: Shown, also: Shown) -> tuple[str, str]:
    if way is None:
        return "-", "-"
    return load(way.bar_load_kg[i], shown), load(way.bar_load_kg[i], also, 0 if also.force == "lb" else 1)


def _picture(figure: "Figure", place: Sequence[float], answer: RigAnswer, shown: Shown) -> None:
    left, bottom, width, height = place
    draw_load(figure.add_axes((left, bottom, 0.55 * width, height - 0.01)), answer, shown)
    draw_sides(figure.add_axes((left + 0.63 * width, bottom, 0.37 * width, height - 0.01)), answer, shown)
