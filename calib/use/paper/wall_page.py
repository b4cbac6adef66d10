"""One page for the wall: heading, a table to be read at arm's length, a drawing, what to mind, a code to scan.

It is drawn once and comes as PDF, as PNG or as a page of HTML that holds the drawing as SVG with its text as text. The
same content gives the same bytes.
"""

import io
import warnings
from collections.abc import Callable, Sequence
from html import escape
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Literal

from calib.frozen import dataclass
from calib.use.report.labels import code
from calib.use.report.layout import clean
from calib.use.report.sheet import INK, LINE, MARGIN, PALE, PAPER, TINT, Page, Paper, blank_page

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Kind = Literal["pdf", "png", "html"]
KINDS: tuple[Kind, ...] = ("pdf", "png", "html")
CODE = 30.0  # [mm]
LETTERS = 102  # of 9 pt beside each other within the box
NOTE_LINE, ROW = 4.8, 8.4  # [mm]
SMALLEST, LARGEST = 18.0, 44.0  # [pt] letters of the name
MOST_NOTES = 15  # lines
_SETTINGS: Any = {
    "font.family": "DejaVu Sans",
    "svg.hashsalt": "bandcurve",
    "svg.fonttype": "none",
    "pdf.fonttype": 42,
    "text.parse_math": False,
}


@dataclass(frozen=True)
class WallPage:
    """What the page says."""

    name: str
    under: tuple[str, ...]  # lines below the name
    leads_to: str  # what the code says
    headers: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    table_note: str
    notes: tuple[str, ...]  # what to mind, the most urgent first
    foot: str


Draw = Callable[["Figure", Sequence[float]], None]  # given left, bottom, width and height as parts of the page


def wall_sheet(page: WallPage, draw: Draw | None, kind: Kind, paper: Paper) -> bytes:
    """Draw a page.

    Args:
        page: What it says.
        draw: Draws into a part of it; None leaves all of it to the table.
        kind: "pdf", "png" or "html".
        paper: "a4" or "letter".
    """

    def written(figure: "Figure", axes: "Axes") -> None:
        width, height = PAPER[paper]
        top, bottom = _written(Page(axes, width, height), page, drawn=draw is not None)
        if draw is not None:
            draw(figure, (MARGIN / width + 0.055, 1 - bottom / height + 0.035, 1 - 2 * MARGIN / width - 0.06,
                          (bottom - top) / height - 0.06))  # fmt: skip

    return one_page(written, page.name, kind, paper)


def one_page(draw: "Callable[[Figure, Axes], None]", name: str, kind: Kind, paper: Paper) -> bytes:
    """One page as a file, the same bytes each time.

    Args:
        draw: Draws on its axes, in millimetres from the upper left corner.
        name: The page's title.
        kind: "pdf", "png" or "html".
        paper: "a4" or "letter".
    """
    import calib.use.report.quiet_drawing  # noqa: F401

    # isort: split
    import matplotlib as mpl

    with mpl.rc_context(), warnings.catch_warnings():
        mpl.rcdefaults()
        mpl.rcParams.update(_SETTINGS)
        warnings.filterwarnings("ignore", message="Glyph .* missing")  # a name in a script the font lacks
        figure, axes = blank_page(paper)
        draw(figure, axes)
        return _saved(figure, kind, name)


def _saved(figure: "Figure", kind: Kind, name: str) -> bytes:
    out = io.BytesIO()
    if kind == "pdf":
        figure.savefig(out, format="pdf", metadata={"Title": clean(name), "CreationDate": None, "Producer": None})
    elif kind == "png":
        figure.savefig(out, format="png", dpi=150, metadata={"Software": None})
    else:
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": "bandcurve"})
        return _as_html(out.getvalue().decode("utf-8"), name)
    return out.getvalue()


def _as_html(svg: str, name: str) -> bytes:
    drawing = svg[svg.index("<svg") :]
    style = "body{margin:0;background:#fff}svg{width:100%;height:auto;max-width:60rem;display:block;margin:auto}"
    style += "h1{position:absolute;left:-99rem}"
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1"><link rel="icon" href="data:,">'
        f"<title>{escape(clean(name))}</title><style>{style}</style></head>\n"
        f"<body><main><h1>{escape(clean(name))}</h1>\n{drawing}</main></body></html>\n"
    ).encode()


def _written(sheet: Page, page: WallPage, *, drawn: bool) -> tuple[float, float]:
    """Everything but the drawing; gives the room left for that, from and to. [mm]"""
    y, bottom = _heading(sheet, page), _below(sheet, page)
    row = ROW if drawn else min(ROW, (bottom - y - 14) / max(len(page.rows), 1))
    return _table(sheet, page, y, row), bottom


def _heading(sheet: Page, page: WallPage) -> float:
    right = MARGIN + sheet.inner
    name = clean(page.name, 40)
    size = max(SMALLEST, min(LARGEST, 2.83 * (sheet.inner - CODE - 8) / (0.62 * len(name))))
    sheet.text(MARGIN, MARGIN + 8, name, size, bold=True)
    for i, line in enumerate(page.under):
        sheet.text(MARGIN, MARGIN + 19 + 5.6 * i, clean(line, 78), 11)
    code(sheet.axes, page.leads_to, right - CODE, MARGIN - 3, CODE)
    y = MARGIN + max(CODE - 2, 19 + 5.6 * len(page.under))
    sheet.rule(MARGIN, y, sheet.inner, 1.6)
    return y + 3


def _table(sheet: Page, page: WallPage, top: float, tall: float) -> float:
    """The table with rows so tall, its columns as wide as what stands in them; gives where it ends. [mm]"""
    longest = [max([len(row[i]) for row in page.rows], default=1) for i in range(len(page.headers))]
    need = [max(cells, 0.7 * len(head), 4.0) for cells, head in zip(longest, page.headers, strict=True)]
    wide = [sheet.inner * part / sum(need) for part in need]
    middle = [MARGIN + sum(wide[:i]) + wide[i] / 2 for i in range(len(wide))]
    sizes = [min(15.0, 1.8 * tall, 2.83 * (w - 1) / (0.66 * n)) for w, n in zip(wide, longest, strict=True)]
    for x, w, header in zip(middle, wide, page.headers, strict=True):
        sheet.text(x, top + 3, header, min(9.5, 2.83 * w / (0.6 * len(header))), ink=LINE, at="center")
    y = top + 6.5
    for r, row in enumerate(page.rows):
        if r % 2 == 0:
            sheet.box(MARGIN, y, sheet.inner, tall, fill=TINT, stroke=0.0)
        for i, cell in enumerate(row):
            sheet.text(middle[i], y + tall / 2 + 0.4, cell, sizes[i], bold=i == 0, at="center")
        y += tall
    sheet.text(MARGIN, y + 3.4, page.table_note, 8.5, ink=LINE)
    return y + 7


def _noted(notes: Sequence[str]) -> list[tuple[str, bool]]:
    """Notes as lines, each with whether a note begins there; those without room are counted, none is cut off."""
    lines: list[tuple[str, bool]] = []
    for n, note in enumerate(notes):
        own = [(line, i == 0) for i, line in enumerate(wrap(clean(note), LETTERS))]
        if len(lines) + len(own) > MOST_NOTES - 1:
            return [*lines, (f"And {len(notes) - n} more: see the screen or the report.", True)]
        lines += own
    return lines


def _below(sheet: Page, page: WallPage) -> float:
    lines = _noted(page.notes)
    y = sheet.height - MARGIN - 5 - NOTE_LINE * len(lines)
    top = y - 4
    if lines:
        sheet.box(MARGIN, top, sheet.inner, NOTE_LINE * len(lines) + 3.5, fill="white", stroke=1.2)
    for line, first in lines:
        if first:
            sheet.text(MARGIN + 2.5, y, "!", 10, bold=True)
        sheet.text(MARGIN + 6, y, line, 9.2, ink=INK)
        y += NOTE_LINE
    sheet.text(MARGIN, sheet.height - MARGIN + 2, clean(page.foot, 130), 7.5, ink=PALE)
    return top - 1
