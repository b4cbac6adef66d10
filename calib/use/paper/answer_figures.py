"""Figures of several days, several bands or a budget: history, comparison, pairs, a batch, sources of uncertainty.

Answers in, figures out; `figure_bytes` makes files of them, the same bytes each time. What they show is told apart by
marks and hatches as well as by colour, and names are shown as they are written.
"""

from collections.abc import Sequence
from datetime import date
from typing import Any

import calib.use.report.quiet_drawing  # noqa: F401

# isort: split
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from calib.profile.batch_document import Batch
from calib.units import Shown
from calib.use.answers.bands import BudgetRow, CompareAnswer, HistoryAnswer, PairAnswer
from calib.use.answers.parts import Level
from calib.use.report.figures import GREY, LOOKS
from calib.use.report.layout import clean

WIDE, TALL, BAR = 7.3, 4.4, 0.3  # inch
MOST_BARS = 60  # in one figure
NAME = 26  # characters of a name beside a bar
LEAST_SHARE = 0.005  # of a budget; smaller sources are one bar together
MARKS: dict[str, Any] = {
    "calibration": {"marker": "o", "color": LOOKS["loading"].colour, "markersize": 8},
    "re-check": {"marker": "s", "color": LOOKS["unloading"].colour, "markersize": 7, "markerfacecolor": "white"},
}


def history_figure(answer: HistoryAnswer) -> Figure:
    """Level of each calibration and re-check against the first, with its 95 % limits, day by day.

    Args:
        answer: At least one day; what has no day, or no level, is left out.
    """
    figure, axes = _blank(f"Band {answer.band}: pull against that of the first calibration")
    seen = [("calibration", c.day, c.level) for c in answer.calibrations if c.day]
    seen += [("re-check", r.day, r.level) for r in answer.rechecks if r.level is not None]
    for kind, look in MARKS.items():
        found = [(day, level) for of, day, level in seen if of == kind]
        if found:
            _levels(
                axes, [date.fromisoformat(day).toordinal() for day, _ in found], [lv for _, lv in found], look, kind
            )
    days = sorted({date.fromisoformat(day).toordinal() for _, day, _ in seen})
    axes.set_xticks(_apart(days), [date.fromordinal(d).isoformat() for d in _apart(days)])
    axes.axhline(100, color=GREY, linestyle=":", linewidth=1)
    axes.set_ylabel("level [% of the first]")
    axes.margins(x=0.12, y=0.2)
    axes.legend(frameon=False)
    return figure


def _levels(axes: Axes, at: Sequence[int], levels: Sequence[Level], look: dict[str, Any], words: str) -> None:
    middle = [100 * lv.level_ratio for lv in levels]
    limit = [100 * lv.u95_mean_level_ratio for lv in levels]
    axes.errorbar(at, middle, limit, linestyle="none", capsize=4, label=words, gid=words, **look)


def _apart(days: Sequence[int]) -> list[int]:
    """Days that can be written side by side: the first, the last, and what lies well between."""
    room = max(days[-1] - days[0], 1) / 5
    kept = [days[0]]
    for day in days[1:-1]:
        if day - kept[-1] >= room and days[-1] - day >= room:
            kept.append(day)
    return kept + [days[-1]] * (len(days) > 1)


def compare_figure(answer: CompareAnswer, shown: Shown) -> Figure:
    """New less old at each length, with the 95 % limits of the mean.

    Args:
        answer: The comparison.
        shown: Units.
    """
    figure, axes = _blank(f"Band {answer.band}: pull of {_day(answer.day)} less that of {_day(answer.before)}")
    offset = answer.half_path_less_tape_m
    for name, look in LOOKS.items():
        points = [p for p in answer.points if p.branch == name]
        if points:
            x = [(p.length_m - (offset or 0.0)) / shown.metre for p in points]
            off, u95 = ([getattr(p, n) / shown.newton for p in points] for n in ("difference_N", "u95_mean_N"))
            low, high = ([d + s * u for d, u in zip(off, u95, strict=True)] for s in (-1, 1))
            axes.fill_between(x, low, high, facecolor=look.colour, alpha=0.22, hatch=look.hatch, linewidth=0)
            axes.plot(x, off, look.line, color=look.colour, marker=look.mark, markersize=4, label=name, gid=name)
    axes.axhline(0, color=GREY, linestyle=":", linewidth=1)
    axis = "half-path length" if offset is None else "length on the tape"
    axes.set(xlabel=f"{axis} [{shown.length}]", ylabel=f"difference [{shown.force}]")
    axes.legend(frameon=False, title="shaded: 95 % limits of the mean")
    return figure


def _day(day: str | None) -> str:
    return day or "an unknown date"


def pairs_figure(answer: PairAnswer, shown: Shown) -> Figure:
    """How far apart each pair is at most, 95 %, in the order of the answer.

    Args:
        answer: The pairs.
        shown: Units.
    """
    names = [f"{' + '.join(p.bands)}{', kept' if p.kept else ''}" for p in answer.pairs]
    apart = [p.upper95_mean_N for p in answer.pairs]
    bars = [(name, x / shown.newton, shown.pull(x)) for name, x in zip(names, apart, strict=True)]
    return _bars("Left and right: apart at most (95 %, bands' averages)", bars, f"[{shown.force}]")


def budget_figure(band: str, rows: Sequence[BudgetRow]) -> Figure:
    """Shares of the variance of the mean in the middle of the tested lengths, largest first; type B is hatched.

    Args:
        band: Its name.
        rows: The budget.
    """
    ordered = sorted(rows, key=lambda r: -r.share_middle)
    large = [r for r in ordered if r.share_middle >= LEAST_SHARE]
    bars = [(r.source, 100 * r.share_middle, f"{r.share_middle:.1%}, type {r.type}") for r in large]
    rest = 1.0 - sum(r.share_middle for r in large)
    if len(ordered) > len(large):
        bars.append((f"{len(ordered) - len(large)} smaller ones", 100 * max(rest, 0.0), f"{max(rest, 0.0):.1%}"))
    hatches = ["" if r.type == "A" else "////" for r in large]
    title = f"Band {band}: uncertainty budget of the mean, middle of the tested lengths"
    return _bars(title, bars, "share of the variance [%]", hatches)


def batch_figure(batch: Batch) -> Figure:
    """Level of each band against the mean of its size, weakest first, each with 95 % of its own uncertainty.

    Args:
        batch: With a band at least.
    """
    bands = sorted(batch.bands, key=lambda b: b.level)
    figure, axes = _blank("Level of each band of the box against the mean of its size", BAR * len(bands))
    for odd, look in zip((False, True), MARKS.values(), strict=True):
        found = [(i, b) for i, b in enumerate(bands) if b.outlying == odd]
        if found:
            axes.errorbar([100 * b.level for _, b in found], [i for i, _ in found],
                          xerr=[196 * b.u_level for _, b in found], linestyle="none", capsize=3,
                          label="shape is not the batch's" if odd else "shape as the batch's",
                          gid="odd" if odd else "alike", **look)  # fmt: skip
    said = [f"{b.id}{f', {b.verdict}' if b.verdict not in (None, 'pair') else ''}" for b in bands]
    axes.set_yticks(range(len(bands)), [clean(words, NAME) for words in said], parse_math=False)
    axes.axvline(100, color=GREY, linestyle=":", linewidth=1)
    axes.set_xlabel("level [% of the mean of its size]")
    axes.legend(frameon=False)
    return figure


def _bars(title: str, bars: Sequence[tuple[str, float, str]], unit: str, hatches: Sequence[str] = ()) -> Figure:
    """Bars below each other with their names before and their values behind them."""
    left = len(bars) - MOST_BARS
    shown = bars[:MOST_BARS]
    figure, axes = _blank(f"{title}; {left} more not drawn" if left > 0 else title, BAR * len(shown))
    made = axes.barh(range(len(shown)), [value for _, value, _ in shown], height=0.62, color=LOOKS["loading"].colour)
    for bar, hatch in zip(made, hatches, strict=False):
        bar.set(hatch=hatch, edgecolor="white")
    axes.bar_label(made, [said for _, _, said in shown], padding=4, color="#1a1a1a")
    axes.set_yticks(range(len(shown)), [clean(name, NAME) for name, _, _ in shown], parse_math=False)
    axes.invert_yaxis()
    axes.set_xlabel(unit)
    axes.margins(x=0.22)
    return figure


def _blank(title: str, tall: float = 0.0) -> tuple[Figure, Axes]:
    figure = Figure(figsize=(WIDE, 1.6 + tall if tall else TALL), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.subplots()
    axes.set_title(clean(title, 90), fontsize=11, loc="left", parse_math=False)
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(color="#E3E3E3", linewidth=0.6)
    axes.set_axisbelow(True)
    return figure, axes
