"""What a line of a stream holds, number by number: said in words, typed by a user, stored in a file.

How a format is found belongs to `line_agreement.py`. A pattern is a line as the user writes it down, with fields in
braces for what changes: `t={clock} raw={number} kg={value kg}`. It becomes an expression whose parts never give back
what they took, so that no line, however long, takes more than one way through it.
"""

import re
from collections.abc import Mapping
from dataclasses import asdict
from functools import lru_cache
from typing import Any, Literal, get_args

from calib.acquire.cell.line_layout import Mark, Notation
from calib.acquire.cell.printed_words import FORCE_UNITS
from calib.errors import DataError
from calib.frozen import dataclass

Role = Literal[
    "value", "plus", "clock", "sequence", "constant", "length", "stable", "overload", "fault", "other"
]  # fmt: skip
ROLES: tuple[Role, ...] = get_args(Role)
UNITS = frozenset(FORCE_UNITS.values())
MARKS: dict[str, Mark] = {  # by the word of a format as typed
    "thousands-comma": ",",
    "thousands-dot": ".",
    "thousands-apostrophe": "'",
    "thousands-blank": " ",
}
VERSION = 2  # of a stored format: before it, shapes were cut in another way
LONGEST_PATTERN = 200
MOST_PLACES = 15


@dataclass(frozen=True)
class LineFormat:
    """What a line holds, number by number; can be stored and read back.

    Args:
        shape: What stands around the numbers; lines of the format share it. None takes any line with enough numbers.
        roles: What each number is. The force is "value", with all that are "plus" added.
        unit: Of the value; None is counts.
        label: A line without numbers that stands before each value.
        decimal_comma: A comma parts decimals.
        groups: What stands between groups of three digits of one number; None where every number is written through.
        glued: Letters may touch the digits.
        turned: The digits are sent last first.
        clock_s: One unit of the clock. [s]
        check: How the line's checksum is made; None where there is none.
        places: Decimals of the force, where they are always as many.
        also: Other shapes of the same line: letters that come and go.
        beside: Shapes of other lines that take turns with it.
        pattern: The line as the user wrote it down, instead of all the others but `unit` and `clock_s`.
    """

    shape: tuple[str, ...] | None
    roles: tuple[Role, ...]
    unit: str | None = None
    label: str | None = None
    decimal_comma: bool = False
    groups: Mark | None = None
    glued: bool = False
    turned: bool = False
    clock_s: float | None = None
    check: str | None = None
    places: int | None = None
    also: tuple[tuple[str, ...], ...] = ()
    beside: tuple[tuple[str, ...], ...] = ()
    pattern: str | None = None

    @property
    def notation(self) -> Notation:
        """How its numbers are written."""
        return Notation("," if self.decimal_comma else ".", self.groups, self.glued)

    def described(self) -> str:
        """Say the format as a person would."""
        unit = f"in {self.unit}" if self.unit else "in counts (the line names no unit)"
        if self.pattern is not None:
            return f"lines like {self.pattern!r}, {unit}"
        if len(self.roles) == 1:
            said = "one number a line"
        else:
            said = ", ".join(f"column {i + 1} {_SAID[role]}" for i, role in enumerate(self.roles))
        said += ", with a decimal comma" if self.decimal_comma else ""
        said += f", with {_MARK_SAID[self.groups]} between thousands" if self.groups else ""
        said += ", its digits sent last first" if self.turned else ""
        check = ", each line with a checksum" if self.check else ""
        before = ", behind a line of words" if self.label is not None else ""
        return f"{said}, {unit}{before}{check}"

    def document(self) -> dict[str, Any]:
        """As plain lists and words, for a file."""
        return {"version": VERSION, **asdict(self)}

    @classmethod
    def from_document(cls, document: Any) -> "LineFormat":
        """The inverse of `document`; of an older version, the shape is left to be found again.

        Raises:
            DataError: It is no format.
        """
        if not isinstance(document, Mapping):
            raise DataError("is not a line format", remedy="take it out, and let it be found again")
        kept = {key: document[key] for key in cls.__dataclass_fields__ if document.get(key) is not None}
        older = document.get("version") != VERSION
        if older:
            kept.pop("shape", None)
            kept.pop("beside", None)
            kept.pop("also", None)
            if kept.get("decimal_comma") and _as_tuple(kept.get("roles")) == ("value", "other"):
                kept["roles"] = ["value"]  # a number with a comma was two
        if not _is_format(kept):
            raise DataError("is not a line format", remedy="take it out, and let it be found again")
        if "pattern" in kept:
            expression(kept["pattern"])
        kept["roles"] = tuple(kept["roles"])
        shape = kept.pop("shape", None)
        for key in ("also", "beside"):
            kept[key] = tuple(tuple(other) for other in kept.get(key, ()))
        return cls(shape=tuple(shape) if shape is not None else None, **kept)


def _as_tuple(found: Any) -> tuple[Any, ...]:
    return tuple(found) if isinstance(found, (list, tuple)) else ()


def _is_format(kept: Mapping[str, Any]) -> bool:
    roles, shape = _as_tuple(kept.get("roles")), kept.get("shape")
    places = kept.get("places", 0)
    clock = kept.get("clock_s", 1.0)
    return (
        all(role in ROLES for role in roles)
        and roles.count("value") == 1
        and (shape is None or (_are_texts(shape) and len(shape) == len(roles) + 1))
        and all(_are_texts(other) for key in ("also", "beside") for other in _as_tuple(kept.get(key, ())))
        and kept.get("unit", "N") in UNITS
        and all(isinstance(kept.get(key, ""), str) for key in ("label", "check", "pattern"))
        and kept.get("groups", ",") in MARKS.values()
        and all(isinstance(kept.get(key, False), bool) for key in ("decimal_comma", "glued", "turned"))
        and isinstance(places, int)
        and 0 <= places <= MOST_PLACES
        and isinstance(clock, (int, float))
        and not isinstance(clock, bool)
        and 0 < clock < 1e6
    )


def _are_texts(found: Any) -> bool:
    return isinstance(found, (list, tuple)) and all(isinstance(part, str) for part in found)


_SAID: dict[Role, str] = {
    "value": "is the force",
    "plus": "is added to it",
    "clock": "a clock",
    "sequence": "counts the lines",
    "constant": "always the same",
    "length": "the length",
    "stable": "says whether it stands",
    "overload": "says overload",
    "fault": "says a fault",
    "other": "not used",
}
_MARK_SAID: dict[Mark, str] = {",": "a comma", ".": "a dot", "'": "an apostrophe", " ": "a blank"}


@dataclass(frozen=True)
class FormatQuestion:
    """What only the user can say.

    Args:
        text: What to ask, with a line shown, and the option that answers.
        columns: The numbers that may be the force, counted from 1.
        patient: More lines may answer it.
        waits: A pull would answer it, so nothing is given up meanwhile.
    """

    text: str
    columns: tuple[int, ...] = ()
    patient: bool = True
    waits: bool = False


@dataclass(frozen=True)
class Chosen:
    """What is known beforehand: the number of a column, the whole format, what the scale can carry.

    Args:
        column: The force, counted from 1.
        format: All of it.
        capacity: The scale's range; a reading beyond it is an overload. [N]
        per_count: Newton of one count, where the line sends counts and the scale's file knows. [N]
        zero: Newton at no counts. [N]
        quantity: What the lines say: of a length sensor's own line, the length.
    """

    column: int | None = None
    format: LineFormat | None = None
    capacity: float | None = None
    per_count: float | None = None
    zero: float = 0.0
    quantity: Literal["force", "length"] = "force"


def parse_format(text: str) -> LineFormat:
    """Read a format as typed: a role for each number, a unit behind "value"; or how the one number is written.

    >>> parse_format("clock, value kg, other").described()
    'column 1 a clock, column 2 is the force, column 3 not used, in kg'
    >>> parse_format("thousands-comma kg").described()
    'one number a line, with a comma between thousands, in kg'
    """
    roles: list[Role] = []
    unit: str | None = None
    groups: Mark | None = None
    decimal_comma = turned = False
    for part in text.lower().split(","):
        word, _, after = part.strip().partition(" ")
        unit_said = FORCE_UNITS.get(after.strip())
        if after and (unit_said is None or not (word in {"value", "turned-round", "decimal-comma"} or word in MARKS)):
            raise DataError(f"cannot read the format's part {part.strip()[:40]!r}", remedy=_FORMAT_HELP)
        unit = unit_said or unit
        if word == "decimal-comma":
            decimal_comma = True
        elif word == "turned-round":
            turned = True
        elif word in MARKS:
            groups = MARKS[word]
        elif word in ROLES:
            roles.append(next(role for role in ROLES if role == word))
        else:
            raise DataError(f"cannot read the format's part {part.strip()[:40]!r}", remedy=_FORMAT_HELP)
    if (groups or decimal_comma or turned) and not roles:
        roles = ["value"]
    if roles.count("value") != 1 or roles.count("length") > 1:
        raise DataError("a format has exactly one value and at most one length", remedy=_FORMAT_HELP)
    return LineFormat(None, tuple(roles), unit, decimal_comma=decimal_comma, groups=groups, turned=turned)


_FORMAT_HELP = (
    f"write a role for each number, such as 'clock, value kg, other' ({', '.join(ROLES)}), or how the"
    f" one number is written: decimal-comma, turned-round, {', '.join(MARKS)}"
)

_FIELD = re.compile(r"\{\s*([a-z]+)\s*([^{}]*)\}", re.IGNORECASE)
_NUMBER_FIELD = (
    r"[+\-\u2212]?[ \t]{0,8}+(?:\d[\d'\u2019]{0,40}+(?:[.,]\d{0,40}+)?|[.,]\d{1,40}+)(?:[eE][+\-]?\d{1,3}+)?"
)
_CLOCK_UNITS = {"": None, "s": 1.0, "ms": 1e-3, "us": 1e-6, "\u00b5s": 1e-6}
_NUMBER_FIELDS = ("value", "plus", "clock", "sequence", "length")
_PATTERN_HELP = (
    "write a line down and put fields in braces where it changes: 't={clock ms} kg={value kg}'; the fields are"
    " {value kg}, {plus}, {clock ms}, {sequence}, {length}, {stands ST}, {number}, {word}, {any}"
)


@dataclass(frozen=True)
class Expression:
    """A pattern as an expression with a group for each field, and what the fields said beside."""

    search: re.Pattern[str]
    unit: str | None
    clock_s: float | None
    stands: str = ""


def parse_pattern(text: str) -> LineFormat:
    """Read a pattern as typed.

    >>> parse_pattern("t={clock ms} kg={value kg}").described()
    "lines like 't={clock ms} kg={value kg}', in kg"

    Raises:
        DataError: It has no value, or a field that is not known.
    """
    found = expression(text)
    return LineFormat(None, ("value",), found.unit, clock_s=found.clock_s, pattern=text)


@lru_cache(maxsize=64)
def expression(text: str) -> Expression:
    """The expression of a pattern.

    Raises:
        DataError: It cannot be read.
    """
    if len(text) > LONGEST_PATTERN:
        raise DataError(f"a pattern has at most {LONGEST_PATTERN} characters, not {len(text)}", remedy=_PATTERN_HELP)
    parts: list[str] = []
    said: dict[str, str] = {}
    last = 0
    for m in _FIELD.finditer(text):
        parts.append(_literal(text[last : m.start()]))
        name, more, last = m[1].lower(), m[2].strip(), m.end()
        if name in said and name != "plus":
            raise DataError(f"the pattern has two fields {{{name}}}", remedy=_PATTERN_HELP)
        parts.append(_field(name, text[last:], sum(key.startswith(name) for key in said)))
        if name in _NUMBER_FIELDS or name == "stands":
            said[f"{name}{sum(key.startswith(name) for key in said)}" if name == "plus" else name] = more
    parts.append(_literal(text[last:]))
    if "value" not in said or set("{}") & set(_FIELD.sub("", text)):
        raise DataError("the pattern has no field {value}, or a brace that is left over", remedy=_PATTERN_HELP)
    unit, clock = said["value"], said.get("clock", "")
    if unit and unit.lower() not in FORCE_UNITS:
        raise DataError(f"{unit[:20]!r} is not a unit of force", remedy="use one of " + ", ".join(sorted(UNITS)))
    if clock not in _CLOCK_UNITS:
        raise DataError(f"{clock[:20]!r} is not a clock unit", remedy="use s, ms or us")
    return Expression(
        re.compile("".join(parts).strip()), FORCE_UNITS.get(unit.lower()), _CLOCK_UNITS[clock], said.get("stands", "")
    )


def _literal(text: str) -> str:
    """Text as it stands; blanks may be more, or none."""
    return r"\s{0,40}+".join(re.escape(part) for part in re.split(r"\s+", text))


def _field(name: str, after: str, count: int) -> str:
    """One field; what it may hold ends where the text behind it begins."""
    if name in _NUMBER_FIELDS:
        return rf"[ \t]{{0,40}}+(?P<{name}{count if name == 'plus' else ''}>{_NUMBER_FIELD})"
    if name == "number":
        return rf"[ \t]{{0,40}}+{_NUMBER_FIELD}"
    if name == "word":
        return r"[ \t]{0,40}+[^\s\d,;:=]{1,40}+"
    if name == "stands":
        return r"[ \t]{0,40}+(?P<stands>[^\s\d,;:=]{0,40}+)"
    if name == "any":
        follows = _FIELD.split(after, maxsplit=1)[0].strip()
        return rf"(?:(?!{re.escape(follows)}).){{0,512}}+" if follows else r"[^\d]{0,512}+"
    raise DataError(f"the pattern's field {{{name[:20]}}} is not known", remedy=_PATTERN_HELP)
