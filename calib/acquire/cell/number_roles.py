"""Which number of a line is the force, the clock, the length: told by its unit, its name, how it runs, or asked.

Only numbers of lines of one shape are looked at; which lines go together is found in `line_agreement`. In this order: a
unit, in the line or a header; a name; and only then how a number runs. A number that stands still is not thereby out of
it: a load at rest stands still too, and the first of two hooks may be empty.
"""

import re
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

from calib.acquire.cell.line_format import FormatQuestion, LineFormat, Role
from calib.acquire.cell.line_grammar import Line
from calib.acquire.cell.line_layout import Spot
from calib.acquire.cell.line_steps import is_clock, is_sequence, unwrapped
from calib.acquire.cell.meter import NEWTON
from calib.acquire.cell.printed_words import Meaning, Named, Quantity, named, unit_of
from calib.frozen import dataclass

DIGITS = 3  # numbers of one digit each in a line: more are one number
SHOWN = 48  # characters of a line that a question shows
ROUGH = 5.0  # so many times rougher is the wrong way round to read digits
_BY_NAME: dict[Named, Role] = {
    "clock": "clock",
    "length": "length",
    "sequence": "sequence",
    "stable": "stable",
    "overload": "overload",
    "fault": "fault",
    "not force": "other",
    "which": "other",
}
_BY_QUANTITY: dict[Quantity, Role] = {"length": "length", "time": "clock", "other": "other"}
_NOT_OF_A_UNIT = ("clock", "sequence", "stable", "which")  # a number with a unit of force is none of these


@dataclass(frozen=True)
class _Column:
    """One number of lines of one shape."""

    values: list[float]
    digits: list[str]
    spot: Spot
    meaning: Meaning | None  # of its unit
    name: str

    @property
    def unit(self) -> str | None:
        """Of a force; None where it names none."""
        return self.meaning.unit if self.meaning and self.meaning.quantity == "force" else None

    @property
    def runs(self) -> bool:
        """Whether it is not always the same."""
        return len(set(self.values)) > 1

    @property
    def is_whole(self) -> bool:
        """Whether it is printed without decimals."""
        return not any("." in digits or "," in digits for digits in self.digits)


def decide(
    lines: Sequence[Line], column: int | None = None, header: tuple[str, ...] = (), quantity: Quantity = "force"
) -> LineFormat | FormatQuestion:
    """Give each number of lines of one shape its role.

    Args:
        lines: At least two, all of one shape.
        column: The force, counted from 1, where the user has said so.
        header: Names of the columns, where a line of words gave them.
        quantity: What is looked for.

    Returns:
        The format, or what has to be asked.
    """
    columns = _columns(lines, names_of_numbers(header, lines[0].shape))
    if column is not None and column > len(columns):
        return FormatQuestion(
            f"there is no column {column}: the lines hold {len(columns)} numbers; give another --column", patient=False
        )
    roles = [_by_unit_or_name(one, quantity) for one in columns]
    if column is not None:
        chosen = column - 1
    else:
        found = _force(columns, roles, lines[-1])
        if isinstance(found, FormatQuestion):
            return found
        chosen = found
    said: list[Role] = [role or _by_running(one, roles) for role, one in zip(roles, columns, strict=True)]
    said = ["other" if role == "value" else role for role in said]
    said[chosen] = "value"
    force = columns[chosen]
    unit = force.unit or (lines[-1].layout.unit if force.meaning is None else None)
    doubt = None if column is not None else _doubtful(force, lines, unit)
    turned = doubt or _turned(force, lines)
    if isinstance(turned, FormatQuestion):
        return turned
    return LineFormat(lines[0].shape, tuple(_once(said)), unit, turned=turned is True)


def _columns(lines: Sequence[Line], header: tuple[str, ...]) -> list[_Column]:
    count = len(lines[0].values)
    named_by_header = header if len(header) == count else ("",) * count
    columns = []
    for i, name in enumerate(named_by_header):
        spots = [line.layout.spots[i] for line in lines]
        spot = Counter(s for s in spots if s.unit or s.quantity).most_common(1)
        last = spot[0][0] if spot else spots[-1]
        unsure = last.unsure and all(s.unsure for s in spots)
        meaning = (
            Meaning(last.quantity, last.unit or last.unit_text)
            if last.quantity and (last.unit or last.unit_text or unsure)
            else None
        )
        columns.append(
            _Column(
                [line.values[i] for line in lines],
                [line.digits(i) for line in lines],
                last,
                meaning or _unit_in(name),
                name or last.name,
            )
        )
    return columns


def _unit_in(name: str) -> Meaning | None:
    """The unit in a column's name: `force_N`, `Load (lbf)`, `kg`."""
    if found := re.fullmatch(r"[^\W\d_]\s*/\s*([^\W\d_]+)", name):
        return unit_of(found[1])  # F/N: the force, in newton
    inner = re.search(r"(?:[_\s]|[\[(]\s*)([^\W\d_]+(?:/[^\W\d_]+)?|%|°C)\s*[\])]?\s*$", name)
    if inner is None:
        return unit_of(name) if (len(name) > 1 or name == "N") and named(name) is None else None
    return unit_of(inner[1])


def _by_unit_or_name(column: _Column, wanted: Quantity) -> Role | None:
    """What a unit or a name says; None where it may be the force."""
    meaning = named(column.name) if column.name else None
    if wanted == "length" and (column.unit or meaning == "value"):
        return "other"
    if wanted == "length" and (meaning == "length" or (column.meaning and column.meaning.quantity == "length")):
        return None
    if column.meaning is not None and column.meaning.quantity != "force":
        return _BY_QUANTITY[column.meaning.quantity]
    if column.spot.index and not column.unit:
        return "other"
    if meaning is None or meaning == "value" or (column.unit and meaning in _NOT_OF_A_UNIT):
        return None
    if meaning in ("overload", "fault", "stable") and not column.is_whole:
        return "other"
    if meaning == "which" and not column.is_whole:
        return None  # nobody numbers hooks 12.34
    if meaning == "clock" and any(unwrapped(b - a) < 0 for a, b in pairwise(column.values)):
        return "other"  # T21.5 may be a temperature
    return _BY_NAME[meaning]


def _by_running(column: _Column, roles: Sequence[Role | None]) -> Role:
    """What a number without unit or name is, by how it runs; beside a known clock, what else rises is a force."""
    if column.unit or named(column.name) == "value":
        return "value" if column.runs else "constant"
    if not column.runs:
        return "constant"
    if is_sequence(column.values) and column.is_whole:
        return "sequence"
    return "clock" if "clock" not in roles and is_clock(column.values) else "value"


def _force(columns: Sequence[_Column], roles: Sequence[Role | None], line: Line) -> int | FormatQuestion:
    """The column that is the force."""
    free = [i for i, role in enumerate(roles) if role is None]
    strong = [i for i in free if columns[i].unit or columns[i].spot.unsure]
    strong += _beside(columns, strong, free, line)
    strong = _less_doubles(columns, strong or [i for i in free if named(columns[i].name) == "value"])
    if len(strong) == 1:
        strong = sorted({*strong, *_rather(columns, strong[0], free, roles), *_multiplied(line, strong[0])})
    if len(strong) == 1:
        return strong[0]
    if len(strong) > 1:
        return _which(strong, line, columns)
    if not free:
        return _nothing_free(columns, roles, line)
    by_running = {i: _by_running(columns[i], roles) for i in free}
    if len(free) == 1:
        return free[0]
    steady = [i for i in free if by_running[i] == "constant"]
    moving = [i for i in free if by_running[i] == "value"]
    told = [i for i in steady if not columns[i].is_whole or not moving]
    if len(moving) + len(told) == 1:
        chosen = (moving or told)[0]
        if "clock" in by_running.values() or not _rises(columns[chosen]) or not steady:
            return chosen
        return _which(free, line, columns)  # may be a clock that misses lines, beside a force at rest
    return _which(sorted(moving + told) or free, line, columns)


_OF = re.compile(r"\b(?:of|von|van|de|di|sur)\b", re.IGNORECASE)  # what it takes, or what is wanted


def _beside(columns: Sequence[_Column], strong: Sequence[int], free: Sequence[int], line: Line) -> list[int]:
    """Numbers like the one with a unit, before it, with only blanks or "of" between: the unit may be that of both."""
    if len(strong) != 1 or strong[0] == 0 or named(columns[strong[0]].name) == "value":
        return []
    i = strong[0] - 1
    one, force = columns[i], columns[strong[0]]
    like = i in free and not one.is_whole and one.spot.places == force.spot.places and not one.unit
    return [i] if like and not re.search(r"\w", _OF.sub("", line.shape[i + 1])) and not is_clock(one.values) else []


def _rather(columns: Sequence[_Column], i: int, free: Sequence[int], roles: Sequence[Role | None]) -> list[int]:
    """Numbers with decimals that may be the force, where the one with a unit stands at what may be the range."""
    one = columns[i]
    if one.runs or one.values[0] == 0.0 or named(one.name) == "value":
        return []
    if i and _OF.search(one.name):  # 24 % of 50 kg
        return [i - 1]
    others = [k for k in free if k != i and not columns[k].is_whole and not columns[k].unit]
    return [k for k in others if _by_running(columns[k], roles) in ("value", "constant")]


_TIMES = re.compile(r"(?<![^\W\d_])[x\u00d7*^]\s*$", re.IGNORECASE)


_TIMES_SAID = re.compile(r"(?<!\w)[x\u00d7]\d+", re.IGNORECASE)


def _multiplied(line: Line, i: int) -> list[int]:
    """The number beside the force that may multiply it: x10, *10^3, x0.01 kg."""
    spots = line.layout.spots
    return [
        k
        for a, b in pairwise(range(len(spots)))
        for k in (a, b)
        if i in (a, b) and k != i and _TIMES.search(line.text[spots[a].stop : spots[b].begin].rstrip("+-"))
    ]


def _less_doubles(columns: Sequence[_Column], strong: list[int]) -> list[int]:
    """Without columns that say the same force again, in another unit."""
    units = {columns[i].unit for i in strong} - {None}
    if len(strong) < 2 or len(units) < len(strong):
        return strong
    first = columns[strong[0]]

    def is_double_of(other: _Column) -> bool:
        a, b = NEWTON[first.unit or "N"], NEWTON[other.unit or "N"]
        steps = a * 10.0**-first.spot.places + b * 10.0**-other.spot.places
        return all(abs(a * x - b * y) <= steps for x, y in zip(first.values, other.values, strict=True))

    return [strong[0], *(i for i in strong[1:] if columns[i].spot.index or not is_double_of(columns[i]))]


def _nothing_free(columns: Sequence[_Column], roles: Sequence[Role | None], line: Line) -> int | FormatQuestion:
    """Every number is something else by its unit or name: raw counts may still be the force."""
    raw = [
        i for i, role in enumerate(roles) if role == "other" and re.search(r"raw|adc|counts?", columns[i].name.lower())
    ]
    raw = [i for i in raw if columns[i].meaning is None]
    which = [i for i, c in enumerate(columns) if named(c.name) == "which" and c.meaning is None]
    mean = [i for i, c in enumerate(columns) if c.unit and re.search(r"avg|average|mean", c.name.lower())]
    only = next((found for found in (mean, raw, which) if len(found) == 1), None)
    if only:
        return only[0]
    what = next((c.meaning.unit for c in columns if c.meaning and c.meaning.quantity != "force"), None)
    kind = next((c.meaning.quantity for c in columns if c.meaning and c.meaning.quantity != "force"), "other")
    is_a = {"length": "a length", "time": "a time", "other": "no force"}.get(kind, "no force")
    said = f"{what} is {is_a}" if what else "its names say something else"
    return FormatQuestion(
        f"the lines hold no force: {_shown(line)!r}, {said}; set the device to a unit of force, or give --column"
    )


def _which(candidates: Sequence[int], line: Line, columns: Sequence[_Column]) -> FormatQuestion:
    shown = ", ".join(f"{i + 1} (now {columns[i].digits[-1]})" for i in candidates)
    fields = ", ".join(
        "value" if i == candidates[0] else "plus" if i in candidates else "other" for i in range(len(columns))
    )
    return FormatQuestion(
        f"more than one column may be the force: {shown}, in {_shown(line)!r}; say which with --column, or add them"
        f" with --format '{fields}'",
        tuple(i + 1 for i in candidates),
    )


def _shown(line: Line) -> str:
    return line.raw.strip()[:SHOWN]


def _doubtful(force: _Column, lines: Sequence[Line], unit: str | None) -> FormatQuestion | None:
    """What cannot be told of the force itself: a lone G, brackets around every number."""
    shown = _shown(lines[-1])
    if force.spot.unsure and unit is None:
        word = lines[-1].text[force.spot.stop :].strip(" ,;\t").split()
        letters = word[0] if word else "its unit"
        return FormatQuestion(
            f"in {shown!r} {letters} may be a unit or a mark (G: gram or gross); give --format 'value g', or its unit"
        )
    if unit is None and (apart := _unit_apart(lines[-1])):
        return FormatQuestion(
            f"in {shown!r} {apart} stands apart from the number: give --format 'value {apart}', or write a line down"
            " with --pattern"
        )
    if _is_in_pieces(lines, force):
        return FormatQuestion(
            f"the digits in {shown!r} may be one number in pieces; give --format 'value {unit or 'kg'}' with --column,"
            " or set the device to a dot or a comma",
            patient=False,
        )
    if times := _TIMES_SAID.search(lines[-1].text):
        return FormatQuestion(
            f"{times[0]!r} in {shown!r} may multiply the number, or nothing; give --format 'value {unit or 'kg'}' if"
            " nothing, or set the device to its plain unit"
        )
    if below := _below_in_words(lines[-1], force):
        return FormatQuestion(
            f"{below!r} in {shown!r} may mean below zero, or nothing; give --format 'value {unit or 'kg'}' if nothing,"
            " or write the lines above zero down with --pattern",
            patient=False,
        )
    if all(line.layout.spots[_nearest_number(line, force)].bracketed for line in lines) and any(force.values):
        return FormatQuestion(
            f"the brackets in {shown!r} may mean below zero, or nothing; give --format 'value kg' for below zero,"
            " or --pattern '({value kg})'"
        )
    return None


_BELOW = re.compile(r"\b(?:minus|neg|negative|push|comp|compr\w*|druck)\b", re.IGNORECASE)
_MINUS_BEHIND = re.compile(r"(?<=[^\W\d_])\s?-\s*$")
_MINUS_AHEAD = re.compile(r"^\s*-\s*(?=[^\W\d_])")  # - load 3.00 kg


def _below_in_words(line: Line, force: _Column) -> str:
    """A word of a line, or a minus behind its unit, that may be the sign; "" where there is none."""
    found = _BELOW.search(line.text) or _MINUS_BEHIND.search(line.text[force.spot.stop :])
    found = found or _MINUS_AHEAD.search(line.text)
    return found[0].strip() if found else ""


_ONE_SIGN = re.compile(r"[ '\u00b7\u2019\u22c5]")


def _is_in_pieces(lines: Sequence[Line], force: _Column) -> bool:
    """Whether a whole number with noughts before stands one sign behind another: 1 07 may be 1.07."""
    last = lines[-1]
    if len(last.values) > DIGITS and all(spot.end - spot.begin == 1 for line in lines for spot in line.layout.spots):
        return True
    i = _nearest_number(last, force)
    padded = force.is_whole and len({*map(len, force.digits)}) == 1 and any(d[0] == "0" != d for d in force.digits)
    spots = last.layout.spots
    return i > 0 and padded and _ONE_SIGN.fullmatch(last.text[spots[i - 1].stop : spots[i].begin]) is not None


def _unit_apart(line: Line) -> str:
    """A unit of force that no number of the line has, "" where there is none."""
    if any(spot.unit for spot in line.layout.spots):
        return ""
    for word in re.findall(r"[^\W\d_]+", line.text):
        meaning = unit_of(word) if len(word) > 1 or word in "Ng" else None
        if meaning is not None and meaning.unit and meaning.quantity == "force":
            return str(word)
    return ""


def _nearest_number(line: Line, force: _Column) -> int:
    return min(range(len(line.values)), key=lambda i: abs(line.layout.spots[i].begin - force.spot.begin))


def _turned(force: _Column, lines: Sequence[Line]) -> bool | FormatQuestion:
    """Whether digits are sent last first: then they are smooth only when read so."""
    lone = len(lines[0].values) == 1 and lines[0].shape[0].endswith("=") and force.unit is None
    lone = lone and not re.search(r"[^\W\d_]", force.name) and not force.is_whole
    if not lone or len({digits.index(".") for digits in force.digits if "." in digits}) != 1:
        return False
    back = [float(digits[::-1]) for digits in force.digits]
    forward = [abs(value) for value in force.values]
    if all(a == b for a, b in zip(back, forward, strict=True)) and len(set(forward)) > 1:
        return False
    there, here = _roughness(back), _roughness(forward)
    if there * ROUGH < here:
        return True
    if here * ROUGH < there:
        return False
    return FormatQuestion(
        f"{_shown(lines[-1])!r} may be sent with its last digit first; pull on it to tell, or give --format"
        " turned-round or --format value",
        waits=True,
    )


def _roughness(values: Sequence[float]) -> float:
    """How much it goes to and fro, in what it covers."""
    covers = max(values) - min(values)
    return sum(abs(b - a) for a, b in pairwise(values)) / covers if covers else 0.0


def _rises(column: _Column) -> bool:
    return all(unwrapped(b - a) > 0 for a, b in pairwise(column.values))


def _once(roles: Sequence[Role]) -> list[Role]:
    """Only the first clock, counter and length is used."""
    seen: set[Role] = set()
    kept: list[Role] = []
    for role in roles:
        kept.append("other" if role in seen and role in ("clock", "sequence", "length") else role)
        seen.add(role)
    return kept


_ONE_NAME = re.compile(r"[^\W\d]+(?:_[^\W\d_]+|\s*[\[(][^\W\d_]+[\])])")  # force_N, Load (lbf)


def header_names(text: str) -> tuple[str, ...]:
    """The names in a line of words that stands above columns; none where it is something else."""
    text = text.strip("# ")
    if _ONE_NAME.fullmatch(text) and len(text) <= 20 and (unit := _unit_in(text)) and unit.quantity == "force":
        return (text,)
    names = tuple(part.strip() for part in re.split(r"[,;\t|]", text))
    if len(names) == 1:
        names = tuple(text.split())
        names = names if all(named(name) or _unit_in(name) for name in names) else ()
    return names if len(names) > 1 and all(name and len(name) <= 20 for name in names) else ()


def names_of_numbers(header: tuple[str, ...], shape: tuple[str, ...]) -> tuple[str, ...]:
    """The names of the numbers: columns of words behind them, such as a status, are named too."""
    behind = shape[-1].count(",") + shape[-1].count(";")
    return header[:-behind] if behind and len(header) == len(shape) - 1 + behind else header
