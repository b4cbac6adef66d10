"""How devices write a number: signs, marks, groups, digits turned round. Devices and digits are invented."""

from typing import Any

from tests.acquire.cell.pulls import device

NEGATIVE: dict[str, Any] = {"shown": lambda x: -x}


def _comma(text: str) -> str:
    return text.replace(".", ",")


def _short(x: float) -> str:
    """Without noughts at the end."""
    return f"{x:.2f}".rstrip("0").rstrip(".")


def _grouped(x: float, group: str, mark: str) -> str:
    return f"{x:,.1f}".replace(",", "_").replace(".", mark).replace("_", group)


def _newton(x: float) -> float:
    return round(x * 9.80665, 1)


def _grams(x: float) -> float:
    return round(x * 1000 + 0.1, 1)


def _minus(x: float, before: str, behind: str) -> str:
    """`x` with its minus written as `before` and `behind` the digits; plain where it is not below zero."""
    return f"{before}{-x:.2f}{behind}" if x < 0 else f"{x:.2f}"


def _pounds_and_ounces(x: float) -> str:
    """As a hanging scale of that unit shows it."""
    ounces = round(x * 160)
    return f"{ounces // 160} lb {ounces % 160 / 10:.1f} oz"


STREAMS = (
    device("plus sign", lambda i, x: f"{x:+.2f} kg"),
    device("minus apart", lambda i, x: f"{'-' if x < 0 else ' '}  {abs(x):6.2f} N", "N", shown=lambda x: -_newton(x)),
    device("minus behind", lambda i, x: _minus(x, "", "-") + " kg", **NEGATIVE),
    device("minus behind, padded", lambda i, x: f"F {_minus(x, '', '-'):>9} kg", **NEGATIVE),
    device("minus behind, no unit", lambda i, x: "W " + _minus(x, "", "-"), None, **NEGATIVE),
    device("minus in brackets", lambda i, x: _minus(x, "(", ")") + " kg", **NEGATIVE),
    device("minus in brackets with the unit", lambda i, x: f"({-x:.2f} kg)" if x < 0 else f"{x:.2f} kg", **NEGATIVE),
    device("typographic minus", lambda i, x: _minus(x, "\u2212", "") + " kg", **NEGATIVE),
    device("en dash for minus", lambda i, x: _minus(x, "\u2013", "") + " kg", **NEGATIVE),
    device("wide minus", lambda i, x: _minus(x, "\uff0d", "") + " kg", **NEGATIVE),
    device("minus between unit and digits", lambda i, x: f"kg{x:+.2f}", **NEGATIVE),
    device("comma, noughts left away", lambda i, x: _comma(_short(x)) + " kg"),
    device("comma, two places", lambda i, x: _comma(f"{x:.2f}") + " kg"),
    device("comma and minus", lambda i, x: _comma(f"Zug: {x:.2f} KG"), **NEGATIVE),
    device("comma between semicolons", lambda i, x: f"{5000 + 100 * i};{_comma(f'{x:.2f}')};kg"),
    device("comma between tabs", lambda i, x: f"{5000 + 100 * i}\t{_comma(f'{x:.2f}')}\tkg"),
    device("comma in a bench line", lambda i, x: f"NT  {_comma(f'{x:+08.2f}')} kg"),
    device("noughts left away", lambda i, x: _short(x) + " kg"),
    device("no zero before the dot", lambda i, x: f"{x:.2f}".removeprefix("0") + " kg"),
    device("nothing behind the dot", lambda i, x: f"{x:.0f}. kg", shown=lambda x: float(round(x))),
    device("power of ten", lambda i, x: f"{x:.3E} N", "N", shown=_newton),
    device("small power of ten", lambda i, x: f"{x:.4e} kg"),
    device("groups: comma", lambda i, x: _grouped(x, ",", ".") + " g", "g", shown=_grams),
    device("groups: apostrophe", lambda i, x: _grouped(x, "'", ".") + " g", "g", shown=_grams),
    device("groups: blank, comma", lambda i, x: _grouped(x, " ", ",") + " g", "g", shown=_grams),
    device("groups: dot, comma", lambda i, x: _grouped(x, ".", ",") + " g", "g", shown=_grams),
    device("groups: thin blank", lambda i, x: _grouped(x, "\u202f", ".") + " g", "g", shown=_grams),
    device("pounds and ounces", lambda i, x: _pounds_and_ounces(x), "lb", shown=lambda x: round(x * 352.74) / 160),
    device("digits turned round", lambda i, x: "=" + f"{x:07.2f}"[::-1], None),
    device("digits turned round, sign last", lambda i, x: "=" + f"{-x:06.2f}"[::-1] + "0-"[x < 0], None, **NEGATIVE),
    device("equals sign, digits as they are", lambda i, x: f"={x:07.2f}", None),
    device("padded with noughts", lambda i, x: f"{x:+09.3f}kg"),
    device("padded with blanks", lambda i, x: f"{x:>14.2f} kg"),
    device("unit before the number", lambda i, x: f"kg {x:.2f}"),
    device("unit glued before the number", lambda i, x: f"kg{x:.2f}"),
    device("unit as a name", lambda i, x: f"kg={x:.2f}"),
    device("everything in quotes", lambda i, x: f'"{x:.2f}","kg"'),
    device("whole pounds", lambda i, x: f"{x:.0f} lb", "lb", shown=lambda x: float(round(x * 2.2046))),
    device("whole grams", lambda i, x: f"{x:.0f} g", "g", shown=lambda x: float(round(x * 1000))),
    device(
        "large counts below zero", lambda i, x: f"{x:.0f}", None, shown=lambda x: float(round(-8123456 + 20011 * x))
    ),
    device("counts through zero", lambda i, x: f"{x:.0f}", None, shown=lambda x: float(round(-1 + 7919 * x))),
    device("plus apart", lambda i, x: f"+ {x:7.3f} kg"),
    device("sign and noughts", lambda i, x: f"w{x:+08.2f}kg", **NEGATIVE),
    device("dots before the number", lambda i, x: f"pull ....... {x:.2f} kg"),
)
