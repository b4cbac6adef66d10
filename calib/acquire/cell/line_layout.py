"""What lines with the same signs hold: where their numbers stand, and what is said of each.

    line    = { words | number } [ check ]
    number  = [ name ] [ letters ] ( sign digits | digits "-" | "(" digits ")" ) [ unit ] [ letters ]
    digits  = one or more, a decimal mark, marks between groups of three, a power of ten; never part of a name (CH2),
              a version, a date or a time of day
    unit    = a spelling of `printed_words`, behind the number (also in brackets, quotes, behind a comma), or before it,
              or in its name (load_kg, Force (N)), or in a pair "unit": "kg"; 53 lb 9.5 oz is one number
    letters = what says that the load stands or moves, or that the weight is net: these come and go in one format
    words   = all else. What stands around the numbers, without digits, blanks and letters, is the line's shape

Every digit of the text given here is a 0: one layout serves all lines that differ in their digits only.
"""

import re
from dataclasses import replace
from functools import lru_cache
from typing import Literal, NamedTuple

from calib.acquire.cell.printed_words import (
    FAULT,
    FLAG,
    OVERLOAD,
    STATUS,
    Meaning,
    Quantity,
    is_status,
    named,
    standing,
    unit_of,
)
from calib.frozen import dataclass

LineKind = Literal["numbers", "overload", "fault", "status", "words", "broken"]
Mark = Literal[",", ".", "'", " "]
SMALLER = {("lb", "oz"): 1 / 16, ("kg", "g"): 1e-3, ("t", "kg"): 1e-3}  # parts of one number in two units
_CHECK = re.compile(r"\*(?:[0-9A-Fa-f]{2}){1,4}\s*$")
_DAY_OR_TIME = re.compile(
    r"(?<![\w.])0000[-/.]00[-/.]00(?![\d.])T?|(?<![\w.])00?[/.]00?[/.]0000(?!\d)|(?<![\d.:])00?:00:00(?:[.,]0+)?(?:Z|[+\-]00:?00)?(?![\d:])"
    r"|(?<![\w.:])00?:00(?=[\s\])])"
)
PLAIN_STATUS = ("ST", "US")  # no name of a number
_WORD = re.compile(r"[^\W\d_]+(?:[./·*^\-][^\W\d_]+)*[²³]?\.?|[%‰°](?:[CF]\b|/s)?")
_BEHIND = re.compile(r"[\s\"'\])]*(?:[,;|][\s\"']*)?[\[(]?\s*")
_AFTER_UNIT = re.compile(r"\s*[\])]?")
_NAMES_NEXT = re.compile(r"[\"']?\s*[:=]")
_LINE_UNIT = re.compile(r"[\"']?\bunits?[\"']?\s*[:=]\s*[\"']?([^\W\d_]+)[\"']?", re.IGNORECASE)
_BEFORE = re.compile(r"([^\W\d_]+)[\"')\]]?[\s:=>\"']*$")
_PARTS = re.compile(r"[,|]")
_BAR = re.compile(r"(?<=\|)[#=*\-]+\s*$")  # a picture of the number
_IN_NAME = re.compile(
    r"(?:_([^\W\d_]+(?:[/\-][^\W\d_]+)?|[%°]C?)|[\[(]\s*([^\W\d_]+(?:[/\-][^\W\d_]+)?|[%°]C?)\s*[\])])[\"']?\s*[:=]?[\s\"']*$"
)
_NUMBERED = re.compile(r"[^\W\d_]+\d+")  # CH2, gain128: the number of something
_LETTERS = re.compile(r"[^\W\d]+$")
_PARTED_OFF = re.compile(r"\d_$")
_NOT_SHAPE = re.compile(r"[\s\d]+")
_BLANK_FIELD = re.compile(r"^(?=\D*$).* {3}")
_FRAME_STATUS = {"G": True, "N": True, "M": False}


class Notation(NamedTuple):
    """How a stream writes numbers: decimal mark, mark between groups of three, whether letters may touch them."""

    decimal: Literal[".", ","] = "."
    groups: Mark | None = None
    glued: bool = False


PLAIN = Notation()


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a number stands in a line, and what is said of it."""

    sign: int
    begin: int
    end: int  # of the digits
    stop: int  # behind a power of ten
    unit: str | None = None
    quantity: Quantity | None = None
    name: str = ""
    places: int = 0
    step: float = 1.0  # one unit of the last place
    marked: bool = False  # holds marks that `float` does not know
    bracketed: bool = False
    index: bool = False  # behind a slash
    unsure: bool = False  # the unit may be no unit
    rest: tuple[int, int, float] | None = None  # a second part in a smaller unit
    unit_text: str | None = None  # of anything but a force

    @property
    def meaning(self) -> str | None:
        """What its name says it is."""
        return named(self.name) if self.name else None


@dataclass(frozen=True, eq=False, slots=True)
class Layout:
    """What lines with the same signs hold."""

    kind: LineKind
    shape: tuple[str, ...] = ()
    spots: tuple[Spot, ...] = ()
    stable: bool | None = None
    unit: str | None = None  # said of the line as a whole
    tidied: bool = False  # colours, padding or characters beyond the usual have to be taken away first
    glued: bool = False  # letters touch digits somewhere
    framed: bool = False
    starred: bool = False  # a star stands beside the numbers: what it means only many lines tell


@lru_cache(maxsize=32)
def _number(notation: Notation) -> re.Pattern[str]:
    """Digits as a notation writes them, with what may touch them."""
    decimal = re.escape(notation.decimal)
    whole = rf"\d++(?:{decimal}\d*+)?" + (r"|\.\d++" if notation.decimal == "." else "")
    if notation.groups:
        mark = {"'": "['\u2019]", " ": "[ \u00a0\u202f\u2009]"}.get(notation.groups, re.escape(notation.groups))
        ends = "[.,]" if notation.groups in "' " else "," if notation.groups == "." else r"\."
        whole = rf"\d{{1,3}}(?:{mark}\d{{3}})++(?!\d)(?:{ends}\d*+)?|{whole}"
    return re.compile(
        r"(?<![\d.])(?<!0[xX])(?:(?<![+\-])([+\-])[ \t]*+)?"  # two signs are none
        rf"({whole})([eE][+\-]?\d{{1,3}}(?![\w.]))?"
        r"(?![.]?\d)"
    )


class Taken:
    """A line whose digits are all 0, being taken apart."""

    def __init__(self, text: str, notation: Notation, *, tidied: bool, framed: bool) -> None:
        self.text, self.notation = text, notation
        self.tidied, self.framed = tidied, framed
        self.stable: bool | None = None
        self.glued = self.starred = False
        self.flags: dict[str, str] = {}

    def layout(self) -> Layout:
        """What the line holds."""
        text = self._without_flags(self.text)
        if self.framed:
            text, status = self._frame(text)
            if status in {"O", "U"}:
                return Layout("overload", framed=True, tidied=self.tidied)
        if kind := self._kind_by_words(text):
            return Layout(kind, tidied=self.tidied, framed=self.framed)
        text = _blanked(_CHECK, _blanked(_DAY_OR_TIME, _blanked(_BAR, text)))
        line_unit = _LINE_UNIT.search(text)
        unit = unit_of(line_unit[1]) if line_unit else None
        if line_unit and unit:
            text = text[: line_unit.start()] + " " * len(line_unit[0]) + text[line_unit.end() :]
        spots, gaps = self._spots(text)
        shape = tuple(self._gap(gap) for gap in gaps)
        kind = "numbers" if spots else "words"
        if self.stable is not None and _BLANK_FIELD.search(text) and any(unit_of(word) for word in _WORD.findall(text)):
            return Layout("overload", tidied=self.tidied)  # a continuous output that shows blanks for the weight
        said = unit.unit if unit and unit.quantity == "force" else None
        return Layout(kind, shape, spots, self.stable, said, self.tidied, self.glued, self.framed, self.starred)

    def _kind_by_words(self, text: str) -> LineKind | None:
        """What words say of the whole line."""
        truths = {meaning: value for name, value in self.flags.items() if (meaning := named(name)) in _TRUTHS}
        if truths.get("overload") == "true" or OVERLOAD.search(text):
            return "overload"
        if truths.get("fault") == "true" or FAULT.search(text):
            return "fault"
        return "status" if STATUS.search(text) else None

    def _without_flags(self, text: str) -> str:
        """Pairs such as "stable": true, taken out and kept."""
        for found in reversed(list(FLAG.finditer(text))):
            truth = "true" if found[2].lower() in {"true", "yes", "on"} else "false"
            meaning = named(found[1])
            if meaning not in _TRUTHS:
                continue
            self.flags[found[1]] = truth
            if meaning == "stable":
                self.stable = truth == "true"
            text = text[: found.start()] + " " * len(found[0]) + text[found.end() :]
        return text

    def _frame(self, text: str) -> tuple[str, str]:
        """Sign, weight, status letter: G, N stable, M moving, O, U beyond the range."""
        body = text.rstrip()
        status = body[-1:] if body[-1:] in {"G", "N", "M", "O", "U"} and body[-2:] != "KG" else ""
        self.stable = _FRAME_STATUS.get(status, self.stable)
        return (body[: len(body) - len(status)], status)

    def _spots(self, text: str) -> tuple[tuple[Spot, ...], list[str]]:
        found = [m for m in _number(self.notation).finditer(text) if self._is_number(text, m)]
        spots: list[Spot] = []
        gaps: list[str] = []
        units_before = self._units_stand_before(text, found)
        last = 0
        for i, m in enumerate(found):
            until = found[i + 1].start() if i + 1 < len(found) else len(text)
            gap = text[last : m.start()]
            spot, gap, last = self._spot(text, m, gap, until, units_before=units_before)
            if spots and not gap.strip() and (factor := SMALLER.get((spots[-1].unit or "", spot.unit or ""))):
                rest = (spot.begin, spot.end, factor)
                spots[-1] = replace(spots[-1], quantity="force", step=factor * spot.step, rest=rest)
                continue
            if spots and gap == ":" and spots[-1].name:  # name:clock:value
                spot, spots[-1] = replace(spot, name=spots[-1].name), replace(spots[-1], name="")
            spots.append(spot)
            gaps.append(f"{gap} ^ " if m[3] and "-" not in m[3] else gap)
        return tuple(spots), [*gaps, text[last:]]

    def _is_number(self, text: str, m: re.Match[str]) -> bool:
        """Whether digits are a number, not part of a name or a version."""
        if _PARTED_OFF.search(text[: m.start()]):
            return False  # 00_000: what the sign between digits means nobody said
        before = _LETTERS.search(text[: m.start()])
        behind = text[m.end() : m.end() + 1]
        if behind and (behind.isalpha() or behind == "_"):
            word = _WORD.match(text, m.end())
            if word is None or not (unit_of(word[0]) or is_status(word[0])):
                self.glued = True
                return self.notation.glued
        if before is None:
            return not _hyphened(text, m.start())
        letters = before[0].lower()
        telling = m[3] or self.notation.decimal in m[2] or unit_of(before[0]) or self._unit_behind(text, m.end())
        if self.notation.glued or (letters not in {"v", "ver", "rev"} and telling and len(letters) <= 5):
            return True
        self.glued = True
        return False

    def _units_stand_before(self, text: str, found: list[re.Match[str]]) -> bool:
        """Whether units stand before their numbers: the first has one there, the last none behind."""
        if not found or self._unit_behind(text, found[-1].end()):
            return False
        before = _BEFORE.search(text[: found[0].start()])
        return before is not None and _force(unit_of(before[1])) is not None

    def _unit_behind(self, text: str, at: int) -> tuple[Meaning, int] | None:
        """The unit behind a number, and where it ends."""
        gap = _BEHIND.match(text, at)
        word = _WORD.match(text, gap.end() if gap else at)
        if word is None or _NAMES_NEXT.match(text, word.end()):
            return None
        meaning = unit_of(word[0])
        if meaning is None or (gap and _PARTS.search(gap[0]) and meaning.quantity != "force"):
            return None
        if text[word.end() : word.end() + 1].isalnum():
            return None
        return meaning, word.end()

    def _spot(self, text: str, m: re.Match[str], gap: str, until: int, *, units_before: bool) -> tuple[Spot, str, int]:
        """One number with all that is said of it, the gap before it, and where it ends."""
        sign, bracketed, gap, end = self._sign(text, m, gap, until)
        name, meaning = self._name(gap)
        if not units_before and (found := self._unit_behind(text, end)) and found[1] <= until:
            meaning, end = found[0], self._past(text, m.end(), found[1], bracketed=bracketed)
            self._letters(meaning.status)
        digits, decimal = m[2], self._decimal_in(m[2])
        places = len(digits) - digits.rfind(decimal) - 1 if decimal in digits else 0
        is_force = meaning is not None and meaning.quantity == "force"
        spot = Spot(
            sign,
            m.start(2),
            m.end(2),
            m.end(),
            meaning.unit if meaning and is_force else None,
            meaning.quantity if meaning else None,
            name,
            places,
            10.0**-places,
            marked=not digits.replace(".", "", 1).isdigit() or self.notation.groups is not None,
            bracketed=bracketed,
            index=gap.strip() == "/",
            unsure=meaning is not None and is_force and meaning.unit is None,
            unit_text=None if meaning is None or is_force else meaning.unit,
        )
        return spot, gap, end

    def _sign(self, text: str, m: re.Match[str], gap: str, until: int) -> tuple[int, bool, str, int]:
        """The sign wherever it stands, whether it is brackets, the gap without them, and where the number ends."""
        end = m.end()
        if m[1] is not None:
            return (-1 if m[1] == "-" else 1), False, gap, end
        if gap.rstrip()[-1:] == "(" and (closed := self._closing(text, end, until)) is not None:
            return -1, True, gap.rstrip()[:-1], closed if text[end : end + 1] == ")" else end
        if behind := _SIGN_BEHIND.match(text, end):
            return (-1 if behind[1] == "-" else 1), False, gap, behind.end(1)
        return 1, False, gap, end

    def _past(self, text: str, begin: int, end: int, *, bracketed: bool) -> int:
        """Where a number with its unit ends: behind the bracket that closes around it."""
        after = _AFTER_UNIT.match(text, end)
        opened = bracketed or "[" in text[begin:end] or "(" in text[begin:end]
        return after.end() if after and opened else end

    def _decimal_in(self, digits: str) -> str:
        if self.notation.groups in ("'", " "):
            return "," if "," in digits else "."
        return self.notation.decimal

    def _closing(self, text: str, end: int, until: int) -> int | None:
        """Where the bracket around a number closes, with or without its unit within."""
        found = _CLOSED.match(text, end)
        if found is None or found.end() > until or (found[1] and _force(unit_of(found[1])) is None):
            return None
        return found.end()

    def _name(self, gap: str) -> tuple[str, Meaning | None]:
        """What stands before a number as its name, and a unit in it."""
        clause = _NUMBERED.sub("", re.split(r"[,;|{\t]", gap)[-1])
        inner = _IN_NAME.search(clause)
        if inner and (meaning := unit_of(inner[1] or inner[2])):
            return clause, meaning
        last = _BEFORE.search(clause)
        meaning = unit_of(last[1]) if last and (len(last[1]) > 1 or not last[1].isascii()) else None
        if last and meaning and (meaning.quantity == "force" or named(last[1]) is None):
            return clause, meaning
        return clause, None

    def _letters(self, letters: str) -> None:
        if (found := standing(letters)) is not None:
            self.stable = found

    def _gap(self, gap: str) -> str:
        """What stands between two numbers, without what comes and goes."""
        kept: list[str] = []
        last = 0
        for word in re.finditer(r"[^\W_]+", gap):
            kept.append(gap[last : word.start()])
            last = word.end()
            if is_status(word[0]) and (word[0] in PLAIN_STATUS or not _NAMES_NEXT.match(gap, word.end())):
                self._letters(word[0])
            else:
                kept.append(word[0])
        kept.append(gap[last:])
        rest = "".join(kept)
        if _DOUBTS.search(rest):
            self.stable = False
        self.starred = self.starred or "*" in rest
        return _NOT_SHAPE.sub("", _COMES_AND_GOES.sub("", rest)).lower()


_TRUTHS = {"stable", "overload", "fault"}
_DOUBTS = re.compile(r"(?<![^\W\d_])\?|~")  # W? is a command that comes back
_COMES_AND_GOES = re.compile(r"[?~*]")
_SIGN_BEHIND = re.compile(r"[ ]?([+\-])(?=\s*$|\s*[^\W\d_]|[\s,;)])(?![ ]*[+\-]?\d)")
_CLOSED = re.compile(r"\s*([^\W\d_]+(?:-f)?)?\s*\)")


def _force(meaning: Meaning | None) -> Meaning | None:
    return meaning if meaning is not None and meaning.quantity == "force" else None


def _hyphened(text: str, begin: int) -> bool:
    """Whether digits stand behind a hyphen that is no sign: 12-34, +-3."""
    return (begin > 0 and text[begin - 1] in "+-") or (begin > 0 and text[begin - 1].isdigit())


def _blanked(pattern: re.Pattern[str], text: str) -> str:
    """The text with what is found blanked out, in its place."""
    return pattern.sub(lambda found: " " * len(found[0]), text)
