"""Several profiles under one id: are they of one band, and which is the newest? No file is read here."""

from collections.abc import Sequence
from datetime import date
from functools import lru_cache

from calib.errors import DataError
from calib.itself import Itself
from calib.profile.document import MOST_KEPT, Profile
from calib.profile.store.levels import can_be_one_loop


def are_two_bands(profiles: Sequence[Profile]) -> bool:
    """Whether the flat lengths are too far apart for one band, or loops and single strands are mixed."""
    return not can_be_one_loop([(p.band.flat_length_m, p.band.strands) for p in profiles])


def called(profile: Profile, name: str) -> Profile:
    """The profile under the name its band has in the folder: two coaches' B03 are two names, a renamed band has one."""
    return profile if profile.band.id == name else _renamed(Itself(profile), name)


@lru_cache(maxsize=MOST_KEPT)
def _renamed(key: Itself[Profile], name: str) -> Profile:
    """The same object each time, as pairs are kept by it."""
    return key.it.model_copy(update={"band": key.it.band.model_copy(update={"id": name})})


def newest_of(profiles: Sequence[Profile]) -> Profile:
    """The newest of several profiles under one id; the same one given twice is one.

    Raises:
        DataError: They are of two bands, or no day says which is the newest.
    """
    different = [p for i, p in enumerate(profiles) if p not in profiles[:i]]
    band = different[0].band.id
    if are_two_bands(different):
        flat = sorted(p.band.flat_length_m for p in different)
        raise DataError(
            f"{band} stands for two bands: flat lengths of {flat[0]:.3f} and {flat[-1]:.3f} m do not fit one band",
            remedy="give only one of them another id, or leave its profile out",
        )
    days = [p.made.measured_at for p in different]
    newest = max(days, key=lambda day: day or "")
    if len(different) > 1 and (None in days or days.count(newest) > 1):
        which = "one without a day" if None in days else f"two of {newest}"
        raise DataError(
            f"{band} has {len(different)} profiles, {which}: it is unclear which is newest",
            remedy="give one profile of that band",
        )
    return different[days.index(newest)]


def in_force(profiles: Sequence[Profile], day: date) -> Profile:
    """The newest calibration of a day or before; one without a day counts as older than all.

    Args:
        profiles: Of one band, oldest first, at least one.
        day: The day.

    Raises:
        DataError: All are newer.
    """
    before = [p for p in profiles if (p.made.measured_at or "") <= day.isoformat()]
    if not before:
        first = profiles[0]
        raise DataError(
            f"{first.band.id} was first measured on {first.made.measured_at}, after {day}",
            remedy="give a date after it was measured",
        )
    return before[-1]
