"""A form to fill in by pen: planned lengths and a cell for each reading, on one page. Nothing is planned here."""

from collections.abc import Sequence
from io import BytesIO
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Literal

from calib.frozen import dataclass

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Paper = Literal["a4", "letter"]
PAPER: dict[Paper, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # [mm]
MARGIN = 15.0  # [mm]
INK, LINE, PALE, TINT = "#1a1a1a", "#333333", "#8a8a8a", "#eef1f4"
MOST_ROWS, MOST_CYCLES = 16, 4
TALLEST_ROW = 16.0  # [mm]
FOOT_LINE, FOOT_LETTERS = 5.5, 98  # [mm], letters that fit beside each other


@dataclass(frozen=True)
class Form:
    """What the page says."""

    band: str
    settings: tuple[str, ...]  # planned lengths or loads in words, rising
    setting_name: str  # "length, mm"
    reading_name: str  # "shown, kg"
    cycles: int
    way_back: bool
    dwell_s: float
    flat: str = ""  # what is known already, in words; empty boxes are filled in by pen
    thickness: str = ""
    width: str = ""
    remarks: tuple[str, ...] = ()
    command: str = ""  # what to type afterwards
    zero: bool = True  # hung weights need none


CAUTIONS = (
    "Look the band over for cracks and nicks; if in doubt, throw it away.",
    "Eyes covered, nobody in line with it. Anchor and strap must hold more than the band pulls.",
    "Never go beyond the longest length below. Let it in slowly; never let go.",
)


def form_pdf(form: Form, paper: Paper) -> bytes:
    """Draw the form.

    Args:
        form: What to print; at most 16 rows and 4 cycles go on a page, and the caller sees to it.
        paper: "a4" or "letter".

    Returns:
        A PDF of one page; the same form gives the same bytes.
    """
    figure, axes = blank_page(paper)
    _draw(Page(axes, *PAPER[paper]), form)
    out = BytesIO()
    figure.savefig(out, format="pdf", metadata={"Title": f"Form for band {form.band}", "CreationDate": None})
    return out.getvalue()


def blank_page(paper: Paper) -> "tuple[Figure, Axes]":
    """An empty page of a PDF and its axes, in millimetres from the upper left corner."""
    import calib.use.report.quiet_drawing  # noqa: F401

    # isort: split
    from matplotlib.backends.backend_pdf import FigureCanvasPdf
    from matplotlib.figure import Figure

    width, height = PAPER[paper]
    figure = Figure(figsize=(width / 25.4, height / 25.4))
    FigureCanvasPdf(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(0, width)
    axes.set_ylim(height, 0)
    axes.axis("off")
    return figure, axes


@dataclass(frozen=True)
class Page:
    """Pen strokes in millimetres."""

    axes: "Axes"
    width: float
    height: float

    @property
    def inner(self) -> float:
        """Width between the margins. [mm]"""
        return self.width - 2 * MARGIN

    def text(
        self, x: float, y: float, words: str, size: float, *, bold: bool = False, ink: str = INK, at: str = "left"
    ) -> None:
        """Words with their middle height at y."""
        weight = "bold" if bold else "normal"
        placed: dict[str, Any] = {"ha": at, "va": "center_baseline", "parse_math": False}
        self.axes.text(x, y, words, fontsize=size, color=ink, fontweight=weight, **placed)

    def box(self, x: float, y: float, width: float, height: float, *, fill: str = "white", stroke: float = 0.6) -> None:
        """A rectangle."""
        from matplotlib.patches import Rectangle

        corner = (x, y)
        self.axes.add_patch(Rectangle(corner, width, height, facecolor=fill, edgecolor=LINE, linewidth=stroke))

    def rule(self, x: float, y: float, length: float, stroke: float = 0.6) -> None:
        """A level line."""
        self.axes.plot([x, x + length], [y, y], color=LINE, linewidth=stroke, solid_capstyle="butt")


def _draw(page: Page, form: Form) -> None:
    y = _heading(page)
    y = _cautions(page, y)
    y = _about_the_band(page, form, y)
    foot = _foot_height(form)
    y = _table(page, form, y, page.height - MARGIN - foot)
    _foot(page, form, y)


def _heading(page: Page) -> float:
    page.text(MARGIN, MARGIN + 4, "Tension readings", 20, bold=True)
    right = MARGIN + page.inner
    page.text(right, MARGIN + 4, "Date ____________   By ____________", 11, at="right")
    page.rule(MARGIN, MARGIN + 10, page.inner, 1.6)
    return MARGIN + 14


def _cautions(page: Page, y: float) -> float:
    height = 6.0 * len(CAUTIONS) + 4
    page.box(MARGIN, y, page.inner, height, fill=TINT, stroke=0.0)
    for i, caution in enumerate(CAUTIONS):
        page.text(MARGIN + 4, y + 5 + 6 * i, f"{i + 1}  {caution}", 10)
    return y + height + 5


def _about_the_band(page: Page, form: Form, y: float) -> float:
    known = (("Band", form.band), ("Flat length", form.flat), ("Thickness", form.thickness), ("Width", form.width))
    labels = (*known, ("Scale", ""), ("Temperature", ""), ("Fittings, diameter", ""), ("Tape read between", ""))
    width, height = page.inner / 4, 14.0
    for i, (label, value) in enumerate(labels):
        x, top = MARGIN + width * (i % 4), y + height * (i // 4)
        page.box(x, top, width, height)
        page.text(x + 2, top + 3.2, label, 8, ink=PALE)
        lines = [value] if len(value) <= 15 else wrap(value, 32)
        for k, line in enumerate(lines):
            page.text(
                x + 2, top + 9.2 + 3 * (k - (len(lines) - 1) / 2), line, 13 if len(value) <= 15 else 6.5, bold=True
            )
    return y + height * 2 + 6


def _table(page: Page, form: Form, top: float, bottom: float) -> float:
    """The cells to fill in; they are as tall as the page allows."""
    ways = ("up", "down") if form.way_back else ("reading",)
    first = 34.0
    cell = (page.inner - first) / (len(ways) * form.cycles)
    head = 13.0
    row = min(TALLEST_ROW, (bottom - top - head) / len(form.settings))
    _table_head(page, form, ways, first, cell, top)
    for r, setting in enumerate(form.settings):
        y = top + head + r * row
        page.box(MARGIN, y, first, row, fill=TINT)
        page.text(MARGIN + first / 2, y + row / 2, setting, 15, bold=True, at="center")
        for c in range(form.cycles * len(ways)):
            turning = form.way_back and c % 2 and r == len(form.settings) - 1
            x = MARGIN + first + c * cell
            page.box(x, y, cell, row, fill=TINT if turning else "white")
            if turning:
                page.text(x + cell / 2, y + row / 2, "turn", 9, ink=PALE, at="center")
    _frames(page, form, first, cell * len(ways), top, head + row * len(form.settings))
    return top + head + row * len(form.settings) + 5


def _table_head(page: Page, form: Form, ways: Sequence[str], first: float, cell: float, top: float) -> None:
    page.text(MARGIN + first / 2, top + 9.5, form.setting_name, 10, at="center")
    for cycle in range(form.cycles):
        left = MARGIN + first + cycle * cell * len(ways)
        title = (
            f"Cycle {cycle + 1}  ({form.reading_name})"
            if form.cycles < MOST_CYCLES
            else f"{cycle + 1}: {form.reading_name}"
        )
        page.text(left + cell * len(ways) / 2, top + 3, title, 10, bold=True, at="center")
        for i, way in enumerate(ways):
            page.text(left + cell * (i + 0.5), top + 9.5, _ARROW.get(way, way), 10, at="center")


_ARROW = {"up": "out \u2193", "down": "back \u2191"}


def _frames(page: Page, form: Form, first: float, width: float, top: float, height: float) -> None:
    """A heavier frame round each cycle, so that a pen does not slip into the next."""
    from matplotlib.patches import Rectangle

    for cycle in range(form.cycles):
        corner = (MARGIN + first + cycle * width, top)
        page.axes.add_patch(Rectangle(corner, width, height, fill=False, edgecolor=INK, linewidth=1.6))


def _foot_height(form: Form) -> float:
    return 15.0 + 5 + FOOT_LINE * len(_foot_lines(form))


def _foot_lines(form: Form) -> list[str]:
    order = "down the first column, up the second" if form.way_back else "down the column"
    hold = f"Hold {form.dwell_s:g} s before each reading, the same each time." if form.dwell_s else ""
    said = (f"Five easy pulls first, then {order}. {hold}", *(f"{r[:1].upper()}{r[1:]}." for r in form.remarks))
    return [line for words in (*said, form.command) for line in wrap(words, FOOT_LETTERS)]


def _foot(page: Page, form: Form, y: float) -> None:
    labels = ["Flat length after"]
    if form.zero:
        labels = ["Zero before", "Zero after", *labels, "What hung at zero"]
    width, height = page.inner / len(labels), 15.0
    for i, label in enumerate(labels):
        page.box(MARGIN + i * width, y, width, height)
        page.text(MARGIN + i * width + 2, y + 3.2, label, 8, ink=PALE)
    start = y + height + 5
    lines = _foot_lines(form)
    for i, words in enumerate(lines):
        page.text(MARGIN, start + FOOT_LINE * i, words, 9.5)
    notes = start + FOOT_LINE * len(lines)
    if page.height - MARGIN - notes > 12:
        page.box(MARGIN, notes, page.inner, page.height - MARGIN - notes)
        page.text(MARGIN + 2, notes + 3.2, "Notes: doubtful readings, slips, a re-hooked strap", 8, ink=PALE)
