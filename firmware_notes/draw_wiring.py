"""`python firmware_notes/draw_wiring.py`: draws wiring.svg, so that a pin changed here is changed there too."""

from pathlib import Path

import matplotlib

matplotlib.use("svg")
import matplotlib.pyplot as plt
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

WIRES_OF_CELL = ("E+  excitation +", "E-  excitation -", "A+  signal +", "A-  signal -")
WIRES_OF_BOARD = ("VCC   5 V or 3.3 V", "DATA   pin 4", "CLOCK  pin 5", "GND    ground")
HIGH = 0.8  # of one wire


def _box(axes: Axes, left: float, wide: float, title: str) -> None:
    axes.add_patch(Rectangle((left, -0.6), wide, 4.2 * HIGH + 0.4, fill=False, linewidth=1.5))
    axes.text(left + wide / 2, 4.2 * HIGH - 0.05, title, ha="center", va="bottom", fontsize=11)


def _wires(axes: Axes, names: tuple[str, ...], begin: float, end: float) -> None:
    for i, name in enumerate(names):
        height = (3 - i) * HIGH
        axes.plot([begin, end], [height, height], color="black", linewidth=1.2, marker="o", markersize=4)
        axes.text((begin + end) / 2, height + 0.1, name, ha="center", fontsize=8.5, family="monospace")


def draw(path: Path) -> None:
    """Write the picture."""
    plt.rcParams["svg.hashsalt"] = "wiring"
    figure, axes = plt.subplots(figsize=(9, 3.4))
    for left, wide, title in ((0, 1.6, "load cell"), (4.4, 1.8, "24-bit converter"), (9.8, 1.6, "board, USB")):
        _box(axes, left, wide, title)
    _wires(axes, WIRES_OF_CELL, 1.6, 4.4)
    _wires(axes, WIRES_OF_BOARD, 6.2, 9.8)
    axes.text(3.0, -0.5, "screen: to ground,\nat the converter only", ha="center", va="top", fontsize=8)
    axes.set_xlim(-0.2, 11.6)
    axes.set_ylim(-1.3, 4.0)
    axes.set_axis_off()
    figure.savefig(path, metadata={"Date": None}, bbox_inches="tight")
    plt.close(figure)


if __name__ == "__main__":
    draw(Path(__file__).with_name("wiring.svg"))
