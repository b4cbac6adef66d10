"""A run's raw rows, turned into what the model sees: half-path lengths, pulls in newton, and every source of error.

The zero is taken off, a check's correction applied, the band's own weight allowed for. No curve is known here.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from calib.acquire.course import ZERO_LOST
from calib.errors import DataError
from calib.gravity import local_gravity
from calib.half_path import (
    DEFAULT_THICKNESS,
    U_DEFAULT_THICKNESS,
    offset_over,
    rest_half_path,
    thickness_slope,
)
from calib.records import Array, Correction, Row, Run, RunHead
from calib.units import G_STANDARD

U_GAIN_UNCHECKED = 0.006  # a bound of +-1 % as a rectangular distribution, 1 % / sqrt 3 (an assumption)
STABILITY_PER_ROOT_MONTH = 0.001  # relative gain, random walk since the check (an assumption)
U_COMMON_LEAST = 0.001  # [m] thinning of the stretched band round its fittings
DAYS_PER_MONTH = 30.4
SAME_PLACE = 0.002  # [m] lengths that round to the same multiple of it
RUBBER_DENSITY = 950.0  # [kg/m3] natural rubber, order of magnitude; only for the weight of an unweighed band
RUBBER_MODULUS = 0.4e6  # [Pa] shear modulus, order of magnitude; likewise


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

    def at(self, places: NDArray[np.int64]) -> "Source":
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
class Observations:
    """Readings as arrays of shape (n,), in the order recorded."""

    cycle: NDArray[np.int64]
    unloading: NDArray[np.bool_]
    length: Array  # [m] half-path
    pull: Array  # [N]
    resolution: Array  # [N] of the scale; as good as, where repeats are rounded alike
    u_force: Array  # [N] further independent error of one reading
    u_length: Array  # [m] of one reading
    sources: tuple[Source, ...]
    rows: tuple[tuple[tuple[int, Row], ...], ...]  # (run index, row) of the readings behind each observation
    rest: float  # [m] rest half-path length L0 from the flat length
    u_rest: float  # [m]

    def __len__(self) -> int:
        return len(self.pull)

    def where(self, keep: NDArray[np.bool_]) -> "Observations":
        """Only some of the readings."""
        kept = np.flatnonzero(keep)
        return replace(
            self,
            cycle=self.cycle[kept],
            unloading=self.unloading[kept],
            length=self.length[kept],
            pull=self.pull[kept],
            resolution=self.resolution[kept],
            u_force=self.u_force[kept],
            u_length=self.u_length[kept],
            sources=tuple(s.at(kept) for s in self.sources),
            rows=tuple(self.rows[i] for i in kept),
        )


def with_check(run: Run, correction: Correction) -> Run:
    """The run as if its scale's latest check had been this one; hung weights need none."""
    scale = run.head.scale
    if scale is None or run.head.procedure.method == "hung-weight":
        return run
    checked = replace(scale, check=f"{scale.id}/{correction.checked_on}", correction=correction)
    return replace(run, head=replace(run.head, scale=checked))


def with_newton(run: Run, line: Callable[[float], float], step: float) -> Run:
    """A run in counts with their force, by what a scale's file says of a count; rows that have a force keep it.

    Args:
        run: As recorded.
        line: Newton for a number of counts.
        step: One count. [N]
    """
    rows = tuple(replace(r, force=line(r.counts)) if r.force is None and r.counts is not None else r for r in run.rows)
    scale = run.head.scale
    if scale is None or rows == run.rows:
        return run
    return replace(run, rows=rows, head=replace(run.head, scale=replace(scale, resolution=step)))


def observe(runs: Sequence[Run]) -> Observations:
    """Readings of one band's runs, joined.

    Args:
        runs: Runs of one band, each with readings.

    Raises:
        DataError: A run in counts, or flat lengths that contradict one another.
    """
    parts = [_observe_one(i, run) for i, run in enumerate(runs)]
    return parts[0] if len(parts) == 1 else _join(parts, runs)


def with_rounding(seen: Observations) -> Observations:
    """The same with the resolution as good as it is where repeats are rounded alike."""
    return replace(seen, resolution=seen.resolution * np.sqrt(_rounded_alike(seen)))


def _rounded_alike(seen: Observations) -> NDArray[np.int64]:
    """In how many cycles the scale showed the very same at the same place, shape (n,), this one included.

    Where a band repeats better than a coarse scale's steps, every cycle is rounded the same way, and the mean of m
    cycles is off by as much as one: as if each were rounded with m times the variance.
    """
    shown = np.array([members[0][1].force or 0.0 for members in seen.rows])
    place = np.column_stack([seen.unloading, np.round(seen.length / SAME_PLACE), shown])
    by_cycle, one = np.unique(np.column_stack([place, seen.cycle]), axis=0, return_inverse=True)
    _, alike, cycles = np.unique(by_cycle[:, :3], axis=0, return_inverse=True, return_counts=True)
    return np.asarray(cycles[alike.ravel()][one.ravel()])


def without_readings(run: Run) -> Observations:
    """A band that was only taped: its rest length, and nothing else."""
    head, none = run.head, np.zeros(0)
    rest = rest_half_path(head.band.flat_length, head.band.thickness or DEFAULT_THICKNESS, head.band.strands)
    empty = none.astype(np.int64), none.astype(bool)
    return Observations(*empty, none, none, none, none, none, (), (), rest, _u_rest(head))


def _observe_one(index: int, run: Run) -> Observations:
    head, rows = run.head, run.readings
    if not rows:
        raise DataError("no reading to fit", where=run.name, remedy="take some readings, or strike fewer")
    if any(r.counts is not None and r.force is None for r in rows):
        raise DataError(
            "the readings are counts and nothing says what a count is",
            where=run.name,
            remedy="check the cell, bandcurve scale check CELL.scale.json --port PORT, then fit with --scale that file",
        )
    offset = offset_over(head.length.kind, head.length.fitting_diameters, head.band.thickness)
    length = np.array([r.length for r in rows], dtype=float) + offset
    zero, drift = zero_at(run, rows)
    pull, resolution, u_force = _pull(head, rows, zero)
    n = len(rows)
    return Observations(
        cycle=np.array([r.cycle for r in rows]),
        unloading=np.array([r.branch == "unloading" for r in rows]),
        length=length,
        pull=pull,
        resolution=np.full(n, resolution),
        u_force=np.full(n, u_force),
        u_length=np.full(n, head.length.u_reading),
        sources=tuple(_sources(head, length, pull, zero, drift)),
        rows=tuple(((index, r),) for r in rows),
        rest=rest_half_path(head.band.flat_length, head.band.thickness or DEFAULT_THICKNESS, head.band.strands),
        u_rest=_u_rest(head),
    )


def _u_rest(head: RunHead) -> float:
    assumed = U_DEFAULT_THICKNESS if head.band.thickness is None and head.band.strands == 2 else 0.0
    return float(np.hypot(head.band.u_flat_length, 0.43 * assumed))


def zero_at(run: Run, rows: Sequence[Row]) -> tuple[Array, float]:
    """Indication with nothing pulling, interpolated between the zero rows, and its largest drift. [N]

    By the clock where every row has one, else by the order of rows. Where the zero was lost on the way (a board that
    started again), zeros before say nothing of readings after, and the other way round.
    """
    lost = [r.number for r in run.rows if r.kind == "gap" and r.note.startswith(ZERO_LOST)]
    zero, drifts = np.zeros(len(rows)), [0.0]
    stretches = np.searchsorted(lost, [r.number for r in rows])
    for k in range(len(lost) + 1):
        zeros = [r for r in run.standing("zero") if r.force is not None and np.searchsorted(lost, r.number) == k]
        here = np.flatnonzero(stretches == k)
        if zeros:
            drifts.append((zeros[-1].force or 0.0) - (zeros[0].force or 0.0))
            zero[here] = _between_zeros(zeros, [rows[int(i)] for i in here])
    return zero, max(drifts, key=abs)


def _between_zeros(zeros: Sequence[Row], rows: Sequence[Row]) -> Array:
    timed = all(r.at_s is not None for r in (*zeros, *rows))
    when = np.array([r.at_s if timed else r.number for r in zeros], dtype=float)
    at = np.array([r.at_s if timed else r.number for r in rows], dtype=float)
    shown = np.array([r.force for r in zeros], dtype=float)
    order = np.argsort(when, kind="stable")
    out: Array = np.interp(at, when[order], shown[order])
    return out


def check_load_shown(run: Run) -> Array:
    """What the check load read each time, corrected as pulls are, shape (times,); empty where there was none. [N]"""
    rows = [r for r in run.standing("check-load") if r.force is not None]
    shown, zero = np.array([r.force for r in rows], dtype=float), zero_at(run, rows)[0]
    return _net(shown, zero, run.head.scale.correction if run.head.scale else None)


def _net(shown: Array, zero: Array, fixed: Correction | None) -> Array:
    """What a load adds to the indication with nothing on, by the check in force. [N]"""
    if fixed is None:
        return shown - zero
    return np.array([fixed.force(s) - fixed.force(z) for s, z in zip(shown, zero, strict=True)])


def _pull(head: RunHead, rows: Sequence[Row], zero: Array) -> tuple[Array, float, float]:
    """Pull [N], resolution [N] and further independent error of one reading [N]."""
    if head.procedure.method == "hung-weight":
        g, _ = local_gravity(head.procedure.latitude_deg, head.procedure.altitude)
        hook, each = (head.loads.hook_mass, head.loads.u_each) if head.loads else (0.0, 0.0)
        mass = np.array([r.mass for r in rows], dtype=float) + hook
        return mass * g + _half_weight(head)[0], 0.0, each * g
    shown = np.array([r.force for r in rows], dtype=float)
    scale = head.scale
    fixed = scale.correction if scale else None
    net = _net(shown, zero, fixed)
    if head.procedure.method == "anchor-on-scale":
        net = -net
    return net + _half_weight(head)[0], scale.resolution if scale else 0.0, fixed.residual_sd if fixed else 0.0


def _half_weight(head: RunHead) -> tuple[float, float]:
    """Correction to the pull for the band's own weight [N], and its sign where the band was not weighed, else 0.

    The pull meant is that at mid-length; the scale also carries, or its zero already took off, half the band.
    """
    p, zeroed = head.procedure, head.scale.zeroed if head.scale else "hook-only"
    if p.method == "hung-weight":
        sign = 1.0  # the load hangs below mid-length together with half the band
    elif zeroed == "band-both-ends" or (p.orientation == "horizontal" and p.method != "anchor-on-scale"):
        return 0.0, 0.0
    else:
        below = p.scale_at == "bottom" or p.method == "anchor-on-scale"  # an anchor stands below the band
        sign = {"hook-only": -1.0, "band-free": 1.0}[zeroed] * (-1.0 if below else 1.0)
    g, _ = local_gravity(p.latitude_deg, p.altitude)
    return (sign * head.band.mass * g / 2, 0.0) if head.band.mass else (0.0, sign)


def _sources(head: RunHead, length: Array, pull: Array, zero: Array, drift: float) -> list[Source]:
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
        add("gravity", None, gain=local_gravity(p.latitude_deg, p.altitude)[1] * one, of_band="gravity")
    elif head.scale is not None:
        out += _scale_sources(head, zero, day)
        u_zero = head.scale.u_zero if head.scale.u_zero is not None else head.scale.resolution / np.sqrt(12)
        add("zero", None, force=float(np.hypot(u_zero, drift / np.sqrt(12))) * one)
    if sign := _half_weight(head)[1]:
        weight = sign * _weight_guess(head, length, pull) * one
        add("weight of the band", None, force=weight, of_band="weight")
    tape = f"tape:{head.length.tape}" if head.length.tape else None
    add("tape", tape, length=head.length.u_scale * length, of_band=tape or "tape")
    add("length offset", None, length=_u_common(head) * one, of_band=_fittings(head))
    return out


def _fittings(head: RunHead) -> str | None:
    """How a band lies round its fittings, and its thickness, do not change from run to run over the same ones."""
    kind, diameters = head.length.kind, sorted(head.length.fitting_diameters)
    return None if kind == "half-path" else f"{kind} {diameters}"


def _weight_guess(head: RunHead, length: Array, pull: Array) -> float:
    """Half the weight of a band that was not weighed, from its pull: section = F / (mu g), times length and density."""
    top = int(np.argmax(length))
    stretch = max(length[top] / head.band.flat_length, 1.1)
    section = max(pull[top], 0.0) / (RUBBER_MODULUS * (stretch - stretch**-2))
    return 0.5 * float(section) * head.band.flat_length * RUBBER_DENSITY * G_STANDARD


def _u_common(head: RunHead) -> float:
    """Length error shared by all readings of a set-up, the thickness round the fittings included. [m]"""
    if head.length.kind == "half-path":
        return head.length.u_common
    assumed = U_DEFAULT_THICKNESS if head.band.thickness is None else 0.0
    return float(np.hypot(max(head.length.u_common, U_COMMON_LEAST), thickness_slope(head.length.kind) * assumed))


def _scale_sources(head: RunHead, zero: Array, day: date | None) -> list[Source]:
    """Gain, curvature and stability of the scale, each with the identity of what is shared."""
    scale, n = head.scale, len(zero)
    assert scale is not None
    flat, one = np.zeros(n), np.ones(n)
    if scale.correction is None:
        key = f"check:{scale.check}" if scale.check else (f"scale:{scale.id}/{day}" if day else None)
        gain = U_GAIN_UNCHECKED if scale.u_gain is None else scale.u_gain
        of_band = key if scale.check else f"scale:{scale.id}"  # the same scale is off in the same way on another day
        out = [Source("scale gain", key, flat, gain * one, flat, flat, of_band)]
        checked = _date_in(scale.check)
    else:
        out = _check_sources(scale.correction, scale.check or scale.id, zero, head.procedure.method)
        checked = _date_in(scale.correction.checked_on)
    if checked and day and day > checked:
        drift = STABILITY_PER_ROOT_MONTH * ((day - checked).days / DAYS_PER_MONTH) ** 0.5
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
    own = (covariance - np.outer(loads, loads))[1:, 1:]
    root = _root(own)
    sign = -1.0 if method == "anchor-on-scale" else 1.0
    parts = [("scale gain", f"check:{name}", root[:, 0]), ("scale curvature", f"check:{name}/quadratic", root[:, 1])]
    if check.known_loads:
        parts.append(("known loads", f"loads:{check.known_loads}", loads[1:]))
    else:
        parts.append(("known loads", f"check:{name}/loads", loads[1:]))
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


def _join(parts: Sequence[Observations], runs: Sequence[Run]) -> Observations:
    """Several runs of one band as one set: cycles told apart, equal keys one source, the rest each its own."""
    weights = np.array([1 / max(p.u_rest, 1e-5) ** 2 for p in parts])
    rest = float(weights @ [p.rest for p in parts] / weights.sum())
    for part, run in zip(parts, runs, strict=True):
        if abs(part.rest - rest) > 3 * max(part.u_rest, 1e-5):
            raise DataError(
                f"flat length {run.head.band.flat_length * 1000:.0f} mm does not go with the other runs of "
                f"{run.head.band.id} ({rest * 1000:.0f} mm)",
                where=run.name,
                remedy="measure the flat length again, or fit the runs apart",
            )
    sizes = [len(p) for p in parts]
    starts = np.cumsum([0, *sizes])
    cycles, base = [], 0
    for part in parts:
        cycles.append(np.unique(part.cycle, return_inverse=True)[1] + base)
        base = int(cycles[-1].max()) + 1
    return Observations(
        cycle=np.concatenate(cycles),
        unloading=np.concatenate([p.unloading for p in parts]),
        length=np.concatenate([p.length for p in parts]),
        pull=np.concatenate([p.pull for p in parts]),
        resolution=np.concatenate([p.resolution for p in parts]),
        u_force=np.concatenate([p.u_force for p in parts]),
        u_length=np.concatenate([p.u_length for p in parts]),
        sources=_join_sources(parts, starts),
        rows=tuple(r for p in parts for r in p.rows),
        rest=rest,
        u_rest=float(weights.sum() ** -0.5),
    )


def _join_sources(parts: Sequence[Observations], starts: NDArray[np.int64]) -> tuple[Source, ...]:
    """Sources of all runs: what is the same in several is one, or runs joined would average it away."""
    found: dict[tuple[str, str], list[tuple[int, Source]]] = {}
    for i, part in enumerate(parts):
        for source in part.sources:
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
    """One source of several runs, nil in the readings of the others."""
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
