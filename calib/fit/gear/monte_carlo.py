"""The interval that draws through a model leave. The draws are the caller's. After JCGM 101:2008."""

import numpy as np

from calib.records import Array


def symmetric_interval(draws: Array, level: float) -> tuple[float, float]:
    """Interval of draws with equal probability on either side (JCGM 101 clause 7.7.2)."""
    inside = min(len(draws), max(2, int(np.floor(level * len(draws) + 0.5))))
    first = (len(draws) - inside) // 2
    last = first + inside - 1
    ordered = np.partition(draws, (first, last))
    return float(ordered[first]), float(ordered[last])
