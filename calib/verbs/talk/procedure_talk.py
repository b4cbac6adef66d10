"""The talk about how the band is pulled and where: level or upright, what hung at zero, warmth, latitude."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from math import inf

from calib.acquire.files.typed import parse_number, parse_temperature
from calib.errors import DataError
from calib.records import Procedure, ScaleInUse, Zeroed
from calib.verbs.talk.gear_talk import Gear
from calib.verbs.talk.given import Given
from calib.verbs.terminal.prompts import ask, choose, say

DWELL_S, LOCK_S = 10.0, 3.0
PULLS = 5  # conditioning


def ask_procedure(given: Given, gear: Gear) -> Procedure:
    """How the band is pulled; a quick look asks nothing."""
    steady = gear.scale is not None and gear.scale.locks != "no"
    dwell = given.dwell_s if given.dwell_s is not None else (LOCK_S if steady else DWELL_S)
    procedure = Procedure(method=gear.method, dwell_s=dwell)
    if gear.method != "scale-in-line":
        procedure = replace(procedure, orientation="vertical")
    elif not given.quick:
        say("The band is pulled ...", "  1  level   2  upright, scale on top   3  upright, scale at the bottom")
        at = choose("Which?", ("level", "top", "bottom"))
        if at != "level":
            procedure = replace(procedure, orientation="vertical", scale_at="top" if at == "top" else "bottom")
    return procedure if given.quick else replace(procedure, temperature=ask_temperature())


def ask_temperature() -> float | None:
    """None where it is not known. [degree Celsius]"""

    def read(text: str) -> float:
        celsius = parse_temperature(text)
        if not -40 <= celsius <= 60:
            raise DataError("that is no temperature to train in; degrees C, or 68 F")
        return celsius

    temperature = ask("Temperature, C (or 68 F); Enter if not known: ", read, empty=inf)
    return None if temperature == inf else round(temperature, 1)


def ask_zeroed(gear: Gear, procedure: Procedure) -> ScaleInUse | None:
    """The scale, with what hung on it when its zero was taken; of account only upright."""
    if gear.scale is None or procedure.method != "scale-in-line" or procedure.orientation == "horizontal":
        return gear.scale
    say("When the scale is zeroed, what hangs on it?", "  1  the slack band, hooked at both ends")
    say("  2  the band, free at one end", "  3  only the hook")
    states: tuple[Zeroed, ...] = ("band-both-ends", "band-free", "hook-only")
    return replace(gear.scale, zeroed=choose("Which?", states))


def weight_counts(procedure: Procedure, scale: ScaleInUse | None) -> bool:
    """Whether the band's own weight is part of what is read."""
    hangs = procedure.method == "scale-in-line" and procedure.orientation == "vertical"
    return procedure.method == "hung-weight" or (hangs and scale is not None and scale.zeroed != "band-both-ends")


def ask_latitude() -> float | None:
    """Of the place, where weight is the measure; None where it is not known. [degree, south below zero]"""

    def read(text: str) -> float:
        south = text.lower().endswith("s") or text.startswith("-")
        value = parse_number(text.lstrip("-").rstrip("nNsS ").strip())
        if not 0 <= value <= 90:
            raise DataError("a latitude lies between 0 and 90 degrees, for example 52 or 34 S")
        return -value if south else value

    latitude = ask("Latitude of the place, degrees (52, or 34 S); Enter if not known: ", read, empty=inf)
    return None if latitude == inf else latitude


def ask_pulls() -> int:
    """How often the band was pulled before the readings on a form."""

    def read(text: str) -> int:
        if text.isascii() and text.isdecimal() and len(text) <= 2:
            return int(text)
        raise DataError("type a number up to 99; 0 if there were none")

    return ask(f"Easy pulls before the first reading [{PULLS}]: ", read, empty=PULLS)


def ask_day() -> datetime:
    """The day on a form, at noon: it says no hour."""
    today = date.today()

    def read(text: str) -> date:
        try:
            day = date.fromisoformat(text)
        except ValueError:
            raise DataError(f"{text[:20]!a} is not a date", remedy=f"write it like {today}") from None
        if day > today + timedelta(days=1) or day.year < 1950:
            raise DataError(f"{day} cannot be the day of the readings", remedy=f"write it like {today}")
        return day

    day = ask(f"Date on the form [{today}]: ", read, empty=today)
    return datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
