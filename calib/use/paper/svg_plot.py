"""Axes, lines and shaded bands of a drawing as SVG; text stays text. Whoever puts it in a page styles its classes."""

from collections.abc import Iterable, Sequence
from html import escape
from math import ceil, floor, log10

from calib.frozen import dataclass
from calib.use.report.layout import clean

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 640, 380, 62, 20, 30, 48

Place = tuple[float, float]


@dataclass(frozen=True)
class Plot:
    """A drawing's axes, in the units of the reader."""

    x_from: float
    x_to: float
    y_from: float
    y_to: float
    x_name: str
    y_name: str
    height: int = HEIGHT

    def point(self, x: float, y: float) -> Place:
        """Where a value lies, in the drawing's own units."""
        right = (x - self.x_from) / ((self.x_to - self.x_from) or 1.0)
        up = (y - self.y_from) / ((self.y_to - self.y_from) or 1.0)
        bottom = self.height - BOTTOM
        return LEFT + (WIDTH - LEFT - RIGHT) * right, bottom - (bottom - TOP) * min(max(up, 0.0), 1.0)

    def axes(self, x_marks: Sequence[tuple[float, str]] | None = None) -> str:
        """Both axes with round numbers.

        Args:
            x_marks: What stands below the level axis instead of round numbers.
        """
        bottom = self.height - BOTTOM
        parts = [f'<path class="axis" fill="none" d="M{LEFT} {TOP}V{bottom}H{WIDTH - RIGHT}"/>']
        for value in round_steps(self.y_from, self.y_to):
            level = self.point(self.x_from, value)[1]
            parts.append(f'<text x="{LEFT - 8}" y="{level + 7:.1f}" text-anchor="end">{value:g}</text>')
            parts.append(f'<path class="axis" d="M{LEFT} {level:.1f}H{WIDTH - RIGHT}"/>')
        if x_marks is None:
            x_marks = [(value, f"{value:g}") for value in round_steps(self.x_from, self.x_to)]
        for value, words in x_marks:
            at = self.point(value, self.y_from)[0]
            parts.append(f'<text x="{at:.1f}" y="{self.height - 16}" text-anchor="middle">{text(words)}</text>')
        parts.append(f'<text x="{WIDTH - 4}" y="{bottom - 8}" text-anchor="end">{text(self.x_name)}</text>')
        parts.append(f'<text x="6" y="{TOP - 8}">{text(self.y_name)}</text>')
        return "".join(parts)

    def line(self, values: Iterable[Place], kind: str) -> str:
        """A line through values."""
        return f'<path class="{kind}" d="M{points([self.point(*v) for v in values])}"/>'

    def area(self, above: Sequence[Place], below: Sequence[Place], kind: str) -> str:
        """What lies between two lines."""
        edge = points([self.point(*v) for v in (*above, *reversed(below))])
        return f'<path class="{kind}" d="M{edge}Z"/>'


def drawing(parts: Iterable[str], words: str, height: int = HEIGHT, kind: str = "curve") -> str:
    """A whole drawing.

    Args:
        parts: SVG elements; whatever a user wrote is escaped in them.
        words: What is to be seen, for who cannot see it.
        height: Of the drawing.
        kind: Its class.
    """
    return (
        f'<svg class="{kind}" viewBox="0 0 {WIDTH} {height}" role="img" xmlns="http://www.w3.org/2000/svg">'
        f"<title>{text(words)}</title>{''.join(parts)}</svg>"
    )


def round_steps(low: float, high: float) -> list[float]:
    """Four to eight round numbers between two."""
    if high <= low:
        return [low]
    step = 10.0 ** floor(log10((high - low) / 3))
    step *= next((m for m in (1, 2, 5) if (high - low) / (m * step) <= 8), 10)
    return [round(i * step, 10) for i in range(ceil(low / step), floor(high / step) + 1)]


def points(places: Iterable[Place]) -> str:
    """Places as a path has them."""
    return "L".join(f"{a:.1f} {b:.1f}" for a, b in places)


def text(words: str) -> str:
    """Words as SVG and HTML take them literally."""
    return escape(clean(words), quote=True)
