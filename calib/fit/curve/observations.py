"""A run's raw rows, turned into what the model sees: half-path lengths and pulls [N], with their sources of error.

The zero is taken off, a check's correction applied, the band's own weight allowed for; runs of one band are joined.
What the sources of error are is said in `sources`. No curve is known here.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calib import assumptions
from calib.acquire.files.run_checks import refuse_counts
from calib.errors import DataError
from calib.fit.curve.own_weight import half_weight
from calib.fit.curve.sources import Source, Zero, joined, sources_of
from calib.frozen import dataclass
from calib.gravity import local_gravity
from calib.half_path import DEFAULT_THICKNESS, U_DEFAULT_THICKNESS, offset_over, rest_half_path, u_of_step
from calib.records import Array, Correction, Row, Run, RunHead

SAME_PLACE = 0.002  # [m] lengths that round to the same multiple of it


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
            sources=tuple(s.at_places(kept) for s in self.sources),
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
    refuse_counts(run)
    offset = offset_over(head.length.kind, head.length.fitting_diameters, head.band.thickness)
    length = np.array([r.length for r in rows], dtype=float) + offset
    zero, drift = zero_at(run, rows)
    bare, resolution, u_force = _pull(head, rows, zero)
    pull = bare + half_weight(head, length, bare)[0]
    n = len(rows)
    return Observations(
        cycle=np.array([r.cycle for r in rows]),
        unloading=np.array([r.branch == "unloading" for r in rows]),
        length=length,
        pull=pull,
        resolution=np.full(n, resolution),
        u_force=np.full(n, u_force),
        u_length=np.full(n, _u_reading(head, rows)),
        sources=tuple(sources_of(head, rows, length, pull, Zero(zero, drift, unseen_zero(run, rows, pull)))),
        rows=tuple(((index, r),) for r in rows),
        rest=rest_half_path(head.band.flat_length, head.band.thickness or DEFAULT_THICKNESS, head.band.strands),
        u_rest=_u_rest(head),
    )


def _u_reading(head: RunHead, rows: Sequence[Row]) -> float:
    """As stated, and no less than the tape's step allows where a length was read off it, under a weight that hangs."""
    hung = head.procedure.method == "hung-weight"
    return max(head.length.u_reading, u_of_step([row.length or 0.0 for row in rows]) if hung else 0.0)


def _u_rest(head: RunHead) -> float:
    assumed = U_DEFAULT_THICKNESS if head.band.thickness is None and head.band.strands == 2 else 0.0
    return float(np.hypot(head.band.u_flat_length, 0.43 * assumed))


def zero_at(run: Run, rows: Sequence[Row]) -> tuple[Array, float]:
    """Indication with nothing pulling, interpolated between the zero rows, and its largest drift. [N]

    By the clock where every row has one, else by the order of rows. Where the zero was lost on the way (a board that
    started again), zeros before say nothing of readings after, and the other way round.
    """
    lost = [r.number for r in run.rows if r.kind == "zero-lost" and r.number not in run.struck]
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
    """Pull as the scale has it [N], resolution [N] and further independent error of one reading [N]."""
    if head.procedure.method == "hung-weight":
        g, _ = local_gravity(head.procedure.latitude_deg, head.procedure.altitude)
        hook = head.loads.hook_mass if head.loads else 0.0  # how well the loads are known is said in `sources`
        mass = np.array([r.mass for r in rows], dtype=float) + hook
        return mass * g, 0.0, 0.0
    shown = np.array([r.force for r in rows], dtype=float)
    scale = head.scale
    fixed = scale.correction if scale else None
    net = _net(shown, zero, fixed)
    if scale and scale.display == "cuts-off":
        net = net + _cut_off(shown, scale.resolution) - _cut_off(zero, scale.resolution)
    if head.procedure.method == "anchor-on-scale":
        net = -net
    return net, scale.resolution if scale else 0.0, fixed.residual_sd if fixed else 0.0


def _cut_off(indication: Array, step: float) -> Array:
    """What a display that cuts off towards zero leaves out in the mean: half a step, and nothing where it shows 0."""
    return np.where(np.abs(indication) < step / 2, 0.0, np.sign(indication) * step / 2)


def unseen_zero(run: Run, rows: Sequence[Row], pull: Array) -> Array:
    """What the zero may have moved by at each reading after the last zero, as one standard deviation, shape (n,). [N]

    It grows evenly, to all of it over a whole run. Where zeros are read at the end there is none; nor where a run has
    no zero row at all and its head says how well the zero is known.
    """
    scale, zeros = run.head.scale, [r for r in run.standing("zero") if r.force is not None]
    if scale is None or run.head.procedure.method == "hung-weight" or not zeros:
        return np.zeros(len(rows))
    number = np.array([r.number for r in rows], dtype=float)
    since = np.maximum(number - max(r.number for r in zeros), 0.0)
    steps = assumptions.value("zero_unseen_steps") * scale.resolution
    whole = max(steps, assumptions.value("zero_unseen_share") * float(np.abs(pull).max(initial=0.0)))
    return np.asarray(whole * since / max(float(np.ptp([*number, *(r.number for r in zeros)])), 1.0))


def _join(parts: Sequence[Observations], runs: Sequence[Run]) -> Observations:
    """Several runs of one band as one set: cycles told apart, equal keys one source, the rest each its own."""
    weights = np.array([1 / max(p.u_rest, 1e-5) ** 2 for p in parts])
    rest = float(weights @ [p.rest for p in parts] / weights.sum())
    for part, run in zip(parts, runs, strict=True):
        if abs(part.rest - rest) > 3 * max(part.u_rest, 1e-5):
            raise DataError(
                f"flat length {run.head.band.flat_length * 1000:.0f} mm does not fit the other runs of "
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
        sources=joined([p.sources for p in parts], starts),
        rows=tuple(r for p in parts for r in p.rows),
        rest=rest,
        u_rest=float(weights.sum() ** -0.5),
    )
