"""The kilos of a quick look that is half done: after its first pull, with the limits that one pull is worth.

A curve through one pull carries the chance of a slip that nothing could have shown (fit/curve/quick_look.py), so its
limits are several times as wide as after the second. They hold all the same, and they are there a minute earlier.
"""

from statistics import median

from calib import __version__
from calib.acquire.recording.state import Recording
from calib.errors import DataError
from calib.records import Run


def first_kilos(before: Recording, after: Recording) -> str:
    """What the first pull of a quick look says, where it has just ended; "" at any other time.

    Args:
        before: The recording before an entry.
        after: The same with the entry, where something is still to be measured.
    """
    if not (after.head.extensions.get("quick") and _pull_of(before) == 1 and _pull_of(after) == 2):
        return ""
    from calib.fit.curve.estimate import fit_runs
    from calib.profile.build import profile_of
    from calib.use.report.recorded_words import Recorded, places

    run = Run("first pull", after.head, after.rows)
    try:
        profile = profile_of(fit_runs([run]), f"bandcurve {__version__}")
    except DataError:
        return ""
    recorded = Recorded(run, profile, "", after.course)
    found, unit = places(run, profile), after.course.force_unit
    if not found:
        return ""
    percent = 100 * median(place.out.u95 / place.out.force for place in found)
    middle = found[len(found) // 2]
    return (
        f"First kilos: {profile.band.id} pulls {recorded.pull(middle.out)} {unit} at {recorded.tape(middle.taped)}, "
        f"{recorded.pull(found[0].out)} to {recorded.pull(found[-1].out)} {unit} in all, "
        f"mostly within {percent:.0f} %. The second pull finds a slip and narrows that."
    )


def _pull_of(state: Recording) -> int | None:
    slot = state.slot
    return slot.cycle if slot is not None and slot.kind == "reading" else None
