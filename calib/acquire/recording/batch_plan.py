"""What is still to be done with the bands of a batch folder: which are measured, which are next, how long it takes.

A band's state follows from its run alone, so a batch can be left and taken up at any time. Nothing is asked here.
"""

import re
from collections.abc import Sequence
from dataclasses import replace
from statistics import median
from typing import Literal

from calib.acquire.recording.course import Course, course_of, extensions_of
from calib.acquire.recording.state import Recording
from calib.errors import DataError
from calib.frozen import dataclass
from calib.records import Run, RunHead

UNTAPED = "untaped"  # in the head of a band of a batch that nobody had in hand yet: its flat length is the nominal one
FEW_SHARES = (0.15, 0.5, 1.0)  # of the range of the plan: where a band that borrows its shape is read
FULL_READING_S, FEW_READING_S = 22.0, 25.0  # a reading with setting and holding, until this batch shows it
AROUND_S = 90.0  # a band taped, weighed, hooked and conditioned
MOST_BANDS = 500

State = Literal["to do", "begun", "done"]


@dataclass(frozen=True)
class BandToMeasure:
    """One band of the folder."""

    run: Run

    @property
    def id(self) -> str:
        """The band."""
        return self.run.head.band.id

    @property
    def full(self) -> bool:
        """Whether it is to be measured in full."""
        return course_of(self.run.head, self.run.rows).way_back or self.wanted > len(FEW_SHARES)

    @property
    def wanted(self) -> int:
        """How many readings are planned."""
        return sum(slot.kind == "reading" for slot in Recording.from_run(self.run).slots)

    @property
    def state(self) -> State:
        """How far it has got."""
        if self.run.head.extensions.get(UNTAPED) or not self.run.rows:
            return "to do"
        return "done" if Recording.from_run(self.run).slot is None else "begun"

    @property
    def seconds(self) -> float | None:
        """How long it took, where the clock was looked at. [s]"""
        times = [row.at_s for row in self.run.rows if row.at_s is not None]
        return max(times) if times and self.state == "done" else None


def heads(base: RunHead, ids: Sequence[str], full: int) -> list[RunHead]:
    """A head for each band: the first ones measured in full, the others at three of the same places.

    Args:
        base: Gear, plan and procedure, with the nominal flat length.
        ids: Of the bands.
        full: How many to measure in full.
    """
    course = course_of(base, ())
    few = replace(course, settings=few_settings(course.settings), cycles=1, way_back=False, closing=False)
    out = []
    for i, name in enumerate(ids):
        mine = extensions_of(course if i < full else few)
        band = replace(base.band, id=name)
        out.append(replace(base, band=band, extensions=base.extensions | mine | {UNTAPED: True, "quick": False}))
    return out


def in_full(head: RunHead, like: Course) -> RunHead:
    """A head that was to be measured at few places, to be measured in full after all."""
    return replace(head, extensions=head.extensions | extensions_of(like))


def few_settings(settings: Sequence[float]) -> tuple[float, ...]:
    """Of the planned places the three that tell most where the shape is borrowed: low, middle, top."""
    low, high = settings[0], settings[-1]
    nearest = {min(settings, key=lambda x: abs(x - (low + share * (high - low)))) for share in FEW_SHARES}
    return tuple(sorted(nearest))


def numbered(prefix: str, count: int, first: int = 1) -> list[str]:
    """Ids for a number of bands: B01, B02, ...

    >>> numbered("B", 3)
    ['B01', 'B02', 'B03']
    """
    if not 1 <= count <= MOST_BANDS:
        raise DataError(f"{count} bands are not one batch", remedy=f"1 to {MOST_BANDS}")
    digits = max(2, len(str(first + count - 1)))
    return [f"{prefix}{first + i:0{digits}d}" for i in range(count)]


def next_band(bands: Sequence[BandToMeasure]) -> BandToMeasure | None:
    """One that was begun, else the first that is still to do."""
    order = [b for b in bands if b.state == "begun"] + [b for b in bands if b.state == "to do"]
    return order[0] if order else None


def seconds_left(bands: Sequence[BandToMeasure]) -> float:
    """What is still to do, at the pace of the bands done. [s]"""
    left = 0.0
    for full in (True, False):
        paces = [b.seconds / b.wanted for b in bands if b.full == full and b.seconds and b.wanted]
        pace = median(paces) if paces else (FULL_READING_S if full else FEW_READING_S)
        for band in bands:
            if band.full == full and band.state != "done":
                left += pace * (band.wanted - len(band.run.readings)) + (AROUND_S if band.state == "to do" else 0.0)
    return left


def misnamed(runs: Sequence[tuple[str, str]]) -> list[str]:
    """Files called as another band's run, beside that band's own: an id was changed by hand, or a file renamed.

    Args:
        runs: File name and the band it says it is of.
    """
    names = {name for name, _ in runs}
    return [
        f"{name} says it is of band {band}, which has a run of its own; correct its id, or move the file away"
        for name, band in runs
        if not name.startswith(f"{band}.") and f"{band}.run.csv" in names
    ]


def find(bands: Sequence[BandToMeasure], text: str) -> BandToMeasure:
    """The band somebody means: its id in any case, or its number alone.

    Raises:
        DataError: None, or several, are called that.
    """
    exact = [b for b in bands if b.id == text] or [b for b in bands if b.id.lower() == text.lower()]
    number = text.lstrip("0") or "0"
    by_number = [b for b in bands if text.isdigit() and re.sub(r"^.*?0*(\d+)$", r"\1", b.id) == number]
    found = exact or by_number
    if len(found) != 1:
        what = f"several bands end in {text}" if found else f"there is no band {text[:20]!a} in this batch"
        raise DataError(what, remedy="type the name on its label; list shows them")
    return found[0]
