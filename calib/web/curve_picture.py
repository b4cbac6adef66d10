"""A band's curve as an SVG for the page: both branches with the margin of the mean, by style as well as by colour."""

from collections.abc import Sequence
from math import ceil, floor, log10

from calib.profile.document import Profile
from calib.profile.table import BRANCHES
from calib.units import Shown

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 640, 380, 62, 20, 30, 48


def curve_svg(profile: Profile, offset: float, shown: Shown) -> str:
    """The drawing.

    Args:
        profile: The band.
        offset: Half-path length less what its tape reads. [m]
        shown: Units for people.

    Returns:
        SVG text without anything a user wrote.
    """
    grid = profile.branches.loading.length_m
    low, high = (grid[0] - offset) / shown.metre, (grid[-1] - offset) / shown.metre
    tables = [(name, table) for name in BRANCHES if (table := profile.branch(name)) is not None]
    most = 1.05 * max(f + u for _, t in tables for f, u in zip(t.force_N, t.u95_N, strict=True)) / shown.newton

    def x(length: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * ((length - offset) / shown.metre - low) / (high - low)

    def y(force: float) -> float:
        return HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * max(force / shown.newton, 0.0) / most

    parts = [f'<path class="axis" fill="none" d="M{LEFT} {TOP}V{HEIGHT - BOTTOM}H{WIDTH - RIGHT}"/>']
    for kilos in _round_steps(0.0, most):
        level = y(kilos * shown.newton)
        parts.append(f'<text x="{LEFT - 8}" y="{level + 7:.1f}" text-anchor="end">{kilos:g}</text>')
        parts.append(f'<path class="axis" d="M{LEFT} {level:.1f}H{WIDTH - RIGHT}"/>')
    for tape in _round_steps(low, high):
        at = x(tape * shown.metre + offset)
        parts.append(f'<text x="{at:.1f}" y="{HEIGHT - 16}" text-anchor="middle">{tape:g}</text>')
    parts.append(f'<text x="{WIDTH - 4}" y="{HEIGHT - BOTTOM - 8}" text-anchor="end">{shown.length}</text>')
    for name, table in tables:
        above = [(x(a), y(f + u)) for a, f, u in zip(table.length_m, table.force_N, table.u95_N, strict=True)]
        below = [(x(a), y(f - u)) for a, f, u in zip(table.length_m, table.force_N, table.u95_N, strict=True)]
        parts.append(f'<path class="margin {name}-margin" d="M{_points(above)}L{_points(below[::-1])}Z"/>')
        middle = [(x(a), y(f)) for a, f in zip(table.length_m, table.force_N, strict=True)]
        parts.append(f'<path class="{name}" d="M{_points(middle)}"/>')
    parts.append(f'<text x="6" y="{TOP - 8}">{shown.force}</text>')
    span = f'data-left="{LEFT}" data-width="{WIDTH - LEFT - RIGHT}"'
    parts.append(f'<path id="here" class="here" {span} d="M{LEFT} {TOP}V{HEIGHT - BOTTOM}"/>')
    words = "Pull against length: loading with a full line, unloading with a broken one, margins shaded."
    return (
        f'<svg class="curve" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" xmlns="http://www.w3.org/2000/svg">'
        f"<title>{words}</title>{''.join(parts)}</svg>"
    )


def _round_steps(low: float, high: float) -> list[float]:
    """Four to eight round numbers between two."""
    step = 10.0 ** floor(log10((high - low) / 3))
    step *= next((m for m in (1, 2, 5) if (high - low) / (m * step) <= 8), 10)
    return [round(i * step, 10) for i in range(ceil(low / step), floor(high / step) + 1)]


def _points(places: Sequence[tuple[float, float]]) -> str:
    return "L".join(f"{a:.1f} {b:.1f}" for a, b in places)
