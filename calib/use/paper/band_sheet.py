"""A band on one page for the wall: what it pulls at round lengths, out and back, its curve, what to mind."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from calib.profile.document import Profile
from calib.profile.table import BRANCHES
from calib.units import SHOWN, Shown
from calib.use.answers.bands import CurveAnswer, CurveRow
from calib.use.bands.curve_answer import table_lengths
from calib.use.paper.wall_page import Kind, WallPage, wall_sheet
from calib.use.report.layout import sentence
from calib.use.report.sheet import Paper
from calib.use.report.view import other_units

if TYPE_CHECKING:
    from matplotlib.figure import Figure

ROWS = 9
CAUTIONS = (
    "Look the band over first. Nick, crack, sticky spot: throw it away. Eyes covered, nobody in line.",
    "Never go beyond the longest length above. Let it in slowly; never let go. The rules of your place come first.",
)
LIMITS = "± 95 %: what one set on another day may differ by. Loading: stretching. Unloading: letting in."


def band_sheet(
    profile: Profile, answer: CurveAnswer, leads_to: str, kind: Kind, paper: Paper = "a4", shown: Shown = SHOWN["kg"]
) -> bytes:
    """Draw a band's page.

    Args:
        profile: The curve.
        answer: The same as an answer, its table at `sheet_lengths`.
        leads_to: What the code says.
        kind: "pdf", "png" or "html".
        paper: "a4" or "letter".
        shown: Units that come first.
    """
    return wall_sheet(
        _page(answer, leads_to, shown), lambda figure, place: _curve(figure, place, profile, shown), kind, paper
    )


def sheet_lengths(profile: Profile, shown: Shown) -> list[float]:
    """Half-path lengths of the page's table. [m]"""
    return table_lengths(profile, shown, ROWS)


def _page(answer: CurveAnswer, leads_to: str, shown: Shown) -> WallPage:
    also, day = other_units(shown), f"measured {answer.day}" if answer.day else "date not recorded"
    flat = " / ".join(f"{s.tape(answer.flat_length_m)} {s.length}" for s in (shown, also))
    taped = "tape" if answer.half_path_less_tape_m is not None else "half-path"
    out, back = ("out", "back")
    headers = (f"{taped} {shown.length}", f"{taped} {also.length}", f"{out} {shown.force}", f"{out} {also.force}",
               f"± {shown.force}", f"{back} {shown.force}", f"{back} {also.force}")  # fmt: skip
    return WallPage(
        name=answer.band or "",
        under=(day, f"flat {flat}", *((answer.note,) if answer.note else ())),
        leads_to=leads_to,
        headers=headers,
        rows=tuple(_row(row, shown, also) for row in answer.table),
        table_note=LIMITS,
        notes=(*CAUTIONS, *(f"{sentence(f.text)} {f.do}" for f in answer.findings[:4])),
        foot=f"Code: {leads_to}. Made with bandcurve; lengths outside this table were not tested.",
    )


def _row(row: CurveRow, shown: Shown, also: Shown) -> tuple[str, ...]:
    at = row.length_m if row.tape_m is None else row.tape_m
    out, back = row.loading, row.unloading
    return (
        shown.tape(at)[:-1],
        also.tape(at)[:-1],
        shown.pull(out.force_N, 1) if out else "-",
        also.pull(out.force_N, 0 if also.force == "lb" else 1) if out else "-",
        shown.pull(out.u95_next_set_N, 1) if out else "-",
        shown.pull(back.force_N, 1) if back else "-",
        also.pull(back.force_N, 0 if also.force == "lb" else 1) if back else "-",
    )


def _curve(figure: "Figure", place: Sequence[float], profile: Profile, shown: Shown) -> None:
    from calib.use.report.figures import LOOKS

    axes = figure.add_axes((place[0], place[1], place[2], place[3]))
    offset = profile.half_path_less_tape or 0.0
    for name in BRANCHES:
        branch = profile.branch(name)
        if branch is not None:
            look, x = LOOKS[name], [(v - offset) / shown.metre for v in branch.length_m]
            low = [(f - u) / shown.newton for f, u in zip(branch.force_N, branch.u95_N, strict=True)]
            high = [(f + u) / shown.newton for f, u in zip(branch.force_N, branch.u95_N, strict=True)]
            words = {"loading": "out", "unloading": "back"}[name]
            axes.fill_between(x, low, high, color=look.colour, alpha=0.25, linewidth=0)
            force = [f / shown.newton for f in branch.force_N]
            axes.plot(x, force, look.line, color=look.colour, linewidth=2.2, label=words)
    axes.set_ylim(bottom=0)
    axes.set_xlabel(f"tape [{shown.length}]" if profile.half_path_less_tape is not None else f"[{shown.length}]")
    axes.set_ylabel(f"pull [{shown.force}]")
    axes.grid(color="#D8D8D8", linewidth=0.6)
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(frameon=False, fontsize=12)
