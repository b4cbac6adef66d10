"""One band of a box before its readings: how it is warmed up, and its head once somebody had it in hand."""

from dataclasses import replace
from datetime import datetime

from calib.acquire.recording.batch_plan import UNTAPED
from calib.acquire.recording.course import course_of
from calib.acquire.recording.typed_entry import number_in_unit
from calib.records import RunHead
from calib.units import FORCE, G_STANDARD
from calib.use.ask.gear import gear_of
from calib.use.ask.head import NOT_CONDITIONED
from calib.use.ask.warm_up import stop_words

PULLS, PULLS_OF_FEW = 5, 3  # conditioning
FAR_FROM_OTHERS = 0.08  # relative; nominally equal bands span 3.5-5.2 %


def _warm_up(head: RunHead) -> tuple[int, float]:
    """How often and how far a band is pulled to warm it up. [m] as taped, [kg] where plates are hung"""
    course = course_of(head, ())
    beyond = 0.0 if head.procedure.method == "hung-weight" or course.holes else 4 * gear_of(head).step
    return PULLS if course.way_back else PULLS_OF_FEW, course.settings[-1] + beyond


def warm_up_words(head: RunHead) -> str:
    """How to warm the band up, and what the scale may show at most."""
    course, (pulls, to) = course_of(head, ()), _warm_up(head)
    if head.procedure.method == "hung-weight":
        load = f"{number_in_unit(to * G_STANDARD, course.force_unit, FORCE)} {course.force_unit}"
        return f"Band {head.band.id}. Hang {load} {pulls} times, slowly."
    place = f"hole {course.holes.number(to)}" if course.holes else gear_of(head).length_text(to)
    limit = stop_words(head)
    watched = f", watching the scale. Stop at {limit}." if limit else "."
    return f"Band {head.band.id}. Pull it out to {place} {pulls} times, slowly{watched}"


def in_hand(head: RunHead, flat_length: float, mass: float | None, at: datetime) -> RunHead:
    """The head of a band that was warmed up, taped and weighed, as it stays.

    Args:
        head: As the box was laid out.
        flat_length: Of this band. [m]
        mass: Of it, None where it was not weighed. [kg]
        at: When its readings begin.
    """
    pulls, to = _warm_up(head)
    procedure = replace(head.procedure, conditioning_pulls=pulls)
    if head.procedure.method != "hung-weight":
        procedure = replace(procedure, conditioned_to=round(to, 6))
    return replace(
        head,
        band=replace(head.band, flat_length=flat_length, mass=mass),
        procedure=procedure,
        started=at.replace(microsecond=0),
        extensions={k: v for k, v in head.extensions.items() if k not in (UNTAPED, NOT_CONDITIONED)},
    )
