"""Labels for the bands of a batch: the id large and as a code for a telephone, flat length and mass to fill in.

A page of stickers 63.5 x 38.1 mm, three beside each other and seven below, or cut with scissors. Nothing is read here.
"""

from collections.abc import Sequence
from io import BytesIO
from typing import TYPE_CHECKING, Any

from calib.frozen import dataclass
from calib.use.report.sheet import INK, LINE, PALE, PAPER, Paper, blank_page

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH, HEIGHT = 63.5, 38.1  # [mm]
COLUMNS, ROWS = 3, 7
ON_A_PAGE = COLUMNS * ROWS
GAP = 2.5  # [mm] between columns
CODE = 22.0  # [mm] the code without its quiet zone; four modules of that stay white round it
QUIET = 4
LARGEST, SMALLEST = 34.0, 8.0  # [pt] letters of the id


@dataclass(frozen=True)
class Label:
    """One band."""

    id: str
    note: str = ""  # small, below
    flat: str = ""  # with its unit; empty leaves room to write it in
    pulls: tuple[str, ...] = ()  # what it pulls, at most three lines: a label for a band that was measured
    link: str = ""  # what the code says in place of the id


def labels_pdf(labels: Sequence[Label], paper: Paper = "a4") -> bytes:
    """Draw labels, as many pages as they need; the same labels give the same bytes.

    Args:
        labels: In order.
        paper: "a4" or "letter".
    """
    import calib.use.report.quiet_drawing  # noqa: F401

    # isort: split
    from matplotlib.backends.backend_pdf import PdfPages

    out = BytesIO()
    with PdfPages(out, metadata={"Title": "Labels for a batch of bands", "CreationDate": None}) as pages:
        for start in range(0, len(labels), ON_A_PAGE):
            figure, axes = blank_page(paper)
            draw_labels(axes, labels[start : start + ON_A_PAGE], paper)
            pages.savefig(figure)
    return out.getvalue()


def draw_labels(axes: "Axes", labels: Sequence[Label], paper: Paper) -> None:
    """Draw the labels of one page.

    Args:
        axes: Of the page, in millimetres.
        labels: At most 21.
        paper: "a4" or "letter".
    """
    width, height = PAPER[paper]
    left, top = (width - COLUMNS * WIDTH - (COLUMNS - 1) * GAP) / 2, (height - ROWS * HEIGHT) / 2
    for i, label in enumerate(labels):
        _draw(axes, label, left + (i % COLUMNS) * (WIDTH + GAP), top + (i // COLUMNS) * HEIGHT)


def _draw(axes: "Axes", label: Label, x: float, y: float) -> None:
    from matplotlib.patches import Rectangle

    axes.add_patch(Rectangle((x, y), WIDTH, HEIGHT, fill=False, edgecolor=PALE, linewidth=0.3))
    code(axes, label.link or label.id, x + 3, y + 3, CODE)
    middle = x + 3 + CODE + (WIDTH - CODE - 4) / 2
    largest, id_at = (LARGEST, 13.0) if not label.pulls else (22.0, 7.5)
    size = max(SMALLEST, min(largest, 2.83 * (WIDTH - CODE - 8) / (0.62 * len(label.id))))
    placed: dict[str, Any] = {"color": INK, "ha": "center", "va": "center_baseline", "parse_math": False}
    axes.text(middle, y + id_at, label.id, fontsize=size, fontweight="bold", **placed)
    room = 2.83 * (WIDTH - CODE - 7)
    if label.note:
        small = min(7.0, room / (0.6 * len(label.note)))
        axes.text(middle, y + (23 if not label.pulls else 29.5), label.note, fontsize=small, **placed)
    for i, words in enumerate(label.pulls):
        fitting = min(8.5, room / (0.66 * len(words)))
        axes.text(middle, y + 14 + 4.8 * i, words, fontsize=fitting, fontweight="bold", **placed)
    if label.flat:
        axes.text(x + 3, y + 34, f"flat {label.flat}", fontsize=8, **placed | {"ha": "left"})
        return
    for words, start in (("flat", x + 3), ("mass", x + 3 + WIDTH / 2)):
        axes.text(start, y + 33, words, fontsize=8, color=INK, va="center_baseline")
        axes.plot([start + 8, start + WIDTH / 2 - 6], [y + 34.5, y + 34.5], color=LINE, linewidth=0.6)


def code(axes: "Axes", text: str, x: float, y: float, size: float) -> None:
    """Draw a QR code (ISO/IEC 18004), error correction M or better.

    Args:
        axes: Of a page in millimetres.
        text: What it says.
        x: Left edge. [mm]
        y: Upper edge. [mm]
        size: With half of its quiet zone. [mm]
    """
    import segno
    from matplotlib.patches import Rectangle

    rows = segno.make(text, micro=False, error="m").matrix
    module = size / (len(rows) + QUIET)
    for i, row in enumerate(rows):
        for start, length in _runs(row):
            corner = (x + (start + QUIET / 2) * module, y + (i + QUIET / 2) * module)
            axes.add_patch(Rectangle(corner, length * module, module, facecolor=INK, linewidth=0.0, antialiased=False))


def _runs(row: Sequence[int]) -> list[tuple[int, int]]:
    """Dark stretches of a row: first module and how many."""
    runs: list[tuple[int, int]] = []
    for i, dark in enumerate(row):
        if dark and i and row[i - 1]:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1)
        elif dark:
            runs.append((i, 1))
    return runs
