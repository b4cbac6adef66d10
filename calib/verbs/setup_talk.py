"""The talk before a recording: cautions, way, scale, length, band, plan, conditioning. It makes a run's head.

Every answer can be given beforehand as an option; the questions are about what a person in a garage can see.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from calib.acquire.course import Course, course_of, extensions_of
from calib.acquire.plan import (
    Geometry,
    Holes,
    Limits,
    Plan,
    geometry_of,
    plan_lengths,
    plan_loads,
    stretch_caution,
    with_top,
)
from calib.acquire.typed import parse_force, parse_length, parse_number
from calib.acquire.typed_entry import shown
from calib.errors import DataError
from calib.half_path import LengthKind
from calib.records import (
    Band,
    CheckLoad,
    LengthSetup,
    Loads,
    Locks,
    Method,
    Procedure,
    RunHead,
    ScaleInUse,
    Zeroed,
)
from calib.units import FORCE, G_STANDARD, INCH, LENGTH
from calib.verbs.prompts import ask, ask_line, choose, say, yes

if TYPE_CHECKING:
    from calib.scale import Scale

CAUTIONS = (
    "Before you start:",
    "  - Eyes covered; nobody in line with the band. If it lets go, it flies.",
    "  - Look the band over under light stretch: a nick, a crack, a sticky spot - do not use it.",
    "  - Anchor and hooks must hold more than the pull, and hooks must not open.",
    "  - Stay within what the scale takes; its maker's word counts.",
    "  - The rules of your gym or house come first; unsure about an anchor? Ask someone qualified.",
)
WAYS: tuple[tuple[Method, str, str], ...] = (
    (
        "scale-in-line",
        "Hanging scale in line: set a length, read the scale.",
        "Hold lengths with a strap or pins in rack holes; a second tether across the scale; stand aside.",
    ),
    (
        "hung-weight",
        "Hung plates: hang known plates on the band, read the length.",
        "Lower them gently, feet clear, let them hang still; tape fixed beside it, a mark at the start.",
    ),
    (
        "anchor-on-scale",
        "Anchor on a platform scale: tie the band to a weight that stands on the scale, pull up.",
        "The weight must be well heavier than the pull; pin the top at marks or rack holes; then read.",
    ),
)
PULLS, QUICK_PULLS = 5, 3
QUICK_COUNT, FULL_COUNT = 3, 8
DWELL_S, LOCK_S = 10.0, 3.0
U_TAPE, U_HOLE = 0.002, 0.0005  # [m] one reading; pins in drilled holes sit to half a millimetre
NOT_CONDITIONED = "not_conditioned"  # in a head that was put on disk before the conditioning pulls
U_COMMON = 0.001  # [m] offset of a whole set-up
DEFAULT_FITTING = 0.012  # [m] carabiner or thin bar


@dataclass(frozen=True)
class Given:
    """What the options said; None is asked for."""

    band: str
    quick: bool = False
    method: Method | None = None
    scale: "Scale | None" = None
    lengths: str | None = None
    loads: str | None = None
    holes: str | None = None
    first_hole: int = 0
    flat: str | None = None
    top: str | None = None
    cycles: int | None = None
    dwell_s: float | None = None
    form: bool = False  # typed in from paper: done already, so no cautions, no conditioning
    over_stretch: bool = False


@dataclass(frozen=True)
class Units:
    """What the user's tape and scale are marked in."""

    length: str
    force: str


@dataclass(frozen=True)
class Gear:
    """Scale and way of reading lengths, before the band is known."""

    method: Method
    scale: ScaleInUse | None
    capacity: float | None
    setup: LengthSetup
    holes: Holes | None
    units: Units


def set_up(given: Given) -> RunHead:
    """Ask for all that a recording needs but what `condition` finds out with the band in hand.

    Args:
        given: Answers known already.
    """
    if not given.form:
        say(*CAUTIONS)
        ask_line("Enter when all of this is so: ")
    gear = _gear(given)
    band = _band(given, gear)
    plan, loads = _plan(given, gear, band)
    check_load = None if given.quick or gear.method == "hung-weight" else _check_load(gear.units)
    procedure = _procedure(given, gear)
    scale = _zeroed(gear, procedure)
    band, procedure = _weight_and_place(given, band, procedure, scale)
    locked = gear.scale is not None and gear.scale.locks != "no"
    course = Course(
        settings=plan.lengths,
        cycles=given.cycles or (1 if given.quick else 2),
        way_back=not (given.quick or locked),
        dwell_s=procedure.dwell_s or 0.0,
        length_unit=gear.units.length,
        force_unit=gear.units.force,
        closing=not given.quick,
        capacity=gear.capacity,
        holes=gear.holes,
        on_paper=given.form,
    )
    started = datetime.now(UTC).replace(microsecond=0)
    extensions = extensions_of(course) | {"quick": given.quick}
    if not given.form:
        extensions[NOT_CONDITIONED] = True
    return RunHead(band, gear.setup, scale, procedure, loads, check_load, started, extensions)


def _gear(given: Given) -> Gear:
    method = given.method or _ask_way()
    if method == "hung-weight":
        scale, capacity, force_unit = None, None, _ask_unit("The plates are marked in", ("kg", "lb"))
    elif given.scale is not None:
        scale, capacity = given.scale.in_use(), given.scale.capacity_N
        force_unit = _ask_unit("The scale shows", ("kg", "lb", "N"))
    else:
        scale, capacity, force_unit = _ask_scale()
    if scale is not None and scale.locks != "no":
        if method == "anchor-on-scale":
            return _gear_again(given)
        say("So only the way out is measured, each length come to slowly from below; clear the lock each time.")
    setup, holes, length_unit = _ask_length(given, by_holes=method != "hung-weight")
    return Gear(method, scale, capacity, setup, holes, Units(length_unit, force_unit))


def _gear_again(given: Given) -> Gear:
    """A scale that locks cannot stand under an anchor: another way, where the way is open."""
    what, remedy = (
        "a scale that locks cannot follow how the pull changes",
        "put one that does not lock under the anchor",
    )
    if given.method is not None or given.scale is not None:
        raise DataError(what, remedy=remedy)
    say(f"Under an anchor {what}: {remedy}, or choose another way.")
    return _gear(given)


def _ask_way() -> Method:
    say("", "Three ways to measure:")
    for i, (_, what, trick) in enumerate(WAYS):
        say(f"  {i + 1}  {what}", f"     {trick}")
    return choose("Which way?", [way for way, _, _ in WAYS])


def _ask_unit(prompt: str, units: Sequence[str]) -> str:
    def read(text: str) -> str:
        if text.lower() in {u.lower() for u in units}:
            return next(u for u in units if u.lower() == text.lower())
        raise DataError(f"type one of: {', '.join(units)}")

    return ask(f"{prompt} {', '.join(units[:-1])} or {units[-1]}? [{units[0]}]: ", read, empty=units[0])


def _positive_force(unit: str) -> Callable[[str], float]:
    def read(text: str) -> float:
        value = parse_force(text, unit)
        if not 0 < value < 1e5:
            raise DataError("that must be above zero and below 10 tonnes")
        return value

    return read


def _ask_scale() -> tuple[ScaleInUse, float, str]:
    say("", "The scale. Without a check its readings are taken as good to 1 %; 'bandcurve scale check' does better.")
    unit = _ask_unit("It shows", ("kg", "lb", "N"))
    step = ask(f"Smallest step it shows, {unit} (0.05 for a 0.05 {unit} scale): ", _positive_force(unit))

    def read_capacity(text: str) -> float:
        value = _positive_force(unit)(text)
        if value < 20 * step:
            raise DataError(f"a scale that takes {text[:20]} with such a coarse step? Type the most it takes")
        return value

    capacity = ask(f"Most it takes, {unit}: ", read_capacity)
    say(
        "When you stop pulling and let off a little, the number ...",
        "  1  follows the pull   2  stays at the highest pull   3  freezes after a moment",
    )
    locks: Locks = choose("Which?", ("no", "peak", "steady"))
    name = f"scale-{shown(capacity, unit, FORCE)}{unit}"
    return ScaleInUse(id=name, resolution=step, locks=locks), capacity, unit


def _ask_length(given: Given, *, by_holes: bool) -> tuple[LengthSetup, Holes | None, str]:
    """How lengths are set and read."""
    say("")
    pitch_text = given.holes if by_holes else None
    told = _unit_behind(given.flat)  # who gives the flat length in a unit has a tape in it
    unit = told or "mm"
    if not by_holes and not told:
        unit = _ask_unit("Tape in", ("mm", "cm", "in"))
    elif pitch_text is None and not told:
        unit = _ask_unit("Length by tape in mm, cm or in; or by rack holes:", ("mm", "cm", "in", "holes"))
        if unit == "holes":
            unit, pitch_text = "mm", ""
    if pitch_text is None:
        kinds: tuple[LengthKind, ...] = ("band-inner", "band-outer", "centres")
        say("The tape reads between ...", "  1  the places where band and pins touch")
        say("  2  outer faces of the band", "  3  centres of the pins")
        kind = choose("Which?", kinds)
        diameters = _ask_diameters(unit)
        return LengthSetup(kind, diameters, u_reading=U_TAPE, u_common=U_COMMON), None, unit
    holes = _ask_holes(given, pitch_text)
    if abs(holes.pitch / INCH * 8 - round(holes.pitch / INCH * 8)) < 1e-6:
        unit = "in"
    setup = LengthSetup("centres", _ask_diameters(unit), u_reading=U_HOLE, u_common=U_COMMON)
    return setup, holes, unit


def _unit_behind(text: str | None) -> str | None:
    """The unit an option wears, where it is one of a tape."""
    return next((unit for unit in ("mm", "cm", "in") if (text or "").strip().endswith(unit)), None)


def _ask_holes(given: Given, pitch_text: str) -> Holes:
    def read_pitch(text: str) -> float:
        value = parse_length(text, "mm")
        if not 0.01 <= value <= 0.5:
            raise DataError("hole to hole is between 10 and 500 mm; centre to centre, for example 50 or 2 in")
        return value

    prompt = "From one hole to the next, centre to centre, mm (or 2 in): "
    pitch = read_pitch(pitch_text) if pitch_text else ask(prompt, read_pitch)
    first = given.first_hole or ask("The fixed pin sits in hole number [0]: ", _whole, empty=0)
    return Holes(pitch, first)


def _whole(text: str) -> int:
    if text.isascii() and text.isdecimal() and len(text) < 5:
        return int(text)
    raise DataError("type a whole number, for example 4")


def _ask_diameters(unit: str) -> tuple[float, ...]:
    small = "in" if unit == "in" else "mm"
    usual = shown(DEFAULT_FITTING, small, LENGTH)

    def read(text: str) -> tuple[float, ...]:
        parts = text.replace(";", " ").split()
        values = tuple(parse_length(p, small) for p in parts)
        if not 1 <= len(values) <= 2 or not all(0.001 <= v <= 0.2 for v in values):
            raise DataError(f"one or two diameters between 1 and 200 mm, for example {usual} {usual}")
        return values

    prompt = f"Diameter of the two pins or hooks the band lies round, {small} [{usual}]: "
    return ask(prompt, read, empty=(DEFAULT_FITTING,))


def _band(given: Given, gear: Gear) -> Band:
    say("")
    flat = _flat_of(given.flat, gear) if given.flat else _ask_flat(gear, "Flat length, end to end, lying flat")
    band = Band(given.band, flat, u_flat_length=U_TAPE)
    if given.quick:
        return band
    small = "in" if gear.units.length == "in" else "mm"

    example = "1.2 0.18" if small == "in" else "30 4.5"

    def read(text: str) -> tuple[float, ...]:
        values = tuple(parse_length(p, small) for p in text.replace("x", " ").split())
        if len(values) != 2 or not all(v > 0 for v in values):
            raise DataError(f"two numbers in {small}, width and thickness, for example {example}")
        if not (0.005 <= max(values) <= 0.2 and 0.001 <= min(values) <= 0.05):
            tens = " Typed in cm?" if small == "mm" and max(values) < 0.02 else ""
            raise DataError(f"a loop band is 5 to 200 mm wide and 1 to 50 mm thick.{tens} Type both in {small}")
        return values

    unmeasured: tuple[float, ...] = ()
    section = ask(f"Width and thickness (all layers), {small}; Enter if not measured: ", read, empty=unmeasured)
    if not section:
        return band
    return replace(band, width=max(section), thickness=min(section))


def _flat_of(text: str, gear: Gear) -> float:
    flat = parse_length(text, gear.units.length)
    if not 0.05 <= flat <= 5:
        unit = gear.units.length
        number = flat / LENGTH[unit]
        slip = next((f" Typed in {u}?" for u in LENGTH if 0.3 <= number * LENGTH[u] <= 2 and u != unit), "")
        raise DataError(f"a band {shown(flat, unit, LENGTH)} {unit} long?{slip} 50 mm to 5 m can be measured")
    return flat


def _ask_flat(gear: Gear, words: str, empty: float | None = None) -> float:
    default = f" [{shown(empty, gear.units.length, LENGTH)}]" if empty else ""
    return ask(f"{words}, {gear.units.length}{default}: ", lambda text: _flat_of(text, gear), empty=empty)


def _limits(given: Given, gear: Gear, geometry: Geometry) -> Limits:
    capacity = gear.capacity if gear.method == "scale-in-line" else None
    limits = Limits(capacity=capacity, allow_over=given.over_stretch)
    return with_top(limits, geometry, parse_length(given.top, gear.units.length)) if given.top else limits


def _plan(given: Given, gear: Gear, band: Band) -> tuple[Plan, Loads | None]:
    geometry = geometry_of(band, gear.setup)
    if gear.method == "hung-weight":
        return _plan_hung(given, gear, band)
    limits = _limits(given, gear, geometry)

    def own(text: str) -> Plan:
        return _own_lengths(text, gear, geometry, limits)

    if given.lengths:
        return _said(own(given.lengths), gear, geometry), None
    plan = plan_lengths(band, gear.setup, limits, QUICK_COUNT if given.quick else FULL_COUNT, gear.holes, _step(gear))
    say("", "Planned lengths, dense where the pull climbs fastest:")
    _said(plan, gear, geometry)
    wanted = "hole numbers" if gear.holes else "lengths"
    chosen = ask(f"Enter to take them, or type {wanted} of your own with spaces between: ", own, empty=plan)
    return chosen, None


def listed(text: str) -> list[str]:
    """Parts of a list: with semicolons or comma and space between, else with spaces; `45 1/2` is one part."""
    if ";" in text or ", " in text:
        parts = [part.strip() for part in text.replace(", ", ";").split(";")]
    elif "," in text and " " not in text:
        parts = text.split(",")
    else:
        parts = re.sub(r"\s+(?=[0-9]+/[0-9])", "+", text).split()
    return [part.replace("+", " ") for part in parts if part]


def _step(gear: Gear) -> float:
    """What a tape is easily set to. [m]"""
    return 0.25 * INCH if gear.units.length == "in" else 0.005


def _own_lengths(text: str, gear: Gear, geometry: Geometry, limits: Limits) -> Plan:
    parts = listed(text)
    if gear.holes is not None:
        lengths = sorted({gear.holes.length(_whole(p)) for p in parts})
    else:
        lengths = sorted({parse_length(p, gear.units.length) for p in parts})
    if len(lengths) < 3:
        raise DataError("at least three different lengths are needed")
    low, high = geometry.stretch(lengths[0]), geometry.stretch(lengths[-1])
    if low < 1.02:
        slip = "; were they typed in another unit?" if high < 1 else ""
        says = f"{_length(lengths[0], gear)} is {low:.2f} times the flat length"
        raise DataError(f"{says}: the band is slack there{slip}")
    return Plan(tuple(lengths), stretch_caution(high, limits.allow_over))


def _length(metre: float, gear: Gear) -> str:
    return f"{shown(metre, gear.units.length, LENGTH)} {gear.units.length}"


def _said(plan: Plan, gear: Gear, geometry: Geometry) -> Plan:
    for length in plan.lengths:
        hole = f"hole {gear.holes.number(length)}, " if gear.holes else ""
        say(f"  {hole}{_length(length, gear)}, {geometry.stretch(length):.2f} times the flat length")
    say(*(f"Note: {line}." for line in plan.said))
    return plan


def _plan_hung(given: Given, gear: Gear, band: Band) -> tuple[Plan, Loads]:
    from calib.fit.known_loads import usual

    limits, unit = Limits(allow_over=given.over_stretch), gear.units.force

    def read(text: str) -> Plan:
        return plan_loads(band, [parse_force(p, unit) / G_STANDARD for p in listed(text)], limits)

    example = "5 10 20 30 40" if unit == "lb" else "2.5 5 10 15 20"
    prompt = f"Loads you will hang, {unit}, with spaces between (for example {example}): "
    plan = read(given.loads) if given.loads else ask(prompt, read)
    say(*(f"Note: {line}." for line in plan.said))

    def hook(text: str) -> float:
        value = parse_force(text, unit) / G_STANDARD
        if not 0 <= value < plan.lengths[-1]:
            raise DataError("what hangs besides the plates must be lighter than the heaviest load")
        return value

    hook_mass = ask(f"Hook, strap or pin that hangs with every load, {unit} [0]: ", hook, empty=0.0)
    worth = usual("plates", "plates")
    middle = sum(plan.lengths) / len(plan.lengths)
    say("Plates are taken as iron as it comes: good to 1 % for the lot and 2 % each (common practice, no source).")
    return plan, Loads("plates", worth.u_common, worth.u_piece(middle), hook_mass)


def _check_load(units: Units) -> CheckLoad | None:
    from calib.fit.known_loads import usual

    def read(text: str) -> float:
        return _positive_force(units.force)(text) / G_STANDARD

    prompt = f"One known plate to weigh at start and end, {units.force}; Enter for none: "
    mass = ask(prompt, read, empty=0.0)
    if not mass:
        return None
    worth = usual("plates", "plates")
    name = f"plate-{shown(mass * G_STANDARD, units.force, FORCE)}{units.force}"
    return CheckLoad(name, mass, (worth.u_piece(mass) ** 2 + (worth.u_common * mass) ** 2) ** 0.5)


def _procedure(given: Given, gear: Gear) -> Procedure:
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
    if given.quick:
        return procedure

    def read(text: str) -> float:
        warm = text.upper().rstrip("CF ")
        value = parse_length(warm.lstrip("-"), "m") * (-1 if warm.startswith("-") else 1)
        celsius = (value - 32) / 1.8 if "F" in text.upper() else value
        if not -40 <= celsius <= 60:
            raise DataError("that is no temperature to train in; degrees C, or 68 F")
        return celsius

    unknown = float("inf")
    temperature = ask("Temperature, C (or 68 F); Enter if not known: ", read, empty=unknown)
    return procedure if temperature == unknown else replace(procedure, temperature=round(temperature, 1))


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
        to = longest + (0.0 if gear.holes else 4 * _step(gear))
        place = f"hole {gear.holes.number(to)}" if gear.holes else _length(to, gear)
        say(f"Condition the band: pull it out to {place} and back, slowly, {pulls} times.")
        done = replace(procedure, conditioning_pulls=pulls, conditioned_to=round(to, 6))
    ask_line("Enter when done: ")
    if not quick:
        pause(60.0, "let the band rest")
    band = replace(head.band, flat_length=_flat_after(gear, head.band.flat_length))
    extensions = {k: v for k, v in head.extensions.items() if k != NOT_CONDITIONED}
    started = datetime.now(UTC).replace(microsecond=0)
    return replace(head, band=band, procedure=done, started=started, extensions=extensions)


def _weight_and_place(
    given: Given, band: Band, procedure: Procedure, scale: ScaleInUse | None
) -> tuple[Band, Procedure]:
    """The band's mass, where it hangs on the reading, and the latitude, where weight is the measure."""
    hung = procedure.method == "hung-weight"
    hangs = procedure.method == "scale-in-line" and procedure.orientation == "vertical"
    if given.quick or not (hung or (hangs and scale is not None and scale.zeroed != "band-both-ends")):
        return band, procedure

    def grams(text: str) -> float:
        whole = text.endswith(("kg", "lb"))
        typed = parse_force(text if whole else text.removesuffix("g"), "kg") / G_STANDARD
        mass = typed if whole else typed / 1000
        if not 0.005 <= mass <= 5:
            raise DataError("a band weighs 5 g to 5 kg; type grams, for example 310")
        return mass

    mass = ask("The band's own mass, grams; Enter if not weighed: ", grams, empty=0.0)
    if mass:
        band = replace(band, mass=round(mass, 6))
    if not hung:
        return band, procedure

    def degrees(text: str) -> float:
        south = text.lower().endswith("s") or text.startswith("-")
        value = parse_number(text.lstrip("-").rstrip("nNsS ").strip())
        if not 0 <= value <= 90:
            raise DataError("a latitude lies between 0 and 90 degrees, for example 52 or 34 S")
        return -value if south else value

    unknown = float("inf")
    latitude = ask("Latitude of the place, degrees (52, or 34 S); Enter if not known: ", degrees, empty=unknown)
    return (band, procedure) if latitude == unknown else (band, replace(procedure, latitude_deg=latitude))


def _flat_after(gear: Gear, before: float) -> float:
    """The flat length after conditioning; one far from that before is asked about."""
    while True:
        flat = _ask_flat(gear, "Flat length now, Enter if unchanged", before)
        question = f"It was {_length(before, gear)} before. Is {_length(flat, gear)} right?"
        if abs(flat / before - 1) <= 0.05 or yes(question):
            return flat


def _zeroed(gear: Gear, procedure: Procedure) -> ScaleInUse | None:
    if gear.scale is None or procedure.method != "scale-in-line" or procedure.orientation == "horizontal":
        return gear.scale
    say("When the scale is zeroed, what hangs on it?", "  1  the slack band, hooked at both ends")
    say("  2  the band, free at one end", "  3  only the hook")
    states: tuple[Zeroed, ...] = ("band-both-ends", "band-free", "hook-only")
    return replace(gear.scale, zeroed=choose("Which?", states))
