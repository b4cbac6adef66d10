"""Which number of a line is the force, the clock, the length: told by how it runs, its unit and its name, or asked.

Only numbers of lines of one shape are looked at; which lines go together is found in `line_agreement`.
"""

import re
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise
from statistics import median

from calib.acquire.cell.line_format import LineFormat, Question, Role
from calib.acquire.cell.lines import Line, Number

_WRAPS = (2.0**16, 2.0**32)
_FORCE = ("force", "weight", "load", "mass", "pull")
_LENGTH = ("length", "distance", "position", "travel", "extension")
_CLOCK = ("t", "time", "ms", "millis", "clock", "seconds")


def decide(
    lines: Sequence[Line], column: int | None = None, header: tuple[str, ...] = (), *, decimal_comma: bool = False
) -> LineFormat | Question:
    """Give each number of lines of one shape its role.

    Args:
        lines: At least two, all of one shape.
        column: The force, counted from 1, where the user has said so.
        header: Names of the columns, where a line of words gave them.
        decimal_comma: Whether other lines have shown that a comma parts decimals.

    Returns:
        The format, or what has to be asked.
    """
    shape = lines[0].shape
    rows = [line.numbers for line in lines]
    series = [[row[i].value for row in rows] for i in range(len(rows[0]))]
    units = [_unit([row[i] for row in rows]) for i in range(len(series))]
    if column is not None and column > len(series):
        return Question(f"there is no column {column}: the lines hold {len(series)} numbers; give another --column")
    roles: list[Role] = [_role_by_itself(values, unit) for values, unit in zip(series, units, strict=True)]
    if column is not None:
        roles = [role if role != "value" else "other" for role in roles]
        roles[column - 1] = "value"
        return LineFormat(shape, tuple(roles), units[column - 1])
    if len(series) == 1:
        return LineFormat(shape, ("value",), units[0])
    if "".join(shape[1:-1]) == "," and len(series) == 2 and roles[0] != "clock" and _halves(rows):
        if units[1] or shape[0] or decimal_comma:
            return LineFormat(shape, ("value", "other"), units[1], None, decimal_comma=True)
        return Question(
            "one number with a decimal comma, or two columns? Give --format decimal-comma or --column", (1, 2)
        )
    header = names_of_numbers(header, shape)
    if len(header) == len(series):
        roles = _only_value_named(_only_clock_named(roles, header), header)
    return _one_value(shape, roles, units, rows)


def _one_value(
    shape: tuple[str, ...], roles: list[Role], units: Sequence[str | None], rows: Sequence[Sequence[Number]]
) -> LineFormat | Question:
    last = rows[-1]
    values = [i for i, role in enumerate(roles) if role == "value"]
    with_unit = [i for i in values if units[i]]
    if len(with_unit) == 1:
        values = with_unit
    if not values:  # nothing varies: a number that stands still beside a clock is the force at rest
        values = [i for i, role in enumerate(roles) if role == "constant"]
        values = [i for i in values if units[i]] or values
    if len(values) != 1:
        clocks = [i for i, role in enumerate(roles) if role == "clock"] if not values else []
        return _which(values or clocks, last)
    chosen = values[0]
    if "clock" not in roles and "constant" in roles and units[chosen] is None and _rises(rows, chosen):
        return _which(range(len(roles)), last)  # may be a clock that misses lines, beside a force at rest
    kept: list[Role] = ["other" if role == "value" else role for role in roles]
    kept[chosen] = "value"
    return LineFormat(shape, tuple(kept), units[chosen])


def _which(candidates: Sequence[int], last: Sequence[Number]) -> Question:
    shown = ", ".join(f"{i + 1} (now {last[i].text})" for i in candidates)
    columns = tuple(i + 1 for i in candidates)
    return Question(f"more than one column may be the force: {shown}; say which with --column", columns)


def _role_by_itself(values: Sequence[float], unit: str | None) -> Role:
    if unit is None and is_clock(values):
        return "clock"
    return "constant" if len(set(values)) == 1 else "value"


def _rises(rows: Sequence[Sequence[Number]], column: int) -> bool:
    return all(unwrapped(b[column].value - a[column].value) > 0 for a, b in pairwise(rows))


def is_clock(values: Sequence[float]) -> bool:
    """Whether numbers rise by near-constant steps; a clock of 16 or 32 bits may wrap.

    >>> is_clock([32600, 32700, -32736, -32635])
    True
    """
    steps = [unwrapped(b - a) for a, b in pairwise(values)]
    middle = median(steps) if steps else 0
    if middle <= 0 or min(steps) <= 0:
        return False
    near = sum(abs(step - middle) <= 0.5 * middle for step in steps)
    return near >= 0.8 * len(steps)


def unwrapped(step: float) -> float:
    """A clock's step, with a wrap at 16 or 32 bits taken out."""
    for wrap in _WRAPS:
        if -wrap <= step < -0.9 * wrap:
            return step + wrap
    return step


def _unit(column: Sequence[Number]) -> str | None:
    """The unit most lines name; some scales leave it away while the load moves."""
    found = Counter(number.unit for number in column if number.unit)
    return found.most_common(1)[0][0] if found else None


def _halves(rows: Sequence[Sequence[Number]]) -> bool:
    """Whether two numbers may be one with a decimal comma: no dot, and the second of constant width."""
    return not any("." in n.text for row in rows for n in row) and len({len(row[1].text) for row in rows}) == 1


def header_names(text: str) -> tuple[str, ...]:
    """The names in a line of words that stands above columns; none where it is something else."""
    names = tuple(part.strip().lower() for part in re.split(r"[,;\t]", text.lstrip("# ")))
    return names if len(names) > 1 and all(name and len(name) <= 20 for name in names) else ()


def names_of_numbers(header: tuple[str, ...], shape: tuple[str, ...]) -> tuple[str, ...]:
    """The names of the numbers: columns of words behind them, such as a status, are named too."""
    behind = shape[-1].count(",") + shape[-1].count(";")
    return header[:-behind] if behind and len(header) == len(shape) - 1 + behind else header


def _role_named(name: str) -> Role | None:
    first = re.split(r"[\s_(\[]", name)[0]
    if first in _CLOCK:
        return "clock"
    if first in _LENGTH:
        return "length"
    return "value" if first in _FORCE else None


def _only_clock_named(roles: Sequence[Role], header: Sequence[str]) -> list[Role]:
    """The roles that the names say; beside a named clock, what else rises evenly is a force that is being pulled."""
    named = [_role_named(name) for name in header]
    rising: Role = "value" if "clock" in named else "clock"
    return [name or (rising if role == "clock" else role) for name, role in zip(named, roles, strict=True)]


def _only_value_named(roles: Sequence[Role], header: Sequence[str]) -> list[Role]:
    named = [_role_named(name) == "value" for name in header]
    if sum(named) != 1:
        return list(roles)
    return ["other" if role == "value" and not by_name else role for role, by_name in zip(roles, named, strict=True)]
