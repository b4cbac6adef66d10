"""Every source of error of a run's readings, and what several runs share of it: gear, zero, weight, tape, fittings.

What one standard deviation of each does to each reading stands here; what it does to a curve, elsewhere.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from calib import assumptions
from calib.fit.curve.own_weight import half_weight
from calib.frozen import dataclass
from calib.gravity import local_gravity
from calib.half_path import DEFAULT_THICKNESS, U_DEFAULT_THICKNESS, rest_half_path, thickness_slope
from calib.records import Array, Correction, Loads, Row, RunHead

DAYS_PER_MONTH = 30.4


@dataclass(frozen=True)
class Source:
    """One independent source of error of unit variance: what one standard deviation of it does to each reading.

    Shift of a reading = force + gain * F + quadratic * F^2 + length * dF/dL; arrays of shape (n,).
    """

    name: str
    key: str | None  # identity of what is shared with other calibrations; None = own
    force: Array  # [N]
    gain: Array  # [1]
    quadratic: Array  # [1/N]
    length: Array  # [m]
    of_band: str | None = None  # identity of what is the same in all runs of this band; None = the key, or this run

    def at_places(self, places: NDArray[np.int64]) -> "Source":
        """The same source for some of the readings."""
        force, gain, quadratic, length = (a[places] for a in (self.force, self.gain, self.quadratic, self.length))
        return replace(self, force=force, gain=gain, quadratic=quadratic, length=length)

    def take(self, groups: Sequence[NDArray[np.int64]]) -> "Source":
        """Means over groups of readings."""
        order, sizes = np.concatenate(groups), np.array([len(g) for g in groups])
        firsts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
        force, gain, quadratic, length = (
            np.add.reduceat(a[order], firsts) / sizes for a in (self.force, self.gain, self.quadratic, self.length)
        )
        return replace(self, force=force, gain=gain, quadratic=quadratic, length=length)


@dataclass(frozen=True)
class Zero:
    """What the zero rows of a run say."""

    shown: Array  # [N] indication with nothing pulling, at the time of each reading, shape (n,)
    drift: float  # [N] its largest change in the run
    unseen: Array  # [N] what it may have moved by after the last zero, one standard deviation, shape (n,)


def sources_of(head: RunHead, rows: Sequence[Row], length: Array, pull: Array, zero: Zero) -> list[Source]:
    """Every source of error of one run's readings that does something to any of them.

    Args:
        head: Of the run: gear, band and procedure.
        rows: The readings, n of them: which pieces hung.
        length: Half-path lengths, shape (n,). [m]
        pull: Pull at each, shape (n,). [N]
        zero: What the zero rows say, at the time of each.
    """
    n = len(pull)
    flat = np.zeros(n)
    one = np.ones(n)
    out: list[Source] = []

    def add(
        name: str,
        key: str | None,
        *,
        force: Array = flat,
        gain: Array = flat,
        quadratic: Array = flat,
        length: Array = flat,
        of_band: str | None = None,
    ) -> None:
        if max(np.abs(a).max() for a in (force, gain, quadratic, length)) > 0:
            out.append(Source(name, key, force, gain, quadratic, length, of_band))

    p, day = head.procedure, head.started.date() if head.started else None
    if p.method == "hung-weight":
        if head.loads:
            add("known loads", f"loads:{head.loads.id}", gain=head.loads.u_common * one)
            out += _single_loads(head.loads, rows, local_gravity(p.latitude_deg, p.altitude)[0])
        add("gravity", None, gain=local_gravity(p.latitude_deg, p.altitude)[1] * one, of_band="gravity")
    elif head.scale is not None:
        scale = head.scale
        out += _scale_sources(head, zero.shown, day)
        u_zero = scale.u_zero if scale.u_zero is not None else scale.resolution / np.sqrt(12)
        add("zero", None, force=float(np.hypot(u_zero, zero.drift / np.sqrt(12))) * one)
        add("zero not read at the end", None, force=zero.unseen)
        if scale.display is None:
            add("cut of the display", None, force=assumptions.value("display_cut") * scale.resolution * one,
                of_band=f"display:{scale.id}")  # fmt: skip
    weight, u_weight = half_weight(head, length, pull)
    add("weight of the band", None, force=np.copysign(u_weight, weight) * one, of_band="weight")
    tape = f"tape:{head.length.tape}" if head.length.tape else None
    add("tape", tape, length=head.length.u_scale * length, of_band=tape or "tape")
    add("length offset", None, length=_u_common(head) * one, of_band=_fittings(head))
    add("thinning of the band", None, length=_thinning(head, length), of_band=_fittings(head))
    return out


def _thinning(head: RunHead, length: Array) -> Array:
    """What a stretched band may be nearer to its fittings than one at rest, as one standard deviation. [m]

    Rubber keeps its volume, so a free piece thins as 1 / sqrt(stretch). It is allowed for and not corrected: a length
    asked for by the same tape goes back through the same offset, and there the two cancel.
    """
    thickness = head.band.thickness or DEFAULT_THICKNESS
    stretch = np.maximum(length / rest_half_path(head.band.flat_length, thickness, head.band.strands), 1.0)
    free = thickness_slope(head.length.kind) * thickness * (1 - stretch**-0.5)
    return np.asarray(assumptions.value("thinning") * free)


def _single_loads(loads: Loads, rows: Sequence[Row], g: float) -> list[Source]:
    """One source for each piece that hung, whatever it hung with; where nobody noted the pieces, one for each load.

    What a plate is off it is off each time it hangs: taken as new for each reading, it would be averaged away.
    """
    masses: dict[tuple[str, str | None], Array] = {}  # by identity and key: [kg] what one standard deviation does
    for i, row in enumerate(rows):
        for identity, key, u in _pieces_of(loads, row):
            masses.setdefault((identity, key), np.zeros(len(rows)))[i] = u
    flat = np.zeros(len(rows))
    return [
        Source("single loads", key, u * g, flat, flat, flat, identity)
        for (identity, key), u in masses.items()
        if u.any()
    ]


def _pieces_of(loads: Loads, row: Row) -> list[tuple[str, str | None, float]]:
    """Identity, key and uncertainty [kg] of what hung."""
    if row.pieces:
        keys = [(f"piece:{loads.id}/{name}", name) for name in row.pieces]
        return [(key, key, loads.piece(name)[1]) for key, name in keys]
    mass = row.mass or 0.0
    u = max((u / m for m, u in zip(loads.piece_masses, loads.u_piece_masses, strict=True)), default=0.0) * mass
    return [(f"load:{loads.id}/{mass:.3f}", None, max(u, loads.u_each))]


def _fittings(head: RunHead) -> str | None:
    """How a band lies round its fittings, and its thickness, do not change from run to run over the same ones."""
    kind, diameters = head.length.kind, sorted(head.length.fitting_diameters)
    return None if kind == "half-path" else f"{kind} {diameters}"


def _u_common(head: RunHead) -> float:
    """Length error shared by all readings of a set-up, the thickness round the fittings included. [m]"""
    if head.length.kind == "half-path":
        return head.length.u_common
    assumed = U_DEFAULT_THICKNESS if head.band.thickness is None else 0.0
    return float(
        np.hypot(
            max(head.length.u_common, assumptions.value("u_length_offset")), thickness_slope(head.length.kind) * assumed
        )
    )


def _scale_sources(head: RunHead, zero: Array, day: date | None) -> list[Source]:
    """Gain, curvature and stability of the scale, each with the identity of what is shared."""
    scale, n = head.scale, len(zero)
    assert scale is not None
    flat, one = np.zeros(n), np.ones(n)
    if scale.correction is None:
        key = f"check:{scale.check}" if scale.check else (f"scale:{scale.id}/{day}" if day else None)
        gain = assumptions.value("u_gain_unchecked") if scale.u_gain is None else scale.u_gain
        of_band = key if scale.check else f"scale:{scale.id}"  # the same scale is off in the same way on another day
        out = [Source("scale gain", key, flat, gain * one, flat, flat, of_band)]
        checked = _date_in(scale.check)
    else:
        out = _check_sources(scale.correction, scale.check or scale.id, zero, head.procedure.method)
        checked = _date_in(scale.correction.checked_on)
    if checked and day and day > checked:
        drift = assumptions.value("stability_per_root_month") * ((day - checked).days / DAYS_PER_MONTH) ** 0.5
        key, of_band = f"stability:{scale.id}/{day}", f"stability:{scale.id}/{checked}"
        out.append(Source("scale stability", key, flat, drift * one, flat, flat, of_band))
    return out


def _date_in(text: str | None) -> date | None:
    """The ISO date a check is named after, None where it has none."""
    try:
        return date.fromisoformat((text or "").rsplit("/", 1)[-1][:10])
    except ValueError:
        return None


def _check_sources(check: Correction, name: str, zero: Array, method: str) -> list[Source]:
    """Independent parts of a check's covariance: known loads, gain, curvature.

    The zero coefficient drops out: every pull is a difference of two indications. A shift (dg, dq) of gain and
    curvature moves a pull F, read from zero z, by dg F + dq F (F + 2 z); F - 2 z where the anchor is weighed.
    """
    covariance, loads = np.array(check.covariance), np.array(check.factor_known_loads)
    gain = check.coefficients[1] or 1.0
    pieces = np.array(check.factor_pieces).reshape(-1, 3)  # what one is off it is off wherever it hangs
    own = (covariance - np.outer(loads, loads) - pieces.T @ pieces)[1:, 1:]
    root = _root(own)
    sign = -1.0 if method == "anchor-on-scale" else 1.0
    parts = [("scale gain", f"check:{name}", root[:, 0]), ("scale curvature", f"check:{name}/quadratic", root[:, 1])]
    if check.known_loads:
        parts.append(("known loads", f"loads:{check.known_loads}", loads[1:]))
    else:
        parts.append(("known loads", f"check:{name}/loads", loads[1:]))
    keys = [f"piece:{check.known_loads}/{piece}" for piece in check.pieces]
    parts += [("single loads", key, shift[1:]) for key, shift in zip(keys, pieces, strict=True)]
    flat = np.zeros(len(zero))
    return [
        Source(label, key, flat, (dg + 2 * dq * zero) / gain, np.full(len(zero), sign * dq / gain**2), flat)
        for label, key, (dg, dq) in parts
        if dg or dq
    ]


def _root(covariance: Array) -> Array:
    """Lower Cholesky factor of a 2 x 2 covariance, zero where it is not positive (rounding in the file)."""
    a = np.sqrt(max(covariance[0, 0], 0.0))
    b = covariance[0, 1] / a if a else 0.0
    return np.array([[a, 0.0], [b, np.sqrt(max(covariance[1, 1] - b * b, 0.0))]])


def joined(parts: Sequence[Sequence[Source]], starts: NDArray[np.int64]) -> tuple[Source, ...]:
    """Sources of all runs: what is the same in several is one, or runs joined would average it away.

    Args:
        parts: The sources of each run.
        starts: Where each run's readings begin among all of them, and their number, shape (runs + 1,).
    """
    found: dict[tuple[str, str], list[tuple[int, Source]]] = {}
    for i, part in enumerate(parts):
        for source in part:
            found.setdefault((source.name, source.of_band or source.key or f"run {i + 1}"), []).append((i, source))
    out: list[Source] = []
    for (name, identity), members in found.items():
        if name == "scale stability":
            out += _walk(members, starts)
            continue
        keys = {source.key for _, source in members}
        label = f"{name}, {identity}" if identity.startswith("run ") else name
        out.append(replace(_over_all(members, starts), name=label, key=keys.pop() if len(keys) == 1 else None))
    return tuple(out)


def _over_all(members: Sequence[tuple[int, Source]], starts: NDArray[np.int64]) -> Source:
    """One source of several runs, zero in the readings of the others."""
    arrays = [np.zeros(starts[-1]) for _ in range(4)]
    for i, source in members:
        for whole, piece in zip(arrays, (source.force, source.gain, source.quadratic, source.length), strict=True):
            whole[starts[i] : starts[i + 1]] = piece
    first = members[0][1]
    force, gain, quadratic, length = arrays
    return Source(first.name, first.key, force, gain, quadratic, length, first.of_band)


def _walk(members: Sequence[tuple[int, Source]], starts: NDArray[np.int64]) -> list[Source]:
    """A scale that wanders from its check: a later run has the wandering up to each earlier one in it, and more."""
    whole = _over_all(members, starts)
    out, before = [], 0.0
    for drift, key in sorted({(float(source.gain[0]), source.key or "") for _, source in members}):
        step = (drift**2 - before**2) ** 0.5
        out.append(replace(whole, key=key, gain=np.where(whole.gain >= drift, step, 0.0)))
        before = drift
    return out
