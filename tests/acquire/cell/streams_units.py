"""How devices write a unit: words, plurals, capitals, other scripts, in a header, in a key. All invented."""

from tests.acquire.cell.kinds import LineOfAKind
from tests.acquire.cell.pulls import device

PER_KG = {"N": 9.80665, "kN": 0.00980665, "daN": 0.980665, "mN": 9806.65, "lb": 2.204623, "lbf": 2.204623}
PER_KG |= {"g": 1000.0, "gf": 1000.0, "oz": 35.27396, "kg": 1.0, "kgf": 1.0, "t": 0.001}
PLACES = {"kN": 4, "t": 5, "g": 0, "gf": 0, "mN": 0}


def _in(unit: str, x: float) -> float:
    return round(x * PER_KG[unit], PLACES.get(unit, 2))


def _behind(spelt: str, unit: str, gap: str = " ") -> LineOfAKind:
    places = PLACES.get(unit, 2)
    return device(
        f"{spelt} behind{', glued' if not gap else ', a tab between' if gap != ' ' else ''}",
        lambda i, x: f"{x:.{places}f}{gap}{spelt}",
        unit,
        shown=lambda x: _in(unit, x),
    )


SPELT = {
    "Kgs": "kg",
    "KGS": "kg",
    "kilograms": "kg",
    "Kilogram": "kg",
    "kilos": "kg",
    "kilogramos": "kg",
    "pounds": "lb",
    "Pound": "lb",
    "LBS": "lb",
    "lbs.": "lb",
    "kg.": "kg",
    "Newton": "N",
    "newtons": "N",
    "NEWTONS": "N",
    "kilonewton": "kN",
    "daN": "daN",
    "DAN": "daN",
    "mN": "mN",
    "kp": "kgf",
    "kgf": "kgf",
    "kg-f": "kgf",
    "Kgf": "kgf",
    "lbf": "lbf",
    "lb-f": "lbf",
    "LBF": "lbf",
    "gr": "g",
    "gr.": "g",
    "grams": "g",
    "Gramm": "g",
    "gf": "gf",
    "ounces": "oz",
    "OZ": "oz",
    "t": "t",
    "tonnes": "t",
    "кг": "kg",
    "КГ": "kg",
    "г": "g",
    "Н": "N",
    "кН": "kN",
    "кгс": "kgf",
    "千克": "kg",
    "公斤": "kg",
    "牛顿": "N",
    "キログラム": "kg",
    "킬로그램": "kg",
    "[kg]": "kg",
    "(N)": "N",
}

STREAMS = (
    *(_behind(spelt, unit) for spelt, unit in SPELT.items()),
    _behind("N", "N", gap=""),
    _behind("N", "N", gap="\t"),
    _behind("kgf", "kgf", gap=""),
    _behind("公斤", "kg", gap=""),
    device("key names the unit", lambda i, x: f"force_N={x:.2f}", "N", shown=lambda x: _in("N", x)),
    device(
        "label with the unit in brackets", lambda i, x: f"Load (lbf): {x:.2f}", "lbf", shown=lambda x: _in("lbf", x)
    ),
    device("label with the unit in square brackets", lambda i, x: f"Pull [kg] {x:.2f}"),
    device(
        "header names the unit",
        lambda i, x: f"{2000 + 100 * i},{x:.2f}",
        "N",
        shown=lambda x: _in("N", x),
        header="time_ms,force_N\r\n",
    ),
    device(
        "header of one name with its unit",
        lambda i, x: f"{x:.2f}",
        "N",
        shown=lambda x: _in("N", x),
        header="force_N\r\n",
    ),
    device(
        "header of one name, unit in brackets",
        lambda i, x: f"{x:.2f}",
        "lbf",
        shown=lambda x: _in("lbf", x),
        header="Load (lbf)\r\n",
    ),
    device(
        "header with the unit in brackets",
        lambda i, x: f"{2000 + 100 * i}\t{x:.2f}",
        "lbf",
        shown=lambda x: _in("lbf", x),
        header="Time (ms)\tLoad (lbf)\r\n",
    ),
    device("object with a unit", lambda i, x: f'{{"ms":{2000 + 100 * i},"pull":{x:.2f},"unit":"kg"}}'),
    device(
        "object with its unit first",
        lambda i, x: f'{{"unit": "N", "value": {x:.2f}}}',
        "N",
        shown=lambda x: _in("N", x),
    ),
    device("object whose key names the unit", lambda i, x: f'{{"t": {2000 + 100 * i}, "kg": {x:.2f}}}'),
    device("object with a unit in its key", lambda i, x: f'{{"load_kg":{x:.2f},"celsius":21.{i // 40}}}'),
    device("two words for it", lambda i, x: f"Zugkraft in Newton: {x:.2f}", "N", shown=lambda x: _in("N", x)),
    device("counts, said so", lambda i, x: f"counts: {x:.0f}", None, shown=lambda x: float(round(40117 + 20011 * x))),
)
