"""What stands on the screen after the last reading: kilos at the lengths the tape read, at most a dozen lines.

The kilos come first, and once more last, where the eye is; table, budget and all doubts are there on request.
"""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from statistics import median

from calib.acquire.recording.course import Course
from calib.acquire.recording.plan import geometry_of
from calib.acquire.recording.typed_entry import number_in_unit
from calib.fit.curve.tension_curve import UNREAD
from calib.frozen import dataclass
from calib.profile.document import Profile
from calib.profile.table import BranchName, estimate, tested_range
from calib.records import Run
from calib.units import FORCE, LENGTH

MOST_ROWS = 4
OTHER = {"kg": "lb", "lb": "kg", "N": "kg", "mm": "in", "cm": "in", "m": "in", "in": "cm", "ft": "cm"}


@dataclass(frozen=True)
class PullWords:
    """What a band pulls at one length, on one way."""

    force: float  # [N]
    u95: float  # [N] half-width


@dataclass(frozen=True)
class PlaceWords:
    """One length that was read."""

    taped: float  # [m]
    stretch: float
    out: PullWords
    back: PullWords | None = None


def places(run: Run, profile: Profile, most: int = MOST_ROWS) -> tuple[PlaceWords, ...]:
    """The pull at some of the lengths that were read, ends and middle among them."""
    geometry = geometry_of(run.head.band, run.head.length)
    taped = sorted({r.length for r in run.readings if r.length is not None})
    if len(taped) > most:
        taped = [taped[round(i * (len(taped) - 1) / (most - 1))] for i in range(most)]
    if run.head.procedure.method == "hung-weight":
        taped = _rounded(taped)
    found = []
    for x in taped:
        out = _pull(profile, "loading", x + geometry.offset)
        if out is not None:
            found.append(PlaceWords(x, geometry.stretch(x), out, _pull(profile, "unloading", x + geometry.offset)))
    return tuple(found)


def _rounded(taped: Sequence[float]) -> list[float]:
    """Lengths under hung plates are as they come; they are said to half a centimetre."""
    inner = [round(x / 0.005) * 0.005 for x in taped[1:-1]]
    return sorted({taped[0], *inner, taped[-1]})


def _pull(profile: Profile, branch: BranchName, half_path: float) -> PullWords | None:
    table = profile.branch(branch)
    if table is None:
        return None
    low, high = tested_range(table)
    at = estimate(table, min(max(half_path, low), high))
    return PullWords(at.force, at.u95)


@dataclass(frozen=True)
class Recorded:
    """A recording that was fitted."""

    run: Run
    profile: Profile
    file: str  # of the profile, as a command takes it
    course: Course

    def pull(self, pull: PullWords, unit: str | None = None) -> str:
        """A pull without its unit, as many digits as its limit is worth."""
        newton = FORCE[unit or self.course.force_unit]
        digits = 1 if pull.force / newton >= 10 and pull.u95 / newton >= 0.1 else 2
        return f"{pull.force / newton:.{digits}f}"

    def limit(self, pull: PullWords) -> str:
        """A limit without its unit, as many digits as its pull."""
        digits = len(self.pull(pull).partition(".")[2])
        return f"{pull.u95 / FORCE[self.course.force_unit]:.{digits}f}"

    def tape(self, metre: float) -> str:
        """A length as taped, with its unit."""
        unit = self.course.length_unit
        return f"{number_in_unit(metre, unit, LENGTH)} {unit}"

    def other_tape(self, metre: float) -> str:
        """The same in the other unit, without it."""
        return f"{metre / LENGTH[OTHER[self.course.length_unit]]:.1f}"


def recorded_words(told: Recorded, said: Sequence[str], next_steps: Sequence[str]) -> list[str]:
    """The answer, line by line.

    Args:
        told: What was recorded.
        said: What is to be known about it, the most urgent first.
        next_steps: Commands to go on with, each with a word before it.
    """
    found = places(told.run, told.profile)
    offset = geometry_of(told.run.head.band, told.run.head.length).offset
    unit = told.course.length_unit
    half_path = f"half-path = tape + {number_in_unit(offset, unit, LENGTH)} {unit}" if offset else "half-path lengths"
    head = f"Band {told.profile.band.id}, {told.course.force_unit} (95 % limits; {half_path}):"
    return [head, *_rows(told, found), *_unread(told), *said, *next_steps, _once_more(told, found)]


def has_unread_gaps(profile: Profile) -> bool:
    """Whether so few lengths were read that the limits between them allow for a bend."""
    return any(factor.source.startswith(UNREAD) for factor in profile.factors)


def _unread(told: Recorded) -> list[str]:
    """Of the gaps between a few lengths read, the one where the pull is known least; nothing of many lengths."""
    if not has_unread_gaps(told.profile):
        return []
    geometry = geometry_of(told.run.head.band, told.run.head.length)
    taped = sorted({r.length for r in told.run.readings if r.length is not None and r.branch == "loading"})
    found = []
    for low, high in pairwise(taped):
        middle = round((low + high) / 2, 3)
        pull = _pull(told.profile, "loading", middle + geometry.offset)
        if pull is not None:
            found.append((pull.u95 / pull.force, low, middle, high, pull))
    _, low, middle, high, pull = max(found)
    least, most = (told.pull(replace(pull, force=pull.force + sign * pull.u95)) for sign in (-1, 1))
    return [
        f"Between {told.tape(low)} and {told.tape(high)} nothing was measured: {least} to {most} "
        f"{told.course.force_unit} at {told.tape(middle)}; a full recording tells."
    ]


def _rows(told: Recorded, found: Sequence[PlaceWords]) -> list[str]:
    force, length = told.course.force_unit, told.course.length_unit
    back = any(place.back for place in found)
    headers = ["tape", OTHER[length], "x flat", f"out, {force}", "+-", *([f"back, {force}", "+-"] if back else [])]
    cells = [[*headers, OTHER[force]]]
    for place in found:
        row = [told.tape(place.taped), told.other_tape(place.taped), f"{place.stretch:.2f}"]
        row += [told.pull(place.out), told.limit(place.out)]
        if back:
            row += [told.pull(place.back), told.limit(place.back)] if place.back else ["-", "-"]
        cells.append([*row, f"{place.out.force / FORCE[OTHER[force]]:.1f}"])
    widths = [max(len(row[i]) for row in cells) for i in range(len(cells[0]))]
    return ["  " + "  ".join(cell.rjust(w) for cell, w in zip(row, widths, strict=True)) for row in cells]


def _once_more(told: Recorded, found: Sequence[PlaceWords]) -> str:
    """The kilos in one sentence, for the last line."""
    middle = found[len(found) // 2]
    percent = 100 * median(place.out.u95 / place.out.force for place in found)
    force = told.course.force_unit
    back = f", {told.pull(middle.back)} {force} while unloading" if middle.back else ""
    name = told.profile.band.id
    return (
        f"{name} pulls {told.pull(middle.out)} {force} at {told.tape(middle.taped)}{back}; "
        f"{told.pull(found[0].out)} to {told.pull(found[-1].out)} {force} in all, mostly within {percent:.0f} %."
    )
