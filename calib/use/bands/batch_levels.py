"""How the bands of a batch differ: level of each, spread, nominal sizes mixed up, and which band to measure more.

From stored curves; nothing is fitted here. A level is the pull at one stretch ratio, so that a longer band of the same
section has the same level.
"""

from collections.abc import Sequence
from itertools import pairwise
from math import exp, hypot, log
from statistics import fmean, stdev
from typing import Any

import numpy as np

from calib.assumptions import BY_NAME
from calib.finding import CODES, Finding
from calib.fit.batch.pooled_model import BETWEEN_LOG_SD, BETWEEN_MEDIAN
from calib.frozen import dataclass
from calib.profile.document import Profile
from calib.profile.table import estimate, holds, interpolate

ONE_SIZE = BY_NAME["one_size"].value  # relative: neighbours farther apart in pull are two nominal sizes
ONE_LENGTH = 0.08  # the same of the flat length; an assumption
MUCH = 1.3  # times the median u: a band less well known than this is worth another reading


@dataclass(frozen=True)
class WayOut:
    """A loading branch on its grid."""

    length_m: tuple[float, ...]
    force_N: tuple[float, ...]
    u_N: tuple[float, ...]
    u95_N: tuple[float, ...]


@dataclass(frozen=True)
class BatchMember:
    """One band's loading branch and what it rests on; the rest of its profile is not kept, a batch may be large."""

    id: str
    flat_length: float  # [m]
    mass: float | None  # [kg]
    rest: float  # [m] half-path
    out: WayOut
    u_own: tuple[float, ...]  # [N] on the grid, without what other bands share
    readings: int
    lengths: int
    borrowed: bool
    departs: str  # how its shape is not the batch's, in words; empty where it is
    said: tuple[Finding, ...] = ()  # what its profile says is doubtful

    @property
    def outlying(self) -> bool:
        """Whether its shape is not the batch's."""
        return bool(self.departs)


def member_of(profile: Profile, readings: int, lengths: int) -> BatchMember:
    """What the batch needs of one band's profile.

    Args:
        profile: The band's.
        readings: In use.
        lengths: Different loading lengths.
    """
    branch, band = profile.branches.loading, profile.band
    own = [f.loading_N for f in profile.factors if f.key is None] + [profile.rest_N.loading]
    said = {f.code: f.text for f in profile.findings}
    return BatchMember(
        band.id,
        band.flat_length_m,
        band.mass_kg,
        band.rest_half_path_m,
        WayOut(branch.length_m, branch.force_N, branch.u_N, branch.u95_N),
        tuple(hypot(*parts) for parts in zip(*own, strict=True)),
        readings,
        lengths,
        borrowed="shape-borrowed" in said,
        departs=said.get("outlying-band", ""),
        said=tuple(Finding(f.code, f.text) for f in profile.findings if f.code in CODES),
    )


@dataclass(frozen=True)
class BandLevel:
    """Where one band stands."""

    force: float  # [N] at the reference stretch
    u_own: float  # [N] without what the bands share
    size: int  # from 1
    level: float  # over the mean of its size


@dataclass(frozen=True)
class Size:
    """Bands of one nominal size."""

    bands: tuple[str, ...]
    force: float  # [N] geometric mean, of bands of one shape
    spread: float | None
    u_spread: float | None
    flat_spread: float | None


@dataclass(frozen=True)
class Standing:
    """The batch at a glance."""

    stretch: float
    length: float | None  # [m]
    levels: tuple[BandLevel, ...]
    sizes: tuple[Size, ...]
    measure_more: tuple[str, str] | None  # band, why
    findings: tuple[Finding, ...]


def standing(members: Sequence[BatchMember]) -> Standing:
    """Compare the bands of a batch.

    Args:
        members: At least one.
    """
    stretch = _stretch(members)
    forces = [_force(m, stretch) for m in members]
    groups = _sizes(members, [f for f, _ in forces])
    sizes = tuple(_size(members, forces, group) for group in groups)
    number = {i: n for n, group in enumerate(groups) for i in group}
    levels = tuple(BandLevel(f, u, number[i] + 1, f / sizes[number[i]].force) for i, (f, u) in enumerate(forces))
    odd = [Finding("outlying-band", f"{m.id}: {m.departs}") for m in members if m.outlying]
    return Standing(stretch, _length(members), levels, sizes, _more(members, levels), (*odd, *_mixed(sizes)))


def _stretch(members: Sequence[BatchMember]) -> float:
    """Middle of the stretch that every band was tested at, or of all where they have none in common."""
    ends = [(m.out.length_m[0] / m.rest, m.out.length_m[-1] / m.rest) for m in members]
    low, high = max(a for a, _ in ends), min(b for _, b in ends)
    return 0.5 * (low + high)


def _length(members: Sequence[BatchMember]) -> float | None:
    """Middle of the half-path lengths that every band was tested at, to the centimetre. [m]"""
    tables = [m.out.length_m for m in members]
    low, high = max(t[0] for t in tables), min(t[-1] for t in tables)
    middle = round(0.5 * (low + high), 2)
    return middle if low <= middle <= high else None


def _force(member: BatchMember, stretch: float) -> tuple[float, float]:
    """Pull at a stretch ratio or the nearest tested one, and the part of its u that other bands do not share. [N]"""
    grid = member.out.length_m
    length = min(max(stretch * member.rest, grid[0]), grid[-1])
    return estimate(member.out, length).force, interpolate(length, grid, member.u_own)


def _sizes(members: Sequence[BatchMember], forces: Sequence[float]) -> list[list[int]]:
    """Bands whose flat lengths, then whose pulls, follow one another without a gap; the weakest size first."""
    flats = [m.flat_length for m in members]
    out = []
    for alike in _without_gap(range(len(members)), flats, log(1 + ONE_LENGTH)):
        out += _without_gap(alike, forces, log(1 + ONE_SIZE))
    return sorted(out, key=lambda group: min(forces[i] for i in group))


def _without_gap(places: Sequence[int], values: Sequence[float], gap: float) -> list[list[int]]:
    order = sorted(places, key=lambda i: values[i])
    groups = [[order[0]]]
    for before, after in pairwise(order):
        if log(values[after] / values[before]) > gap:
            groups.append([])
        groups[-1].append(after)
    return [sorted(group) for group in groups]


def _size(members: Sequence[BatchMember], forces: Sequence[tuple[float, float]], group: Sequence[int]) -> Size:
    """Mean and spread of one size; what the estimates are uncertain by is taken off the spread.

    A band whose shape is another is not counted in where two are left without it.
    """
    ids = tuple(members[i].id for i in group)
    alike = [i for i in group if not members[i].outlying]
    counted = alike if len(alike) > 1 else group
    logs = [log(forces[i][0]) for i in counted]
    if len(counted) < 2:
        return Size(ids, exp(fmean(logs)), None, None, None)
    noise = fmean((forces[i][1] / forces[i][0]) ** 2 for i in counted)
    flat = stdev([log(members[i].flat_length) for i in counted])
    return Size(ids, exp(fmean(logs)), *_spread(stdev(logs) ** 2, noise, len(counted) - 1), flat)


def _spread(seen: float, noise: float, dof: int) -> tuple[float, float]:
    """Sd from band to band and its uncertainty: mean and sd of its posterior.

    The prior is the joint fit's. Two bands that happen to be alike do not show that all are.

    Args:
        seen: Variance of the estimates.
        noise: What of it is their own uncertainty.
        dof: Bands less one.
    """
    z = np.linspace(-4, 4, 161)
    sizes = BETWEEN_MEDIAN[0] * np.exp(BETWEEN_LOG_SD[0] * z)
    whole = sizes**2 + noise
    log_weight = -0.5 * (z**2 + dof * (np.log(whole) + seen / whole))
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    spread = float(weight @ sizes)
    return spread, float(weight @ (sizes - spread) ** 2) ** 0.5


def _more(members: Sequence[BatchMember], levels: Sequence[BandLevel]) -> tuple[str, str] | None:
    """The band that most needs a reading, and why."""
    pairs = list(zip(members, levels, strict=True))
    for member, _ in pairs:
        if member.outlying and member.borrowed:
            return member.id, "its shape differs from the others, and it was read at few lengths: measure it at eight"
    for member, _ in pairs:
        if not member.readings:
            return member.id, "it was never pulled: one reading gives its level"
    ordered = sorted((level.u_own / level.force, member.id) for member, level in pairs)
    (largest, worst), middle = ordered[-1], ordered[len(ordered) // 2][0]
    if len(ordered) < 2 or largest < MUCH * middle:
        return None
    known = f"{200 * largest:.1f} % (95 %)"
    return worst, f"its level is known to {known}, the least certain of all: a reading in a new cycle helps"


def _mixed(sizes: Sequence[Size]) -> list[Finding]:
    if len(sizes) < 2:
        return []
    parts = [f"{_named(s.bands)} (about {s.force / sizes[0].force:.2f} times)" for s in sizes[1:]]
    text = (
        f"{len(sizes)} sizes are mixed in this batch, by pull and flat length: {_named(sizes[0].bands)}; "
        f"{'; '.join(parts)}. Levels and spread are given for each size; the shape is taken as common to all"
    )
    return [Finding("mixed-sizes", text)]


def _named(bands: Sequence[str]) -> str:
    shown = list(bands[:4])
    return ", ".join(shown) + (f" and {len(bands) - 4} more" if len(bands) > 4 else "")


def batch_document(
    members: Sequence[BatchMember],
    files: Sequence[tuple[tuple[str, ...], str]],
    shape_from: Sequence[str],
    failed: Sequence[tuple[str, str]],
    by: str,
    found: Standing | None,
    verdicts: Sequence[tuple[str, str]],
) -> dict[str, Any]:
    """The record of a batch.

    Args:
        members: The bands, in order; may be none.
        files: Of each band, its runs and its profile.
        shape_from: Bands that taught the shape.
        failed: Files that could not be used, each with why.
        by: The program and its version.
        found: How the bands compare; None without bands.
        verdicts: Of each band what to do with it, and why.
    """
    bands = [
        _band(member, level, runs, profile, found.length if found else None) | {"verdict": word, "why": why}
        for member, level, (runs, profile), (word, why) in zip(
            members, found.levels if found else (), files, verdicts, strict=True
        )
    ]
    sizes = [
        {
            "bands": list(s.bands),
            "force_N": s.force,
            "spread": s.spread,
            "u_spread": s.u_spread,
            "flat_length_spread": s.flat_spread,
        }
        for s in (found.sizes if found else ())
    ]
    return {
        "format": "bandcurve-batch/1.1",
        "by": by,
        "stretch": found.stretch if found else None,
        "length_m": found.length if found else None,
        "bands": bands,
        "sizes": sizes,
        "shape_from": list(shape_from),
        "measure_more": _as_more(found.measure_more) if found else None,
        "findings": [{"code": f.code, "text": f.text} for f in (found.findings if found else ())],
        "failed": [{"file": file, "error": error} for file, error in failed],
    }


def _as_more(more: tuple[str, str] | None) -> dict[str, str] | None:
    return {"id": more[0], "why": more[1]} if more else None


def _band(
    member: BatchMember, level: BandLevel, runs: tuple[str, ...], profile: str, length: float | None
) -> dict[str, Any]:
    at = estimate(member.out, length) if length is not None and holds(member.out, length) else None
    return {
        "id": member.id,
        "runs": list(runs),
        "profile": profile,
        "flat_length_m": member.flat_length,
        "mass_kg": member.mass,
        "readings": member.readings,
        "lengths": member.lengths,
        "borrowed": member.borrowed,
        "outlying": member.outlying,
        "size": level.size,
        "level": level.level,
        "u_level": level.u_own / level.force,
        "force_N": at.force if at else None,
        "u_N": at.u if at else None,
        "u95_N": at.u95 if at else None,
    }
