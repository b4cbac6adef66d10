"""What a row of the campaign makes, band by band, and what it is scored against."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tests.campaigns.adversary.laws import Array
from tests.campaigns.adversary.rubber import Band

FRACTIONS = (0.02, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.98)


@dataclass(frozen=True)
class NextSet:
    """One set on another day: its gain over the truth, and how the hook sits [m]."""

    gain: float
    shift: float


@dataclass(frozen=True)
class Case:
    """Files of one band, by name, and its truth: half-path length [m] to pull [N].

    `command` is what to call where that is not `fit`; `talk` answers its prompts; `other` is hooked to it in series.
    """

    ident: str
    files: dict[str, str]
    band: Band
    low: float
    high: float
    next_set: NextSet
    command: tuple[str, ...] = ()
    talk: Callable[[str], str] | None = None
    other: Band | None = None

    def places(self) -> Array:
        return np.asarray(self.low + (self.high - self.low) * np.array(FRACTIONS))

    def truth(self, branch: str) -> Array:
        return self.band.pull(branch, self.places())

    def next_pull(self, branch: str) -> Array:
        return self.band.pull(branch, self.places() - self.next_set.shift) * self.next_set.gain


Maker = Callable[[np.random.Generator, str], Case]
SLIPS = frozenset({"gross-error", "stray-reading", "single-negative", "not-repeatable"})
SHAPE = frozenset({"curled-start", "shape-held"})


@dataclass(frozen=True)
class Row:
    """One row of the table: who made the law, and what findings are no false alarm in it."""

    name: str
    what: str
    source: str
    make: Maker
    right: frozenset[str] = frozenset()
    group: str = "gear"


def rows_of(group: str, right: frozenset[str], *items: tuple[str, str, Maker], source: str = "invented") -> list[Row]:
    """Rows of one kind: name, what it is, and who makes its bands."""
    return [Row(name, what, source, make, right, group) for name, what, make in items]
