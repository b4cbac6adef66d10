"""How an answer is read: what was typed in, the text that is kept out, or one sentence about what is wrong with it."""

import re
from collections.abc import Callable, Sequence
from datetime import date
from math import log

from calib.acquire.files.typed import (
    EARLIEST,
    Quantity,
    listed,
    parse_force,
    parse_length,
    parse_mass,
    parse_number,
    parse_temperature,
    unit_named,
)
from calib.acquire.recording.typed_entry import number_in_unit
from calib.errors import DataError
from calib.plate_set import PlateSet, sizes
from calib.units import FORCE, G_STANDARD, LENGTH, MASS
from calib.use.ask.gear import Units
from calib.use.ask.question import Answers, Choice

USUAL_FLAT = (0.25, 2.5)  # [m] flat length of a usual band
POSSIBLE_FLAT = (0.15, 3.0)  # [m] shorter or longer is a slip of the unit
FEWEST_STEPS = 20  # between nothing and the most a scale takes; fewer is a slip
READ_IN = {"m": "cm", "ft": "in", "kgf": "kg", "lbf": "lb"}  # what a tape or scale is marked in, by the unit named
FORCE_UNITS = ("kg", "lb", "N")


def units_of(answers: Answers) -> Units:
    """Units of tape and scale: those the answers so far wear."""
    force = unit_behind(answers.get("max") or answers.get("loads") or "", "force") or answers.get("force_unit", "kg")
    return Units(answers.get("unit", "cm"), READ_IN.get(force, force))


def unit_behind(text: str, quantity: Quantity) -> str | None:
    """The unit behind a number, None where there is none that is known."""
    if quantity == "length" and re.search(r"[0-9]\s*('|ft|feet)\s*[0-9]", text):
        return "in"
    found = re.search(r"""([A-Za-z]+|"|''|')\s*$""", text.strip())
    known = {"length": tuple(LENGTH), "force": tuple(FORCE), "mass": tuple(MASS), "number": ()}[quantity]
    try:
        return unit_named(found[1], known, quantity) if found else None
    except DataError:
        return None


def _length(text: str, unit: str) -> tuple[float, str]:
    """A length [m], and as it is kept."""
    value, own = parse_length(text, unit), unit_behind(text, "length") or unit
    return value, f"{number_in_unit(value, own, LENGTH)} {own}"


def flat(text: str, answers: Answers) -> str:
    """Flat length of a band; a bare number is in the tape's unit, or in the one unit that makes it a band's."""
    unit = unit_behind(text, "length")
    if unit is None:
        unit = answers.get("unit") or _only_unit(text)
        value = parse_length(text, unit)
        if not USUAL_FLAT[0] <= value <= USUAL_FLAT[1]:
            slip = typed_in(text, unit, USUAL_FLAT).removeprefix(". Typed in ").removesuffix("?")
            example = f", like {text.strip()} {slip}" if slip else ""
            said = f"few bands are {number_in_unit(value, unit, LENGTH)} {unit} long"
            raise DataError(said, remedy=f"type the unit after the number{example}")
    flat_length(text, unit)
    return _length(text, unit)[1]


def flat_length(text: str, unit: str) -> float:
    """A flat length that a loop band can have. [m]

    Args:
        text: As typed.
        unit: Meant for a number without one.

    Raises:
        DataError: It is none.
    """
    value, kept = _length(text, unit)
    if not POSSIBLE_FLAT[0] <= value <= POSSIBLE_FLAT[1]:
        own = unit_behind(text, "length") or unit
        raise DataError(f"a band {kept} long? A loop band is 15 cm to 3 m{typed_in(text, own, USUAL_FLAT)}")
    return value


def _only_unit(text: str) -> str:
    number = parse_length(text, "m")
    fitting = [u for u in ("cm", "in", "mm", "m") if USUAL_FLAT[0] <= number * LENGTH[u] <= USUAL_FLAT[1]]
    if len(fitting) == 1:
        return fitting[0]
    example = " or ".join(f"{text.strip()} {u}" for u in fitting or ("cm", "in"))
    raise DataError(f"{text.strip()} has no unit", remedy=f"type {example}")


def typed_in(text: str, unit: str, usual: tuple[float, float]) -> str:
    """The question whether a length was typed in another unit; empty where none makes it a usual one.

    Args:
        text: As typed.
        unit: Meant for a number without one.
        usual: Smallest and largest of what it usually is. [m]
    """
    number = parse_length(text, unit) / LENGTH[unit]
    middle = (usual[0] * usual[1]) ** 0.5
    others = [u for u in LENGTH if u != unit and usual[0] <= number * LENGTH[u] <= usual[1]]
    likely = sorted(others, key=lambda u: abs(log(number * LENGTH[u] / middle)))
    return f". Typed in {likely[0]}?" if likely else ""


def positive_force(unit: str) -> Callable[[str], float]:
    """A reader of forces that a scale may have on its plate. [N]"""

    def read(text: str) -> float:
        grams = re.fullmatch(r"[0-9.,\s]+g(rams?)?", text.strip(), re.IGNORECASE)  # a scale's plate says d = 20 g
        value = parse_mass(text, "g") * G_STANDARD if grams else parse_force(text, unit)
        if not 0 < value < 1e5:
            raise DataError("that must be above zero and below 10 tonnes")
        return value

    return read


def read_capacity(text: str, answers: Answers) -> str:
    """What a scale takes; it carries its unit, which is that of the scale."""
    unit = unit_behind(text, "force")
    if unit is None:
        parse_force(text, "kg")  # what is no force at all is said first
        raise DataError(f"{text.strip()} has no unit", remedy=f"type {text.strip()} kg or {text.strip()} lb")
    unit = READ_IN.get(unit, unit)
    return f"{number_in_unit(positive_force(unit)(text), unit, FORCE)} {unit}"


def step(text: str, answers: Answers) -> str:
    """The step of a scale's display."""
    unit = units_of(answers).force
    value, largest = positive_force(unit)(text), parse_force(answers.get("max", "10000 kg"), unit)
    kept = f"{number_in_unit(value, unit, FORCE)} {unit}"
    if largest < FEWEST_STEPS * value:
        raise DataError(
            f"steps of {kept} and a maximum of {answers['max']} cannot both be right: were they swapped, or is it the "
            "decimal point",
            remedy="type the step again, or back to change the maximum",
        )
    return kept


def one_of(choices: Sequence[Choice]) -> Callable[[str, Answers], str]:
    """A reader of a choice by its number or by what it is called."""
    by_name = {c.value: c.value for c in choices} | {str(i + 1): c.value for i, c in enumerate(choices)}

    def read(text: str, answers: Answers) -> str:
        if text.strip() in by_name:
            return by_name[text.strip()]
        numbers = ", ".join(str(i + 1) for i in range(len(choices) - 1)) + f" or {len(choices)}"
        raise DataError(f"{text[:20]!r} is not one of them", remedy=f"type {numbers}")

    return read


def pitch(text: str, answers: Answers) -> str:
    """From one hole of a rack to the next."""
    unit = "in" if units_of(answers).length == "in" and not unit_behind(text, "length") else "mm"
    value, kept = _length(text, unit)
    if not 0.01 <= value <= 0.5:
        slip = typed_in(text, unit, (0.02, 0.15))
        raise DataError(f"hole to hole is between 10 and 500 mm, centre to centre, like 50 mm or 2 in{slip}")
    return kept


def whole_number(text: str) -> int:
    """A hole's number."""
    if text.isascii() and text.isdecimal() and len(text) < 5:
        return int(text)
    raise DataError("type a whole number, for example 4")


def read_whole_number(text: str, answers: Answers) -> str:
    """A whole number."""
    return str(whole_number(text.strip()))


def pins(text: str, answers: Answers) -> str:
    """One or two diameters."""
    small = units_of(answers).small
    parts = listed(_spaced(text))
    found = [_length(p, small) for p in parts]
    if not 1 <= len(found) <= 2 or not all(0.003 <= v <= 0.2 for v, _ in found):
        slip = typed_in(parts[0], small, (0.006, 0.06)) if parts else ""
        usual = "1/2" if small == "in" else "12"
        raise DataError(f"one or two diameters between 3 and 200 mm, for example {usual} {usual}{slip}")
    return ", ".join(kept for _, kept in found)


def section(text: str, answers: Answers) -> str:
    """Width and thickness of a band."""
    small = units_of(answers).small
    parts = listed(_spaced(text.replace("x", " ")))
    found = sorted((_length(p, small) for p in parts), reverse=True)
    if len(found) != 2:
        example = "1.2 0.18" if small == "in" else "30 4.5"
        raise DataError(f"type width and thickness in {small}, separated by a space, for example {example}")
    if not (0.005 <= found[0][0] <= 0.2 and 0.001 <= found[1][0] <= 0.05):
        slip = typed_in(parts[0], small, (0.01, 0.12))
        raise DataError(f"a loop band is 5 to 200 mm wide and 1 to 50 mm thick{slip}")
    return ", ".join(kept for _, kept in found)


def _spaced(text: str) -> str:
    """A unit belongs to the number before it: "30 mm 4.5 mm" is two parts."""
    return re.sub(r"([0-9])\s+(mm|cm|in|kg|lbs?|g|m)\b", r"\1\2", text)


def plates(text: str, answers: Answers) -> str:
    """The plates somebody has, each size with how many of it there are."""
    found = re.fullmatch(r"(.*?)\s*(kg|lb|kilos?|lbs|pounds?)?\s*", text.strip(), re.IGNORECASE)
    unit = unit_behind(text, "mass") or answers.get("force_unit")
    if unit not in ("kg", "lb") or found is None:
        raise DataError("kg or lb", remedy="type the unit after the last plate, like 2 x 20, 4 x 10 kg")
    sizes(found[1])
    return f"{found[1]} {unit}"


def plates_owned(answers: Answers) -> PlateSet | None:
    """The set of plates that was named; None where none was."""
    from calib.fit.gear.known_loads import set_from

    text = answers.get("plates")
    if not text:
        return None
    named, _, unit = text.rpartition(" ")
    mark = answers.get("plates_id", "plates")
    return set_from(named, mark, mark, unit="lb" if unit == "lb" else "kg")


def loads(text: str, answers: Answers) -> str:
    """Loads to hang; the last carries the unit of those without one."""
    parts = listed(_spaced(text))
    unit = unit_behind(parts[-1], "mass") if parts else None
    owned = plates_owned(answers)
    unit = unit or answers.get("force_unit") or (owned.unit if owned else None)
    if unit is None:
        raise DataError("kg or lb", remedy="type the unit after the last load, like 2.5 5 10 15 20 kg")
    masses = sorted({parse_mass(part, unit) for part in parts})
    if len(masses) < 3 or masses[0] <= 0:
        raise DataError("at least three different loads above zero are needed", remedy="for example 2.5 5 10 15 20 kg")
    if owned is not None:
        for load in masses:
            owned.stack(load)
    read_in = "lb" if unit == "lb" else "kg"
    return ", ".join(f"{number_in_unit(m, read_in, MASS)} {read_in}" for m in masses)


def hook(text: str, answers: Answers) -> str:
    """What hangs beside the plates."""
    unit = units_of(answers).force
    value = parse_mass(text, unit)
    heaviest = max((parse_mass(p, unit) for p in answers.get("loads", "0").split(", ")), default=1e4)
    if not 0 <= value < heaviest:
        raise DataError("the hook or strap must be lighter than the heaviest load")
    return f"{number_in_unit(value, unit, MASS)} {unit}"


def plate(text: str, answers: Answers) -> str:
    """A known plate to be weighed beside the band."""
    force = units_of(answers).force
    unit = force if force in MASS else "kg"  # a plate beside a scale that shows newton
    mass = parse_mass(text, unit)
    if mass == 0:
        return ""
    if not 0 < mass < 1e4:
        raise DataError("that must be above zero and below 10 tonnes")
    if "max" in answers and mass * G_STANDARD > parse_force(answers["max"], force):
        raise DataError(f"that is more than the scale takes ({answers['max']})")
    return f"{number_in_unit(mass, unit, MASS)} {unit}"


def lengths(text: str, answers: Answers) -> str:
    """Lengths to measure at, or the numbers of holes; nothing for those proposed."""
    if answers.get("tape") == "holes":
        return ", ".join(str(whole_number(part)) for part in listed(text))
    unit = units_of(answers).length
    return ", ".join(_length(part, unit)[1] for part in listed(_spaced(text)))


def temperature(text: str, answers: Answers) -> str:
    """Of the place where the band is pulled."""
    celsius = parse_temperature(text)
    if not -40 <= celsius <= 60:
        raise DataError("that is not a room temperature; type degrees C, or for example 68 F")
    return f"{round(celsius, 1):g} C"


def mass(text: str, answers: Answers) -> str:
    """Of the band itself."""
    value = parse_mass(text, "g")
    if not 0.005 <= value <= 5:
        raise DataError("a band weighs 5 g to 5 kg; type grams, for example 310")
    return f"{round(1000 * value, 3):g} g"


def latitude(text: str, answers: Answers) -> str:
    """Of the place, south with S behind it."""
    south = text.strip().lower().endswith("s") or text.strip().startswith("-")
    value = parse_number(text.strip().lstrip("-").rstrip("nNsS ").strip())
    if not 0 <= value <= 90:
        raise DataError("a latitude lies between 0 and 90 degrees, for example 52 or 34 S")
    return f"{value:g} {'S' if south else 'N'}"


def pulls(text: str, answers: Answers) -> str:
    """How often the band was pulled before its readings."""
    if text.isascii() and text.isdecimal() and len(text) <= 2:
        return str(int(text))
    raise DataError("type a number up to 99; 0 if there were none")


def day(text: str, answers: Answers) -> str:
    """A day; whether it is in the future is for whoever knows today's."""
    if text == "today":
        return text
    try:
        found = date.fromisoformat(text)
    except ValueError:
        raise DataError(f"{text[:20]!a} is not a date", remedy="write it like 2026-03-01") from None
    if found.year < EARLIEST:
        raise DataError(f"{found} cannot be the day of the readings", remedy="write it like 2026-03-01")
    return found.isoformat()
