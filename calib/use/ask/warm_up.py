"""The pulls before the first reading, and the load to stop at: what to say before anybody has pulled the band.

Nobody knows yet what the band pulls, so the first pull is a short one: what the scale shows there, carried on as a
usual loop climbs, tells whether the longest length is still within 80 % of the scale.
"""

from dataclasses import replace
from datetime import datetime
from math import floor, log10

from calib.acquire.recording.course import course_of
from calib.acquire.recording.plan import CAPACITY_SHARE, geometry_of, loop_shape
from calib.acquire.recording.typed_entry import number_in_unit
from calib.frozen import dataclass
from calib.records import RunHead
from calib.units import FORCE, G_STANDARD
from calib.use.ask.gear import Gear, gear_of
from calib.use.ask.head import FULL_PULLS, NOT_CONDITIONED

QUICK_PULLS = 3
SHORT = 0.35  # of the way from the flat length to the longest one: where the first pull ends
LEAST_SHORT = 1.2  # stretch: below it a millimetre of the flat length decides


@dataclass(frozen=True)
class WarmUp:
    """How the band is to be pulled before it is measured."""

    pulls: int
    to: float  # the longest length [m], or the heaviest load [kg]
    stop_at: float | None  # what the scale may show at most [N]; None where nothing says so
    short: float | None = None  # of the first pull, as taped [m]
    short_most: float | None = None  # what the scale may show there, for the longest length to be within it [N]


def warm_up_of(head: RunHead) -> WarmUp:
    """What to do before the first reading."""
    gear, longest = gear_of(head), course_of(head, ()).settings[-1]
    pulls = QUICK_PULLS if head.extensions.get("quick") else FULL_PULLS
    if gear.method == "hung-weight":
        return WarmUp(pulls, longest, None)
    to = longest + (0.0 if gear.holes else 4 * gear.step)
    stop_at = CAPACITY_SHARE * gear.capacity if gear.capacity and gear.method == "scale-in-line" else None
    short = _short(head, gear, to)
    if stop_at is None or short is None:
        return WarmUp(pulls, round(to, 6), stop_at, short)
    geometry = geometry_of(head.band, gear.setup)
    share = loop_shape(geometry.stretch(short)) / loop_shape(geometry.stretch(to))
    return WarmUp(pulls, round(to, 6), stop_at, short, share * stop_at)


def _short(head: RunHead, gear: Gear, to: float) -> float | None:
    """A length well below the longest one, None where there is none. [m] as taped"""
    geometry = geometry_of(head.band, gear.setup)
    top = geometry.stretch(to)
    at = geometry.length(max(LEAST_SHORT, 1 + SHORT * (top - 1)))
    at = gear.holes.length(gear.holes.number(at)) if gear.holes else round(round(at / gear.step) * gear.step, 6)
    return at if 1.05 < geometry.stretch(at) < top - 0.1 else None


def stop_words(head: RunHead) -> str:
    """The load to stop at, with its unit; empty where nothing says so."""
    stop_at, gear = warm_up_of(head).stop_at, gear_of(head)
    return _rounded(stop_at, gear) if stop_at is not None else ""


def warm_up_words(head: RunHead, back: str = "type back") -> tuple[str, ...]:
    """The same in sentences, for who stands before the band; `back` is how the questions are reached again."""
    gear, how = gear_of(head), warm_up_of(head)
    if gear.method == "hung-weight":
        heaviest = f"{number_in_unit(how.to * G_STANDARD, gear.units.force, FORCE)} {gear.units.force}"
        return (f"Warm the band up: hang {heaviest} {how.pulls} times, slowly; lighter loads first.",)
    place = gear.place(how.to)
    if gear.method == "anchor-on-scale":
        first = (f"The first one only to {gear.place(how.short)}.",) if how.short else ()
        said = (
            f"Warm the band up: {how.pulls} slow pulls to {place}, watching the scale. Stop if the "
            "weight starts to lift."
        )
        return (said, *first)
    if how.stop_at is None:
        return (f"Warm the band up: {how.pulls} slow pulls to {place}.",)
    stop = _rounded(how.stop_at, gear)
    said = f"Warm the band up: {how.pulls} slow pulls to {place}, watching the scale. Stop at {stop}."
    if how.short is None or how.short_most is None:
        return (said,)
    return (
        said,
        f"Take the first pull only to {gear.place(how.short)}: if it shows more than "
        f"{_rounded(how.short_most, gear)} there, {back} and choose shorter lengths.",
    )


def warmed_up(head: RunHead, flat_length: float, at: datetime) -> RunHead:
    """The head once the pulls are done.

    Args:
        head: From the talk.
        flat_length: After the pulls. [m]
        at: When the readings begin.
    """
    how = warm_up_of(head)
    done = replace(head.procedure, conditioning_pulls=how.pulls)
    if head.procedure.method != "hung-weight":
        done = replace(done, conditioned_to=how.to)
    extensions = {k: v for k, v in head.extensions.items() if k != NOT_CONDITIONED}
    band = replace(head.band, flat_length=flat_length)
    return replace(head, band=band, procedure=done, started=at.replace(microsecond=0), extensions=extensions)


def _rounded(force: float, gear: Gear) -> str:
    """Two digits, rounded down: it is a limit."""
    value = force / FORCE[gear.units.force]
    digit = 10.0 ** (floor(log10(value)) - 1)
    return f"{floor(value / digit + 1e-9) * digit:g} {gear.units.force}"
