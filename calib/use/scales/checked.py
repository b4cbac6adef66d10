"""A check of a scale from its readings: fitted, refused where it cannot be so, said in a sentence. No file here."""

from collections.abc import Sequence

import numpy as np

from calib.acquire.files.check_table import CheckRow
from calib.errors import DataError
from calib.fit.gear.known_loads import KnownLoads
from calib.fit.gear.scale_check import ScaleCheck, check_scale
from calib.fit.gear.scale_correction import Z95
from calib.fit.gear.weighings import Weighing, added_one_by_one
from calib.frozen import dataclass
from calib.gravity import local_gravity
from calib.scale import Scale, StoredCheck
from calib.units import FORCE, other_unit

PLAUSIBLE = 0.2  # relative: a gain further from one is a unit or a column mistaken
SCATTERED = 0.05  # share of the largest load, off what the loads say on the whole: no scale bends so far
TELLS = 0.1  # share of the largest load: a smaller one says little of the gain


@dataclass(frozen=True)
class HungLoads:
    """A check's readings."""

    rows: tuple[CheckRow, ...]  # as masses [kg] or forces [N]
    loads: KnownLoads
    pieces_told_apart: bool


def fit_check(hung: HungLoads, scale: Scale, day: str, place: tuple[float | None, float | None]) -> ScaleCheck:
    """Fit what was hung and what was shown, with the gravity of the place."""
    forces = hung.loads.kind == "force"
    pieces = [row.pieces for row in hung.rows]
    if not (hung.pieces_told_apart or forces):
        pieces = added_one_by_one([sum(row) for row in pieces])
    weighings = [Weighing(p, r.shown, r.branch, r.line) for p, r in zip(pieces, hung.rows, strict=True)]
    return check_scale(weighings, hung.loads, scale.resolution_N, day, 1.0 if forces else local_gravity(*place)[0])


def refuse_far_off(result: ScaleCheck, any_gain: bool, where: str) -> None:
    """Refuse a gain so far from one, or a reading so far off the line, that a unit, a column or a load was mistaken.

    Raises:
        DataError: It is so, and nobody said that this is meant.
    """
    top = max(w.nominal for w in result.weighings) * result.g
    ratio = result.shown_for(top) / top
    if any_gain:
        return
    if abs(ratio - 1) > PLAUSIBLE:
        slip = (
            "was one of the two in lb, the other in kg"
            if other_unit(ratio)
            else "were the columns swapped, or in another unit"
        )
        what = f"the scale shows {ratio:.3g} times the known load, and no check was kept: {slip}?"
        raise DataError(what, where=where, remedy="correct it, or give --any-gain if it is really so")
    if off := _off_the_line(result, top):
        raise DataError(off, where=where, remedy="hang that load again, or give --any-gain if it is really so")


def _off_the_line(result: ScaleCheck, top: float) -> str:
    """Which reading cannot be of the load that was named, "" where all may be."""
    known = np.array([w.nominal * result.g for w in result.weighings])
    shown = np.array([w.shown for w in result.weighings])
    net = shown - shown[known == 0].mean() if (known == 0).any() else shown
    large = known >= TELLS * top
    found = net / float(np.median(net[large] / known[large]))
    worst = int(np.abs(found - known).argmax())
    if abs(found[worst] - known[worst]) <= SCATTERED * top:
        return ""
    at = result.weighings[worst].line or worst + 1
    load, like = known[worst] / FORCE["kg"], found[worst] / FORCE["kg"]
    what = f"the loads do not lie on one line: number {at}, {load:.4g} kg, shows {like:.4g} kg by the others"
    slip = other_unit(float(like / load)) if load else ""
    return f"{what}, and no check was kept: {slip or 'did another load hang there'}?"


def with_check(scale: Scale, check: StoredCheck) -> Scale:
    """One check more, named after its day; with a number where that day has a check already."""
    taken, day = {c.id for c in scale.checks}, check.checked_on
    name = next(n for n in (day, *(f"{day}-{i}" for i in range(2, 1000))) if n not in taken)
    return scale.with_check(check.model_copy(update={"id": name}))


def places(check: ScaleCheck) -> Sequence[float]:
    """Low, middle and top of what was checked. [N]"""
    forces = sorted({round(w.nominal * check.g, 9) for w in check.weighings if w.pieces})
    return [forces[i] for i in sorted({0, (len(forces) - 1) // 2, len(forces) - 1})]


def verdict(check: ScaleCheck, force: float, unit: str) -> str:
    """One sentence: how far off, and how sure that is."""
    excess, half = check.excess(force), Z95 * check.u(check.shown_for(force))
    factor = per_unit(check, unit)
    percent, at = 100 * excess / force, f"at {force / factor:.4g} {unit}"
    limit = f"+- {two_digits(half / factor)} {unit}"
    off = f"reads {abs(percent):.2g} % {'high' if excess > 0 else 'low'} {at}"
    if abs(excess) < half:
        return f"{off}, which is within what these loads can show ({limit})"
    return f"{off} ({limit})"


def per_unit(check: ScaleCheck, unit: str) -> float:
    """What one unit of known load pulls: a mass pulls with the g of the check. [N]"""
    return FORCE[unit] if check.loads.kind == "force" else FORCE[unit] * check.g / FORCE["kg"]


def two_digits(value: float) -> str:
    """Two digits that count: 0.0613 is 0.061, 1.23 is 1.2, 12.3 is 12."""
    return f"{float(f'{value:.2g}'):g}"
