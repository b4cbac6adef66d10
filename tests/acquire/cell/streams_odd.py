"""Odd devices, made up without a look at how lines are taken apart: brackets, echoes, words for a sign.

All are invented. What they mean was written down first.
"""

from tests.acquire.cell.kinds import LineOfAKind
from tests.acquire.cell.pulls import HELD, OUT, asked, device, moves, pull, still


def _other(i: int) -> float:
    """A second hook's kilograms."""
    return round(0.83 * pull(i - 30) if i > 30 else 0.0, 2)


def _to_and_fro(i: int) -> float:
    """Out, and then pressed: below zero from HELD on. Kilograms."""
    return pull(i) if i < HELD - 20 else -round(2.0 + 0.01 * (i % 7), 2)


def _pressed(i: int) -> float:
    """Below zero at rest. Kilograms."""
    return round(pull(i) - 3, 2)


def _tare_between(i: int, line: str, tare: str) -> str:
    return f"{tare}\r\n{line}" if i % 20 == 7 else line


def _apostrophes(x: float) -> str:
    return f"{abs(x):,.1f}".replace(",", "'") + ("-" if x < 0 else "")


def _full_width(text: str) -> str:
    return text.translate({48 + k: 0xFF10 + k for k in range(10)})


def _arabic(text: str) -> str:
    return text.translate({48 + k: 0x660 + k for k in range(10)})


def _decimal_check(text: str) -> str:
    return f"{text}#{sum(text.encode()) % 256}"


STREAMS = (
    device(
        "apostrophes and a minus behind",
        lambda i, x: _apostrophes(x) + " g",
        "g",
        shown=lambda x: -round(1000 * x + 0.1, 1),
    ),
    device("a second channel in volts", lambda i, x: f"A {x:.2f} kg; B 0.{55 - i // 60} V"),
    device("a tare line now and then", lambda i, x: _tare_between(i, f"{x:.2f} kg", "tare 0.85 kg")),
    device("a tare line of one letter", lambda i, x: _tare_between(i, f"W {x:.2f} kg", "T  0.85 kg")),
    device("an echo on a line before", lambda i, x: f"R\r\n{x:.2f} kg"),
    device("an echo glued before", lambda i, x: f"R{x:.2f} kg"),
    device("an echo with a question mark", lambda i, x: f"W?{x:.2f} kg"),
    device(
        "carriage return only, letters before",
        lambda i, x: f"{'US' if moves(i) else 'ST'} {x:.2f} kg",
        end="\r",
        stable=still,
    ),
    device("day with dots before", lambda i, x: f"09.04.2031 17:40:{i // 10 % 60:02d} {x:.2f} kg"),
    device("two units without blanks", lambda i, x: f"{x:.2f}kg {x * 2.20462:.1f}lb"),
    device("commas, a semicolon, seconds", lambda i, x: f"{6.9 + 0.1 * i:.1f};{x:.2f}".replace(".", ","), None),
    device("share of the range first", lambda i, x: f"{x * 2:.1f} % {x:.2f} kg"),
    device("unit before and behind", lambda i, x: f"kg: {x:.2f} kg"),
    device("decimal check behind a hash", lambda i, x: _decimal_check(f"{x:.2f},kg,")),
    device("tabs around everything", lambda i, x: f"\t\t{x:.2f}\t\tkg\t"),
    device("digits of full width", lambda i, x: _full_width(f"{x:.2f}") + " kg"),
    device("digits of another alphabet", lambda i, x: _arabic(f"{x:.2f}") + " kg"),
    device("line number in brackets behind", lambda i, x: f"{x:.2f} kg [{i}]"),
    device("words on both sides", lambda i, x: f"tow is {x:.2f} kg, please go on"),
    device("tare in brackets behind", lambda i, x: f"{x:.2f} kg (tare 0.85)"),
    device("a letter T for the temperature", lambda i, x: f"{x:.2f} kg T21.{i % 3}"),
    device("the range behind the unit", lambda i, x: f"{x:.2f} kg/50"),
    device("what took so long", lambda i, x: f"{x:.2f} kg in 0.10 s"),
    device("four numbers with dots before", lambda i, x: f"10.0.3.7 {x:.2f} kg"),
    device("mean of five", lambda i, x: f"mean of 5: {x:.2f} kg"),
    device("hundredths as a power of ten", lambda i, x: f"{round(100 * x)}e-2 kg"),
    device("minus far to the left", lambda i, x: f"{'-' if x < 0 else ' '}{abs(x):>10.2f} kg", at=_to_and_fro),
)

ASKED = (
    asked(device("digits in angle brackets", lambda i, x: f"tow<{x:.2f}>kg"), "tow<", "value kg"),
    asked(device("unit in braces", lambda i, x: f"{x:.2f} {{kg}}"), "{kg}", "value kg"),
    asked(device("two hooks by keys", lambda i, x: f"hook={x:.2f}kg back={_other(i):.2f}kg"), "hook=", "value, other"),
    asked(device("of the range, behind a slash", lambda i, x: f"{x:.2f}/50.00 kg"), "/50.00", "value kg, other"),
    asked(device("give or take", lambda i, x: f"{x:.2f} \u00b1 0.02 kg"), "\u00b1", "value kg, other"),
    asked(device("give or take, in three signs", lambda i, x: f"{x:.2f} +/- 0.02 kg"), "+/-", "value kg, other"),
    asked(device("most, least, now", lambda i, x: f"top 38.44 low 0.00 is {x:.2f}", None), "top", "other,other,value"),
    asked(
        device("three in a row with numbers", lambda i, x: f"1:{_other(i):.2f} 2:{x:.2f} 3:0.00", None),
        "1:",
        "other, other, other, value, other, other",
    ),
    asked(
        device("gross, net and tare in a line", lambda i, x: f"G {x + 0.85:.2f} N {x:.2f} T 0.85 kg"),
        "G ",
        "other, value kg, other",
    ),
)

RANGE_OR_TIMES = (
    asked(device("of a whole range", lambda i, x: f"{x:.2f} of 50 kg"), "of 50 kg", "value kg, other"),
    asked(device("a whole range behind a slash", lambda i, x: f"{x:.2f} / 50 kg"), "/ 50 kg", "value kg, other"),
    asked(device("the cell's range in brackets", lambda i, x: f"{x:.2f} (50 kg cell)"), "(50 kg", "value kg, other"),
    asked(device("the cell's range before", lambda i, x: f"50kg cell: {x:.2f}"), "50kg", "other, value kg"),
    asked(device("the most behind", lambda i, x: f"{x:.2f} kg, 50 kg max"), "50 kg max", "value kg, other"),
    asked(
        device("tens of newton", lambda i, x: f"{x:.2f} x10 N", "N", shown=lambda x: round(0.98 * x, 2)),
        "x10 N",
        "value N, other",
    ),
    asked(device("a power of ten apart", lambda i, x: f"{x:.2f} *10^0 kg"), "10^0", "value kg, other, other"),
    asked(device("times one, glued", lambda i, x: f"{x:.3f} kg x1"), "x1", "value kg"),
    asked(device("a unit in two pieces", lambda i, x: f"{x:.2f} k g"), "k g", "value kg"),
    asked(device("from here to there", lambda i, x: f"[{x:.2f},0.00,0.01] kg"), "[", "value kg, other, other"),
)

GOES_ON = (
    device("a word while it is held", lambda i, x: f"{x:.2f} kg{' HOLD' if OUT <= i < HELD else ''}"),
    device("letters while it is held", lambda i, x: f"{x:.2f} kg{' PK' if OUT <= i < HELD else ''}"),
)

IN_PIECES = (
    device("a blank for the dot", lambda i, x: f"{x:.2f}".replace(".", " ") + " kg"),
    device("a dot in the middle", lambda i, x: f"{x:.2f}".replace(".", "\u00b7") + " kg"),
    device("an apostrophe for the dot", lambda i, x: f"{x:.2f}".replace(".", "'") + " kg"),
    device("a colon for the dot", lambda i, x: f"{x:.2f}".replace(".", ":") + " kg"),
    device("a dash for the dot", lambda i, x: f"{x:.2f}".replace(".", "-") + " kg"),
    device("blanks between all digits", lambda i, x: " ".join(f"{x:06.2f}") + " kg"),
    device("the letter O for noughts", lambda i, x: f"{x:.2f}".replace("0", "O") + " kg"),
)

WORDS_BELOW = (
    device(
        "push or pull behind", lambda i, x: f"{abs(x):.2f} kg {'PUSH' if x < 0 else 'PULL'}", at=lambda i: pull(i) - 3
    ),
    device("minus as a word", lambda i, x: f"{'minus' if x < 0 else 'plus'} {abs(x):.2f} kg", at=_pressed),
    device("minus behind the unit", lambda i, x: f"{abs(x):.2f} kg{'-' if x < 0 else ' '}", at=_pressed),
    device("minus apart behind the unit", lambda i, x: f"{abs(x):.2f} kg {'-' if x < 0 else '+'}", at=_pressed),
    device("minus before a label", lambda i, x: f"{'-' if x < 0 else '+'} load {abs(x):.2f} kg", at=_pressed),
    device("minus before the unit", lambda i, x: f"{'-' if x < 0 else '+'}kg {abs(x):.2f}", at=_pressed),
    device("compression as a word", lambda i, x: f"{'compr.' if x < 0 else 'tens.'} {abs(x):.2f} kg", at=_to_and_fro),
)

CHANGED = (
    device("a letter for the way", lambda i, x: f"{'C' if x < 0 else 'T'} {abs(x):.2f} kg", at=_to_and_fro),
    device("an underscore for below", lambda i, x: f"{'_' if x < 0 else ' '}{abs(x):.2f} kg", at=_to_and_fro),
    device("letters of a ledger", lambda i, x: f"{abs(x):.2f} kg {'CR' if x < 0 else 'DR'}", at=_to_and_fro),
    device("push at last", lambda i, x: f"{abs(x):.2f} kg {'PUSH' if x < 0 else 'PULL'}", at=_to_and_fro),
    device(
        "dots between thousands of whole grams",
        lambda i, x: f"{round(x):,} g".replace(",", "."),
        "g",
        shown=lambda x: float(round(1000 * x)),
    ),
)

NEVER_WRONG = (
    device("underscores between thousands", lambda i, x: f"{x:_.1f} g", "g", shown=lambda x: round(1000 * x + 0.1, 1)),
    device(
        "pounds, ounces and half an ounce",
        lambda i, x: f"{int(x)} lb {int(x * 16) % 16} 1/2 oz",
        "lb",
        shown=lambda x: (int(x * 16) + 0.5) / 16,
    ),
    device("a bell and a form feed", lambda i, x: f"\x07{x:.2f} kg\x0c"),
    device(
        "counts in base sixteen",
        lambda i, x: f"0x{round(x):06X}",
        None,
        shown=lambda x: float(round(40117 + 20011 * x)),
    ),
    device(
        "counts in base sixteen, no mark",
        lambda i, x: f"{round(x):06X}",
        None,
        shown=lambda x: float(round(40117 + 20011 * x)),
    ),
)
EVERY: tuple[LineOfAKind, ...] = (
    *STREAMS,
    *ASKED,
    *RANGE_OR_TIMES,
    *GOES_ON,
    *IN_PIECES,
    *WORDS_BELOW,
    *CHANGED,
    *NEVER_WRONG,
)
