"""Load on the bar against its height, both ways, as the bytes of one figure. No file is written."""

import io
from collections.abc import Sequence

import matplotlib as mpl
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from calib.units import SHOWN
from calib.use.report.figures import LOOKS, FigureKind
from calib.use.report.rig_words import UNIT, WORDS, Unit
from calib.use.rig.lifters import Lifted
from calib.use.rig.statics import Answer

PAGE = (6.4, 5.2)  # inch
LINES = ("-", "--", "-.", ":")
_DATES = {"png": {"Software": None}, "svg": {"Date": None}, "pdf": {"CreationDate": None, "Creator": "bandcurve"}}


def draw_rig(answer: Answer, kind: FigureKind, unit: Unit = "kg") -> bytes:
    """Draw a rig's load against height.

    Args:
        answer: What the rig does.
        kind: "png", "svg" or "pdf".
        unit: Of the load.
    """
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update({"svg.hashsalt": "bandcurve", "pdf.fonttype": 42, "font.size": 9.0})
        page = io.BytesIO()
        rig_figure(answer, unit).savefig(page, format=kind, dpi=150, metadata=_DATES[kind])
    return page.getvalue()


def rig_figure(answer: Answer, unit: Unit = "kg") -> Figure:
    """The figure itself: one line a way, its 95 % limits of the mean behind it, the weight alone as a thin line."""
    figure = Figure(figsize=PAGE, layout="constrained")
    FigureCanvasAgg(figure)
    axes, scale, shown = figure.subplots(), UNIT[unit], SHOWN[unit]
    heights = answer.heights / shown.metre
    for way, direction in answer.ways.items():
        look, load = LOOKS["loading" if way == "up" else "unloading"], direction.load
        axes.fill_betweenx(heights, load.low / scale, load.high / scale, color=look.colour, alpha=0.22, linewidth=0)
        axes.plot(load.value / scale, heights, look.line, color=look.colour, label=WORDS[way], gid=f"load-{way}")
    weight = answer.rig.weight_kg / scale
    axes.axvline(weight, color="#595959", linewidth=0.8, linestyle=":", label="bar and plates alone")
    axes.set(xlabel=f"load on the bar [{unit}]", ylabel=f"height of the bar [{shown.length}]")
    axes.set_title("Load on the bar; shaded: 95 % limits of the mean", fontsize=9.5)
    axes.grid(color="#E3E3E3", linewidth=0.6)
    axes.legend(frameon=False)
    return figure


def draw_lifters(lifted: Sequence[Lifted], kind: FigureKind, unit: Unit = "kg") -> bytes:
    """Draw what one rig puts on the bar of several lifters going up, one line each, named where it ends.

    Args:
        lifted: The lifters; who cannot be told is left out.
        kind: "png", "svg" or "pdf".
        unit: Of the load.
    """
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update({"svg.hashsalt": "bandcurve", "pdf.fonttype": 42, "font.size": 9.0})
        page = io.BytesIO()
        lifters_figure(lifted, unit).savefig(page, format=kind, dpi=150, metadata=_DATES[kind])
    return page.getvalue()


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
