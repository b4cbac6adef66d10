"""What `bandcurve rig new` asks a coach: bar, rack holes, what holds the bands, and each band. No file is written here.

A height may be a tape reading or the number of a rack's hole.
"""

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Literal, get_args

from calib.acquire.files.typed import parse_length, parse_mass, parse_number, parse_temperature
from calib.errors import BandcurveError, DataError
from calib.frozen import dataclass
from calib.profile.document import Profile
from calib.use.rig.rig_curve import loop_of
from calib.use.rig.rig_file import Anchor, Arrangement, Bar, Rig, RigBand, check_band
from calib.use.rig.rig_geometry import slack_length
from calib.verbs.talk.procedure_talk import ask_latitude
from calib.verbs.terminal.prompts import ask, choose, say, yes

Load = Callable[[str], Profile]  # a profile of its name, as seen from the rig's file
TEMPO = "One way, as the lifters move. A band pulls a little more when it is stretched quickly than after a hold."
PROFILE = "Measure the band first: bandcurve record B07 leaves its profile. bandcurve list shows what the folder holds."
HIGHEST = 5.0  # m, of a bar or an anchor: more is a mistaken unit
_HOLE = re.compile(r"(?:h|hole|#)\s*([0-9]{1,3})", re.IGNORECASE)
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
            raise DataError(f"{text.strip()} is {value:.4g} m", remedy=f"type {self.unit}, or the unit behind it")
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


def ask_rig(load: Load) -> Rig:
    """Ask for a whole rig.

    Args:
        load: Reads a profile that was named.
    """
    say("Weights and lengths in:", "  1  kg and cm", "  2  lb and in")
    mass_unit, unit = choose("Which?", (("kg", "cm"), ("lb", "in")))
    say("Heights are above the floor, to the middle of the bar's sleeve or of the anchor.")
    ruler = _ask_holes(Ruler("cm" if unit == "cm" else "in"))
    rig = Rig(_ask_bar(ruler, mass_unit), (), _ask_anchor(ruler, mass_unit))
    while not rig.band or yes("Another band?", default=False):
        rig = replace(rig, band=(*rig.band, *_ask_bands(rig, ruler, load)))
    return rig


def _ask_holes(ruler: Ruler) -> Ruler:
    if not yes("Do you know heights by the numbers of rack holes?", default=False):
        return ruler
    say("Then type 'hole 12' for a height, wherever that is easier than a tape.")
    hole = ask("Number of a hole that a tape reaches: ", lambda text: int(_whole(text)))
    height = ask(f"Height of its middle [{ruler.unit}]: ", ruler.length)
    pitch = ask(f"From hole to hole, middle to middle [{ruler.unit}]: ", ruler.length)
    above = ask(f"The bar on its hooks: its middle above the middle of their hole [0 {ruler.unit}]: ", _offset(ruler))
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


def _ask_bar(ruler: Ruler, unit: str) -> Bar:
    usual = "20" if unit == "kg" else "45"
    mass = ask(f"The bar alone [{usual} {unit}]: ", lambda text: _mass(text or usual, unit))
    plates = ask(f"All plates on it [0 {unit}]: ", lambda text: _mass(text or "0", unit))
    asked = f"[{ruler.unit}{', or a hole' if ruler.hole is not None else ''}]"
    bottom = ask(f"Height of the bar at the bottom of the lift {asked}: ", lambda text: ruler.level(text, bar=True))

    def higher(text: str) -> float:
        top = ruler.level(text, bar=True)
        if top <= bottom:
            raise DataError(f"the top at {top:.4g} m is not above the bottom at {bottom:.4g} m", remedy="measure again")
        return top

    top = ask(f"And at the top {asked}: ", higher)
    hooks = ask("And on its hooks (Enter: no hooks): ", lambda text: ruler.level(text, bar=True) if text else None)
    tempo = ask("Seconds from bottom to top [1]: ", lambda text: _seconds(text or "1"), hint=TEMPO)
    temperature = ask(
        "Temperature there, C (or 68 F; Enter: not known): ", lambda text: _warmth(text) if text else None
    )
    return Bar(mass, bottom, top, plates, hooks, tempo, ask_latitude(), None, temperature)


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
        raise DataError(f"{value:g} C is not a temperature to train at", remedy="type for example 12 C or 54 F")
    return value


def _ask_anchor(ruler: Ruler, unit: str) -> Anchor:
    if yes("Is what holds the bands bolted to the building?", default=False):
        return Anchor(bolted=True)
    say("What holds them, a rack with its plates or dumb-bells, must not lift, tip or slide.")
    holds = ask("What it weighs, all together (Enter: not known): ", lambda text: _mass(text, unit) if text else None)
    side = ask("The shorter side of what it stands on (Enter: not known): ",
               lambda text: ruler.length(text) if text else None)  # fmt: skip
    return Anchor(holds, footprint=side)


def _ask_bands(rig: Rig, ruler: Ruler, load: Load) -> list[RigBand]:
    """One band, or one a side; asked again where it contradicts the bar."""
    while True:
        say("", f"Band {len(rig.band) + 1}:", *(f"  {n}  {name}: {what}" for n, (name, what) in
                                               enumerate(WAYS.items(), 1)))  # fmt: skip
        arrangement: Arrangement = choose("How does it run?", get_args(Arrangement))
        sides = _ask_sides(arrangement)
        names = [_ask_profile(side, sides, load) for side in sides]
        first = _ask_place(arrangement, sides[0], names[0], ruler)
        bands = [replace(first, side=side, profile=name) for side, name in zip(sides, names, strict=True)]
        if arrangement == "choked":
            bands = _with_slack(bands, ruler)
        try:
            for band in bands:
                check_band(band, rig, "band")
                if band.slack_length is not None:
                    slack_length(band, loop_of(load(band.profile)))
        except BandcurveError as error:
            say(f"  That does not fit: {error.what}; {error.remedy}. Once more:")
            continue
        return bands


def _ask_sides(arrangement: Arrangement) -> tuple[Literal["left", "right", "both"], ...]:
    if arrangement == "across":
        return ("both",)
    say("  1  one on each side, alike   2  only left   3  only right   4  one in the middle")
    return choose("Where?", (("left", "right"), ("left",), ("right",), ("both",)))


def _ask_profile(side: str, sides: tuple[str, ...], load: Load) -> str:
    def read(text: str) -> str:
        if not text:
            raise DataError("a band is known by its profile", remedy="type its file, such as B07.profile.json")
        name = text if text.endswith(".json") else f"{text}.profile.json"
        try:
            load(name)
        except BandcurveError as error:
            raise DataError(error.what, where=error.where, remedy=error.remedy) from None
        return name

    which = f" on the {side}" if len(sides) > 1 else ""
    return ask(f"Profile of the band{which}, beside the rig's file (B07 or B07.profile.json): ", read, hint=PROFILE)


def _ask_place(arrangement: Arrangement, side: Literal["left", "right", "both"], name: str, ruler: Ruler) -> RigBand:
    unit, usual = ruler.unit, "5" if ruler.unit == "cm" else "2"
    say("  1  from below, the bands pull down   2  from above, they help")
    source: Literal["below", "above"] = choose("From?", ("below", "above"))
    hole = ", or a hole" if ruler.hole is not None else ""
    height = ask(f"Height of the anchor's middle [{unit}{hole}]: ", lambda text: _anchor_level(text, ruler))
    anchor = ask(f"How thick is what it goes round there [{usual} {unit}]: ", lambda text: ruler.length(text or usual))
    sleeve = ask(f"How thick is the bar where it sits [{usual} {unit}]: ", lambda text: ruler.length(text or usual))
    what = "From the foot's edge to where it sits, along the bar" if arrangement == "across" else (
        "Anchor off to the side, along the bar")  # fmt: skip
    more = "; 6..2 if it changes from 6 at the bottom to 2 at the top"
    sideways = ask(f"{what} [0 {unit}{more}]: ", _ends(ruler))
    fore = ask(f"Anchor in front of the bar, or behind it with a minus [0 {unit}]: ", _ends(ruler))
    apart = 0.0
    if arrangement in ("spread", "across"):
        under = (
            "Width under the feet or on the fixed bar" if arrangement == "across" else "Pegs apart, middle to middle"
        )
        apart = ask(f"{under} [{unit}]: ", ruler.length)
    if arrangement == "choked":
        apart = ask(f"On two pegs: how far apart (Enter: one peg) [{unit}]: ", _offset(ruler))
    return RigBand(side, name, source, arrangement, height, anchor, sleeve, sideways, fore, None, apart)


def _with_slack(bands: list[RigBand], ruler: Ruler) -> list[RigBand]:
    say(
        "  Let it hang slack in its hitch, a sleeve or pipe in its end, and measure from the middle of the anchor to "
        "the middle of that: what the hitch takes up matters more than anything else."
    )
    found = []
    for band in bands:
        which = f" on the {band.side}" if len(bands) > 1 else ""
        prompt = f"Slack length{which} (Enter: not measured) [{ruler.unit}]: "
        slack = ask(prompt, lambda text: ruler.length(text) if text else None)
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
