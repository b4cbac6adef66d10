"""Cycles and branches of readings only listed in order: told by where the lengths turn round. No table is read here."""

from collections.abc import Sequence
from itertools import pairwise

from calib.records import BranchName


def courses_of(
    lengths: Sequence[float], branches: Sequence[BranchName] | None, cycles: Sequence[int] | None
) -> list[tuple[int, BranchName]]:
    """Cycle and branch of each reading, from columns where there are any, else from the turning points.

    Args:
        lengths: In the order recorded, shape (n,), in any one unit.
        branches: As a column names them, shape (n,); None where there is no such column.
        cycles: Likewise.
    """
    if cycles is not None and branches is None:
        branches = [branch for run in _runs(cycles) for branch in _direction([lengths[i] for i in run])]
    if branches is None:
        branches = _direction(lengths)
    if cycles is None:
        cycles = _counted(lengths, branches)
    return list(zip(cycles, branches, strict=True))


def _runs(values: Sequence[int]) -> list[list[int]]:
    out: list[list[int]] = []
    for i, value in enumerate(values):
        if not out or values[out[-1][0]] != value:
            out.append([])
        out[-1].append(i)
    return out


def _direction(lengths: Sequence[float]) -> list[BranchName]:
    """Loading while lengths grow, unloading while they shrink.

    A top read twice belongs to both branches, a bottom read twice too; a fall in one step to where the next loading
    branch begins is a fresh start.
    """
    steps = [(b > a) - (b < a) for a, b in pairwise(lengths)]
    onward = [0]  # backwards: which way the first step from here on goes that goes anywhere
    for step in reversed(steps):
        onward.append(step or onward[-1])
    onward.reverse()
    out: list[BranchName] = ["loading"]
    for i, step in enumerate(steps):
        ahead = onward[i + 1]
        alone = step < 0 and out[-1] == "loading" and ahead > 0
        if step > 0 or alone:
            out.append("loading")
        elif step < 0:
            out.append("unloading")
        elif ahead:
            out.append("loading" if ahead > 0 else "unloading")
        else:
            out.append("unloading" if out[-1] == "loading" else out[-1])
    return out


def _counted(lengths: Sequence[float], branches: Sequence[BranchName]) -> list[int]:
    out = [1]
    for i in range(1, len(lengths)):
        onward = branches[i] == "loading" and (branches[i - 1] == "unloading" or lengths[i] < lengths[i - 1])
        out.append(out[-1] + onward)
    return out
