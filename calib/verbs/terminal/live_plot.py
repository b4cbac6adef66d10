"""A force as it is pulled, in plain characters: against time, and against length. Numbers in, rows of ASCII out.

A row holds three heights: `_` low, `-` in the middle, `'` high, so that eight rows show two dozen steps.
"""

from collections import deque
from collections.abc import Sequence
from math import ceil, log10

from calib.frozen import dataclass

HEIGHTS = "_-'"
SPAN_S = 30.0  # of the plot against time
MOST = 4000  # samples kept
LEAST_SPAN = 1e-9
LEAST_DRAWN = 1e-3  # in any unit, from the bottom to the top


@dataclass(frozen=True)
class PlotPlace:
    """One mark of the plot against length."""

    length: float
    force: float
    sign: str


class Strip:
    """The newest half minute of a force; what it keeps does not grow."""

    def __init__(self) -> None:
        self._samples: deque[tuple[float, float]] = deque(maxlen=MOST)

    def add(self, at_s: float, force: float) -> None:
        """Take one reading; one before the last begins again. [s], [any unit]"""
        if self._samples and at_s < self._samples[-1][0]:
            self._samples.clear()
        self._samples.append((at_s, force))
        while self._samples[0][0] < at_s - SPAN_S:
            self._samples.popleft()

    def above_zero(self, zero: float, sign: float) -> "Strip":
        """The same force above a zero, with its sign turned where that is -1. [unit of the readings]"""
        made = Strip()
        made._samples.extend((at, sign * (force - zero)) for at, force in self._samples)
        return made

    def rows(self, width: int, height: int, places: int = 1, *, from_zero: bool = True) -> list[str]:
        """The plot: `height` rows of at most `width` columns, the time below; empty before there are two readings."""
        if len(self._samples) < 2:
            return [""] * height
        newest = self._samples[-1][0]
        low, high = _ends([force for _, force in self._samples], from_zero=from_zero)
        labels = _labels(high, low, places)
        margin = max(map(len, labels))
        across, rows = width - margin - 2, height - 2
        canvas = [[" "] * across for _ in range(rows)]
        for column, force in enumerate(self._columns(newest, across)):
            if force is not None:
                _mark(canvas, column, (force - low) / (high - low))
        drawn = _framed(canvas, labels, margin)
        below = f"{'-' + format(SPAN_S, '.0f') + ' s':<{across - 3}}now"
        return [*drawn, " " * margin + " +" + "-" * across, " " * (margin + 2) + below]

    def _columns(self, newest: float, across: int) -> list[float | None]:
        """The last force of each column's time; None where nothing came."""
        out: list[float | None] = [None] * across
        for at, force in self._samples:
            out[min(int((1 - (newest - at) / SPAN_S) * (across - 1) + 0.5), across - 1)] = force
        return out


def by_length(marks: Sequence[PlotPlace], ends: tuple[float, float], width: int, height: int, unit: str) -> list[str]:
    """Readings and the pull of this moment against length.

    Args:
        marks: What to draw; later ones lie on top.
        ends: Shortest and longest length of the plan. [unit]
        width: Columns there are.
        height: Rows there are.
        unit: Of the length.
    """
    if not marks:
        return [""] * height
    top = max(max(m.force for m in marks), LEAST_SPAN) * 1.05
    labels = [f"{top:.0f}", "0"]
    margin = max(map(len, labels))
    across, rows = width - margin - 2, height - 2
    canvas = [[" "] * across for _ in range(rows)]
    low, high = min(ends[0], *(m.length for m in marks)), max(ends[1], *(m.length for m in marks))
    for mark in marks:
        column = round((mark.length - low) / max(high - low, LEAST_SPAN) * (across - 1))
        row = round((1 - max(mark.force, 0.0) / top) * (rows - 1))
        canvas[min(max(row, 0), rows - 1)][column] = mark.sign
    right = f"{high:.4g} {unit}"
    below = f"{f'{low:.4g}':<{across - len(right)}}{right}"
    return [*_framed(canvas, labels, margin), " " * margin + " +" + "-" * across, " " * (margin + 2) + below]


def beside(left: Sequence[str], right: Sequence[str], width: int) -> list[str]:
    """Two plots beside each other, the left one so wide. [columns]"""
    return [f"{a:<{width}}{b}".rstrip() for a, b in zip(left, right, strict=True)]


def _ends(forces: Sequence[float], *, from_zero: bool) -> tuple[float, float]:
    """What the height shows: what was pulled, and zero where that means something."""
    low, high = min(forces), max(forces)
    low = min(low, 0.0) if from_zero else low
    least = max(1e-4 * abs(low), LEAST_DRAWN)
    return (low, high) if high - low >= least else (low - least / 2, high + least / 2)  # one level is in the middle


def _labels(high: float, low: float, places: int) -> list[str]:
    """Both ends in so many places, and in more where they would read alike."""
    places = max(places, ceil(-log10(high - low)))
    return [f"{round(end, places) + 0.0:.{places}f}" for end in (high, low)]  # never -0.0


def _mark(canvas: list[list[str]], column: int, share: float) -> None:
    steps = len(canvas) * len(HEIGHTS)
    at = min(max(round(share * (steps - 1)), 0), steps - 1)
    canvas[len(canvas) - 1 - at // len(HEIGHTS)][column] = HEIGHTS[at % len(HEIGHTS)]


def _framed(canvas: list[list[str]], labels: Sequence[str], margin: int) -> list[str]:
    last = len(canvas) - 1
    named = {0: labels[0], last: labels[1]}
    return [f"{named.get(i, ''):>{margin}} |{''.join(row)}".rstrip() for i, row in enumerate(canvas)]
