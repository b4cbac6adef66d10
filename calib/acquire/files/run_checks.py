"""What a run must be before a curve can be fitted to it, and whether its lengths can be true. No file is opened here.

A run that cannot be fitted can still be shown: reading a file checks only what would make a row meaningless.
"""

from collections.abc import Callable, Iterator
from datetime import date
from itertools import pairwise
from math import hypot

from calib.errors import DataError
from calib.half_path import DEFAULT_THICKNESS, offset_over, rest_half_path
from calib.records import Correction, Row, Run, RunHead
from calib.units import G_STANDARD, force_of

LONGEST_STRETCH = 12.0  # no rubber band survives this; a length beyond it was read or typed in another unit
SURE = 3.0  # standard uncertainties by which a length may lie below the flat length
FAR_GAIN = (0.2, 5.0)  # of a check: outside, the scale is broken or the check was copied wrong
MOST_VARIANCE = (1e6, 0.25, 1.0)  # of zero [N2], gain and curvature [1/N2]
LARGEST_FORCE = 100_000.0  # [N] ten tonnes; beyond it no scale of this trade reads, and the fit would overflow
FAR_FLAT = (0.67, 1.5)  # of the flat length; a band that set by half is another band
FALLING_NEEDS = 3  # lengths of a branch before its direction is judged
ALL_BUT_ONE = 5  # steps of a branch from which one that rises, a slip, does not excuse the rest
SAME_LENGTH = 1e-5  # [m]


def check_lengths(run: Run) -> None:
    """Refuse a standing reading whose length, converted, cannot be that of this band.

    Raises:
        DataError: Below the flat length by more than its uncertainty, or beyond any stretch.
    """
    head = run.head
    thickness = head.band.thickness or DEFAULT_THICKNESS
    if thickness > head.band.flat_length / 2:
        raise DataError(
            f"the band is {thickness:.3g} m thick and {head.band.flat_length:.3g} m long",
            where=f"{run.name}: band.thickness",
            remedy="was one of them typed in another unit?",
        )
    for row in run.standing("flat"):
        if row.length is not None and not FAR_FLAT[0] < row.length / head.band.flat_length < FAR_FLAT[1]:
            raise DataError(
                f"a flat length of {row.length:.4g} m, where the head says {head.band.flat_length:.4g} m",
                where=_where(run, row),
                remedy="was it typed in another unit? A flat row is the tape value, end to end, lying flat",
            )
    offset = offset_over(head.length.kind, head.length.fitting_diameters, head.band.thickness)
    rest = rest_half_path(head.band.flat_length, thickness, head.band.strands)
    slack = SURE * hypot(head.length.u_reading, head.length.u_common, head.band.u_flat_length)
    for row in run.standing("reading"):
        if row.length is None:
            continue
        converted = row.length + offset
        if converted < rest - slack or converted > LONGEST_STRETCH * rest:
            raise DataError(_impossible(row.length, converted, rest, head), where=_where(run, row), remedy=_REMEDY)


_REMEDY = "was it typed in another unit, or taped another way than the head says?"


def _impossible(length: float, converted: float, rest: float, head: RunHead) -> str:
    flat = f"the flat length {head.band.flat_length:.4g} m"
    as_half_path = "" if abs(converted - length) < 1e-9 else f" (half path {converted:.4g} m, {rest:.4g} m unstretched)"
    if converted > rest:
        return f"length {length:.4g} m is {converted / rest:.3g} times {flat}"
    return f"length {length:.4g} m is below {flat}{as_half_path}"


def _where(run: Run, row: Row) -> str:
    return f"{run.name}:{row.line}" if row.line else f"{run.name}: row {row.number}"


def check_correction(correction: Correction) -> None:
    """Refuse the equation of a check that no check of a scale gives.

    Raises:
        DataError: No date, a gain far from 1, a force that falls as more is shown, or an impossible covariance.
    """
    try:
        date.fromisoformat(correction.checked_on[:10])
    except ValueError:
        raise DataError("checked_on is not a date", remedy='write it like "2026-02-27"') from None
    zero, gain, quadratic = correction.coefficients
    top = min(correction.max or 0.0, LARGEST_FORCE)
    if not FAR_GAIN[0] <= min(gain, gain + 2 * quadratic * top) <= max(gain, gain + 2 * quadratic * top) <= FAR_GAIN[1]:
        raise DataError("the gain of the check is far from 1", remedy="copy the check again from the scale's file")
    if abs(zero) > LARGEST_FORCE or abs(quadratic) > 1:
        raise DataError("the coefficients of the check are too large", remedy="copy the check again")
    covariance, factors = correction.covariance, (correction.factor_known_loads, *correction.factor_pieces)
    if any(not 0 <= covariance[i][i] <= most for i, most in enumerate(MOST_VARIANCE)):
        raise DataError("a variance of the check is negative or too large", remedy="copy the check again")
    if any(f[i] * f[i] > MOST_VARIANCE[i] for f in factors for i in range(3)):  # ** would raise on overflow
        raise DataError("a factor of the known loads is too large", remedy="copy the check again")
    if len(correction.pieces) != len(correction.factor_pieces):
        raise DataError("pieces and factor_pieces are not equally many", remedy="copy the check again")
    pairs = [(covariance[i][j], covariance[i][i] * covariance[j][j]) for i in range(3) for j in range(3)]
    if any(shared * shared > 1.02 * both for shared, both in pairs):  # 2 % for the rounding in a file
        raise DataError("the covariance of the check is impossible", remedy="copy the check again")


def check_readable(run: Run) -> None:
    """Refuse what no reader of run files takes: a recorder asks it before a row goes to the disk.

    Raises:
        DataError: A length that cannot be that of this band, or a force that no scale shows.
    """
    check_lengths(run)
    check_forces(run)


def check_forces(run: Run) -> None:
    """Refuse a standing force or mass that no scale shows and no band pulls; the fit would overflow.

    Raises:
        DataError: Beyond ten tonnes.
    """
    for row in run.rows:
        value = row.force if row.force is not None else (row.mass or 0.0) * G_STANDARD
        if abs(value) > LARGEST_FORCE and row.number not in run.struck:
            raise DataError(
                f"{value / force_of(run.force_unit):.3g} {run.force_unit} is more than any band pulls",
                where=_where(run, row),
                remedy="is the decimal point right, and the unit?",
            )


def refuse_counts(run: Run) -> None:
    """Refuse readings in counts of which nothing says what a count is.

    Raises:
        DataError: With the commands that fix it.
    """
    if any(row.counts is not None and row.force is None for row in run.readings):
        raise DataError(
            "the readings are counts and nothing says what a count is",
            where=run.name,
            remedy="check the cell, bandcurve scale check CELL.scale.json --port PORT, then fit with --scale that file",
        )


def check_pulls(run: Run) -> None:
    """Refuse readings that say nothing of a pull, however few they are.

    Raises:
        DataError: They are counts, an anchor was weighed without a zero, or all are negative.
    """
    readings = run.readings
    refuse_counts(run)
    if run.head.procedure.method == "anchor-on-scale" and not any(r.force is not None for r in run.standing("zero")):
        raise DataError(
            "has no zero row, and a pull is what the scale shows less with the anchor on it",
            where=run.name,
            remedy="add what the scale shows with the band slack: 1,zero,,,,82.40 (or import with --zero)",
        )
    pull = pull_of(run)
    if all(pull(row) < 0 for row in readings):
        raise DataError("all forces are negative", where=run.name, remedy=_reversed(run))


def check_fittable(run: Run) -> None:
    """Refuse a run no curve can be fitted to, with the reason.

    Raises:
        DataError: No readings, all struck out, none with a force, all at one length, all negative, or a loading
            branch along which the force falls.
    """
    readings = run.readings
    if not readings:
        raise DataError(_nothing_left(run), where=run.name, remedy="record at least one cycle that counts")
    length = readings[0].length or 0.0
    if all(abs((row.length or 0.0) - length) < SAME_LENGTH for row in readings):
        raise DataError(
            f"all readings are at one length, {length:.4g} m", where=run.name, remedy="measure at three lengths or more"
        )
    check_pulls(run)
    pull = pull_of(run)
    if run.head.procedure.method != "hung-weight":
        _refuse_all_one(run, [row.force for row in readings])
    for cycle, rows in _loading(run):
        if _falls([(row.length or 0.0, pull(row)) for row in rows]):
            raise DataError(
                f"the force falls all along the loading branch of cycle {cycle}",
                where=_where(run, rows[0]),
                remedy="are length and force columns swapped, or is the method another one?",
            )


def _refuse_all_one(run: Run, shown: list[float | None]) -> None:
    if len(shown) >= FALLING_NEEDS and len(set(shown)) == 1:
        raise DataError(
            "the scale shows the same at all lengths",
            where=run.name,
            remedy="did it lock, or was it switched off?",
        )


def _nothing_left(run: Run) -> str:
    rows = [row for row in run.rows if row.kind == "reading"]
    if not rows:
        return "has no readings"
    if all(row.number in run.struck for row in rows):
        return "all readings are struck out"
    return "has only conditioning readings (cycle 0) that are not struck out"


def _reversed(run: Run) -> str:
    if run.head.procedure.method == "anchor-on-scale":
        return "the scale reads more when the band pulls: is the method scale-in-line?"
    return "is the scale or load cell connected the wrong way round?"


def pull_of(run: Run) -> Callable[[Row], float]:
    """How a row's indication becomes the band's pull, roughly: the mean zero off, an anchor's sign turned. [N]"""
    zeros = [row.force for row in run.standing("zero") if row.force is not None]
    zero = sum(zeros) / len(zeros) if zeros else 0.0
    if run.head.procedure.method == "anchor-on-scale":
        return lambda row: zero - (row.force or 0.0)
    if run.head.procedure.method == "hung-weight":
        return lambda row: row.mass if row.mass is not None else (row.force or 0.0)
    return lambda row: (row.force or 0.0) - zero


def _loading(run: Run) -> Iterator[tuple[int, list[Row]]]:
    rows = [row for row in run.readings if row.branch == "loading"]
    for cycle in sorted({row.cycle or 0 for row in rows}):
        yield cycle, [row for row in rows if row.cycle == cycle]


def _falls(points: list[tuple[float, float]]) -> bool:
    forces = [force for _, force in sorted(points)]
    lengths = {length for length, _ in points}
    rising = sum(b >= a for a, b in pairwise(forces))
    return len(lengths) >= FALLING_NEEDS and rising <= (1 if len(forces) > ALL_BUT_ONE else 0)
