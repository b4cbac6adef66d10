"""How two calibrations compare at a glance: the ratio of their pulls, and whether they can be of one band.

Plain arithmetic on the tables, good to a per cent; `compare` says it properly. It is here to find what is grossly
wrong: two bands under one name, a slip in one of two recordings, a band that has gone soft.
"""

from bisect import bisect
from collections.abc import Sequence
from datetime import date

from calib.profile.store.cards import Card

ANOTHER_BAND = 0.05  # of the flat length: more apart than any band gets by use
APART = 0.10  # of the pull, beside its doubt: more than one band differs in a month, or ever grows stronger
APART_UNDATED = 0.30  # where a day was not noted; a band that lost so much is not used any more
SOON_DAYS = 30
POINTS = 9


def can_be_one_band(a: Card, b: Card) -> bool:
    """Whether two calibrations, in either order, can be of one band."""
    if not can_be_one_loop((a.loop, b.loop)):
        return False
    old, new = sorted((a, b), key=lambda c: c.day)
    ratio = level_ratio(old, new)
    if ratio is None:
        return True
    doubt = 3 * (old.u_relative**2 + new.u_relative**2) ** 0.5
    if not old.day or not new.day:
        return bool(abs(ratio - 1) <= APART_UNDATED + doubt)
    if days_between(old, new) <= SOON_DAYS and 1 - ratio > APART + doubt:
        return False
    return bool(ratio - 1 <= APART + doubt)


def can_be_one_loop(loops: Sequence[tuple[float, int]]) -> bool:
    """Whether flat lengths and strands can be of one band, whatever it pulls."""
    flat = [length for length, _ in loops]
    return len({strands for _, strands in loops}) < 2 and max(flat, default=0) <= (1 + ANOTHER_BAND) * min(
        flat, default=0
    )


def days_between(old: Card, new: Card) -> int:
    """From one to the other, both with a day."""
    return (date.fromisoformat(new.day) - date.fromisoformat(old.day)).days


def level_ratio(old: Card, new: Card) -> float | None:
    """Pull of the new over the old one, on average over the lengths both were tested at; None where there are none."""
    low, high = max(old.lengths[0], new.lengths[0]), min(old.lengths[-1], new.lengths[-1])
    if high <= low:
        return None
    at = [low + (high - low) * i / (POINTS - 1) for i in range(POINTS)]
    before = sum(_force(old.lengths, old.forces, x) for x in at)
    return sum(_force(new.lengths, new.forces, x) for x in at) / before if before > 0 else None


def _force(lengths: Sequence[float], forces: Sequence[float], x: float) -> float:
    i = min(max(bisect(lengths, x) - 1, 0), len(lengths) - 2)
    return forces[i] + (x - lengths[i]) / (lengths[i + 1] - lengths[i]) * (forces[i + 1] - forces[i])
