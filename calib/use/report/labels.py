"""Labels for the bands of a batch: the id large and as a code for a telephone, flat length and mass to fill in.

A page of stickers 63.5 x 38.1 mm, three beside each other and seven below, or cut with scissors. Nothing is read here.
"""

from collections.abc import Sequence
from io import BytesIO
from typing import TYPE_CHECKING

from calib.frozen import dataclass
from calib.use.report.sheet import INK, LINE, PALE, PAPER, Paper, blank_page

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH, HEIGHT = 63.5, 38.1  # [mm]
COLUMNS, ROWS = 3, 7
GAP = 2.5  # [mm] between columns
CODE = 22.0  # [mm] the code without its quiet zone; four modules of that stay white round it
QUIET = 4
LARGEST, SMALLEST = 34.0, 8.0  # [pt] letters of the id


@dataclass(frozen=True)
class Label:
    """One band."""

    id: str
    note: str = ""  # small, below


def labels_pdf(labels: Sequence[Label], paper: Paper = "a4") -> bytes:
    """Draw labels, as many pages as they need; the same labels give the same bytes.

    Args:
        labels: In order.
        paper: "a4" or "letter".
    """
    from matplotlib.backends.backend_pdf import PdfPages

    width, height = PAPER[paper]
    left, top = (width - COLUMNS * WIDTH - (COLUMNS - 1) * GAP) / 2, (height - ROWS * HEIGHT) / 2
    out = BytesIO()
    with PdfPages(out, metadata={"Title": "Labels for a batch of bands", "CreationDate": None}) as pages:
        for start in range(0, len(labels), COLUMNS * ROWS):
            figure, axes = blank_page(paper)
            for i, label in enumerate(labels[start : start + COLUMNS * ROWS]):
                _draw(axes, label, left + (i % COLUMNS) * (WIDTH + GAP), top + (i // COLUMNS) * HEIGHT)
            pages.savefig(figure)
    return out.getvalue()


def _draw(axes: "Axes", label: Label, x: float, y: float) -> None:
    from matplotlib.patches import Rectangle

    axes.add_patch(Rectangle((x, y), WIDTH, HEIGHT, fill=False, edgecolor=PALE, linewidth=0.3))
    code(axes, label.id, x + 3, y + 3, CODE)
    middle = x + 3 + CODE + (WIDTH - CODE - 4) / 2
    size = max(SMALLEST, min(LARGEST, 2.83 * (WIDTH - CODE - 8) / (0.62 * len(label.id))))
    name = label.id.replace("$", r"\$")
    axes.text(middle, y + 13, name, fontsize=size, fontweight="bold", color=INK, ha="center", va="center_baseline")
    if label.note:
        axes.text(middle, y + 23, label.note, fontsize=7, color=INK, ha="center", va="center_baseline")
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
