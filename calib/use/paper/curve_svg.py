"""A band's curve as an SVG: both branches, their margins shaded, told apart by style as well as by colour; or many."""

from collections.abc import Sequence

from calib.profile.document import Profile
from calib.profile.table import BRANCHES
from calib.units import Shown
from calib.use.paper.svg_plot import BOTTOM, HEIGHT, LEFT, RIGHT, TOP, WIDTH, Plot, drawing, text

WORDS = "Pull against length: loading with a solid line, unloading with a dashed one, margins shaded."
MOST_NAMED = 12  # curves that are named at their ends
NAME_APART = 20.0


def curve_svg(profile: Profile, offset: float, shown: Shown, *, cursor: bool = True) -> str:
    """The drawing.

    Args:
        profile: The band.
        offset: Half-path length less what its tape reads. [m]
        shown: Units for people.
        cursor: With a line that a slider moves.

    Returns:
        SVG text without anything a user wrote.
    """
    plot = _plot([(profile, offset)], shown)
    parts = [plot.axes()]
    for name in BRANCHES:
        table = profile.branch(name)
        if table is not None:
            tape = [(x - offset) / shown.metre for x in table.length_m]
            force, u95 = ([v / shown.newton for v in values] for values in (table.force_N, table.u95_N))
            above = [(x, f + u) for x, f, u in zip(tape, force, u95, strict=True)]
            below = [(x, f - u) for x, f, u in zip(tape, force, u95, strict=True)]
            parts.append(plot.area(above, below, f"margin {name}-margin"))
            parts.append(plot.line(zip(tape, force, strict=True), name))
    return drawing([*parts, _cursor()] if cursor else parts, WORDS)


def overlay_svg(bands: Sequence[tuple[str, Profile, float]], shown: Shown) -> str:
    """All bands over each other, loading alone; few of them are named.

    Args:
        bands: Name, curve, and half-path length less what its tape reads. [m]
        shown: Units for people.
    """
    plot = _plot([(profile, offset) for _, profile, offset in bands], shown)
    parts, ends = [plot.axes()], []
    for i, (name, profile, offset) in enumerate(bands):
        table = profile.branches.loading
        places = [
            ((x - offset) / shown.metre, f / shown.newton) for x, f in zip(table.length_m, table.force_N, strict=True)
        ]
        parts.append(plot.line(places, f"loading one line-{i}"))
        ends.append((*plot.point(*places[-1]), name))
    names = _names(ends) if len(bands) <= MOST_NAMED else []
    return drawing([*parts, *names, _cursor()], "Pull against length of every band, loading.")


def _names(ends: Sequence[tuple[float, float, str]]) -> list[str]:
    """A name before the end of each curve, none over another."""
    out, lowest = [], float(TOP)
    for x, y, name in sorted(ends, key=lambda end: end[1]):
        lowest = max(y - 6, lowest + NAME_APART)
        out.append(f'<text class="name" x="{x - 6:.1f}" y="{lowest:.1f}" text-anchor="end">{text(name)}</text>')
    return out


def _plot(bands: Sequence[tuple[Profile, float]], shown: Shown) -> Plot:
    grids = [(p.branches.loading.length_m, offset) for p, offset in bands]
    most = max(
        f + u
        for p, _ in bands
        for name in BRANCHES
        if (table := p.branch(name)) is not None
        for f, u in zip(table.force_N, table.u95_N, strict=True)
    )
    return Plot(
        min((g[0] - offset) / shown.metre for g, offset in grids),
        max((g[-1] - offset) / shown.metre for g, offset in grids),
        0.0,
        1.05 * most / shown.newton,
        shown.length,
        shown.force,
    )


def _cursor() -> str:
    span = f'data-left="{LEFT}" data-width="{WIDTH - LEFT - RIGHT}"'
    return f'<path id="here" class="here" {span} d="M{LEFT} {TOP}V{HEIGHT - BOTTOM}"/>'
