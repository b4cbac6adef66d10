"""Which bands make the best left and right: all pairings, judged by how far apart a pair may be. No file is read here.

For every two bands the 95 % upper limit of their largest loading difference over the working lengths is found;
pairs are chosen by that limit, not by the difference seen, because the smallest of many noisy differences looks too
good. The smallest worst pair comes first, then the smallest sum.
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from math import hypot

import numpy as np

from calib.acquire.files.series_file import Series
from calib.assumptions import BY_NAME
from calib.errors import DataError
from calib.finding import Finding
from calib.frozen import dataclass
from calib.itself import Itself
from calib.profile.document import MOST_KEPT, Profile
from calib.profile.store.newest_profile import newest_of
from calib.records import Array
from calib.use.answers.bands import LeftAndRight, PairAnswer
from calib.use.answers.parts import doubts
from calib.use.bands.box import kept_pairs
from calib.use.bands.lookup import Found
from calib.use.bands.matching import DRAWS, PairLimits, drawn, nearest_pairs
from calib.use.bands.series import told_by_series
from calib.use.bands.shared_lengths import (
    NORMAL_95,
    Curve,
    Over,
    common_lengths,
    common_offset,
    curve_at,
    under_one_condition,
)

LENGTHS = 11
FEW = 8  # bands that are paired in no time
MIXED = BY_NAME["mixed_sizes"].value  # of the pull: more is another size
WARMER = 3.0  # K between two bands that is worth saying


@dataclass(frozen=True)
class Pair:
    """Two bands for left and right."""

    bands: tuple[str, str]
    largest: float  # [N] largest difference seen over the working lengths, first less second
    at: float  # [m] where
    u: float  # [N] of the difference there
    upper95: float  # [N] with 95 % they are nowhere further apart
    upper95_next_set: float  # [N] likewise, one set of each
    distinguishable: bool  # a difference of zero is outside the 95 % limits somewhere
    pull: float  # [N] of the two on average, and on average over the working lengths
    apart: float  # by how much of it they differ on average over the working lengths
    kept: bool = False  # somebody keeps them together


@dataclass(frozen=True)
class Pairing:
    """All pairs, best first, and who has no partner."""

    over: Over
    pairs: tuple[Pair, ...]
    left_over: tuple[str, ...]
    findings: tuple[Finding, ...]
    offset: float | None = (
        None  # [m] half-path length less what the tape reads, None where that is not known or differs
    )


def pair_up(profiles: Sequence[Profile], over: Over | None = None, series: Sequence[Series] = ()) -> Pairing:
    """Choose left and right among bands.

    Args:
        profiles: Of two bands or more; of several of one band the newest is taken.
        over: Working lengths, half path; None takes all that they were tested at. [m]
        series: Some of the bands hooked end to end: they make differences more certain.

    Raises:
        DataError: Fewer than two, two bands under one id, or no length that all were tested at.
    """
    if series or not FEW < len(profiles) <= MOST_KEPT:
        return _paired_up(profiles, over, series)
    return _kept(tuple(map(Itself, profiles)), over)


@lru_cache(maxsize=4)
def _kept(profiles: tuple[Itself[Profile], ...], over: Over | None) -> Pairing:
    """For a page that asks again while no file has changed."""
    return _paired_up([key.it for key in profiles], over, ())


def _paired_up(profiles: Sequence[Profile], over: Over | None, series: Sequence[Series]) -> Pairing:
    profiles, older = _one_of_each(profiles)
    lengths = common_lengths(profiles, over, LENGTHS)
    if series:
        curves = [found[0] for found in told_by_series(profiles, series, {"loading": lengths})]
    else:
        curves = under_one_condition(profiles, [curve_at(p, lengths) for p in profiles], "loading")
    limits = PairLimits(curves)
    chosen, left = nearest_pairs(limits)
    sets = [_set_to_set(p, lengths) for p in profiles]
    pairs = tuple(
        _pair(limits, i, j, lengths, upper, limits.with_more(i, j, (sets[i], sets[j]))) for i, j, upper in chosen
    )
    return Pairing(
        over=(float(lengths[0]), float(lengths[-1])),
        pairs=pairs,
        left_over=() if left is None else (profiles[left].band.id,),
        findings=(*older, *_findings(profiles, pairs)),
        offset=common_offset(profiles),
    )


def pair_found(found: Sequence[Found], over: Over | None = None, series: Sequence[Series] = ()) -> Pairing:
    """Choose left and right among bands as they were looked up: pairs that somebody keeps, then the sound ones.

    Bands in doubt are paired only after the others, retired ones not at all, one that is alone in its box only where
    there is nothing else to pair.

    Args:
        found: One of each band.
        over: Working lengths, half path; None takes all that they were tested at. [m]
        series: Some of the bands hooked end to end.

    Raises:
        DataError: Fewer than two are left, or no length that all were tested at.
    """
    usable = [f for f in found if not f.is_retired]
    if len(usable) < 2:
        raise _too_few(found)
    fixed = [(usable[i], usable[j]) for i, j in kept_pairs(usable)]
    loose = [f for f in usable if not any(f in two for two in fixed)]
    doubtful, alone = [f for f in loose if f.is_doubtful], [f for f in loose if f.is_alone and not f.is_doubtful]
    sound = [f for f in loose if f not in doubtful and f not in alone]
    if not fixed and len(sound) < 2:
        sound, doubtful, alone = loose, [], []
    over = over or _tested_by_all([*(f for two in fixed for f in two), *sound])
    kept = [_of_group(two, over, series, usable) for two in fixed]
    best = _of_group(sound, over, series, usable)
    rest = [*doubtful, *(f for f in sound if f.profile.band.id in best.left_over)] if doubtful else []
    last = _of_group(rest, over, series, usable)
    together = sorted((replace(p, kept=True) for one in kept for p in one.pairs), key=lambda p: p.upper95)
    left = {*(last if rest else best).left_over, *(f.profile.band.id for f in alone)}
    said = [finding for f in found for finding in f.findings]
    said += [finding for one in (*kept, best, last) for finding in one.findings]
    return Pairing(
        over,
        (*together, *best.pairs, *last.pairs),
        tuple(f.name for f in usable if f.profile.band.id in left),
        tuple(said),
        common_offset([f.profile for f in usable]),
    )


def _too_few(found: Sequence[Found]) -> DataError:
    gone = [f.name for f in found if f.is_retired]
    what = f"{' and '.join(gone)} retired: too few are left to pair" if gone else "one band makes no pair"
    where = "" if gone else "".join(f.name for f in found)
    return DataError(what, where=where, remedy="name the profiles of two bands or more")


def _tested_by_all(found: Sequence[Found]) -> Over:
    lengths = common_lengths([f.profile for f in found], None, LENGTHS)
    return float(lengths[0]), float(lengths[-1])


def _of_group(group: Sequence[Found], over: Over, series: Sequence[Series], every: Sequence[Found]) -> Pairing:
    """Pairs of some of the bands; a series of two bands of which one is in another group says nothing here."""
    ids, known = {f.profile.band.id for f in group}, {f.profile.band.id for f in every}
    if len(group) < 2:
        return Pairing(over, (), tuple(ids), ())
    return pair_up([f.profile for f in group], over, [s for s in series if {*s.bands} <= ids or {*s.bands} - known])


def _one_of_each(profiles: Sequence[Profile]) -> tuple[list[Profile], list[Finding]]:
    """The newest profile of each band, and what that left out."""
    by_id: dict[str, list[Profile]] = {}
    for profile in profiles:
        by_id.setdefault(profile.band.id, []).append(profile)
    newest = [newest_of(several) for several in by_id.values()]
    if len(newest) < 2:
        raise DataError("one band makes no pair", where="".join(by_id), remedy="name the profiles of two bands or more")
    found = []
    for taken, several in zip(newest, by_id.values(), strict=True):
        left = sorted({p.made.measured_at or "" for p in several} - {taken.made.measured_at or ""})
        if left:
            text = f"{taken.band.id}: its newest profile is taken, of {taken.made.measured_at}, not that of "
            found.append(Finding("older-profile", text + " and ".join(left)))
    return newest, found


def _set_to_set(profile: Profile, lengths: Array) -> Array:
    """Draws of how far one set on another day may be from the band's curve, by its level and how it was hooked. [N]

    The day is each band's own: what days do to both of a pair alike nobody has measured.
    """
    spread = profile.repeatability
    at = [profile.estimate(float(x)) for x in lengths]
    level, hook = hypot(spread.cycle_gain, spread.between_day_gain), spread.hook_shift_m
    shifts = (np.array([level * e.force for e in at]), np.array([hook * e.slope for e in at]))
    return drawn({f"set {k} of {profile.band.id}": shift for k, shift in enumerate(shifts)}, DRAWS)


def _pair(limits: PairLimits, i: int, j: int, lengths: Array, upper95: float, next_set: float) -> Pair:
    a, b = limits.curves[i], limits.curves[j]
    off = a.force - b.force
    u = difference_u(a, b)
    at = int(np.abs(off).argmax())
    relative = np.abs(limits.errors[i] - limits.errors[j]) / np.maximum(u, 1e-12)
    limit = np.quantile(relative.max(axis=1), 0.95) * np.maximum(a.ratio, b.ratio) / NORMAL_95 * u
    pull = _mean(a.force + b.force, lengths) / 2
    return Pair(
        bands=(a.name, b.name),
        largest=float(off[at]),
        at=float(lengths[at]),
        u=float(u[at]),
        upper95=upper95,
        upper95_next_set=max(upper95, next_set),
        distinguishable=bool((np.abs(off) > limit).any()),
        pull=pull,
        apart=abs(_mean(off, lengths)) / pull,
    )


def _mean(values: Array, lengths: Array) -> float:
    return float(np.trapezoid(values, lengths) / (lengths[-1] - lengths[0]))


def difference_u(a: Curve, b: Curve) -> Array:
    """Standard uncertainty of the difference of two curves; what both share cancels. [N]"""
    none = np.zeros(len(a.force))
    shifts = [a.sources.get(key, none) - b.sources.get(key, none) for key in {*a.sources, *b.sources}]
    return np.sqrt(sum((s**2 for s in shifts), none))


def _findings(profiles: Sequence[Profile], pairs: Sequence[Pair]) -> list[Finding]:
    found = []
    by_id = {p.band.id: p for p in profiles}
    for pair in pairs:
        if pair.apart > MIXED:
            text = f"{' and '.join(pair.bands)} differ by {pair.apart:.0%} on average"
            found.append(Finding("mixed-sizes", f"{text}: they look like two sizes, not a left/right pair"))
    for first, second in ((by_id[a], by_id[b]) for a, b in (p.bands for p in pairs)):
        names, was, other = f"{first.band.id} and {second.band.id}", first.conditions, second.conditions
        if was.temperature_C is None or other.temperature_C is None:
            text = f"{names}: a temperature was not recorded; the limits allow for 10 K either way"
            found += [Finding("no-temperature", text)] if first.made.measured_at != second.made.measured_at else []
        elif abs(was.temperature_C - other.temperature_C) > WARMER:
            off = abs(was.temperature_C - other.temperature_C)
            found.append(Finding("different-conditions", f"{names} were measured {off:.0f} K apart; allowed for"))
        if was.dwell_s and other.dwell_s and was.dwell_s != other.dwell_s:
            text = f"{names} were measured with waits of {was.dwell_s:g} and {other.dwell_s:g} s; allowed for"
            found.append(Finding("different-conditions", text))
    return found


def pair_answer(pairing: Pairing) -> PairAnswer:
    """The pairing as an answer."""
    return PairAnswer(
        findings=doubts(pairing.findings),
        over_m=pairing.over,
        half_path_less_tape_m=pairing.offset,
        pairs=tuple(
            LeftAndRight(
                bands=p.bands,
                max_difference_N=abs(p.largest),
                length_m=p.at,
                u_N=p.u,
                upper95_mean_N=p.upper95,
                upper95_next_set_N=p.upper95_next_set,
                pull_N=p.pull,
                distinguishable=p.distinguishable,
                stronger=p.bands[0 if p.largest > 0 else 1] if p.distinguishable else None,
                kept=p.kept,
            )
            for p in pairing.pairs
        ),
        left_over=pairing.left_over,
    )
