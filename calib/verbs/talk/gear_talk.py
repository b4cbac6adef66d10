"""The talk about gear: which way to measure, what the scale is like, how lengths are set and read."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import log

from calib.acquire.files.typed import listed, parse_force, parse_length, parse_mass, unit_named
from calib.acquire.recording.plan import Holes
from calib.acquire.recording.typed_entry import shown
from calib.errors import DataError
from calib.half_path import LengthKind
from calib.records import LengthSetup, Locks, Method, ScaleInUse
from calib.units import FORCE, G_STANDARD, INCH, LENGTH
from calib.verbs.talk.given import Given
from calib.verbs.terminal.prompts import ask, choose, say

SHOWN = ("kg", "lb", "N")
U_TAPE, U_HOLE = 0.002, 0.0005  # [m] one reading; pins in drilled holes sit to half a millimetre
U_COMMON = 0.001  # [m] offset of a whole set-up
FEWEST_STEPS = 20  # between nothing and the most a scale takes; fewer is a slip
DEFAULT_FITTING = 0.012  # [m] carabiner or thin bar


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

    @property
    def step(self) -> float:
        """What a tape is easily set to. [m]"""
        return 0.25 * INCH if self.units.length == "in" else 0.005

    def words(self, length: float) -> str:
        """A length as taped, in the user's unit."""
        return f"{shown(length, self.units.length, LENGTH)} {self.units.length}"


def ask_gear(given: Given) -> Gear:
    """Way to measure, scale, and how lengths are read."""
    method = given.method or _ask_way()
    if method == "hung-weight":
        scale, capacity, force_unit = None, None, _ask_unit("The plates are marked in", ("kg", "lb"))
    elif given.scale is not None:
        scale, capacity = given.scale.in_use(), given.scale.capacity_N
        force_unit = given.force_unit or given.scale.shown_unit or _ask_unit("The scale shows", SHOWN)
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
    return ask_gear(given)


def _ask_way() -> Method:
    say("", "Three ways to measure:")
    for i, (_, what, trick) in enumerate(WAYS):
        say(f"  {i + 1}  {what}", f"     {trick}")
    return choose("Which way?", [way for way, _, _ in WAYS])


def _ask_unit(prompt: str, units: Sequence[str]) -> str:
    def read(text: str) -> str:
        if text.lower() == "holes" and "holes" in units:
            return "holes"
        try:
            return unit_named(text, units, "length" if "mm" in units else "force")
        except DataError:
            raise DataError(f"type one of: {', '.join(units)}") from None

    return ask(f"{prompt} {', '.join(units[:-1])} or {units[-1]}? [{units[0]}]: ", read, empty=units[0])


def positive_force(unit: str) -> Callable[[str], float]:
    """A reader of forces that a scale may have on its plate. [N]"""

    def read(text: str) -> float:
        grams = re.fullmatch(r"[0-9.,\s]+g(rams?)?", text.strip(), re.IGNORECASE)  # a scale's plate says d = 20 g
        value = parse_mass(text, "g") * G_STANDARD if grams else parse_force(text, unit)
        if not 0 < value < 1e5:
            raise DataError("that must be above zero and below 10 tonnes")
        return value

    return read


def _ask_scale() -> tuple[ScaleInUse, float, str]:
    say("", "The scale. Without a check its readings are taken as good to 1 %; 'bandcurve scale check' does better.")
    unit = _ask_unit("It shows", SHOWN)
    step, capacity = _ask_step_and_capacity(unit)
    say(
        "When you stop pulling and let off a little, the number ...",
        "  1  follows the pull   2  stays at the highest pull   3  freezes after a moment",
    )
    locks: Locks = choose("Which?", ("no", "peak", "steady"))
    name = f"scale-{shown(capacity, unit, FORCE)}{unit}"
    return ScaleInUse(id=name, resolution=step, locks=locks), capacity, unit


def _ask_step_and_capacity(unit: str) -> tuple[float, float]:
    """Both again where the one does not go with the other, for either may be the slip. [N]"""
    while True:
        step = ask(f"Smallest step it shows, {unit} (0.05 for a 0.05 {unit} scale): ", positive_force(unit))
        capacity = ask(f"Most it takes, {unit}: ", positive_force(unit))
        if capacity >= FEWEST_STEPS * step:
            return step, capacity
        words = f"  Steps of {shown(step, unit, FORCE)} and at most {shown(capacity, unit, FORCE)} {unit}"
        say(f"{words} do not go together: were the two swapped, or the decimal point? Both again.")


def _ask_length(given: Given, *, by_holes: bool) -> tuple[LengthSetup, Holes | None, str]:
    """How lengths are set and read, and in which unit."""
    say("")
    pitch_text = given.holes if by_holes else None
    told = _unit_behind(given.flat)  # who gives the flat length in a unit has a tape in it
    unit = told or "mm"
    if not by_holes and not told:
        unit = _ask_unit("Tape in", ("mm", "cm", "in"))
    elif pitch_text is None and not told:
        unit = _ask_unit("Length by tape in mm, cm or in; or by rack holes:", ("mm", "cm", "in", "holes"))
        if unit == "holes":
            pitch_text = ""
    if pitch_text is not None:
        holes, unit = _ask_holes(given, pitch_text)
        return LengthSetup("centres", _ask_diameters(unit), u_reading=U_HOLE, u_common=U_COMMON), holes, unit
    kinds: tuple[LengthKind, ...] = ("band-inner", "band-outer", "centres")
    say("The tape reads between ...", "  1  the places where band and pins touch")
    say("  2  outer faces of the band", "  3  centres of the pins")
    kind = choose("Which?", kinds)
    return LengthSetup(kind, _ask_diameters(unit), u_reading=U_TAPE, u_common=U_COMMON), None, unit


def _unit_behind(text: str | None) -> str | None:
    """The unit an option wears, where it is one of a tape."""
    return next((unit for unit in ("mm", "cm", "in") if (text or "").strip().endswith(unit)), None)


def _ask_holes(given: Given, pitch_text: str) -> tuple[Holes, str]:
    """The row of holes, and the unit to say lengths in: inches where the pitch was given in inches."""

    def read_pitch(text: str) -> tuple[float, str]:
        value = parse_length(text, "mm")
        if not 0.01 <= value <= 0.5:
            slip = typed_in(text, "mm", (0.02, 0.15))
            raise DataError(f"hole to hole is between 10 and 500 mm, centre to centre, like 50 or 2 in{slip}")
        return value, "in" if re.search(r'in(ch|ches)?$|"$', text.strip()) else "mm"

    prompt = "From one hole to the next, centre to centre, mm (or 2 in): "
    pitch, unit = read_pitch(pitch_text) if pitch_text else ask(prompt, read_pitch)
    first = given.first_hole or ask("The fixed pin sits in hole number [0]: ", whole_number, empty=0)
    return Holes(pitch, first), unit


def whole_number(text: str) -> int:
    """A hole's number."""
    if text.isascii() and text.isdecimal() and len(text) < 5:
        return int(text)
    raise DataError("type a whole number, for example 4")


def _ask_diameters(unit: str) -> tuple[float, ...]:
    small = "in" if unit == "in" else "mm"
    usual = shown(DEFAULT_FITTING, small, LENGTH)

    def read(text: str) -> tuple[float, ...]:
        parts = listed(text)
        values = tuple(parse_length(p, small) for p in parts)
        if not 1 <= len(values) <= 2 or not all(0.003 <= v <= 0.2 for v in values):
            slip = typed_in(parts[0], small, (0.006, 0.06)) if parts else ""
            raise DataError(f"one or two diameters between 3 and 200 mm, for example {usual} {usual}{slip}")
        return values

    prompt = f"Diameter of the two pins or hooks the band lies round, {small} [{usual}]: "
    return ask(prompt, read, empty=(DEFAULT_FITTING,))


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
