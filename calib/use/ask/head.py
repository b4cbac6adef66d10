"""From answers to the head of a run: scale, tape, band, plan, procedure. Nothing is asked here."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from math import hypot
from typing import Any, cast

from calib.acquire.files.typed import parse_force, parse_length, parse_mass, parse_temperature
from calib.acquire.recording.course import PIECES, UNTIL, Course, extensions_of, many_lengths
from calib.acquire.recording.plan import (
    Geometry,
    Holes,
    Plan,
    PlanLimits,
    geometry_of,
    plan_lengths,
    plan_loads,
    stretch_caution,
    with_top,
)
from calib.acquire.recording.typed_entry import number_in_unit
from calib.errors import DataError
from calib.half_path import LengthKind, half_path_offset
from calib.records import Band, CheckLoad, LengthSetup, Loads, Locks, Procedure, RunHead, ScaleInUse, Zeroed
from calib.units import FORCE, G_STANDARD, LENGTH, MASS
from calib.use.ask.gear import Gear
from calib.use.ask.given import Given, method_of
from calib.use.ask.question import Answers
from calib.use.ask.readers import plates_owned, units_of, whole_number

U_TAPE, U_HOLE = 0.002, 0.0005  # [m] one reading; pins in drilled holes sit to half a millimetre
U_COMMON = 0.001  # [m] offset of a whole set-up
DEFAULT_PIN = 0.012  # [m] carabiner or thin bar
U_DEFAULT_PIN = 0.006  # [m] where nobody measured it: even between some 8 and 30 mm; an assumption
QUICK_COUNT, FULL_COUNT = 4, 8
QUICK_CYCLES, FULL_CYCLES = 2, 2
LEAST_TOP = 1.4  # stretch: a plan that ends lower has too few lengths
DWELL_S, LOCK_S = 10.0, 3.0
FULL_PULLS = 5
CARRIED = "carried_along"  # in a head: the run of a quick look whose readings are fitted with it
NOT_CONDITIONED = "not_conditioned"  # in a head that was put on disk before the warm-up pulls


def head_of(answers: Answers, given: Given, started: datetime) -> tuple[RunHead, tuple[str, ...]]:
    """The head of a run, and what there is to say about its plan.

    Args:
        answers: All that are needed.
        given: What the options said beside them.
        started: When it begins.

    Raises:
        DataError: No plan can be made of it.
    """
    gear, band = gear_from(answers, given), band_from(answers, given.band)
    plan, loads = plan_from(answers, given, gear, band)
    procedure = _procedure(answers, given, gear)
    if given.form:
        started = _noon(answers.get("day", "today"), started)
        procedure = replace(procedure, conditioning_pulls=int(answers.get("pulls") or FULL_PULLS))
    extensions = extensions_of(course_from(given, gear, plan)) | {"quick": given.quick}
    owned = plates_owned(answers) if loads is not None else None
    if owned is not None:
        extensions[PIECES] = {f"{load:.6g}": list(owned.stack(load)) for load in plan.lengths}
    if given.until is not None:
        extensions[UNTIL] = given.until
    if given.cell is not None:
        extensions["cell"] = given.cell
    if not given.form:
        extensions[NOT_CONDITIONED] = True
    plate = None if given.quick or loads is not None else _plate(answers)
    return RunHead(band, gear.setup, gear.scale, procedure, loads, plate, started, extensions), plan.said


def _noon(day: str, now: datetime) -> datetime:
    """The day on a form, at noon: it says no hour."""
    found = now.date() if day == "today" else date.fromisoformat(day)
    if found > now.date() + timedelta(days=1):
        raise DataError(f"{found} is in the future", remedy="write the date of the readings, like 2026-03-01")
    return datetime(found.year, found.month, found.day, 12, tzinfo=UTC)


def gear_from(answers: Answers, given: Given) -> Gear:
    """Scale and tape."""
    units, method = units_of(answers), method_of(answers.get("way", "level"))
    setup, holes = _lengths_set(answers)
    if method == "hung-weight":
        return Gear(method, None, None, setup, holes, units)
    if given.scale is not None:
        scale, capacity = given.scale.in_use(), given.scale.capacity_N
    else:
        capacity = parse_force(answers["max"], units.force)
        name = f"scale-{number_in_unit(capacity, units.force, FORCE)}{units.force}"
        locks = cast(Locks, answers.get("locks") or "no")
        scale = ScaleInUse(name, parse_force(answers["step"], units.force), locks=locks)
    if method == "anchor-on-scale" and scale.locks != "no":
        what = "a scale that locks cannot follow how the pull changes"
        raise DataError(what, remedy="put one that does not lock under the anchor")
    if answers.get("way") == "upright":
        scale = replace(scale, zeroed=cast(Zeroed, answers.get("zeroed") or "band-both-ends"))
    return Gear(method, scale, capacity, setup, holes, units)


def _lengths_set(answers: Answers) -> tuple[LengthSetup, Holes | None]:
    """What the tape is laid along, or the row of holes."""
    tape = answers.get("tape", "band-inner")
    pins, told = answers.get("pins") or "", bool(answers.get("pins"))
    diameters = tuple(parse_length(p, "mm") for p in pins.split(", ")) if told else (DEFAULT_PIN,)
    kind = cast(LengthKind, "centres" if tape == "holes" else tape)
    guessed = 0.0 if told else U_DEFAULT_PIN * abs(half_path_offset(kind, 1.0, 0.0))
    u_common = round(hypot(U_COMMON, guessed), 6)
    if tape != "holes":
        return LengthSetup(kind, diameters, u_reading=U_TAPE, u_common=u_common), None
    holes = Holes(parse_length(answers["pitch"], "mm"), whole_number(answers.get("first_hole") or "0"))
    return LengthSetup(kind, diameters, u_reading=U_HOLE, u_common=u_common), holes


def band_from(answers: Answers, name: str) -> Band:
    """The band as a tape and a kitchen scale see it."""
    band = Band(name, round(parse_length(answers["flat"], "mm"), 6), u_flat_length=U_TAPE)
    if answers.get("section"):
        sizes = sorted(parse_length(part, "mm") for part in answers["section"].split(", "))
        band = replace(band, thickness=sizes[0], width=sizes[1])
    if answers.get("mass"):
        band = replace(band, mass=round(parse_mass(answers["mass"], "g"), 6))
    return band


def plan_from(answers: Answers, given: Given, gear: Gear, band: Band) -> tuple[Plan, Loads | None]:
    """Lengths to measure at, or loads to hang with what they are worth.

    Raises:
        DataError: No plan can be made.
    """
    if gear.method == "hung-weight":
        return _hung(answers, given, band)
    geometry = geometry_of(band, gear.setup)
    limits = _limits(given, gear, geometry)
    if answers.get("lengths"):
        return _own_lengths(answers["lengths"], gear, geometry, limits), None
    count = QUICK_COUNT if given.quick else FULL_COUNT
    return plan_lengths(band, gear.setup, limits, count, gear.holes, gear.step), None


def _limits(given: Given, gear: Gear, geometry: Geometry) -> PlanLimits:
    capacity = gear.capacity if gear.method == "scale-in-line" else None
    limits = PlanLimits(capacity=capacity, allow_over=given.over_stretch)
    if given.top:
        return with_top(limits, geometry, parse_length(given.top, gear.units.length))
    over = (given.until or {}).get("over_m")
    top = geometry.stretch(over[1] - geometry.offset) if over else limits.top  # no need to pull it further
    return replace(limits, top=top) if LEAST_TOP < top < limits.top else limits


def _own_lengths(text: str, gear: Gear, geometry: Geometry, limits: PlanLimits) -> Plan:
    parts = text.split(", ")
    if gear.holes is not None:
        lengths = sorted({gear.holes.length(whole_number(p)) for p in parts})
    else:
        lengths = sorted({round(parse_length(p, gear.units.length), 6) for p in parts})
    if len(lengths) < 3:
        raise DataError("at least three different lengths are needed")
    low, high = geometry.stretch(lengths[0]), geometry.stretch(lengths[-1])
    if low < 1.02:
        slip = "; were they typed in another unit?" if high < 1 else ""
        raise DataError(
            f"{gear.length_text(lengths[0])} is {low:.2f} times the flat length: the band is slack there{slip}"
        )
    return Plan(tuple(lengths), stretch_caution(high, limits.allow_over))


def _hung(answers: Answers, given: Given, band: Band) -> tuple[Plan, Loads]:
    from calib.fit.gear.known_loads import loads_of, usual

    unit = units_of(answers).force
    masses = [round(parse_mass(part, unit), 9) for part in answers["loads"].split(", ")]
    plan = plan_loads(band, masses, PlanLimits(allow_over=given.over_stretch))
    hook = parse_mass(answers.get("hook") or "0", unit)
    owned = plates_owned(answers)
    if owned is not None:
        return plan, loads_of(owned, hook)
    worth = usual("plates", "plates")
    middle = sum(plan.lengths) / len(plan.lengths)
    return plan, Loads("plates", worth.u_common, worth.u_piece(middle), hook)


def _plate(answers: Answers) -> CheckLoad | None:
    """A known plate to be weighed at start and end."""
    from calib.fit.gear.known_loads import usual

    if not answers.get("plate"):
        return None
    unit = "lb" if answers["plate"].endswith("lb") else "kg"
    mass, worth = parse_mass(answers["plate"], unit), usual("plates", "plates")
    name = f"plate-{number_in_unit(mass, unit, MASS)}{unit}"
    return CheckLoad(name, mass, (worth.u_piece(mass) ** 2 + (worth.u_common * mass) ** 2) ** 0.5)


def _procedure(answers: Answers, given: Given, gear: Gear) -> Procedure:
    locks = gear.scale is not None and gear.scale.locks != "no"
    dwell = given.dwell_s if given.dwell_s is not None else (LOCK_S if locks else DWELL_S)
    procedure = Procedure(method=gear.method, dwell_s=dwell)
    if answers.get("way", "level") != "level":
        procedure = replace(procedure, orientation="vertical")
    if answers.get("way") == "upright":
        procedure = replace(procedure, scale_at="bottom" if answers.get("scale_at") == "bottom" else "top")
    if answers.get("temperature"):
        procedure = replace(procedure, temperature=parse_temperature(answers["temperature"]))
    if answers.get("latitude"):
        degrees, _, side = answers["latitude"].partition(" ")
        procedure = replace(procedure, latitude_deg=-float(degrees) if side == "S" else float(degrees))
    return procedure


def course_from(given: Given, gear: Gear, plan: Plan) -> Course:
    """What is to be measured, in order."""
    settings = plan.lengths
    if given.cell and given.cell.get("sweep"):
        settings = many_lengths(settings)
    locks = gear.scale is not None and gear.scale.locks != "no"
    return Course(
        settings=settings,
        cycles=given.cycles or (QUICK_CYCLES if given.quick else FULL_CYCLES),
        way_back=not (given.quick or locks),
        dwell_s=_procedure({}, given, gear).dwell_s or 0.0,
        length_unit=gear.units.length,
        force_unit=gear.units.force,
        closing=not given.quick,
        capacity=gear.capacity,
        holes=gear.holes,
        on_paper=given.form,
    )


def planned_words(head: RunHead, gear: Gear) -> str:
    """The planned lengths or loads, for the summary."""
    settings: Mapping[str, Any] = head.extensions
    lengths = [float(x) for x in settings["settings"]]
    unit = gear.units
    if gear.method == "hung-weight":
        return f"{', '.join(number_in_unit(m * G_STANDARD, unit.force, FORCE) for m in lengths)} {unit.force}"
    if gear.holes is not None:
        return f"holes {', '.join(str(gear.holes.number(x)) for x in lengths)}"
    if len(lengths) > FULL_COUNT + 4:
        return f"{gear.length_text(lengths[0])} to {gear.length_text(lengths[-1])}"
    return f"{', '.join(number_in_unit(x, unit.length, LENGTH) for x in lengths)} {unit.length}"
