"""Plates that exist, and what they make on a bar loaded alike on both sides. What the load is for is not known here."""

from collections.abc import Sequence

import numpy as np

from calib.errors import DataError
from calib.frozen import dataclass
from calib.records import Array

MOST_LOADS = 50_000  # different loads of one set of plates; beyond it the search takes long and nobody owns them


@dataclass(frozen=True)
class Plates:
    """Plates of one mass."""

    mass: float  # [kg]
    count: int  # on both sides together


@dataclass(frozen=True)
class Loadings:
    """Every load a set of plates makes, each with the fewest plates."""

    totals: Array  # [kg] on both sides together, rising
    a_side: tuple[tuple[float, ...], ...]  # [kg] the plates on one side, the heaviest first
    left_over: tuple[float, ...] = ()  # [kg] odd plates, which have no partner for the other side

    def nearest(self, total: float) -> int:
        """Which load is nearest; the lighter one of two."""
        return int(abs(self.totals - total).argmin())


def loadings(plates: Sequence[Plates]) -> Loadings:
    """Work out every load that is the same on both sides.

    Args:
        plates: What there is.

    >>> found = loadings([Plates(20, 2), Plates(10, 3)])
    >>> found.totals.tolist(), found.a_side[-1], found.left_over
    ([0.0, 20.0, 40.0, 60.0], (20, 10), (10,))

    Raises:
        DataError: They make more different loads than anybody searches through.
    """
    owned: dict[float, int] = {}
    for one in plates:
        owned[one.mass] = owned.get(one.mass, 0) + one.count
    found: dict[int, tuple[float, ...]] = {0: ()}
    for mass in sorted(owned, reverse=True):
        for grams, side in list(found.items()):
            for n in range(1, owned[mass] // 2 + 1):
                total, more = grams + round(1e3 * mass * n), (*side, *[mass] * n)
                if total not in found or len(more) < len(found[total]):
                    found[total] = more
            if len(found) > MOST_LOADS:
                raise DataError(f"these plates combine to more than {MOST_LOADS} different loads", where="--plates",
                                remedy="name fewer kinds: only those you will use")  # fmt: skip
    sides = sorted(found.values(), key=sum)
    return Loadings(
        np.array([2 * sum(side) for side in sides], dtype=float),
        tuple(sides),
        tuple(mass for mass in sorted(owned, reverse=True) if owned[mass] % 2),
    )


def as_loaded(total: float) -> Loadings:
    """The plates that are on the bar already and stay there.

    Args:
        total: On both sides together. [kg]
    """
    return Loadings(np.array([total]), ((total / 2,) if total else (),))
