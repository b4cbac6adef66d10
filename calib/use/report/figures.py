"""One page that shows a tension curve: readings, both branches with their 95 % limits, the loop, what the fit leaves.

Profiles and readings in, bytes of a PNG, SVG or PDF out: the same input gives the same bytes. No file is written here.
"""

import io
import warnings
from collections.abc import Callable, Sequence
from textwrap import fill
from typing import Any, Literal, NamedTuple

import calib.use.report.quiet_drawing  # noqa: F401

# isort: split
import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from numpy.typing import ArrayLike

from calib.frozen import dataclass
from calib.profile.document import Profile
from calib.profile.parts import METHOD_WORDS, Branch
from calib.profile.table import BRANCHES, BranchName, estimate, holds
from calib.records import Array, Point
from calib.units import SHOWN, Shown

FigureKind = Literal["png", "svg", "pdf"]
KINDS: tuple[FigureKind, ...] = ("png", "svg", "pdf")
FOOT_COLUMNS = 118  # characters on a line of the smallest print
PAGE = (7.3, 9.6)  # inch: fits an A4 or a letter page with its margins


class Look(NamedTuple):
    """How one branch is drawn; the pair of colours is told apart by colour-blind eyes, the marks in grey print."""

    words: str
    colour: str
    line: str
    mark: str
    hatch: str


LOOKS: dict[BranchName, Look] = {
    "loading": Look("loading", "#0072B2", "-", "o", ""),
    "unloading": Look("unloading", "#D55E00", "--", "s", "////"),
}


@dataclass(frozen=True)
class _Axis:
    """Units of both axes, and what is taken off a half-path length to have what the tape reads."""

    shown: Shown
    offset: float | None  # [m]

    @property
    def newton(self) -> float:
        """One unit of the upright axis. [N]"""
        return self.shown.newton

    @property
    def force(self) -> str:
        """Name of that unit."""
        return self.shown.force

    @property
    def level_axis_text(self) -> str:
        """What the level axis is."""
        return f"{'half-path length' if self.offset is None else 'length on the tape'} [{self.shown.length}]"

    def x(self, half_path: Any) -> Any:
        """Place on the level axis, of a number or an array in metres."""
        return (half_path - (self.offset or 0.0)) / self.shown.metre

    def taped(self, half_path: float) -> str:
        """A place on it in words."""
        return f"{self.x(half_path):.{2 if self.shown.length == 'm' else 0}f} {self.shown.length}"

    def long(self, metre: float) -> str:
        """A length in words."""
        return f"{self.shown.tape(metre)} {self.shown.length}"

    def stretch(self, rest: float) -> "_Ways":
        """From the level axis to stretch and back."""
        metre, offset = self.shown.metre, self.offset or 0.0
        return (
            lambda x: (np.asarray(x, float) * metre + offset) / rest,
            lambda y: (np.asarray(y, float) * rest - offset) / metre,
        )


_Ways = tuple[Callable[[ArrayLike], ArrayLike], Callable[[ArrayLike], ArrayLike]]
GREY = "#595959"
_FILL = "#EDEDED"
_SETTINGS: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 9.0,
    "axes.titlesize": 9.5,
    "axes.spines.top": False,
    "axes.edgecolor": GREY,
    "axes.labelcolor": "#222222",
    "axes.grid": True,
    "grid.color": "#E3E3E3",
    "grid.linewidth": 0.6,
    "axes.axisbelow": True,
    "hatch.linewidth": 0.5,
    "svg.hashsalt": "bandcurve",
    "svg.fonttype": "none",  # text stays text: it can be read out, found and translated
    "pdf.fonttype": 42,
    "legend.frameon": False,
}
_NO_DATES: dict[FigureKind, dict[str, Any]] = {
    "png": {"Software": None},
    "svg": {"Date": None, "Creator": "bandcurve"},
    "pdf": {"CreationDate": None, "Producer": "bandcurve", "Creator": "bandcurve"},
}


def draw(profile: Profile, points: Sequence[Point], kind: FigureKind, shown: Shown = SHOWN["kg"]) -> bytes:
    """Draw a profile with the readings behind it as one page.

    Args:
        profile: The curve.
        points: Its readings as the fitter saw them; empty draws the curve alone.
        kind: "png", "svg" or "pdf".
        shown: Units of both axes.
    """
    return figure_bytes(lambda: curve_figure(profile, points, shown), kind)


def figure_bytes(make: Callable[[], Figure], kind: FigureKind) -> bytes:
    """A figure as a file, the same bytes each time; the text of an SVG stays text.

    Args:
        make: Draws it, under the settings all figures share.
        kind: "png", "svg" or "pdf".
    """
    with mpl.rc_context(), warnings.catch_warnings():
        mpl.rcdefaults()
        mpl.rcParams.update(_SETTINGS)
        warnings.filterwarnings("ignore", message="Glyph .* missing")  # a name in a script the font lacks
        page = io.BytesIO()
        make().savefig(page, format=kind, dpi=150, metadata=_NO_DATES[kind])
    return page.getvalue()


def curve_figure(profile: Profile, points: Sequence[Point], shown: Shown = SHOWN["kg"]) -> Figure:
    """The page as a figure: the curve above, what each branch's readings leave below.

    Args:
        profile: The curve.
        points: Its readings, or none.
        shown: Units of both axes; lengths are what the tape reads where the profile says how it was held.
    """
    axis = _Axis(shown, profile.half_path_less_tape)
    figure = Figure(figsize=PAGE)
    FigureCanvasAgg(figure)
    names = [name for name in BRANCHES if profile.branch(name)]
    heights = [3.4, *(1.0 for _ in names)]
    axes = figure.subplots(len(heights), 1, sharex=True, gridspec_kw={"height_ratios": heights, "hspace": 0.17})
    figure.subplots_adjust(left=0.095, right=0.905, top=0.845, bottom=0.105)
    _curve(axis, axes[0], profile, points)
    limit = _residual_limit(axis, profile, points)
    for ax, name in zip(axes[1:], names, strict=True):
        _residuals(axis, ax, profile, name, points, limit)
    axes[-1].set_xlabel(axis.level_axis_text)
    _words(figure, profile)
    return figure


def _curve(axis: _Axis, ax: Axes, profile: Profile, points: Sequence[Point]) -> None:
    """Both branches, the loop between them, the readings."""
    _loop(axis, ax, profile)
    for name in BRANCHES:
        branch = profile.branch(name)
        if branch is None:
            continue
        look, (length, force, u95) = LOOKS[name], _arrays(axis, branch)
        ax.fill_between(length, force - u95, force + u95, color=look.colour, alpha=0.28, linewidth=0)
        ax.plot(length, force, look.line, color=look.colour, linewidth=1.6, label=look.words, gid=f"curve-{name}")
    top = (
        1.14 * max([max(b.force_N) for b in (profile.branches.loading, profile.branches.unloading) if b]) / axis.newton
    )
    _readings(axis, ax, [p for p in points if p.force / axis.newton < top])
    beyond = [p for p in points if p.force / axis.newton >= top]
    for p in beyond:
        _beyond(axis, ax, p, p.force / axis.newton, (0.93 * top, top), "")
    ax.set_ylim(0, top)
    ax.set_ylabel("pull, " + _strands(profile) + f" [{axis.force} as a scale shows it]")
    ax.yaxis.set_major_locator(MaxNLocator(8))
    ax.legend(loc="upper left", bbox_to_anchor=(0.0, 0.91 if beyond else 0.99), labelspacing=0.45)
    newton = ax.secondary_yaxis("right", functions=_scaling(axis.newton))
    newton.set_ylabel("pull [N]")
    rest = profile.band.rest_half_path_m
    stretch = ax.secondary_xaxis("top", functions=axis.stretch(rest))
    stretch.set_xlabel(f"stretch: half-path length over {axis.long(rest)} at rest", labelpad=5)


def _scaling(factor: float) -> _Ways:
    """There and back between an axis and its second scale."""
    return lambda x: np.asarray(x, float) * factor, lambda y: np.asarray(y, float) / factor


def _loop(axis: _Axis, ax: Axes, profile: Profile) -> None:
    """Fill what lies between the branches, and say what it means."""
    out, back = profile.branches.loading, profile.branches.unloading
    if back is None:
        ax.text(0.985, 0.04, "unloading was not measured", transform=ax.transAxes, ha="right", color=GREY)
        return
    first, last = max(out.length_m[0], back.length_m[0]), min(out.length_m[-1], back.length_m[-1])
    half_path = np.array([x for x in out.length_m if first <= x <= last])
    upper, lower = (np.interp(half_path, b.length_m, b.force_N) / axis.newton for b in (out, back))
    length = axis.x(half_path)
    ax.fill_between(length, lower, upper, facecolor=_FILL, edgecolor="#B5B5B5", hatch="....", linewidth=0, gid="loop")
    lost = profile.hysteresis
    if lost is not None:
        words = (
            f"dotted: lost as heat each cycle\n{lost.energy_lost_J:.1f} J of {lost.energy_in_J:.1f} J put in "
            f"({100 * lost.loss_ratio:.1f} $\\pm$ {200 * lost.u_loss_ratio:.1f} %)\n"
            f"between {axis.taped(lost.from_m)} and {axis.taped(lost.to_m)}"
        )
        ax.text(0.985, 0.04, words, transform=ax.transAxes, ha="right", va="bottom", color=GREY, linespacing=1.4)


def _readings(axis: _Axis, ax: Axes, points: Sequence[Point]) -> None:
    for name in BRANCHES:
        look = LOOKS[name]
        used = [p for p in points if p.branch == name and p.used]
        if used:
            ax.plot(
                [axis.x(p.length) for p in used], [p.force / axis.newton for p in used], look.mark, color=look.colour,
                markerfacecolor="white", markersize=4.2, markeredgewidth=0.9, gid=f"readings-{name}",
                label=f"readings, {look.words}",
            )  # fmt: skip
    left = [p for p in points if not p.used]
    if left:
        ax.plot(
            [axis.x(p.length) for p in left], [p.force / axis.newton for p in left], "x", color="black", markersize=7,
            markeredgewidth=1.6, label="not used: does not fit the others", gid="readings-not-used", zorder=5,
        )  # fmt: skip
    for p in left:
        above = p.force > p.curve  # write on the side where the curve is not
        ax.annotate(
            f"row {p.row}", (axis.x(p.length), p.force / axis.newton), (-7 if above else 7, 2 if above else -2),
            textcoords="offset points", fontsize=8, ha="right" if above else "left", va="bottom" if above else "top",
        )  # fmt: skip


def _residuals(
    axis: _Axis, ax: Axes, profile: Profile, name: BranchName, points: Sequence[Point], limit: float
) -> None:
    """Readings less the curve, against the limits of the mean and of the next set."""
    branch = profile.branch(name)
    assert branch is not None
    look, (length, _, u95) = LOOKS[name], _arrays(axis, branch)
    wide = _next_set(axis, profile, branch)
    ax.fill_between(
        length, -u95, u95, facecolor=look.colour, alpha=0.25, hatch=look.hatch, edgecolor=look.colour, linewidth=0,
        label="95 % limits: mean curve",
    )  # fmt: skip
    ax.plot(length, wide, ":", color=GREY, linewidth=1.2, label="next set")
    ax.plot(length, -wide, ":", color=GREY, linewidth=1.2)
    ax.axhline(0, color=look.colour, linestyle=look.line, linewidth=1.2)
    ax.set_ylim(-limit, limit)
    mine = [p for p in points if p.branch == name and holds(branch, p.length)]
    off = [(p.force - estimate(branch, p.length).force) / axis.newton for p in mine]
    for p, kg in zip(mine, off, strict=True):
        if not p.used and abs(kg) > limit:
            side = limit if kg > 0 else -limit
            _beyond(axis, ax, p, kg, (0.68 * side, side), "+")
        else:
            ax.plot(axis.x(p.length), kg, look.mark if p.used else "x", color=look.colour if p.used else "black",
                    markerfacecolor="white", markersize=4.2 if p.used else 7, gid=f"residual-{p.row}")  # fmt: skip
    ax.yaxis.set_major_locator(MaxNLocator(4, symmetric=True))
    ax.set_ylabel(f"off [{axis.force}]")
    what = "readings less the curve" if mine else "limits about the curve"
    ax.set_title(f"{look.words}: {what}", loc="left", color=look.colour, fontsize=9, pad=3)
    ax.spines["right"].set_visible(False)
    if name == "loading":
        ax.legend(
            loc="lower right", bbox_to_anchor=(1.0, 0.96), ncols=2, fontsize=8, borderaxespad=0.2, columnspacing=1.2
        )


def _beyond(axis: _Axis, ax: Axes, point: Point, kg: float, arrow: tuple[float, float], sign: str) -> None:
    """A reading off the panel: an arrow at its edge with the number."""
    at, (start, edge) = axis.x(point.length), arrow
    ax.annotate("", (at, edge), (at, start), arrowprops={"arrowstyle": "->", "linewidth": 1.3})
    ax.annotate(
        f"row {point.row}: {kg:{sign}.2f} {axis.force}, not used", (at, (start + edge) / 2), (7, 0),
        textcoords="offset points", fontsize=8, va="center",
    )  # fmt: skip


def _residual_limit(axis: _Axis, profile: Profile, points: Sequence[Point]) -> float:
    """Half of the residual panels' height."""
    largest = 0.0
    for name in BRANCHES:
        branch = profile.branch(name)
        if branch is None:
            continue
        largest = max(largest, float(_next_set(axis, profile, branch).max()))
        mine = [p for p in points if p.branch == name and p.used and holds(branch, p.length)]
        off = [abs(p.force - estimate(branch, p.length).force) / axis.newton for p in mine]
        largest = max([largest, *off])
    return 1.15 * largest or 1.0


def _arrays(axis: _Axis, branch: Branch) -> tuple[Array, Array, Array]:
    """Places on the axis, pull, 95 % half-width, in the units of the axes."""
    return (
        axis.x(np.array(branch.length_m)),
        np.array(branch.force_N) / axis.newton,
        np.array(branch.u95_N) / axis.newton,
    )


def _next_set(axis: _Axis, profile: Profile, branch: Branch) -> Array:
    """95 % half-width of the next set along a branch."""
    found = [estimate(branch, x) for x in branch.length_m]
    return np.array([profile.u95_next(e) / axis.newton for e in found])


def _strands(profile: Profile) -> str:
    return "both legs" if profile.band.strands == 2 else "one strand"


def _words(figure: Figure, profile: Profile) -> None:
    """Title, what it was measured with, and what the limits mean."""
    left = 0.095
    figure.text(
        left, 0.967, f"Band {_plain(profile.band.id)}", fontsize=15, fontweight="bold", va="top", parse_math=False
    )
    figure.text(left, 0.938, _circumstances(profile), color=GREY, va="top", linespacing=1.45, parse_math=False)
    count = len(profile.findings)
    codes = ", ".join(dict.fromkeys(_plain(f.code) for f in profile.findings))
    doubts = f"{count} finding{'s' * (count != 1)}: {codes}" if count else "no findings"
    days = "assumed" if profile.repeatability.between_day_assumed else "measured"
    words = (
        f"Limits are 95 %. Mean: the band's own curve. Next set: one set on another day (that change is {days}).\n"
        f"{fill(doubts, FOOT_COLUMNS, max_lines=2, placeholder=' ...')}"
    )
    figure.text(left, 0.05, words, color=GREY, fontsize=8, va="top", linespacing=1.45, parse_math=False)


def _circumstances(profile: Profile) -> str:
    held, gear = profile.conditions, profile.gear
    parts = [
        f"measured {profile.made.measured_at}" if profile.made.measured_at else "",
        METHOD_WORDS[held.method] + (f" ({_plain(gear.scale)})" if gear.scale else ""),
        f"{held.cycles} cycle{'s' * (held.cycles != 1)}",
        f"{held.dwell_s:g} s at each point" if held.dwell_s is not None else "",
        f"{held.temperature_C:.0f} °C" if held.temperature_C is not None else "temperature unknown",
    ]
    note = _plain(profile.band.note or "")
    return "\n".join(_cut(line, 100) for line in (", ".join(filter(None, parts)), note) if line)


def _plain(text: str) -> str:
    """Other people's text without characters that a page cannot carry."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _cut(text: str, longest: int) -> str:
    return text if len(text) <= longest else text[: longest - 3] + "..."
