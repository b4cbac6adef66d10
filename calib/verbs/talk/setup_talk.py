"""The talk before a recording, from the cautions to the plan: it makes a run's head.

Every answer can be given beforehand as an option; the questions are about what a person in a garage can see.
"""

from dataclasses import replace
from datetime import UTC, datetime

from calib.acquire.recording.course import UNTIL, Course, extensions_of, many_lengths
from calib.records import RunHead
from calib.verbs.talk.band_talk import ask_band, ask_mass
from calib.verbs.talk.conditioning import NOT_CONDITIONED
from calib.verbs.talk.gear_talk import Gear, ask_gear
from calib.verbs.talk.given import Given
from calib.verbs.talk.plan_talk import ask_check_load, ask_plan
from calib.verbs.talk.procedure_talk import ask_day, ask_latitude, ask_procedure, ask_pulls, ask_zeroed, weight_counts
from calib.verbs.terminal.prompts import ask_line, say

CAUTIONS = (
    "Before you start:",
    "  - Eyes covered; nobody in line with the band. If it lets go, it flies.",
    "  - Look the band over under light stretch: a nick, a crack, a sticky spot - do not use it.",
    "  - Anchor and hooks must hold more than the pull, and hooks must not open.",
    "  - Stay within what the scale takes; its maker's word counts.",
    "  - The rules of your gym or house come first; unsure about an anchor? Ask someone qualified.",
)


def set_up(given: Given) -> RunHead:
    """Ask for all that a recording needs but what `condition` finds out with the band in hand.

    Args:
        given: Answers known already.
    """
    if not given.form:
        be_careful()
    return describe(given)


def be_careful() -> None:
    """The cautions before anybody pulls a band."""
    say(*CAUTIONS)
    ask_line("Enter when all of this is so: ")


def describe(given: Given) -> RunHead:
    """Gear, band, plan and procedure; no band needs to be at hand.

    Args:
        given: Answers known already.
    """
    gear = ask_gear(given)
    band = ask_band(given, gear)
    plan, loads = ask_plan(given, gear, band)
    check_load = None if given.quick or gear.method == "hung-weight" else ask_check_load(gear)
    procedure = ask_procedure(given, gear)
    scale = ask_zeroed(gear, procedure)
    if not given.quick and weight_counts(procedure, scale):
        band = replace(band, mass=ask_mass())
        if gear.method == "hung-weight":
            procedure = replace(procedure, latitude_deg=ask_latitude())
    if given.form:
        procedure = replace(procedure, conditioning_pulls=ask_pulls())
    started = ask_day() if given.form else datetime.now(UTC).replace(microsecond=0)
    extensions = extensions_of(_course(given, gear, plan.lengths, procedure.dwell_s or 0.0)) | {"quick": given.quick}
    if given.until is not None:
        extensions[UNTIL] = given.until
    if given.cell is not None:
        extensions["cell"] = given.cell
    if not given.form:
        extensions[NOT_CONDITIONED] = True
    return RunHead(band, gear.setup, scale, procedure, loads, check_load, started, extensions)


def _course(given: Given, gear: Gear, settings: tuple[float, ...], dwell_s: float) -> Course:
    if given.cell and given.cell.get("sweep"):
        settings = many_lengths(settings)
    locked = gear.scale is not None and gear.scale.locks != "no"
    return Course(
        settings=settings,
        cycles=given.cycles or (1 if given.quick else 2),
        way_back=not (given.quick or locked),
        dwell_s=dwell_s,
        length_unit=gear.units.length,
        force_unit=gear.units.force,
        closing=not given.quick,
        capacity=gear.capacity,
        holes=gear.holes,
        on_paper=given.form,
    )
