"""Two bands end to end carry the same pull: what the place of the link between them says. No file is read here.

By itself, with a tape alone, it gives the difference of the two at one length. Beside profiles each reading is a
constraint F_A(L_A) = F_B(L_B) that makes their difference more certain.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from math import hypot, log, log1p

import numpy as np

from calib.acquire.files.series_file import Series, SeriesReading
from calib.assumptions import value
from calib.errors import DataError
from calib.frozen import dataclass
from calib.half_path import DEFAULT_THICKNESS, U_DEFAULT_THICKNESS, rest_half_path, thickness_slope
from calib.profile.document import Profile
from calib.records import Array, BranchName
from calib.use.answers.bands import ByTape, CompareByTapeAnswer
from calib.use.answers.parts import Level
from calib.use.bands.shared_lengths import NORMAL_95, Curve, conditioned, curve_at, under_one_condition

LAW, GAINS = "law", ("pull", "day")  # sources: of the slope; of how pulls and days of a band differ


@dataclass(frozen=True)
class Ratio:
    """First over second, at the same length."""

    bands: tuple[str, str]
    length: float  # [m] half path, the mean of all
    relative: float  # first over second, less one
    u: float
    distinguishable: bool  # which is the stronger is known, though not by how much: no law turns that round


def _log_pull(stretch: float) -> float:
    """Logarithm of the pull of rubber at large, but for a constant: Mooney's law with C2 = C1 / 2.

    Its slope d ln F / d ln L is 4.8 at stretch 1.2, 2.0 at 1.5 and 1.2 at 2.
    """
    return log((1 + 0.5 / stretch) * (stretch - stretch**-2))


def ratio_of(series: Series) -> Ratio:
    """The difference of two bands by a tape alone.

    The plain mean of the readings: what they are off has much in common, and weights would follow that.

    Args:
        series: With loading readings.

    Raises:
        DataError: There are none.
    """
    logs, effects = _log_ratios(series)
    lengths = [sum(series.half_paths(r)) / 2 for r in series.readings if r.branch == "loading"]
    return _ratio(series.bands, float(np.mean(lengths)), float(logs.mean()), {k: e.mean() for k, e in effects.items()})


def _ratio(bands: tuple[str, str], length: float, found: float, effects: Mapping[str, float]) -> Ratio:
    """Of a logarithm and what one standard deviation of each source does to it.

    The law stretches the difference and what lengths are off alike, so it cannot turn the sign; but under a flatter law
    lengths tell less against how pulls differ, and the sign must stand out under that too.
    """
    u = hypot(*effects.values())
    flat = 1 / (1 + value("series_law"))
    gains = hypot(*(e for key, e in effects.items() if key.startswith(GAINS)))
    lengths = hypot(*(e for key, e in effects.items() if key != LAW and not key.startswith(GAINS)))
    sure = flat * abs(found) > NORMAL_95 * hypot(flat * lengths, gains)
    return Ratio(bands, length, float(np.expm1(found)), float(np.exp(found)) * u, sure)


def _log_ratios(series: Series) -> tuple[Array, dict[str, Array]]:
    """Logarithm of first over second from each reading, and what one standard deviation of each source does to it."""
    readings = [r for r in series.readings if r.branch == "loading"]
    if not readings:
        raise DataError("has no loading reading", where=series.name, remedy="approach each length from the slack side")
    rest = [rest_half_path(b.flat_length, b.thickness or DEFAULT_THICKNESS, 2) for b in (series.first, series.second)]
    logs, effects = [], [_effects(series, r, rest) for r in readings]
    for reading in readings:
        a, b = series.half_paths(reading)
        logs.append(_at_same(a, b, rest))
    keys = {key for e in effects for key in e}
    return np.array(logs), {key: np.array([e.get(key, 0.0) for e in effects]) for key in sorted(keys)}


def _at_same(a: float, b: float, rest: Sequence[float]) -> float:
    """Logarithm of F_A(L) / F_B(L) at the mean length, from F_A(a) = F_B(b)."""
    at = 0.5 * (a + b)
    return (_log_pull(at / rest[0]) - _log_pull(a / rest[0])) - (_log_pull(at / rest[1]) - _log_pull(b / rest[1]))


def _effects(series: Series, reading: SeriesReading, rest: Sequence[float]) -> dict[str, float]:
    """By differences: each input moved by one standard deviation."""
    a, b = series.half_paths(reading)
    was, n, setup = _at_same(a, b, rest), reading.number, series.length
    u, cycle = setup.u_reading, reading.cycle
    out = {
        f"ring {n}": _at_same(a + u, b - u, rest) - was,
        f"total {n}": _at_same(a, b + u, rest) - was,
        LAW: value("series_law") * was,
    }
    for i, band in enumerate((series.first, series.second)):
        one = 1 if i == 0 else -1
        moved = [
            (a + s, b) if i == 0 else (a, b + s)
            for s in (setup.u_common, value("series_hook"), _u_thickness(series, i))
        ]
        common, hook, thick = (_at_same(*m, rest) - was for m in moved)
        shorter = [r + (band.u_flat_length if j == i else 0.0) for j, r in enumerate(rest)]
        out |= {
            f"set-up of {band.id}": common,
            f"thickness of {band.id}": thick,
            f"flat length of {band.id}": _at_same(a, b, shorter) - was,
            f"hook of {band.id}, pull {cycle}": hook,
            f"{GAINS[0]} {cycle} of {band.id}": one * value("series_cycle"),
            f"{GAINS[1]} of {band.id}": one * value("series_day"),
        }
    return out


def _u_thickness(series: Series, i: int) -> float:
    band = (series.first, series.second)[i]
    return 0.0 if band.thickness is not None else thickness_slope(series.length.kind) * U_DEFAULT_THICKNESS


def change_of(old: Series, new: Series) -> Ratio:
    """How the first band of a series has changed against the second one, kept as a reference: new over old, less one.

    Raises:
        DataError: Other bands, or the same ones the other way round.
    """
    if old.bands != new.bands:
        raise DataError(
            f"{old.name} is of {' and '.join(old.bands)}, {new.name} of {' and '.join(new.bands)}",
            remedy="compare series of the same two bands in the same order",
        )
    was, now = ratio_of(old), ratio_of(new)
    first, last = ({key: float(e.mean()) for key, e in _log_ratios(s)[1].items()} for s in (old, new))
    kept = _set_up(old) == _set_up(new)
    each = {}
    for key in {**first, **last}:
        a, b = first.get(key, 0.0), last.get(key, 0.0)
        lasting = key == LAW or (kept and key.startswith(("set-up", "thickness", "flat length")))
        each[key] = b - a if lasting else hypot(a, b)
    change = log1p(now.relative) - log1p(was.relative)
    return _ratio(new.bands, 0.5 * (was.length + now.length), change, each)


def _set_up(series: Series) -> tuple[object, ...]:
    """What the bands hung on and how it was taped."""
    return series.length, series.first.fitting_diameter, series.second.fitting_diameter


def told_by_series(
    profiles: Sequence[Profile],
    series: Sequence[Series],
    wanted: Mapping[BranchName, Array],
    among: Sequence[Profile] = (),
) -> list[list[Curve]]:
    """Curves of several bands, made more certain by series of two of them.

    Args:
        profiles: The bands.
        series: Each of two of them; at least one.
        wanted: Where each branch is wanted. [m]
        among: Bands whose mean temperature and wait are taken; empty for all.

    Returns:
        For each band its curve on each of the branches wanted, in their order.

    Raises:
        DataError: A series of a band that is not there, or at lengths that were not tested.
    """
    readings = [(s, r) for s in series for r in s.readings]
    ids = [p.band.id for p in profiles]
    for s in series:
        missing = [band for band in s.bands if band not in ids]
        if missing:
            raise DataError(
                f"also involves {missing[0]}, which has no profile here", where=s.name, remedy="give its profile"
            )
    curves = [_whole(p, readings, wanted, among or profiles) for p in profiles]
    sizes = [len(x) for x in wanted.values()]
    noise = Curve("series", np.zeros(len(readings)), np.ones(len(readings)), _noise(profiles, readings))
    everything = [*curves, noise]
    start = sum(sizes)
    for j, (s, reading) in enumerate(readings):
        one, other = (ids.index(band) for band in s.bands)
        at = start + j
        effect: dict[str, float] = {}
        for sign, i, place in ((1, one, at), (-1, other, at), (1, len(curves), j)):
            for key, shift in everything[i].sources.items():
                effect[key] = effect.get(key, 0.0) + sign * float(shift[place])
        seen = everything[one].force[at] - everything[other].force[at] + everything[-1].force[j]
        everything = conditioned(everything, effect, float(seen), _u_reading(profiles, s, reading))
    cuts = np.cumsum([0, *sizes])
    return [[_cut(curve, slice(a, b)) for a, b in pairwise(cuts)] for curve in everything[:-1]]


def _cut(curve: Curve, part: slice) -> Curve:
    sources = {key: shift[part] for key, shift in curve.sources.items()}
    return replace(curve, force=curve.force[part], ratio=curve.ratio[part], sources=sources)


def _whole(
    profile: Profile,
    readings: Sequence[tuple[Series, SeriesReading]],
    wanted: Mapping[BranchName, Array],
    among: Sequence[Profile],
) -> Curve:
    """A band's curve where it is wanted, and behind that where each reading has it; zero where it has no part."""

    def here(lengths: Array, branch: BranchName) -> Curve:
        return under_one_condition([profile], [curve_at(profile, lengths, branch)], branch, among)[0]

    parts = [here(lengths, branch) for branch, lengths in wanted.items()]
    for s, reading in readings:
        if profile.band.id not in s.bands:
            parts.append(Curve(profile.band.id, np.zeros(1), np.full(1, NORMAL_95)))
            continue
        length = s.half_paths(reading)[s.bands.index(profile.band.id)]
        table = profile.branch(reading.branch)
        if table is None or not table.length_m[0] <= length <= table.length_m[-1]:
            raise DataError(
                f"row {reading.number} has {profile.band.id} at {length:.3f} m, where it was not tested",
                where=s.name,
                remedy="strike that row, or measure the band there",
            )
        found = here(np.array([length]), reading.branch)
        parts.append(replace(found, sources={k: v for k, v in found.sources.items() if not k.startswith("rest:")}))
    keys = {key for part in parts for key in part.sources}
    return Curve(
        profile.band.id,
        np.concatenate([p.force for p in parts]),
        np.concatenate([p.ratio for p in parts]),
        {k: np.concatenate([p.sources.get(k, np.zeros(len(p.force))) for p in parts]) for k in sorted(keys)},
    )


def _slopes(profiles: Sequence[Profile], s: Series, reading: SeriesReading) -> list[tuple[Profile, float, float]]:
    """Each of the two bands with its pull and slope there. [N], [N/m]"""
    by_id = {p.band.id: p for p in profiles}
    out = []
    for band, length in zip(s.bands, s.half_paths(reading), strict=True):
        at = by_id[band].estimate(length, reading.branch)
        out.append((by_id[band], at.force, at.slope))
    return out


def _noise(profiles: Sequence[Profile], readings: Sequence[tuple[Series, SeriesReading]]) -> dict[str, Array]:
    """What several readings of one series have in common, as shifts of their difference. [N]"""
    out: dict[str, Array] = {}
    for j, (s, reading) in enumerate(readings):
        for sign, i, (profile, force, slope) in zip((1, -1), (0, 1), _slopes(profiles, s, reading), strict=True):
            spread, name = profile.repeatability, profile.band.id
            common = hypot(s.length.u_common, _u_thickness(s, i))
            for key, shift in (
                (f"{s.name}: set-up of {name}", slope * common),
                (f"{s.name}: hook of {name}, pull {reading.cycle}", slope * spread.hook_shift_m),
                (f"{s.name}: pull {reading.cycle} of {name}", force * spread.cycle_gain),
                (f"{s.name}: day of {name}", force * value("series_day")),
            ):
                out.setdefault(key, np.zeros(len(readings)))[j] = sign * shift
    return out


def _u_reading(profiles: Sequence[Profile], s: Series, reading: SeriesReading) -> float:
    """Of one reading by itself: the ring moves both bands, the total only the second. [N]"""
    (_, _, a), (_, _, b) = _slopes(profiles, s, reading)
    return max(hypot(a + b, b) * s.length.u_reading, 1e-6)


def by_tape(found: Ratio) -> ByTape:
    """The difference as a part of an answer."""
    return ByTape(
        found.bands, found.length, found.relative, found.u, NORMAL_95 * found.u, found.distinguishable
    )  # fmt: skip


def change_answer(found: Ratio) -> CompareByTapeAnswer:
    """The change of a band against a reference as an answer."""
    level = Level(1 + found.relative, found.u, NORMAL_95 * found.u, None)
    return CompareByTapeAnswer(
        band=found.bands[0],
        reference=found.bands[1],
        length_m=found.length,
        level=level,
        changed=found.distinguishable,
    )
