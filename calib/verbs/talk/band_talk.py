"""The talk about the band itself: flat length, width and thickness, mass."""

from dataclasses import replace

from calib.acquire.files.typed import listed, parse_length, parse_mass
from calib.acquire.recording.typed_entry import shown
from calib.errors import DataError
from calib.records import Band
from calib.units import LENGTH
from calib.verbs.talk.gear_talk import U_TAPE, Gear, typed_in
from calib.verbs.talk.given import Given
from calib.verbs.terminal.prompts import ask, say, yes

FAR_FROM_OTHERS = 0.08  # relative; nominally equal bands span 3.5-5.2 %
USUAL_FLAT = (0.25, 2.5)  # [m] flat length that is not asked about


def ask_band(given: Given, gear: Gear) -> Band:
    """Flat length, and for more than a quick look width and thickness."""
    say("")
    flat = _flat_of(given.flat, gear) if given.flat else _ask_usual_flat(gear)
    band = Band(given.band, flat, u_flat_length=U_TAPE)
    if given.quick:
        return band
    small = "in" if gear.units.length == "in" else "mm"

    example = "1.2 0.18" if small == "in" else "30 4.5"

    def read(text: str) -> tuple[float, ...]:
        parts = listed(text.replace("x", " "))
        values = tuple(parse_length(p, small) for p in parts)
        if len(values) != 2 or not all(v > 0 for v in values):
            raise DataError(f"type width and thickness in {small} with a space between, for example {example}")
        if not (0.005 <= max(values) <= 0.2 and 0.001 <= min(values) <= 0.05):
            slip = typed_in(parts[0], small, (0.01, 0.12))
            raise DataError(f"a loop band is 5 to 200 mm wide and 1 to 50 mm thick{slip}")
        return values

    unmeasured: tuple[float, ...] = ()
    section = ask(f"Width and thickness (all layers), {small}; Enter if not measured: ", read, empty=unmeasured)
    if not section:
        return band
    return replace(band, width=max(section), thickness=min(section))


def _ask_usual_flat(gear: Gear) -> float:
    """The flat length; one that few bands have is asked about."""
    while True:
        flat = _ask_flat(gear, "Flat length, end to end, lying flat")
        if USUAL_FLAT[0] <= flat <= USUAL_FLAT[1]:
            return flat
        number = shown(flat, gear.units.length, LENGTH)
        slip = typed_in(number, gear.units.length, USUAL_FLAT)
        if yes(f"  Few bands are {gear.words(flat)} long{slip or '.'} Is it right?", default=False):
            return flat


def _flat_of(text: str, gear: Gear) -> float:
    flat = parse_length(text, gear.units.length)
    if not 0.05 <= flat <= 5:
        slip = typed_in(text, gear.units.length, USUAL_FLAT)
        raise DataError(f"a band {gear.words(flat)} long? 50 mm to 5 m can be measured{slip}")
    return flat


def _ask_flat(gear: Gear, words: str, empty: float | None = None) -> float:
    default = f" [{shown(empty, gear.units.length, LENGTH)}]" if empty else ""
    return ask(f"{words}, {gear.units.length}{default}: ", lambda text: _flat_of(text, gear), empty=empty)


def flat_after(gear: Gear, before: float) -> float:
    """The flat length after conditioning; one far from that before is asked about."""
    while True:
        flat = _ask_flat(gear, "Flat length now, Enter if unchanged", before)
        question = f"It was {gear.words(before)} before. Is {gear.words(flat)} right?"
        if abs(flat / before - 1) <= 0.05 or yes(question):
            return flat


def flat_of_one(gear: Gear, nominal: float) -> float:
    """The flat length of one band of a batch; one far from that of the others is asked about."""
    while True:
        flat = _ask_flat(gear, "Flat length, end to end, lying flat")
        if abs(flat / nominal - 1) <= FAR_FROM_OTHERS or yes(
            f"  The batch was said to be {gear.words(nominal)} long. Is {gear.words(flat)} right?", default=False
        ):
            return flat


def ask_mass() -> float | None:
    """The band's own mass, None where it was not weighed. [kg]"""

    def read(text: str) -> float:
        mass = parse_mass(text, "g")
        if not 0.005 <= mass <= 5:
            raise DataError("a band weighs 5 g to 5 kg; type grams, for example 310")
        return mass

    return round(ask("The band's own mass, grams; Enter if not weighed: ", read, empty=0.0), 6) or None
