"""A curve drawn with plain characters, for terminals and mails. Numbers in, lines of ASCII out; no cursor moves."""

from collections.abc import Sequence
from itertools import pairwise

from calib.frozen import dataclass

BOTH = "#"  # where two series share a place
LEAST_WIDTH, LEAST_HEIGHT = 30, 6


@dataclass(frozen=True)
class PlotSeries:
    """Places to mark with one sign."""

    sign: str
    name: str
    x: Sequence[float]
    y: Sequence[float]
    joined: bool = False  # mark the straight lines between the places too


@dataclass(frozen=True)
class Frame:
    """Size of the plot and words on its axes."""

    width: int  # columns, everything included
    height: int  # lines of the drawing itself
    x_name: str
    y_name: str
    x_format: str = ".2f"
    y_format: str = ".0f"


def plot(series: Sequence[PlotSeries], frame: Frame) -> str:
    """Draw series on common axes; the vertical one begins at zero.

    Args:
        series: What to draw, at least one place in all.
        frame: Size and words.

    >>> print(plot([PlotSeries("o", "loading", [1.0, 2.0], [0.0, 10.0], True)], Frame(30, 6, "m", "kg")))
    kg   o loading
     10 |                     ooo
        |                ooooo
        |            oooo
        |        oooo
        |   ooooo
      0 |ooo
        +------------------------
         1.00      1.50      2.00
                                m
    """
    width, height = max(frame.width, LEAST_WIDTH), max(frame.height, LEAST_HEIGHT)
    top = max(0.0, *(max(s.y, default=0.0) for s in series)) or 1.0
    labels = [format(top * (1 - i / (height - 1)), frame.y_format) for i in range(height)]
    margin = max(map(len, labels)) + 1
    across = width - margin - 3
    low, high = _span([x for s in series for x in s.x])
    canvas = [[" "] * across for _ in range(height)]
    for one in series:
        for column, line in _places(one, across, height, (low, high), top):
            shared = canvas[line][column] not in (" ", one.sign)
            canvas[line][column] = BOTH if shared else one.sign
    wanted = {0, height - 1, *((height - 1) // 2 for _ in range(height > 8))}
    lines = [_legend(series, frame, width)]
    for i, row in enumerate(canvas):
        label = labels[i] if i in wanted else ""
        lines.append(f"{label:>{margin}} |{''.join(row)}".rstrip())
    lines.append(" " * margin + " +" + "-" * across)
    lines += _below(frame, low, high, across, margin + 2)
    return "\n".join(lines)


def _span(x: Sequence[float]) -> tuple[float, float]:
    low, high = min(x), max(x)
    return (low, high) if high > low else (low - 0.5, high + 0.5)


def _places(one: PlotSeries, across: int, height: int, span: tuple[float, float], top: float) -> list[tuple[int, int]]:
    """Column and line of every sign of a series."""
    low, high = span

    def place(x: float, y: float) -> tuple[int, int]:
        column = round((x - low) / (high - low) * (across - 1))
        line = round((1 - max(y, 0.0) / top) * (height - 1))
        return column, min(max(line, 0), height - 1)

    marked = [place(x, y) for x, y in zip(one.x, one.y, strict=True)]
    if not one.joined:
        return marked
    between = []
    for (x0, y0), (x1, y1) in pairwise(zip(one.x, one.y, strict=True)):
        between += [place(x0 + (x1 - x0) * i / across, y0 + (y1 - y0) * i / across) for i in range(across + 1)]
    return between or marked


def _legend(series: Sequence[PlotSeries], frame: Frame, width: int) -> str:
    names = "   ".join(f"{s.sign} {s.name}" for s in series)
    shared = f"   {BOTH} both" if len(series) > 1 else ""
    return f"{frame.y_name}   {names}{shared}"[:width]


def _below(frame: Frame, low: float, high: float, across: int, margin: int) -> list[str]:
    """Labels at both ends and in the middle, then what the axis is."""
    ends = [format(low, frame.x_format), format((low + high) / 2, frame.x_format), format(high, frame.x_format)]
    line = list(" " * across)
    for text, start in zip(ends, (0, (across - len(ends[1])) // 2, across - len(ends[2])), strict=True):
        line[start : start + len(text)] = text
    return [(" " * margin + "".join(line)).rstrip(), f"{frame.x_name:>{margin + across}}"]
