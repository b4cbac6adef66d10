"""What `bandcurve scale` asks at a terminal or through a pipe. Nothing is fitted or written here."""

from collections.abc import Callable, Sequence
from dataclasses import replace

from calib.acquire.files.check_table import CheckRow, read_pair
from calib.acquire.files.typed import parse_temperature
from calib.acquire.recording.typed_entry import clean
from calib.errors import DataError, UsageError
from calib.fit.gear.known_loads import WORTH, KnownLoads, LoadKind, usual
from calib.identity import check_id
from calib.units import FORCE
from calib.use.scales.typed_check import Sheet
from calib.verbs.terminal.prompts import BACK, HELP, EndOfInputError, ask, ask_line, choose, say, sentence, yes

ASKED: tuple[LoadKind, ...] = ("plates", "calibrated", "weighed", "water")
FAR_OFF = 0.2  # relative: further from its load than this a reading is questioned


def ask_loads() -> KnownLoads:
    """Which known loads there are."""
    say("What will you hang on the scale?")
    for number, kind in enumerate(ASKED, 1):
        say(f"  {number}  {WORTH[kind].name}")
    kind = choose("Number", ASKED, hint="The scale can only be known as well as these masses are.")
    say(f"  {WORTH[kind].why}")
    name = ask(f"A name for this set, to recognise it later [{kind}-1]: ", check_id, empty=f"{kind}-1",
               hint="Use the same name for the same set: two checks then share its error.")  # fmt: skip
    return usual(name, kind)


def ask_water_temperature() -> float:
    """How cold the water is. [degree Celsius]"""

    def read(text: str) -> float:
        value = parse_temperature(text)
        if not 0 <= value <= 40:
            raise DataError("type the water's temperature in C, 0 to 40", remedy="tap water is near 15")
        return value

    return ask(
        "Temperature of the water, C [15]: ",
        read,
        empty=15.0,
        hint="Water weighs 998 g a litre at 20 C and 1000 g at 4 C.",
    )


def ask_rows(unit: str, litres: bool, locks: bool, keep: Callable[[Sequence[CheckRow]], None]) -> tuple[CheckRow, ...]:
    """Known loads and what the scale shows for them, a line each, until an empty line; `keep` gets them after each."""
    load = "litres of water" if litres else f"known {'lb' if unit in ('lb', 'lbf') else 'kg'}"
    down = "then Enter." if locks else "then the same ones down to nothing again, and Enter."
    help_ = (
        f"Each line: {load}, a space, what the scale shows. For example: 20 19.85",
        "Start with nothing on it (0, and what it shows). Two pieces together: 10+10.",
        f"One load after the other up, {down}",
        "undo (or back) removes the last line; ? shows this again.",
    )
    say("", *help_)
    sheet = Sheet(unit, litres)
    while True:
        try:
            text = ask_line(f"{len(sheet.rows) + 1:>3}> ").strip()
        except EndOfInputError:
            return sheet.rows
        if not text:
            if enough(sheet.rows, locks):
                return sheet.rows
            continue
        if text.lower() in HELP:
            say(*help_)
            continue
        before, sheet = sheet, _taken(sheet, text)
        if sheet.rows != before.rows:
            keep(sheet.rows)


def enough(rows: Sequence[CheckRow], locks: bool) -> bool:
    """Whether an empty line ends the check; says what is missing."""
    loads = {sum(r.pieces) for r in rows}
    if len(loads) < 2 or len(rows) < 3:
        say("  You need at least three lines, among them zero and one load; Ctrl-C gives up.")
        return False
    if locks or any(r.branch == "unloading" for r in rows):
        return True
    try:
        return yes("  The readings going down are missing. Finish without them?", default=False)
    except EndOfInputError:
        return True


def _taken(sheet: Sheet, text: str) -> Sheet:
    """The sheet after one line."""
    if text.lower() in ("undo", BACK):
        say("  Nothing to undo." if not sheet.rows else "  Taken back.")
        return replace(sheet, rows=sheet.rows[:-1])
    if not text:
        return sheet
    try:
        pieces, shown = read_pair(clean(text), sheet.known_unit, sheet.unit)
    except DataError as error:
        say(f"  {sentence(error)}")
        return sheet
    longer = sheet.with_row(pieces, shown)
    doubt = _doubt(longer)
    if doubt:
        say(f"  {doubt}")
        try:
            if not yes("  Keep it?", default=False):
                return sheet
        except EndOfInputError:
            return sheet
    return longer


def _doubt(sheet: Sheet) -> str | None:
    """What is strange about the last row, with the likely slip."""
    row = sheet.rows[-1]
    load = sum(row.pieces) * FORCE["kg"]
    zero = next((r.shown for r in sheet.rows if not r.pieces), 0.0)
    if not row.pieces:
        return None
    net = row.shown - zero
    if net <= 0:
        return "It shows no more than with nothing on it: is it reversed, or on hold?"
    ratio = net / load
    if abs(ratio - 1) <= FAR_OFF:
        return None
    for factor, slip in ((10, "a decimal point?"), (0.1, "a decimal point?"), (2.2046, "is it set to lb?")):
        if abs(ratio / factor - 1) < FAR_OFF / 2:
            return f"It shows {ratio:.2g} times the known load: {slip}"
    if abs(ratio / 0.4536 - 1) < FAR_OFF / 2:
        return f"It shows {ratio:.2g} times the known load: is it set to kg while the load is in lb?"
    return f"It shows {ratio:.2g} times the known load: a misread digit, or were the two swapped?"


def needed(what: str, option: str, example: str) -> UsageError:
    """What to say where nobody can be asked."""
    return UsageError(f"{what} is needed", where=option, remedy=f"for example {option} {example}")
