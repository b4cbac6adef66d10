"""Lifters of different heights under one rig: where each one's bar is at the bottom and at the top. No file is opened.

A list in one line or a table with a column for each; units stand in the head or behind the numbers.
"""

import csv
import io
import re
from collections.abc import Callable, Sequence
from dataclasses import replace

from calib.acquire.files.typed import parse_length
from calib.errors import BandcurveError, DataError, OutOfRangeError
from calib.frozen import dataclass
from calib.profile.document import Profile
from calib.units import LENGTH, Unit
from calib.use.rig.anchors import cautions
from calib.use.rig.rig_check import Learned, disagreement, learn
from calib.use.rig.rig_file import Rig, check_rig
from calib.use.rig.rig_sum import RigPull
from calib.use.rig.statics import RigLoad, calculate, tested_heights

CAP_BYTES = 100_000
MOST = 200
_HEAD = re.compile(rf"(bottom|top)_({'|'.join(LENGTH)})")


@dataclass(frozen=True)
class Lifter:
    """One lifter and the two ends of the lift."""

    name: str
    bottom: float  # [m] sleeve's centre above the floor
    top: float  # [m]


@dataclass(frozen=True)
class Lifted:
    """What the rig puts on the bar for one lifter, or why that cannot be told."""

    lifter: Lifter
    answer: RigLoad | None
    error: str


def parse_list(text: str) -> tuple[Lifter, ...]:
    """Read lifters of one line.

    >>> parse_list("Ana 92cm 138cm, Bo 1.0m 1.5m")[1]
    Lifter(name='Bo', bottom=1.0, top=1.5)

    Raises:
        DataError: One of them is not a name and two heights.
    """
    found = []
    for part in filter(None, (p.strip() for p in text.split(","))):
        words = part.rsplit(maxsplit=2)
        if len(words) != 3:
            raise DataError(f"{part[:40]!r} is not a name and two heights", remedy="write for example Ana 92cm 138cm")
        found.append(_lifter(words[0], words[1], words[2], "", part[:40]))
    return _checked_count(found, "the list")


def parse_table(data: bytes, name: str) -> tuple[Lifter, ...]:
    """Read lifters of a table with the columns lifter, bottom_<unit> and top_<unit>.

    Args:
        data: The whole file.
        name: What to call it in an error.
    """
    if len(data) > CAP_BYTES:
        raise DataError("is larger than 100 kB", where=name, remedy="is it the right file?")
    text = data.decode("utf-8-sig", errors="replace")
    head = text.split("\n", 1)[0]
    rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=";" if ";" in head else ","))
    columns = [cell.strip() for cell in rows[0]] if rows else []
    units = {m[1]: (columns.index(m[0]), m[2]) for cell in columns if (m := _HEAD.fullmatch(cell))}
    if "lifter" not in columns or set(units) != {"bottom", "top"}:
        raise DataError("lacks a column", where=f"{name}:1", remedy="begin with lifter,bottom_mm,top_mm")
    found = []
    for line, row in enumerate(rows[1:], 2):
        if not any(cell.strip() for cell in row):
            continue
        if len(row) < len(columns):
            raise DataError(f"has {len(row)} of {len(columns)} cells", where=f"{name}:{line}", remedy="fill the row")
        (low, unit), (high, top_unit) = units["bottom"], units["top"]
        found.append(
            _lifter(row[columns.index("lifter")].strip(), row[low], row[high], f"{unit} {top_unit}", f"{name}:{line}")
        )
    return _checked_count(found, name)


def _lifter(name: str, bottom: str, top: str, units: str, where: str) -> Lifter:
    if not units and not all(re.search("[A-Za-z'\"]", text) for text in (bottom, top)):
        raise DataError("a height has no unit", where=where, remedy="write for example Ana 92cm 138cm")
    try:
        ends = [parse_length(t, u) for t, u in zip((bottom, top), (units or "m m").split(), strict=True)]
    except DataError as error:
        raise DataError(error.what, where=where, remedy=error.remedy) from None
    if not name:
        raise DataError("a lifter has no name", where=where, remedy="add one")
    return Lifter(name, *ends)


def _checked_count(found: list[Lifter], where: str) -> tuple[Lifter, ...]:
    if not 0 < len(found) <= MOST:
        raise DataError(f"holds {len(found)} lifters", where=where, remedy=f"give 1 to {MOST}")
    return tuple(found)


def under_rig(
    rig: Rig, profiles: Sequence[Profile], lifters: Sequence[Lifter], *, extrapolate: bool, unit: Unit = "kg"
) -> list[Lifted]:
    """Work a rig out for each lifter.

    Args:
        rig: The rig; its own bottom and top serve its check alone.
        profiles: One for each of its bands.
        lifters: The lifters.
        extrapolate: Go beyond the tested lengths.
        unit: Of the weights in the cautions.

    Returns:
        One for each, its cautions among the findings; where a lifter's heights cannot be used, the reason.

    Raises:
        BandcurveError: They can be used for none of them.
    """
    learned = learn(rig, rig.check, profiles) if rig.check else None
    told = learned if learned is not None and learned.agrees else None
    rig = replace(told.rig if told else rig, check=None)
    adjusted = told.adjusted if told else list
    found: list[Lifted] = []
    refused: list[BandcurveError] = []
    for lifter in lifters:
        own = replace(rig, bar=replace(rig.bar, bottom=lifter.bottom, top=lifter.top))
        try:
            check_rig(own)
            answer = _with_disagreement(learned, calculate(own, profiles, extrapolate=extrapolate, adjusted=adjusted))
            answer = replace(answer, findings=(*answer.findings, *cautions(answer, unit)))
            found.append(Lifted(lifter, answer, ""))
        except BandcurveError as error:
            refused.append(type(error)(error.what, where=f"{lifter.name}: {error.where}", remedy=error.remedy))
            part = _in_part(own, profiles, adjusted, unit) if isinstance(error, OutOfRangeError) else None
            if part is None:
                found.append(Lifted(lifter, None, str(error)))
                continue
            refused.pop()
            found.append(Lifted(lifter, _with_disagreement(learned, part), str(error)))
    if len(refused) == len(lifters):
        raise refused[0]
    return found


def _in_part(
    rig: Rig, profiles: Sequence[Profile], adjusted: Callable[[list[RigPull]], list[RigPull]], unit: Unit
) -> RigLoad | None:
    """A lift of which one end is outside the tested lengths, as if it ended where they end; None if too little is left.

    A band that was tested to a length turned there, so the lift that turns there is what was measured.
    """
    works = tested_heights(rig, profiles)
    count = int(works.argmin() if works[0] else works[::-1].argmin())
    if count < 2:
        return None
    part = (count - 1) / (len(works) - 1)
    ends = (0.0, part) if works[0] else (1 - part, 1.0)
    try:
        answer = calculate(_between(rig, ends), profiles, points=count, adjusted=adjusted)
    except BandcurveError:
        return None
    return replace(answer, findings=(*answer.findings, *cautions(answer, unit)))


def _between(rig: Rig, ends: tuple[float, float]) -> Rig:
    """The rig with a part of its lift, from one share of the way to another."""

    def cut(of: tuple[float, float]) -> tuple[float, float]:
        return of[0] + ends[0] * (of[1] - of[0]), of[0] + ends[1] * (of[1] - of[0])

    bottom, top = cut((rig.bar.bottom, rig.bar.top))
    bands = tuple(replace(b, sideways=cut(b.sideways), fore=cut(b.fore)) for b in rig.band)
    return replace(rig, bar=replace(rig.bar, bottom=bottom, top=top), band=bands)


def _with_disagreement(learned: Learned | None, answer: RigLoad) -> RigLoad:
    if learned is None or learned.agrees:
        return answer
    return replace(answer, findings=(disagreement(learned), *answer.findings))
