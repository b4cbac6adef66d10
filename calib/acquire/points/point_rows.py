"""Points that took themselves, as rows of a run: held ones, and those of a sweep.

When a point is there is decided in `held` and in `sweep`; what it belongs to, in `hands_free`.
"""

from calib.acquire.cell.meter import Meter
from calib.acquire.files.run_table import LARGEST_RELAXATION
from calib.acquire.points.held import HeldPoint
from calib.acquire.points.sweep import SweepPoint
from calib.records import Row, RowKind

SURE_PERCENT = 1.0  # of the force: a relaxation less sure than this is not kept


def held_row(point: HeldPoint, kind: RowKind, number: int, meter: Meter) -> Row:
    """A point that was held, as a row; its cycle, branch and length are still to be told.

    Args:
        point: As held.
        kind: "zero", "check-load" or "reading".
        number: Of the row.
        meter: What the numbers of the line mean: without a force they are kept as counts.
    """
    known, is_reading = not meter.in_counts, kind == "reading"
    relax = None
    decade = point.percent_per_decade
    if decade is not None and (point.u_percent or 0.0) < SURE_PERCENT and abs(decade) < LARGEST_RELAXATION:
        relax = round(-decade, 2)
    return Row(
        number,
        kind,
        force=point.force if known else None,
        counts=meter.counts(point.force),
        at_s=round(point.at_s, 1),
        dwell_s=round(point.dwell_s, 1) if is_reading else None,
        n=point.n,
        sd=point.sd if known else None,
        relax_percent_per_decade=relax if is_reading else None,
    )


def swept_row(point: SweepPoint, number: int, meter: Meter) -> Row:
    """A point of a sweep, as a row; arguments as of `held_row`."""
    return Row(
        number,
        cycle=point.cycle,
        branch=point.branch,
        length=point.length,
        force=None if meter.in_counts else point.force,
        counts=meter.counts(point.force),
        at_s=round(point.at_s, 1),
        dwell_s=0.0,
        n=point.n,
        sd=None if meter.in_counts else point.sd,
    )
