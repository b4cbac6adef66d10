"""Calibrations of one band on several days, side by side: what the days share, and what lies between them.

A scale that was not checked in between is off as before, but for its wandering; a known plate weighed on several days
tells how it has moved; the band itself differs from day to day. What the differences mean is not known here.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from itertools import pairwise
from math import hypot, log

import numpy as np

from calib import assumptions
from calib.errors import DataError
from calib.fit.curve.sources import DAYS_PER_MONTH as DAYS_PER_MONTH
from calib.profile.document import Profile
from calib.profile.parts import ProfileCheckLoad
from calib.profile.store.newest_profile import are_two_bands
from calib.profile.table import BranchName
from calib.records import Array
from calib.use.bands.assumed import of_one_day
from calib.use.bands.shared_lengths import Curve, conditioned, curve_at, under_one_condition

DAY = "day:"
GAIN = ("check:", "scale:", "stability:", "loads:")  # keys of what a known plate shows too


def check_order(profiles: Sequence[Profile]) -> None:
    """Refuse calibrations of two bands, or in the wrong order."""
    for old, new in pairwise(profiles):
        if old.band.id != new.band.id:
            raise DataError(
                f"{old.band.id} and {new.band.id} are two bands",
                remedy="give two calibrations of one; pair says how far two bands are apart",
            )
        days = days_between(old, new)
        if days is not None and days < 0:
            raise DataError(
                f"the new one was measured on {new.made.measured_at}, before the old one on {old.made.measured_at}",
                remedy="swap them",
            )
    if are_two_bands(profiles):
        flat = [p.band.flat_length_m for p in profiles]
        raise DataError(
            f"{profiles[0].band.id} stands for two bands: flat lengths of {min(flat):.3f} and {max(flat):.3f} m",
            remedy="no band gets that much longer by use; was a flat length mistyped, or one id given twice?",
        )


def days_between(old: Profile, new: Profile) -> int | None:
    """Days from one calibration to another, None where one was not noted."""
    first, last = old.made.measured_at, new.made.measured_at
    return None if first is None or last is None else (date.fromisoformat(last) - date.fromisoformat(first)).days


def calibrations(profiles: Sequence[Profile], lengths: Array, branch: BranchName) -> list[Curve]:
    """Curves of one band on several days, at one temperature and wait, keys telling what they share.

    Args:
        profiles: Of one band, oldest first.
        lengths: Tested in all. [m]
        branch: Which.
    """
    curves = [curve_at(p, lengths, branch, f"{i}") for i, p in enumerate(profiles)]
    curves = under_one_condition(profiles, _one_scale(profiles, curves), branch)
    days = [p.made.measured_at for p in profiles]
    if None not in days and len(set(days)) == 1:
        return curves
    return [
        c.scaled(1.0, f"{DAY}{day or i}", of_one_day(p))
        for i, (c, p, day) in enumerate(zip(curves, profiles, days, strict=True))
    ]


def _one_scale(profiles: Sequence[Profile], curves: Sequence[Curve]) -> list[Curve]:
    """As long as its check stands, what a scale is off at first it stays off, and what it wanders off is kept."""
    out: list[Curve] = []
    for i, (profile, curve) in enumerate(zip(profiles, curves, strict=True)):
        curve = _renamed(curve, profile.gear.scale)
        before = out[-1] if i and profile.gear.scale == profiles[i - 1].gear.scale else None
        checks = {k for k in curve.sources if k.startswith(("check:", "scale:"))}
        if before is not None and checks & set(before.sources):
            days = days_between(profiles[i - 1], profile)
            months = (assumptions.value("unknown_days") if days is None else days) / DAYS_PER_MONTH
            curve = _wandering_on(curve, before, f"stability:{profile.gear.scale}/step {i}", months)
        out.append(curve)
    return out


def _renamed(curve: Curve, scale: str | None) -> Curve:
    """Of a scale that was never checked the gain of one day is that of another."""
    unchecked = f"scale:{scale}/"
    keys = {key: f"scale:{scale}" if key.startswith(unchecked) else key for key in curve.sources}
    return replace(curve, sources={keys[key]: shift for key, shift in curve.sources.items()})


def _wandering_on(curve: Curve, before: Curve, key: str, months: float) -> Curve:
    """The same with the wandering up to the calibration before in it, and a step more."""
    kept = {k: s for k, s in curve.sources.items() if not k.startswith("stability:")}
    kept |= {k: s / before.force * curve.force for k, s in before.sources.items() if k.startswith("stability:")}
    return replace(curve, sources=kept).scaled(1.0, key, assumptions.value("stability_per_root_month") * months**0.5)


def plate_of(profiles: Sequence[Profile]) -> str | None:
    """The known plate weighed on all days, None where there is none."""
    loads = [p.check_load for p in profiles]
    ids = {load.id if load is not None and load.shown_N > 0 else None for load in loads}
    return ids.pop() if len(ids) == 1 else None


def with_plate(profiles: Sequence[Profile], curves: Sequence[Curve], gear: Sequence[Curve]) -> list[Curve]:
    """The curves, told by the plate weighed on all days how the scale has moved.

    Args:
        profiles: One each, oldest first.
        curves: Of one branch.
        gear: Of the loading branch, to see from what the scale's gain and zero do to a plate; the same keys.
    """
    first, *others = (_shown(p.check_load) for p in profiles)
    effects = [
        _on_plate(c, f"own:{i}:", shown, -1 if p.conditions.method == "anchor-on-scale" else 1)
        for i, (p, c, (shown, _)) in enumerate(zip(profiles, gear, (first, *others), strict=True))
    ]
    less = [_less(effect, effects[0]) | {"plate, first day": first[1]} for effect in effects[1:]]
    shift = np.array([log(shown / first[0]) for shown, _ in others])
    plate = Curve("plate", shift, np.ones(len(less)), {k: np.array([e.get(k, 0.0) for e in less]) for k in _keys(less)})
    told = [*curves, plate]  # what one day tells bears on what the next one says
    for i, (_, u) in enumerate(others):
        effect = {key: float(of_days[i]) for key, of_days in told[-1].sources.items()}
        told = conditioned(told, effect, float(told[-1].force[i]), u)
    return told[:-1]


def _keys(effects: Sequence[Mapping[str, float]]) -> list[str]:
    return sorted({key for effect in effects for key in effect})


def _shown(load: ProfileCheckLoad | None) -> tuple[float, float]:
    """What a plate showed [N] and its relative standard uncertainty."""
    assert load is not None
    return load.shown_N, max(load.u_N / load.shown_N, 1e-6)


def _on_plate(curve: Curve, own: str, shown: float, sign: int) -> dict[str, float]:
    """What one standard deviation of each source of the scale does to the logarithm of a plate's reading.

    A wrong zero makes plate and pull larger alike; where the anchor is weighed, a pull takes off and a plate adds.
    """
    out: dict[str, float] = {}
    for key, shift in curve.sources.items():
        if key.startswith(GAIN) and not key.endswith("/quadratic"):
            out[key] = float(np.mean(shift / curve.force))
        elif key.startswith(own) and key.endswith(":zero"):
            out[key] = sign * float(np.mean(shift)) / shown
    return out


def _less(new: Mapping[str, float], old: Mapping[str, float]) -> dict[str, float]:
    return {key: new.get(key, 0.0) - old.get(key, 0.0) for key in {**new, **old}}


def level(curve: Curve, lengths: Array) -> tuple[float, dict[str, float]]:
    """Average pull over the lengths [N], and what one standard deviation of each source does to its logarithm."""
    span = lengths[-1] - lengths[0]
    mean = float(np.trapezoid(curve.force, lengths) / span)
    if mean <= 0:
        raise DataError("the band does not pull over these lengths", remedy="choose longer ones with --over")
    return mean, {key: float(np.trapezoid(shift, lengths) / span / mean) for key, shift in curve.sources.items()}


def change_of_level(old: tuple[float, dict[str, float]], new: tuple[float, dict[str, float]]) -> dict[str, float]:
    """What one standard deviation of each source does to the logarithm of new over old."""
    return _less(new[1], old[1])


def size(effects: Mapping[str, float]) -> float:
    """Standard uncertainty of independent effects together."""
    return hypot(*effects.values()) if effects else 0.0
