"""Degrees of freedom of a combined uncertainty, and the coverage factor that goes with them. No budget is made here."""

from collections.abc import Sequence

import numpy as np
from scipy.special import stdtrit


def effective_dof(contributions: Sequence[float], dof: Sequence[float]) -> float:
    """Welch-Satterthwaite effective degrees of freedom.

    Args:
        contributions: Standard uncertainty that each source adds to the result, in the result's unit, shape (n,).
        dof: Degrees of freedom of each, shape (n,); infinite where the u is known well.

    Returns:
        Effective degrees of freedom, not rounded; infinite where no source has a finite number.

    JCGM 100:2008 G.4.1, equation G.2b.
    """
    u2 = np.square(np.asarray(contributions, dtype=float))
    ignorance = float((u2**2 / np.asarray(dof, dtype=float)).sum())
    return float(u2.sum() ** 2 / ignorance) if ignorance else float("inf")


def coverage_factor(dof: float, level: float = 0.95) -> float:
    """Factor that makes a standard uncertainty a symmetric interval (Student's t), JCGM 100:2008 G.3."""
    return float(stdtrit(min(dof, 1e9), 0.5 + level / 2))
