"""What is asked before a band is measured: the one list, for the talk at a terminal, for options and for a page.

In the order in which it is asked. A question that is not asked on an occasion has its line in the summary, where it can
be changed; what nobody answers is taken as its default, and the summary says so.
"""

from collections.abc import Mapping

from calib.use.ask import readers, sketches
from calib.use.ask.question import NEVER, NOT_QUICK, Answers, Choice, Question

WAYS = (
    Choice("level", "Hanging scale, the band pulled level", short="hanging scale, band pulled level"),
    Choice("upright", "Hanging scale, the band pulled up or down", short="hanging scale, band upright"),
    Choice("plates", "Plates hung on the band, the length read", short="plates hung on the band"),
    Choice(
        "floor",
        "Floor scale: the band tied to a heavy weight that stands on it",
        "",
        "floor scale under the anchor",
    ),
)
TAPES = (
    Choice("band-inner", "inside edge to inside edge of the loop", short="inside edge to inside edge"),
    Choice("band-outer", "outside to outside"),
    Choice("centres", "centre of one pin to centre of the other", short="centre to centre of the pins"),
    Choice("holes", "no tape: pins in the holes of a rack", short="by rack holes"),
)
LOCKS = (
    Choice("no", "follows the pull", short="number follows the pull"),
    Choice("peak", "stays at the highest pull", short="number stays at the highest pull"),
    Choice("steady", "freezes after a moment", short="number freezes"),
)
SCALE_AT = (Choice("top", "at the top"), Choice("bottom", "at the bottom"))
ZEROED = (
    Choice("band-both-ends", "the slack band, hooked at both ends", short="slack band, both ends hooked"),
    Choice("band-free", "the band, free at one end", short="band free at one end"),
    Choice("hook-only", "only the hook"),
)


def by_scale(answers: Answers) -> bool:
    """Whether a scale is read that has no file."""
    return answers.get("way") != "plates" and not answers.get("scale")


def _upright(answers: Answers) -> bool:
    return answers.get("way") == "upright"


def _locking(answers: Answers) -> bool:
    return by_scale(answers) and answers.get("way") != "floor"


def _hung(answers: Answers) -> bool:
    return answers.get("way") == "plates"


def _with_scale(answers: Answers) -> bool:
    return answers.get("way") != "plates"


def _by_holes(answers: Answers) -> bool:
    return answers.get("tape") == "holes"


def _to_centres(answers: Answers) -> bool:
    return answers.get("tape") in ("centres", "holes")  # there half the circumference of a pin is missing


def weight_counts(answers: Answers) -> bool:
    """Whether the band's own weight is part of what is read."""
    return _hung(answers) or (_upright(answers) and answers.get("zeroed", "band-both-ends") != "band-both-ends")


MEASURING: tuple[Question, ...] = (
    Question(
        "way",
        "how",
        "How will you measure?",
        readers.one_of(WAYS),
        (
            "A hanging scale sits between band and hook: you set a length, it shows the pull.",
            "Plates: you hang known plates on the band and read its length.",
            "Floor scale: the lower end is tied to a weight on the scale, you pull up.",
        ),
        option="--method",
        metavar="WAY",
        option_help="scale-in-line, hung-weight or anchor-on-scale.",
        default="level",
        choices=WAYS,
        sketch=sketches.WAYS,
    ),
    Question(
        "max",
        "maximum",
        "Maximum printed on the scale, with its unit (50 kg, 110 lb): ",
        readers.read_capacity,
        (
            "The largest reading allowed. It is on the scale's label, often as Max.",
            "You will be told to stop at 80 % of it.",
        ),
        option="--capacity",
        metavar="FORCE",
        option_help="Maximum printed on the scale, '50kg'.",
        when=by_scale,
    ),
    Question(
        "step",
        "steps",
        "The number changes in steps of (last digit, e.g. 0.05), {force}: ",
        readers.step,
        (
            "Pull slowly and watch: 4.00, 4.05, 4.10 are steps of 0.05.",
            "Many labels give it as d = 50 g; you can type 50 g too.",
        ),
        option="--resolution",
        metavar="FORCE",
        option_help="One step of its display, '0.05kg'.",
        when=by_scale,
    ),
    Question(
        "locks",
        "easing off",
        "When you ease off a little, the number ...",
        readers.one_of(LOCKS),
        (
            "A luggage scale often holds the highest pull, or freezes the number.",
            "Then you can only measure loading.",
        ),
        option="--locks",
        metavar="HOW",
        option_help="Its number when you ease off: no (follows), peak (stays), steady (freezes).",
        default="no",
        choices=LOCKS,
        asked=NOT_QUICK,
        when=_locking,
    ),
    Question(
        "plates",
        "plates",
        "Plates you have, with the unit (2 x 20, 4 x 10, 2 x 5 kg): ",
        readers.plates,
        (
            "Ordinary gym plates are assumed: each within 2 % of its label, all together within 1 %.",
            "For a plate you weighed, type 20=20.04. The set is stored in a file and offered next time.",
            "Press Enter to leave them unnamed.",
        ),
        option="--plates",
        metavar="LIST",
        option_help="Plates you have: '2 x 20, 4 x 10 kg'; weighed ones as 20=20.04.",
        unknown="not named",
        asked=NOT_QUICK,
        when=_hung,
    ),
    Question(
        "loads",
        "loads",
        "Loads you will hang, with the unit (2.5 5 10 15 20 kg): ",
        readers.loads,
        ("At least three, light to heavy. The hook or strap is asked for separately.",),
        option="--loads",
        metavar="LIST",
        option_help="Plates to hang: '2.5 5 10 15 20'.",
        when=_hung,
    ),
    Question(
        "hook",
        "hook or strap",
        "Mass of the hook, strap or pin that hangs with every load, {force}: ",
        readers.hook,
        ("It pulls too. Weigh it on a kitchen scale; type 0 if it weighs next to nothing.",),
        option="--hook",
        metavar="MASS",
        option_help="Mass of the hook or strap, '0.2kg'.",
        default="0",
        asked=NOT_QUICK,
        when=_hung,
    ),
    Question(
        "flat",
        "flat length",
        "Flat length of the band, end to end, with unit (102.9 cm, 40.5 in): ",
        readers.flat,
        ("Lay the loop flat on the floor, unstretched, and measure from fold to fold.",),
        option="--flat",
        metavar="LENGTH",
        option_help="Flat length, end to end, '1029mm'.",
        sketch=sketches.FLAT,
        belongs="band",
    ),
    Question(
        "tape",
        "tape",
        "Where will you hold the tape on the stretched band?",
        readers.one_of(TAPES),
        ("All of these work; just keep to the same one.", "With rack holes you need no tape."),
        option="--kind",
        metavar="HOW",
        option_help="Where the tape is held: band-inner, band-outer, centres.",
        default="band-inner",
        choices=TAPES,
        sketch=sketches.TAPE,
    ),
    Question(
        "pitch",
        "hole to hole",
        "From one hole to the next, centre to centre, mm (or 2 in): ",
        readers.pitch,
        ("Measure over ten holes and divide by ten.",),
        option="--holes",
        metavar="PITCH",
        option_help="Set lengths by rack holes: their pitch, '50mm'.",
        sketch=sketches.HOLES,
        when=_by_holes,
    ),
    Question(
        "first_hole",
        "fixed pin in",
        "The fixed pin sits in hole number",
        readers.read_whole_number,
        ("Number the holes as you like; the pin you move is numbered the same way.",),
        option="--first-hole",
        metavar="N",
        option_help="Hole the fixed pin sits in.",
        default="0",
        sketch=sketches.HOLES,
        when=_by_holes,
    ),
    Question(
        "pins",
        "pins or hooks",
        "Diameter of the two pins or hooks the band goes round, {small}: ",
        readers.pins,
        ("One number if both are the same. Half a millimetre does not matter.",),
        option="--fittings",
        metavar="D,D",
        option_help="Diameters of the two pins or hooks, '12mm'.",
        unknown="not measured; 12 mm taken",
        sketch=sketches.TAPE,
        asked=frozenset(("form", "box")),
        asked_if=_to_centres,
    ),
    Question(
        "lengths",
        "lengths",
        "Lengths to measure at, separated by spaces (Enter: as proposed): ",
        readers.lengths,
        ("At least three. Put them closer together near the flat length, where the pull changes most.",),
        option="--lengths",
        metavar="LIST",
        option_help="Lengths to measure at: '1130 1200 1350 1500'.",
        unknown="as proposed",
        asked=NEVER,
        belongs="day",
        when=_with_scale,
    ),
    Question(
        "section",
        "width, thickness",
        "Width and thickness of the band (all layers together), {small}: ",
        readers.section,
        ("Use a caliper or a ruler. It makes the plan fit the band, and tightens the curve a little.",),
        option="--section",
        metavar="'W T'",
        option_help="Width and thickness, '30 4.5' in mm.",
        unknown="not measured",
        fits=NOT_QUICK,
        asked=frozenset(("form", "box")),
        belongs="band",
    ),
    Question(
        "scale_at",
        "scale sits",
        "Where is the scale?",
        readers.one_of(SCALE_AT),
        ("Above or below the band: it decides whether the scale also carries the band's weight.",),
        default="top",
        choices=SCALE_AT,
        asked=frozenset(("form", "box")),
        when=_upright,
    ),
    Question(
        "zeroed",
        "zeroed with",
        "What hangs on the scale when it is zeroed?",
        readers.one_of(ZEROED),
        ("Best is the slack band hooked at both ends: its weight then cancels.",),
        default="band-both-ends",
        choices=ZEROED,
        asked=frozenset(("form", "box")),
        when=_upright,
    ),
    Question(
        "mass",
        "band's own mass",
        "The band's own mass, grams: ",
        readers.mass,
        ("On a kitchen scale. The band's weight pulls too when it hangs.",),
        option="--mass",
        metavar="MASS",
        option_help="The band's own mass, '310g'.",
        unknown="not weighed",
        asked=frozenset(("full", "form")),
        belongs="band",
        when=weight_counts,
    ),
    Question(
        "plate",
        "known plate",
        "A known plate to weigh at the start and the end, {force}: ",
        readers.plate,
        ("It shows whether the scale drifted and how well it reads.",),
        option="--plate",
        metavar="MASS",
        option_help="A known plate to weigh at the start and the end, '10kg'.",
        unknown="none",
        fits=NOT_QUICK,
        asked=frozenset(("form", "box")),
        when=_with_scale,
    ),
    Question(
        "temperature",
        "temperature",
        "Room temperature, C (or 68 F): ",
        readers.temperature,
        ("A cold band pulls differently from a warm one; with the temperature you can compare like with like later.",),
        option="--temperature",
        metavar="DEGREES",
        option_help="Room temperature, '21' or '68F'.",
        unknown="not known",
        fits=NOT_QUICK,
        asked=frozenset(("form", "box")),
        belongs="day",
    ),
    Question(
        "pulls",
        "pulls before",
        "Warm-up pulls before the first reading",
        readers.pulls,
        ("A rested band is stiffer for its first pulls.",),
        default="5",
        fits=frozenset(("form",)),
        belongs="day",
    ),
    Question(
        "day",
        "day",
        "Date on the form, like 2026-03-01",
        readers.day,
        ("Year, month, day.",),
        default="today",
        fits=frozenset(("form",)),
        belongs="day",
    ),
    Question(
        "latitude",
        "latitude",
        "Latitude of the place, degrees (52, or 34 S): ",
        readers.latitude,
        ("Plates weigh up to half a percent more near the poles than at the equator.",),
        option="--latitude",
        metavar="DEGREES",
        option_help="Latitude of the place, where plates are hung: '52' or '34S'.",
        unknown="not known",
        asked=NEVER,
        when=_hung,
        listed=False,
    ),
)
BY_KEY: Mapping[str, Question] = {question.key: question for question in MEASURING}
