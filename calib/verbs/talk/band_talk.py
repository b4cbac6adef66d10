"""What is asked of one band of a box: its flat length, its mass."""

from calib.acquire.files.typed import parse_length, parse_mass
from calib.use.ask import readers
from calib.use.ask.box_band import FAR_FROM_OTHERS
from calib.use.ask.gear import Gear
from calib.use.ask.measuring import BY_KEY
from calib.verbs.talk.asking import ask_alone
from calib.verbs.terminal.prompts import ask, yes

FLAT = " ".join(BY_KEY["flat"].help)


def flat_of_one(gear: Gear, nominal: float) -> float:
    """The flat length of one band of a box; one far from that of the others is asked about. [m]"""
    unit = gear.units.length
    while True:
        kept = ask(f"Flat length, end to end, {unit}: ", lambda text: readers.flat(text, {"unit": unit}), hint=FLAT)
        flat = round(parse_length(kept, unit), 6)
        if abs(flat / nominal - 1) <= FAR_FROM_OTHERS or yes(
            f"  The other bands are said to be {gear.length_text(nominal)} long. Is {kept} right?",
            default=False,
            hint="y keeps it; n asks again.",
        ):
            return flat


def ask_mass() -> float | None:
    """The band's own mass, None where it was not weighed. [kg]"""
    kept = ask_alone("mass")
    return round(parse_mass(kept, "g"), 6) if kept else None
