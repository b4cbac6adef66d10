"""Known loads on a scale and what it showed: what can be said of them before any correction is fitted.

Loads are masses, or forces where that is said; no file is opened and nothing is asked here.
"""

from collections.abc import Sequence
from math import isfinite, sqrt

import numpy as np

from calib.errors import DataError
from calib.frozen import dataclass
from calib.records import BranchName


@dataclass(frozen=True)
class Weighing:
    """One known load and what the scale showed."""

    pieces: tuple[float, ...]  # nominal values that hung together [kg], or [N] where the loads are forces; () = nothing
    shown: float  # [N]
    branch: BranchName = "loading"
    line: int = 0  # line in a file, 0 where there is none

    @property
    def nominal(self) -> float:
        """Sum of the pieces."""
        return float(sum(self.pieces))

    @property
    def load(self) -> float:
        """The sum to a thousandth: 10 kg and 22.0462 lb are one load."""
        return round(self.nominal, 3)


def added_one_by_one(totals: Sequence[float]) -> list[tuple[float, ...]]:
    """Pieces of loads of which only the totals are known: each next larger load is the one before plus one piece."""
    levels = sorted({t for t in totals if t > 0})
    steps = [b - a for a, b in zip([0.0, *levels], levels, strict=False)]
    stacks = {level: tuple(steps[: i + 1]) for i, level in enumerate(levels)}
    return [stacks[t] if t > 0 else () for t in totals]


def refuse_nonsense(weighings: Sequence[Weighing]) -> None:
    """Refuse what no scale shows.

    Raises:
        DataError: Too few loads, or numbers that no scale shows.
    """
    for w in weighings:
        if not (isfinite(w.shown) and all(isfinite(p) for p in w.pieces)):
            raise DataError("a known load or a reading is not a number", where=_line(w), remedy="correct it")
        if any(p <= 0 for p in w.pieces):
            raise DataError(f"a known load of {min(w.pieces):g} is not above zero", where=_line(w), remedy="correct it")
    nominal = {w.load for w in weighings}
    if len(nominal) < 2 or len(weighings) < 3:
        raise DataError(
            f"{len(weighings)} readings of {len(nominal)} different loads say nothing of a scale",
            remedy="read at least zero and one known load, up and down; four loads are better",
        )
    low, high = min(weighings, key=lambda w: w.nominal), max(weighings, key=lambda w: w.nominal)
    if high.shown == low.shown:
        raise DataError("the scale shows the same with and without load", where=_line(high), remedy="is it on hold?")
    if high.shown < low.shown:
        raise DataError(
            "the scale shows less under load than without: its pull is reversed, or known and shown are swapped",
            where=_line(high),
            remedy="reverse the scale, or check the columns",
        )


def _line(weighing: Weighing) -> str:
    return f"line {weighing.line}" if weighing.line else ""


def repeatability(weighings: Sequence[Weighing]) -> float | None:
    """Pooled sd of readings of one load on one branch. [N]"""
    groups: dict[tuple[float, str], list[float]] = {}
    for w in weighings:
        groups.setdefault((w.load, w.branch if w.pieces else ""), []).append(w.shown)
    repeated = [np.array(v) for (load, _), v in groups.items() if len(v) > 1 and load]
    dof = sum(len(v) - 1 for v in repeated)
    return sqrt(sum(float(np.sum((v - v.mean()) ** 2)) for v in repeated) / dof) if dof else None


def down_less_up(weighings: Sequence[Weighing]) -> dict[float, float]:
    """By nominal load above zero: mean reading on the way down less that on the way up. [N]"""
    by_branch: dict[float, dict[str, list[float]]] = {}
    for w in weighings:
        if w.pieces:
            by_branch.setdefault(w.load, {}).setdefault(w.branch, []).append(w.shown)
    return {
        load: float(np.mean(b["unloading"]) - np.mean(b["loading"])) for load, b in by_branch.items() if len(b) == 2
    }


def relative_reversibility(weighings: Sequence[Weighing]) -> float | None:
    """Mean of |down - up| over what was shown. The topmost load, where the way turns, has no gap of its own."""
    both = down_less_up(weighings)
    shown = {load: np.mean([w.shown for w in weighings if w.load == load]) for load in both}
    return float(np.mean([abs(gap) / abs(shown[load]) for load, gap in both.items() if shown[load]])) if both else None


def zero_return(weighings: Sequence[Weighing]) -> float | None:
    """Last reading of nothing less the first. [N]"""
    zeros = [w.shown for w in weighings if not w.pieces]
    return zeros[-1] - zeros[0] if len(zeros) > 1 else None
