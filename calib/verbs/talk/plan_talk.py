"""The talk about what to measure at: lengths, rack holes or loads, and a known plate to weigh beside."""

from dataclasses import replace

from calib.acquire.files.typed import listed, parse_length, parse_mass
from calib.acquire.recording.plan import (
    Geometry,
    Limits,
    Plan,
    geometry_of,
    plan_lengths,
    plan_loads,
    stretch_caution,
    with_top,
)
from calib.acquire.recording.typed_entry import shown
from calib.errors import DataError
from calib.records import Band, CheckLoad, Loads
from calib.units import G_STANDARD, MASS
from calib.verbs.talk.gear_talk import Gear, whole_number
from calib.verbs.talk.given import Given
from calib.verbs.talk.until_talk import span
from calib.verbs.terminal.prompts import ask, say

QUICK_COUNT, FULL_COUNT = 3, 8
LEAST_TOP = 1.4  # stretch: a plan that ends lower has too few lengths


def _limits(given: Given, gear: Gear, geometry: Geometry) -> Limits:
    capacity = gear.capacity if gear.method == "scale-in-line" else None
    limits = Limits(capacity=capacity, allow_over=given.over_stretch)
    if given.top:
        return with_top(limits, geometry, parse_length(given.top, gear.units.length))
    over = (given.until or {}).get("over_m")
    top = geometry.stretch(over[1] - geometry.offset) if over else limits.top  # no need to pull it further
    return replace(limits, top=top) if LEAST_TOP < top < limits.top else limits


def ask_plan(given: Given, gear: Gear, band: Band) -> tuple[Plan, Loads | None]:
    """Lengths to measure at, or loads to hang with what they are worth."""
    geometry = geometry_of(band, gear.setup)
    if gear.method == "hung-weight":
        return _plan_hung(given, gear, band)
    limits = _limits(given, gear, geometry)

    def own(text: str) -> Plan:
        return _own_lengths(text, gear, geometry, limits)

    if given.lengths:
        return _said(own(given.lengths), gear, geometry), None
    plan = plan_lengths(band, gear.setup, limits, QUICK_COUNT if given.quick else FULL_COUNT, gear.holes, gear.step)
    if given.until is not None:
        first, last = span(plan.lengths, geometry.offset, given.until.get("over_m"))
        places = " and ".join(_place(x - geometry.offset, gear) for x in (first, last))
        taped = "" if gear.holes else "on the tape "
        say("", f"The lengths are chosen one by one, {taped}between {places}.", *(f"Note: {x}." for x in plan.said))
        return plan, None
    say("", "Planned lengths, dense where the pull climbs fastest:")
    _said(plan, gear, geometry)
    wanted = "hole numbers" if gear.holes else "lengths"
    chosen = ask(f"Enter to take them, or type {wanted} of your own with spaces between: ", own, empty=plan)
    return chosen, None


def _place(length: float, gear: Gear) -> str:
    """Where a length is set: a hole, or the tape to its step."""
    if gear.holes is not None:
        return f"hole {gear.holes.number(length)}"
    return gear.words(round(length / gear.step) * gear.step)


def _own_lengths(text: str, gear: Gear, geometry: Geometry, limits: Limits) -> Plan:
    parts = listed(text)
    if gear.holes is not None:
        lengths = sorted({gear.holes.length(whole_number(p)) for p in parts})
    else:
        lengths = sorted({parse_length(p, gear.units.length) for p in parts})
    if len(lengths) < 3:
        raise DataError("at least three different lengths are needed")
    low, high = geometry.stretch(lengths[0]), geometry.stretch(lengths[-1])
    if low < 1.02:
        slip = "; were they typed in another unit?" if high < 1 else ""
        says = f"{gear.words(lengths[0])} is {low:.2f} times the flat length"
        raise DataError(f"{says}: the band is slack there{slip}")
    return Plan(tuple(lengths), stretch_caution(high, limits.allow_over))


def _said(plan: Plan, gear: Gear, geometry: Geometry) -> Plan:
    for length in plan.lengths:
        hole = f"hole {gear.holes.number(length)}, " if gear.holes else ""
        say(f"  {hole}{gear.words(length)}, {geometry.stretch(length):.2f} times the flat length")
    say(*(f"Note: {line}." for line in plan.said))
    return plan


def _plan_hung(given: Given, gear: Gear, band: Band) -> tuple[Plan, Loads]:
    from calib.fit.gear.known_loads import usual

    limits, unit = Limits(allow_over=given.over_stretch), gear.units.force

    def read(text: str) -> Plan:
        return plan_loads(band, [parse_mass(part, unit) for part in listed(text)], limits)

    example = "5 10 20 30 40" if unit == "lb" else "2.5 5 10 15 20"
    prompt = f"Loads you will hang, {unit} (for example {example}): "
    plan = read(given.loads) if given.loads else ask(prompt, read)
    say(*(f"Note: {line}." for line in plan.said))

    def hook(text: str) -> float:
        value = parse_mass(text, unit)
        if not 0 <= value < plan.lengths[-1]:
            raise DataError("what hangs besides the plates must be lighter than the heaviest load")
        return value

    hook_mass = ask(f"Hook, strap or pin that hangs with every load, {unit} [0]: ", hook, empty=0.0)
    worth = usual("plates", "plates")
    middle = sum(plan.lengths) / len(plan.lengths)
    say("Plates are taken as iron as it comes: good to 1 % for the lot and 2 % each (common practice, no source).")
    return plan, Loads("plates", worth.u_common, worth.u_piece(middle), hook_mass)


def ask_check_load(gear: Gear) -> CheckLoad | None:
    """A known plate, if there is one, to be weighed at start and end."""
    from calib.fit.gear.known_loads import usual

    unit = gear.units.force if gear.units.force in MASS else "kg"  # a plate beside a scale that shows newton

    def read(text: str) -> float:
        mass = parse_mass(text, unit)
        if not 0 < mass < 1e4:
            raise DataError("that must be above zero and below 10 tonnes")
        if gear.capacity is not None and mass * G_STANDARD > gear.capacity:
            most = shown(gear.capacity / G_STANDARD, unit, MASS)
            raise DataError(f"that is more than the scale takes ({most} {unit})")
        return mass

    prompt = f"One known plate to weigh at start and end, {unit}; Enter for none: "
    mass = ask(prompt, read, empty=0.0)
    if not mass:
        return None
    worth = usual("plates", "plates")
    name = f"plate-{shown(mass, unit, MASS)}{unit}"
    return CheckLoad(name, mass, (worth.u_piece(mass) ** 2 + (worth.u_common * mass) ** 2) ** 0.5)
