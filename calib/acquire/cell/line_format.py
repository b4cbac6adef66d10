"""What a line of a stream holds, number by number: said in words, typed by a user, stored in a file.

How a format is found belongs to `line_agreement.py`.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any, Literal

from calib.acquire.cell.digit_groups import MARKS, Mark
from calib.acquire.cell.lines import UNITS
from calib.errors import DataError

Role = Literal["value", "clock", "constant", "length", "other"]
ROLES: tuple[Role, ...] = ("value", "clock", "constant", "length", "other")


@dataclass(frozen=True)
class LineFormat:
    """What a line holds, number by number; can be stored and read back.

    Args:
        shape: What stands around the numbers; lines of the format share it. None takes any line with enough numbers.
        roles: What each number is.
        unit: Of the value; None is counts.
        label: A line without numbers that stands before each value.
        decimal_comma: The two halves of the one number are parted by a comma.
        groups: What stands between groups of three digits of one number; None where every number is written through.
    """

    shape: tuple[str, ...] | None
    roles: tuple[Role, ...]
    unit: str | None = None
    label: str | None = None
    decimal_comma: bool = False
    groups: Mark | None = None

    def words(self) -> str:
        """Say the format as a person would."""
        if self.decimal_comma or len(self.roles) == 1:
            said = "one number a line"
        else:
            said = ", ".join(f"column {i + 1} {_SAID[role]}" for i, role in enumerate(self.roles))
        comma = ", with a decimal comma" if self.decimal_comma else ""
        comma += f", with {_MARK_SAID[self.groups]} between thousands" if self.groups else ""
        unit = f"in {self.unit}" if self.unit else "in counts (the line names no unit)"
        before = ", behind a line of words" if self.label is not None else ""
        return f"{said}{comma}, {unit}{before}"

    def document(self) -> dict[str, Any]:
        """As plain lists and words, for a file."""
        return asdict(self)

    @classmethod
    def of(cls, document: Any) -> "LineFormat":
        """The inverse of `document`.

        Raises:
            DataError: It is no format.
        """
        if not isinstance(document, Mapping):
            raise DataError("is no format of a line", remedy="take it out, and let it be found again")
        roles: Any = document.get("roles")
        shape, unit = document.get("shape"), document.get("unit")
        label, groups = document.get("label"), document.get("groups")
        right = (
            isinstance(roles, (list, tuple))
            and all(role in ROLES for role in roles)
            and list(roles).count("value") == 1
            and (shape is None or (_are_texts(shape) and len(shape) == len(roles) + 1))
            and (unit is None or unit in UNITS.values())
            and (label is None or isinstance(label, str))
            and (groups is None or groups in MARKS.values())
            and isinstance(document.get("decimal_comma", False), bool)
        )
        if not right:
            raise DataError("is no format of a line", remedy="take it out, and let it be found again")
        shapes = tuple(shape) if shape is not None else None
        return cls(shapes, tuple(roles), unit, label, document.get("decimal_comma", False), groups)


def _are_texts(found: Any) -> bool:
    return isinstance(found, (list, tuple)) and all(isinstance(part, str) for part in found)


_SAID = {
    "value": "is the force",
    "clock": "a clock",
    "constant": "always the same",
    "length": "the length",
    "other": "not used",
}


_MARK_SAID: dict[Mark, str] = {",": "a comma", ".": "a dot", "'": "an apostrophe", " ": "a blank"}


@dataclass(frozen=True)
class Question:
    """What only the user can say; `columns` are the numbers that may be the force, counted from 1."""

    text: str
    columns: tuple[int, ...] = ()


@dataclass(frozen=True)
class Chosen:
    """What the user has said beforehand: the number of a column, or the whole format."""

    column: int | None = None
    format: LineFormat | None = None


def parse_format(text: str) -> LineFormat:
    """Read a format as typed: a role for each number, a unit behind "value"; or how the one number is written.

    >>> parse_format("clock, value kg, other").words()
    'column 1 a clock, column 2 is the force, column 3 not used, in kg'
    >>> parse_format("thousands-comma kg").words()
    'one number a line, with a comma between thousands, in kg'
    """
    roles: list[Role] = []
    unit: str | None = None
    groups: Mark | None = None
    decimal_comma = False
    for part in text.lower().split(","):
        word, _, after = part.strip().partition(" ")
        if after and (after.strip() not in UNITS or not (word in {"value", "decimal-comma"} or word in MARKS)):
            raise DataError(f"cannot read the format's part {part.strip()[:40]!r}", remedy=_FORMAT_HELP)
        unit = UNITS[after.strip()] if after else unit
        if word == "decimal-comma":
            decimal_comma = True
        elif word in MARKS:
            groups = MARKS[word]
        elif word in ROLES:
            roles.append(next(role for role in ROLES if role == word))
        else:
            raise DataError(f"cannot read the format's part {part.strip()[:40]!r}", remedy=_FORMAT_HELP)
    if decimal_comma:
        if roles:
            raise DataError("a format with decimal-comma has one number a line, without roles", remedy=_FORMAT_HELP)
        return LineFormat(None, ("value", "other"), unit, None, decimal_comma=True, groups=groups)
    if groups and not roles:
        roles = ["value"]
    if roles.count("value") != 1 or roles.count("length") > 1:
        raise DataError("a format has exactly one value and at most one length", remedy=_FORMAT_HELP)
    return LineFormat(None, tuple(roles), unit, groups=groups)


_FORMAT_HELP = (
    "write a role for each number, such as 'clock, value kg, other' (value, clock, constant, length, other), or how the"
    f" one number is written: decimal-comma, {', '.join(MARKS)}"
)
