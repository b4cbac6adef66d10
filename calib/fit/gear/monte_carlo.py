"""The interval that draws through a model leave. The draws are the caller's. After JCGM 101:2008."""

import numpy as np

from calib.records import Array


def symmetric_interval(ordered: Array, level: float) -> tuple[float, float]:
    """Interval of ordered draws with equal probability on either side (JCGM 101 clause 7.7.2)."""
    inside = min(len(ordered), max(2, int(np.floor(level * len(ordered) + 0.5))))
    first = (len(ordered) - inside) // 2
    return float(ordered[first]), float(ordered[first + inside - 1])
