"""Load on the bar against its height, both ways, left and right, as the bytes of one figure. No file is written."""

from collections.abc import Sequence
from typing import Any

import calib.use.report.quiet_drawing  # noqa: F401

# isort: split
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from calib.units import POUND, SHOWN, UNIT, Shown, Unit
from calib.use.answers.rigs import RigAnswer, RigWay
from calib.use.report.figures import GREY, LOOKS, FigureKind, figure_bytes
from calib.use.report.layout import clean
from calib.use.rig.lifters import Lifted

PAGE = (7.6, 5.4)  # inch
WORDS = {"loading": "going up", "unloading": "coming down"}
SIDE_LINES = {"left": "o", "right": "^"}  # marks: the ways have the lines
LINES = ("-", "--", "-.", ":")


def draw_rig(answer: RigAnswer, name: str, kind: FigureKind, shown: Shown = SHOWN["kg"]) -> bytes:
    """Draw a rig's load against height.

    Args:
        answer: What the rig does.
        name: Of the rig.
        kind: "png", "svg" or "pdf".
        shown: Units of both axes.
    """
    return figure_bytes(lambda: rig_figure(answer, name, shown), kind)


def rig_figure(answer: RigAnswer, name: str, shown: Shown = SHOWN["kg"]) -> Figure:
    """The figure itself: the load on the left, what each side's bands pull down on the right.

    Args:
        answer: What the rig does.
        name: Of the rig.
        shown: Units of both axes.
    """
    figure = Figure(figsize=PAGE, layout="constrained")
    FigureCanvasAgg(figure)
    load, sides = figure.subplots(1, 2, sharey=True, gridspec_kw={"width_ratios": (3, 2)})
    draw_load(load, answer, shown)
    draw_sides(sides, answer, shown)
    figure.suptitle(f"{clean(name, 60)}: {used_words(answer)}", fontsize=10.5)
    return figure


def used_words(answer: RigAnswer) -> str:
    """The bands with the day each was measured, each once."""
    days = dict.fromkeys(f"{used.band} ({used.day or 'no day'})" for used in answer.used)
    return clean(", ".join(days), 90)


def ways_of(answer: RigAnswer) -> list[tuple[Any, RigWay]]:
    """The ways there are, named as the branches that are drawn alike."""
    return [(name, way) for name, way in (("loading", answer.up), ("unloading", answer.down)) if way is not None]


def draw_load(axes: Axes, answer: RigAnswer, shown: Shown) -> None:
    """One line a way; its 95 % limits of the mean shaded, those of the next set between thin lines.

    Args:
        axes: Where to.
        answer: What the rig does.
        shown: Units of both axes.
    """
    one, heights = _kilograms_of_unit(shown), [h / shown.metre for h in answer.heights_m]
    for name, way in ways_of(answer):
        look, load = LOOKS[name], [v / one for v in way.bar_load_kg]
        axes.fill_betweenx(
            heights, [v / one for v in way.low95_mean_kg], [v / one for v in way.high95_mean_kg], color=look.colour,
            alpha=0.25, linewidth=0,
        )  # fmt: skip
        for sign in (-1, 1):
            edge = [v + sign * u / one for v, u in zip(load, way.u95_next_set_kg, strict=True)]
            axes.plot(edge, heights, look.line, color=look.colour, linewidth=0.6, gid=f"next-{name}")
        axes.plot(load, heights, look.line, color=look.colour, linewidth=1.9, label=WORDS[name], gid=f"load-{name}")
    weight = answer.bar_and_plates_kg / one
    axes.axvline(weight, color=GREY, linewidth=0.9, linestyle=":", label="bar and plates alone")
    axes.set(xlabel=f"load on the bar [{shown.force}]", ylabel=f"height of the bar [{shown.length}]")
    axes.set_title("On the bar. Shaded: mean; thin lines: next set (95 %)", fontsize=8.5)
    _calm(axes)


def draw_sides(axes: Axes, answer: RigAnswer, shown: Shown) -> None:
    """What the bands of each side pull down; sides told apart by their marks.

    Args:
        axes: Where to.
        answer: What the rig does.
        shown: Units of both axes.
    """
    one, heights = _kilograms_of_unit(shown) * answer.gravity_m_s2, [h / shown.metre for h in answer.heights_m]
    every = max(len(heights) // 6, 1)
    for name, way in ways_of(answer):
        look = LOOKS[name]
        for side, mark in SIDE_LINES.items():
            pull = [v / one for v in way.sides[side].vertical_N]
            axes.plot(
                pull, heights, look.line + mark, color=look.colour, linewidth=1.2, markersize=5, markevery=every,
                markerfacecolor="white" if side == "left" else look.colour, label=f"{side}, {WORDS[name]}",
                gid=f"{side}-{name}",
            )  # fmt: skip
    axes.set(xlabel=f"bands, pulling down [{shown.force}]")
    axes.set_title("Each side", fontsize=8.5)
    _calm(axes)


def _calm(axes: Axes) -> None:
    axes.grid(color="#E3E3E3", linewidth=0.6)
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(frameon=False, fontsize=7.5)


def _kilograms_of_unit(shown: Shown) -> float:
    return 1.0 if shown.force == "kg" else POUND


def draw_lifters(lifted: Sequence[Lifted], kind: FigureKind, unit: Unit = "kg") -> bytes:
    """Draw what one rig puts on the bar of several lifters going up, one line each, named where it ends.

    Args:
        lifted: The lifters; who cannot be told is left out.
        kind: "png", "svg" or "pdf".
        unit: Of the load.
    """
    return figure_bytes(lambda: lifters_figure(lifted, unit), kind)


def lifters_figure(lifted: Sequence[Lifted], unit: Unit = "kg") -> Figure:
    """The figure itself; names are shown as they are written, a dollar sign too."""
    figure = Figure(figsize=PAGE, layout="constrained")
    FigureCanvasAgg(figure)
    axes, scale = figure.subplots(), UNIT[unit]
    for n, one in enumerate(lifted):
        if one.answer is None or one.answer.up is None:
            continue
        values, heights = one.answer.up.load.value / scale, one.answer.heights
        axes.plot(values, heights, LINES[n % len(LINES)], color="#1A1A1A", gid=f"lifter-{n}")
        axes.annotate(one.lifter.name, (values[-1], heights[-1]), (3, 2), textcoords="offset points", parse_math=False)
    axes.set(xlabel=f"load on the bar [{unit}]", ylabel="height of the bar [m]")
    axes.set_title("Load on the bar going up, for each lifter", fontsize=9.5)
    axes.margins(x=0.12)
    axes.grid(color="#E3E3E3", linewidth=0.6)
    return figure
