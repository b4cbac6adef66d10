"""Drawings of what is told of several days or several bands: history, comparison, pairs, a batch, a budget; a rig."""

from collections.abc import Sequence
from datetime import date

from calib.profile.batch_document import Batch
from calib.units import POUND, Shown
from calib.use.answers.bands import BudgetRow, CompareAnswer, HistoryAnswer, PairAnswer
from calib.use.answers.rigs import RigAnswer
from calib.use.paper.svg_plot import LEFT, RIGHT, TOP, WIDTH, Plot, drawing, text

MOST_BARS = 24  # in one drawing
BAR, ROOM = 34, 44  # height of a bar with its gap; above and below
NAMES = 210  # width that is left to names beside bars
LOW = 260  # height of a drawing that has little to tell


def history_svg(answer: HistoryAnswer) -> str:
    """Level against the first calibration, per cent, day by day; "" where fewer than two have a day."""
    calibrated = [(c.day, c.level, "dot") for c in answer.calibrations if c.day]
    checked = [(r.day, r.level, "check") for r in answer.rechecks if r.level is not None]
    seen = [(date.fromisoformat(day).toordinal(), level, kind) for day, level, kind in (*calibrated, *checked)]
    if len(seen) < 2:
        return ""
    ends = [100 * (lv.level_ratio + s * lv.u95_mean_level_ratio) for _, lv, _ in seen for s in (-1, 1)]
    first, last = min(d for d, _, _ in seen), max(d for d, _, _ in seen)
    wide = max(last - first, 1) * 0.16
    plot = Plot(first - wide, last + wide, min([*ends, 99.0]) - 0.5, max([*ends, 101.0]) + 0.5, "", "% of first", LOW)
    days = [(float(d), date.fromordinal(d).isoformat()) for d in dict.fromkeys((first, last))]
    parts = [plot.axes(days)]
    for day, level, kind in seen:
        half = 100 * level.u95_mean_level_ratio
        parts.append(_whisker(plot, day, 100 * level.level_ratio, half, kind))
    said = "Pull against that of the first calibration: round, calibrations; square, re-checks with a plate."
    return drawing(parts, said, LOW)


def _whisker(plot: Plot, x: float, y: float, half: float, kind: str) -> str:
    across, up = plot.point(x, y)
    low, high = plot.point(x, y - half)[1], plot.point(x, y + half)[1]
    mark = (
        f'<circle class="{kind}" cx="{across:.1f}" cy="{up:.1f}" r="7"/>'
        if kind == "dot"
        else f'<rect class="{kind}" x="{across - 6:.1f}" y="{up - 6:.1f}" width="12" height="12"/>'
    )
    return f'<path class="whisker" d="M{across:.1f} {low:.1f}V{high:.1f}"/>{mark}'


def compare_svg(answer: CompareAnswer, shown: Shown) -> str:
    """New less old, length by length, with its 95 % limits and the line of no change."""
    points = {way: [p for p in answer.points if p.branch == way] for way in ("loading", "unloading")}
    every = [p for way in points.values() for p in way]
    most = max((abs(p.difference_N) + p.u95_mean_N for p in every), default=1.0) / shown.newton
    lengths = [p.length_m / shown.metre for p in every]
    plot = Plot(min(lengths), max(lengths), -most, most, shown.length, shown.force, LOW)
    parts = [plot.axes()]
    for way, found in points.items():
        at = [(p.length_m / shown.metre, p.difference_N / shown.newton, p.u95_mean_N / shown.newton) for p in found]
        if at:
            above, below = [(x, d + u) for x, d, u in at], [(x, d - u) for x, d, u in at]
            parts += [plot.area(above, below, f"margin {way}-margin"), plot.line([(x, d) for x, d, _ in at], way)]
    parts.append(plot.line([(plot.x_from, 0.0), (plot.x_to, 0.0)], "none"))
    return drawing(parts, "Pull now less pull before, against half-path length; limits of the mean shaded.", LOW)


def pairs_svg(answer: PairAnswer, shown: Shown) -> str:
    """How far apart each pair may be, best first."""
    bars = [
        (" + ".join(p.bands), p.upper95_mean_N / shown.newton, f"{shown.pull(p.upper95_mean_N)} {shown.force}", "")
        for p in answer.pairs[:MOST_BARS]
    ]
    return bars_svg(bars, "How far apart the two bands of each pair are at most (95 %).")


def budget_svg(rows: Sequence[BudgetRow]) -> str:
    """Shares of the variance in the middle of the tested lengths, largest first."""
    largest = sorted((r for r in rows if r.share_middle >= 0.01), key=lambda r: -r.share_middle)[:8]
    bars = [(r.source, r.share_middle, f"{r.share_middle:.0%}", r.type.lower()) for r in largest]
    return bars_svg(bars, "Uncertainty budget of the mean: shares of the variance in the middle.")


def batch_svg(batch: Batch) -> str:
    """Each band's level with its own doubt, 100 % is the mean of its size; "" where there is none."""
    bands = sorted(batch.bands, key=lambda b: b.level)
    if not bands:
        return ""
    ends = [100 * (b.level + s * 2 * b.u_level) for b in bands for s in (-1, 1)]
    plot = Plot(-0.5, len(bands) - 0.5, min(*ends, 99.0) - 0.5, max(*ends, 101.0) + 0.5, "", "% of mean", LOW)
    marks = [(float(i), b.id) for i, b in enumerate(bands)] if len(bands) <= 8 else []
    parts = [plot.axes(marks), plot.line([(plot.x_from, 100.0), (plot.x_to, 100.0)], "none")]
    for i, b in enumerate(bands):
        parts.append(_whisker(plot, i, 100 * b.level, 200 * b.u_level, "check" if b.outlying else "dot"))
    return drawing(parts, "Level of each band, weakest first; square: its shape is not that of the batch.", LOW)


def bars_svg(bars: Sequence[tuple[str, float, str, str]], words: str) -> str:
    """Bars beside their names.

    Args:
        bars: Name, length of the bar, what is written behind it, its class.
        words: What is to be seen.
    """
    most = max((value for _, value, _, _ in bars), default=0.0) or 1.0
    room = WIDTH - NAMES - 110
    parts = []
    for i, (name, value, said, kind) in enumerate(bars):
        y, long = ROOM / 2 + i * BAR, room * max(value, 0.0) / most
        parts.append(f'<text x="{NAMES - 8}" y="{y + 20}" text-anchor="end">{text(_short(name))}</text>')
        parts.append(f'<rect class="bar {kind}" x="{NAMES}" y="{y:.0f}" width="{long:.1f}" height="{BAR - 10}"/>')
        parts.append(f'<text x="{NAMES + long + 8:.1f}" y="{y + 20}">{text(said)}</text>')
    return drawing(parts, words, ROOM + BAR * len(bars), "curve bars")


def _short(name: str) -> str:
    return name if len(name) <= 20 else f"{name[:18]}..."


def rig_svg(answer: RigAnswer, shown: Shown) -> str:
    """Load on the bar against its height, both ways: the margin of the mean dark, that of the next set pale."""
    one = 1.0 if shown.force == "kg" else POUND
    ways = [(name, way) for name, way in (("loading", answer.up), ("unloading", answer.down)) if way is not None]
    heights = [h / shown.metre for h in answer.heights_m]
    most = [(v + u) / one for _, w in ways for v, u in zip(w.bar_load_kg, w.u95_next_set_kg, strict=True)]
    least = [(v - u) / one for _, w in ways for v, u in zip(w.bar_load_kg, w.u95_next_set_kg, strict=True)]
    low = min(*least, answer.bar_and_plates_kg / one)
    plot = Plot(heights[0], heights[-1], low * 0.95, 1.04 * max(most), shown.length, shown.force)
    parts = [plot.axes()]
    for kind, way in ways:
        load = [v / one for v in way.bar_load_kg]
        for u95, margin in ((way.u95_next_set_kg, "next"), (way.u95_mean_kg, "margin")):
            above = [(h, v + u / one) for h, v, u in zip(heights, load, u95, strict=True)]
            below = [(h, v - u / one) for h, v, u in zip(heights, load, u95, strict=True)]
            parts.append(plot.area(above, below, f"{margin} {kind}-margin"))
    parts += [plot.line(zip(heights, [v / one for v in w.bar_load_kg], strict=True), kind) for kind, w in ways]
    level = plot.point(heights[0], answer.bar_and_plates_kg / one)[1]
    parts.append(f'<path class="none" d="M{LEFT} {level:.1f}H{WIDTH - RIGHT}"/>')
    parts.append(f'<text x="{LEFT + 6}" y="{max(level - 6, TOP):.1f}">bar and plates alone</text>')
    words = "Load on the bar against its height: going up with a solid line, coming down with a dashed one."
    return drawing(parts, words)
