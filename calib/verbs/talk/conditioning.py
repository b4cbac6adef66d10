"""Pulls before the first reading, and the flat length after them: the last of the talk, with the band in hand."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

from calib.acquire.recording.course import course_of
from calib.acquire.recording.typed_entry import shown
from calib.records import RunHead
from calib.units import FORCE, G_STANDARD
from calib.verbs.talk.band_talk import flat_after
from calib.verbs.talk.gear_talk import Gear, Units
from calib.verbs.talk.procedure_talk import PULLS
from calib.verbs.terminal.prompts import ask_line, say

QUICK_PULLS = 3
NOT_CONDITIONED = "not_conditioned"  # in a head that was put on disk before the conditioning pulls


def condition(head: RunHead, pause: Callable[[float, str], None]) -> RunHead:
    """Conditioning pulls, rest, and the flat length after them.

    Args:
        head: From `set_up`, or from a file that was cut off before the pulls were done.
        pause: Rests for a number of seconds, saying why.

    Returns:
        The head as it stays.
    """
    course = course_of(head, ())
    units = Units(course.length_unit, course.force_unit)
    gear = Gear(head.procedure.method, head.scale, course.capacity, head.length, course.holes, units)
    quick, longest, procedure = bool(head.extensions.get("quick")), course.settings[-1], head.procedure
    pulls = QUICK_PULLS if quick else PULLS
    say("")
    if gear.method == "hung-weight":
        heaviest = f"{shown(longest * G_STANDARD, gear.units.force, FORCE)} {gear.units.force}"
        say(f"Condition the band: hang the heaviest load ({heaviest}) {pulls} times, gently.")
        done = replace(procedure, conditioning_pulls=pulls)
    else:
        to = longest + (0.0 if gear.holes else 4 * gear.step)
        place = f"hole {gear.holes.number(to)}" if gear.holes else gear.words(to)
        say(f"Condition the band: pull it out to {place} and back, slowly, {pulls} times.")
        done = replace(procedure, conditioning_pulls=pulls, conditioned_to=round(to, 6))
    ask_line("Enter when done: ")
    if not quick:
        pause(60.0, "let the band rest")
    band = replace(head.band, flat_length=flat_after(gear, head.band.flat_length))
    extensions = {k: v for k, v in head.extensions.items() if k != NOT_CONDITIONED}
    started = datetime.now(UTC).replace(microsecond=0)
    return replace(head, band=band, procedure=done, started=started, extensions=extensions)
