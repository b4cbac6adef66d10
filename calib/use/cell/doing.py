"""What is shown while a load cell is listened to: the value, and what is waited for. Nothing is printed here."""

from dataclasses import dataclass

from calib.acquire.cell.listening import Listening
from calib.acquire.points.hands_free import HandsFree
from calib.use.cell.cell_line import no_reading

WAITS_S = 1.2  # without a reading, until it is said that a scale may wait for rest
OVERDUE_S = 1.0  # a point that was due so long ago is held up by a trend


@dataclass(frozen=True)
class CellShown:
    """The newest value and what is waited for."""

    value: str  # with its unit; "" where no reading arrives
    doing: str


def screen_now(work: HandsFree, listening: Listening, offset: float, heard_s: float) -> CellShown:
    """What to show at this moment.

    Args:
        work: The recording.
        listening: Its line.
        offset: Time of the recording less that of the line. [s]
        heard_s: When the newest reading came, by the line's time. [s]
    """
    if listening.away:
        return CellShown("", "the device is gone; plug it in again")
    if listening.question is not None:
        return CellShown("", f"not read: {listening.question.text}")
    silent_s = listening.now() - heard_s
    if silence := no_reading(silent_s):
        return CellShown("", silence.strip())
    value = (
        work.value_text(work.pull)
        if work.pull is not None
        else "-"
        if work.value is None
        else work.value_text(work.value)
    )
    if silent_s >= WAITS_S:
        return CellShown(value, "silent: hold still, it may be waiting for a steady value")
    return CellShown(value, _doing(work, listening.now() + offset))


def _doing(work: HandsFree, now_s: float) -> str:
    """What is waited for."""
    if work.waits_for_key:
        return "Enter takes it as the zero"
    if work.state.pending is not None:
        return "k keeps it, r takes it again"
    ready, there = work.ready_s, f"   (there about {work.words_of_forecast()})" if work.forecast else ""
    if ready is None:
        return ("waiting for it to move" if work.watch.is_taken else "moving") + there
    left = ready - now_s
    going_on = _going_on(work)
    if work.watch.refused or left < -OVERDUE_S:
        return f"still {going_on or 'moving a little'}; Enter takes it" + there
    return f"hold still: {max(0.0, left):3.0f} s" + (f", {going_on}" if going_on else "") + there


def _going_on(work: HandsFree) -> str:
    """By how much the pull still changes, "" where it hardly does: it says why a bell may not come."""
    per_s = work.watch.per_s * work.sign
    return f"{'rising' if per_s > 0 else 'falling'} {work.value_text(abs(per_s))}/s" if per_s else ""
