"""What a coach is asked for a rig: bar, rack holes, what holds the bands, and each band. No file is written here.

A height may be a tape reading or the number of a rack's hole.
"""

import re
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace
from typing import Any, Literal, get_args

from calib.acquire.files.typed import parse_length, parse_mass, parse_number, parse_temperature
from calib.errors import BandcurveError, DataError
from calib.frozen import dataclass
from calib.profile.document import Profile
from calib.units import LENGTH, MASS
from calib.use.ask import readers
from calib.use.ask.asker import Asker
from calib.use.rig.rig_curve import loop_of
from calib.use.rig.rig_file import Anchor, Arrangement, Bar, Rig, RigBand, check_band
from calib.use.rig.rig_geometry import slack_length

Load = Callable[[str], Profile]  # a profile of its name, as seen from the rig's file
TEMPO = "Time for one direction of the lift. A band pulls a little more when it is stretched quickly than after a hold."
PROFILE = "Measure the band first: bandcurve record B07 writes its profile. bandcurve list shows what is in the folder."
AGAIN = "n asks again about units, rack, bar and what holds the bands."
HOLES = "Count from the floor or use the marks; measuring the height of one hole is enough."
HIGHEST = 5.0  # m, of a bar or an anchor: more is a mistaken unit
THIN, THICK = 0.003, 0.2  # m, of a peg, a pin or a bar
_HOLE = re.compile(r"(?:h|hole|#)\s*([0-9]{1,3})", re.IGNORECASE)
RUNS = "How it hangs during the lift; docs/rig.md has a drawing of each."
FROM = "Bands from below make the top heavier; bands from above take load off the bottom."
WAYS: dict[Arrangement, str] = {
    "straight": "from the anchor to the sleeve",
    "doubled": "folded round the anchor, both ends on the sleeve",
    "choked": "hitched to the anchor through itself (one peg or two)",
    "spread": "folded over the bar, its ends on two pegs, one fore and one aft",
    "across": "one band from sleeve to sleeve, under the feet or a fixed bar",
}


@dataclass(frozen=True)
class Ruler:
    """What heights are read off."""

    unit: Literal["cm", "in"]
    hole: int | None = None  # a hole whose height is known
    height: float = 0.0  # [m] of its centre
    pitch: float = 0.0  # [m] from hole to hole
    above: float = 0.0  # [m] bar's centre above the hole its hooks sit in

    def length(self, text: str) -> float:
        """A length as typed. [m]"""
        value = parse_length(text, self.unit)
        if value > HIGHEST:
            raise DataError(f"{text.strip()} is {value:.4g} m", remedy=f"type {self.unit}, or the unit after it")
        return value

    def level(self, text: str, *, bar: bool) -> float:
        """A height as typed, or that of a hole. [m]"""
        found = _HOLE.fullmatch(text.strip())
        if found is None:
            return self.length(text)
        if self.hole is None:
            raise DataError("the rack's holes were not described", remedy="type the height by tape")
        value = self.height + (int(found[1]) - self.hole) * self.pitch + (self.above if bar else 0.0)
        if not 0 < value <= HIGHEST:
            raise DataError(f"hole {found[1]} would be {value:.4g} m above the floor", remedy="count again")
        return value


@dataclass(frozen=True)
class Stand:
    """What stays from rig to rig: the units, the rack's holes, the bar, what holds the bands."""

    ruler: Ruler
    unit: str  # of weights
    bar_kg: float
    anchor: Anchor

    def in_a_line(self) -> str:
        """In one line, to be taken or not."""
        bar = f"bar {self.bar_kg / MASS[self.unit]:.4g} {self.unit}"
        rule, holes = self.ruler, ""
        if rule.hole is not None:
            holes = f", hole {rule.hole} at {rule.height / LENGTH[rule.unit]:.4g} {rule.unit}"
        holds = self.anchor.holds
        weighs = "something not weighed" if holds is None else f"{holds / MASS[self.unit]:.4g} {self.unit}"
        held = "bolted to the building" if self.anchor.bolted else f"held by {weighs}"
        return f"{self.unit} and {rule.unit}, {bar}{holes}, bands {held}"


def ask_rig(person: Asker, load: Load, before: Stand | None = None, latitude: float | None = None) -> tuple[Rig, Stand]:
    """Ask for a whole rig; the rig, and what stays for the next one.

    Args:
        person: Who is asked.
        load: Reads a profile that was named.
        before: Of the last rig; offered.
        latitude: Of the place, where it is known; it is not asked for. [degree]
    """
    stand = (
        before
        if before is not None and person.yes(f"As last time ({before.in_a_line()})?", hint=AGAIN)
        else _ask_stand(person)
    )
    person.say("Heights are above the floor, to the middle of the bar's sleeve or of the anchor.")
    bar = _ask_bar(person, stand.ruler, stand.unit)
    rig = Rig(replace(bar, mass=stand.bar_kg, latitude_deg=latitude), (), stand.anchor)
    while not rig.band or person.yes(
        "Another band?", default=False, hint="One at a time, for each side or for several on one side."
    ):
        rig = replace(rig, band=(*rig.band, *_ask_bands(person, rig, stand.ruler, load)))
    return rig, stand


def _ask_stand(person: Asker) -> Stand:
    person.say("Weights and lengths in:", "  1  kg and cm", "  2  lb and in")
    units: tuple[tuple[str, Literal["cm", "in"]], ...] = (("kg", "cm"), ("lb", "in"))
    unit, length = person.choose("Which?", units, hint="You can type another unit after any number: 45 lb, 31.5 in.")
    ruler = _ask_holes(person, Ruler(length))
    usual = "20" if unit == "kg" else "45"
    hint = "The bar without plates and collars; most weigh 20 kg or 45 lb."
    mass = person.ask(f"The bar alone [{usual} {unit}]: ", lambda text: _mass(text or usual, unit), hint=hint)
    return Stand(ruler, unit, mass, _ask_anchor(person, ruler, unit))


def _ask_holes(person: Asker, ruler: Ruler) -> Ruler:
    if not person.yes("Do you give heights by rack hole numbers?", default=False, hint=HOLES):
        return ruler
    person.say("Then you can type 'hole 12' for a height wherever that is easier.")
    hole = person.ask("Number of a hole you can measure to: ", lambda text: int(_whole(text)), hint=HOLES)
    middle = "From the floor to the centre of that hole."
    height = person.ask(f"Height of its centre [{ruler.unit}]: ", ruler.length, hint=middle)
    ten = "Measure over ten holes and divide by ten."
    pitch = person.ask(f"From hole to hole, centre to centre [{ruler.unit}]: ", ruler.length, hint=ten)
    prompt = f"With the bar on its hooks, how far is its centre above the centre of their hole [0 {ruler.unit}]: "
    above = person.ask(
        prompt, _offset(ruler), hint="Hooks hold the bar a little above their hole; type a minus if below."
    )
    return replace(ruler, hole=hole, height=height, pitch=pitch, above=above)


def _whole(text: str) -> float:
    value = parse_number(text)
    if value != int(value) or not 0 <= value < 1000:
        raise DataError(f"{text[:20]!r} is not the number of a hole", remedy="type for example 12")
    return value


def _offset(ruler: Ruler) -> Callable[[str], float]:
    """Reads a distance that is none where nothing is typed; below zero is possible."""

    def read(text: str) -> float:
        if text in ("", "0"):
            return 0.0
        return -ruler.length(text[1:]) if text.startswith("-") else ruler.length(text)

    return read


def _ask_bar(person: Asker, ruler: Ruler, unit: str) -> Bar:
    """The bar's way, and what hangs on it; its own mass is told apart."""
    plates = person.ask(
        f"All plates on it [0 {unit}]: ", lambda text: _mass(text or "0", unit), hint="Both sides together."
    )
    asked = f"[{ruler.unit}{', or a hole' if ruler.hole is not None else ''}]"
    low = "From the floor to the centre of the bar where the lift reverses."

    def read(text: str) -> float:
        return ruler.level(text, bar=True)

    bottom = person.ask(f"Height of the bar at the bottom of the lift {asked}: ", read, hint=low)

    def higher(text: str) -> float:
        top = ruler.level(text, bar=True)
        if top <= bottom:
            raise DataError(f"the top at {top:.4g} m is not above the bottom at {bottom:.4g} m", remedy="measure again")
        return top

    top = person.ask(f"And at the top {asked}: ", higher, hint="Locked out, from the floor to the centre of the bar.")
    hooked = "Needed for the plates that must be on before the bands."
    hooks = person.ask("And on its hooks (Enter: no hooks): ", lambda text: read(text) if text else None, hint=hooked)
    tempo = person.ask("Seconds from bottom to top [1]: ", lambda text: _seconds(text or "1"), hint=TEMPO)
    warm = "A cold band pulls differently from a warm one."
    temperature = person.ask(
        "Room temperature, C (or 68 F; Enter: unknown): ", lambda text: _warmth(text) if text else None, hint=warm
    )
    return Bar(0.0, bottom, top, plates, hooks, tempo, None, None, temperature)


def _mass(text: str, unit: str) -> float:
    value = parse_mass(text, unit)
    if value >= 2000:
        raise DataError(f"{value:.4g} kg is more than any bar carries", remedy="type it again")
    return value


def _seconds(text: str) -> float:
    value = parse_number(text)
    if not 0.05 <= value <= 120:
        raise DataError(f"{value:g} s is not a tempo", remedy="type 0.05 to 120")
    return value


def _warmth(text: str) -> float:
    value = parse_temperature(text)
    if not -60 < value < 100:
        raise DataError(f"{value:g} C is not a room temperature", remedy="type for example 12 C or 54 F")
    return value


def _ask_anchor(person: Asker, ruler: Ruler, unit: str) -> Anchor:
    firm = "For example a rack screwed to the floor or a hook in a beam: it cannot lift, tip or slide."
    if person.yes("Is what holds the bands bolted to the building?", default=False, hint=firm):
        return Anchor(bolted=True)
    person.say("What holds them, a rack with its plates or dumb-bells, must not lift, tip or slide.")
    holds = person.ask(
        "Its total weight (Enter: unknown): ",
        lambda text: _mass(text, unit) if text else None,
        hint="The rack and the plates stored on it, or the dumb-bells the bands go under.",
    )
    side = person.ask(
        "Shorter side of its footprint (Enter: unknown): ",
        lambda text: ruler.length(text) if text else None,
        hint="What it stands on: a narrow footprint tips sooner.",
    )
    return Anchor(holds, footprint=side)


def _ask_bands(person: Asker, rig: Rig, ruler: Ruler, load: Load) -> list[RigBand]:
    """One band, or one a side; asked again where it contradicts the bar."""
    while True:
        person.say(
            "",
            f"Band {len(rig.band) + 1}:",
            *(f"  {n}  {name}: {what}" for n, (name, what) in enumerate(WAYS.items(), 1)),
        )
        arrangement: Arrangement = person.choose("How does it run?", get_args(Arrangement), hint=RUNS)
        sides = _ask_sides(person, arrangement)
        names = [_ask_profile(person, side, sides, load) for side in sides]
        first = _ask_place(person, arrangement, sides[0], names[0], ruler)
        bands = [replace(first, side=side, profile=name) for side, name in zip(sides, names, strict=True)]
        if arrangement == "choked":
            bands = _with_slack(person, bands, ruler)
        try:
            for band in bands:
                check_band(band, rig, "band")
                if band.slack_length is not None:
                    slack_length(band, loop_of(load(band.profile)))
        except BandcurveError as error:
            person.say(f"  That does not fit: {error.what}; {error.remedy}. Once more:")
            continue
        return bands


def _ask_sides(person: Asker, arrangement: Arrangement) -> tuple[Literal["left", "right", "both"], ...]:
    if arrangement == "across":
        return ("both",)
    person.say("  1  one on each side, alike   2  only left   3  only right   4  one in the middle")
    sides: tuple[tuple[Literal["left", "right", "both"], ...], ...] = (
        ("left", "right"),
        ("left",),
        ("right",),
        ("both",),
    )
    return person.choose("Where?", sides, hint="1 hangs both sides the same way; each side can have its own band.")


def _ask_profile(person: Asker, side: str, sides: tuple[str, ...], load: Load) -> str:
    def read(text: str) -> str:
        if not text:
            raise DataError("the band needs a profile", remedy="type its file, such as B07.profile.json")
        name = text if text.endswith(".json") else f"{text}.profile.json"
        try:
            load(name)
        except BandcurveError as error:
            raise DataError(error.what, where=error.where, remedy=error.remedy) from None
        return name

    which = f" on the {side}" if len(sides) > 1 else ""
    return person.ask(
        f"Profile of the band{which}, beside the rig's file (B07 or B07.profile.json): ", read, hint=PROFILE
    )


def _thick(text: str, ruler: Ruler) -> float:
    """How thick a peg or a bar is. [m]"""
    value = ruler.length(text)
    if not THIN <= value <= THICK:
        usual = "2.5 or 5 cm" if ruler.unit == "cm" else "1 or 2 in"
        raise DataError(f"{text} thick? A peg, a pin or a bar is 3 to 200 mm", remedy=f"type it like {usual}")
    return value


def _ask_place(
    person: Asker, arrangement: Arrangement, side: Literal["left", "right", "both"], name: str, ruler: Ruler
) -> RigBand:
    unit, usual = ruler.unit, "5" if ruler.unit == "cm" else "2"
    person.say("  1  from below, the bands pull down   2  from above, they help")
    source: Literal["below", "above"] = person.choose("From?", ("below", "above"), hint=FROM)
    hole = ", or a hole" if ruler.hole is not None else ""
    height = person.ask(
        f"Height of the anchor's centre [{unit}{hole}]: ",
        lambda text: _anchor_level(text, ruler),
        hint="From the floor to the centre of what the band goes round; 0 on the floor.",
    )
    thick = "Its diameter: a peg, a pin, a sleeve. Half a millimetre does not matter."
    prompts = (
        f"How thick is {what} [{usual} {unit}]: " for what in ("what it goes round there", "the bar where it sits")
    )
    anchor, sleeve = (person.ask(p, lambda text: _thick(text or usual, ruler), hint=thick) for p in prompts)
    what = (
        "From the foot's edge to where the band sits, along the bar"
        if arrangement == "across"
        else ("Anchor offset to the side, along the bar")
    )
    more = "; 6..2 if it changes from 6 at the bottom to 2 at the top"
    lean = "A leaning band pulls down less than its tension; 0 is straight down."
    sideways = person.ask(f"{what} [0 {unit}{more}]: ", _ends(ruler), hint=lean)
    fore = person.ask(f"Anchor in front of the bar (minus if behind) [0 {unit}]: ", _ends(ruler), hint=lean)
    apart = 0.0
    if arrangement in ("spread", "across"):
        under = (
            "Width under the feet or on the fixed bar"
            if arrangement == "across"
            else "Distance of the pegs, centre to centre"
        )
        apart = person.ask(
            f"{under} [{unit}]: ", ruler.length, hint="Centre to centre of the pegs, or edge to edge of the feet."
        )
    if arrangement == "choked":
        apart = person.ask(
            f"On two pegs: how far apart (Enter: one peg) [{unit}]: ",
            _offset(ruler),
            hint="Between the centres of the pegs the hitch goes round.",
        )
    return RigBand(side, name, source, arrangement, height, anchor, sleeve, sideways, fore, None, apart)


def _with_slack(person: Asker, bands: list[RigBand], ruler: Ruler) -> list[RigBand]:
    person.say(
        "  Let it hang slack in its hitch, a sleeve or pipe in its end, and measure from the middle of the anchor to "
        "the middle of that: what the hitch takes up matters more than anything else."
    )
    found = []
    for band in bands:
        which = f" on the {band.side}" if len(bands) > 1 else ""
        prompt = f"Slack length{which} (Enter: not measured) [{ruler.unit}]: "
        slack = person.ask(
            prompt, lambda text: ruler.length(text) if text else None, hint="Straight but not stretched, in its hitch."
        )
        found.append(replace(band, slack_length=slack))
    return found


def _anchor_level(text: str, ruler: Ruler) -> float:
    return 0.0 if text == "0" else ruler.level(text, bar=False)


def _ends(ruler: Ruler) -> Callable[[str], tuple[float, float]]:
    def read(text: str) -> tuple[float, float]:
        bottom, dots, top = text.partition("..")
        low = _offset(ruler)(bottom.strip())
        return low, _offset(ruler)(top.strip()) if dots else low

    return read


STAND, PLACE, GEAR = "rig.stand", "rig.latitude", "measuring.gear"  # keys of what a folder remembers


def remembered_stand(known: Mapping[str, Any]) -> Stand | None:
    """Of the last rig, as far as it can be read."""
    kept = known.get(STAND)
    with suppress(TypeError, KeyError, ValueError):
        if isinstance(kept, dict) and kept["unit"] in ("kg", "lb") and kept["ruler"]["unit"] in ("cm", "in"):
            return Stand(Ruler(**kept["ruler"]), kept["unit"], float(kept["bar_kg"]), Anchor(**kept["anchor"]))
    return None


def remembered_latitude(known: Mapping[str, Any], given: str | None = None) -> float | None:
    """Of the place: as given now, for the last rig, or where plates were hung to measure a band. [degree]

    Raises:
        DataError: What is given is none.
    """
    gear = known.get(GEAR)
    measured = gear.get("latitude") if isinstance(gear, dict) else None
    text = given or known.get(PLACE) or measured
    if not text:
        return None
    try:
        degrees, _, side = readers.latitude(str(text), {}).partition(" ")
    except DataError:
        if given is None:
            return None
        raise
    return -float(degrees) if side == "S" else float(degrees)
