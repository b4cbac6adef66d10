"""Goes along a stream whose format is known: readings, what is torn, restarts, codes, overloads.

A line that lacks bytes is missing data, and nothing follows from it. A restart needs more: words of a start, or a
clock or a counter that begins again and goes on from there. What deviates alone is torn; what deviates three times is a
change.
"""

import re
from collections import deque
from dataclasses import dataclass, replace
from itertools import pairwise

from calib.acquire.cell.line_doubts import Doubts, without_digits
from calib.acquire.cell.line_format import MOST_PLACES, Chosen, Expression, FormatQuestion, LineFormat, Role, expression
from calib.acquire.cell.line_grammar import Line, grammar
from calib.acquire.cell.line_layout import Layout
from calib.acquire.cell.line_steps import ENOUGH_ALIKE, Counter, Star, Usual, clock_unit, unwrapped
from calib.acquire.cell.lines import CHECKS, RawLine, Record
from calib.acquire.cell.printed_words import BOOT

SETTLE = 4  # samples after a restart: the converter settles that long
LOST = 80  # four for each line with numbers, one for each of words, in a row: the format has changed
MOVED, OF = 8, 20  # of so many lines, a number that was always the same has changed in so many
FEW_WIDTHS = 2  # of numbers that end at the same place: blanks fill them up

SETTLES = "settling after a restart"
LABEL = "label"
_SETTLING = re.compile(r"\bsettling\b", re.IGNORECASE)  # said of a line by the sender
_WORD = re.compile(r"[^\W\d_]{3,}")


@dataclass(slots=True)
class _Plan:
    """Where the numbers of the roles stand in lines of one layout."""

    layout: Layout
    value: int
    plus: tuple[int, ...]
    unit: str | None
    step: float
    stable: bool | None
    blank: bool  # it leaves out the unit that others name
    clock: int | None
    sequence: int | None
    length: int | None
    length_unit: str | None
    flags: tuple[tuple[Role, int], ...]
    constants: tuple[int, ...]


class Track:
    """One stream, read line by line.

    `strange` counts lines in a row that do not fit; `doubt` is a question that the stream itself raises later.
    """

    def __init__(self, form: LineFormat, chosen: Chosen, heard: frozenset[str] = frozenset()) -> None:
        self.strange = 0
        self.doubt: FormatQuestion | None = None
        self.form = form
        self.clock_s = form.clock_s
        self._chosen, self._heard = chosen, heard
        self._grammar = grammar(form.notation)
        self._check = CHECKS.get(form.check or "")
        self._pattern = expression(form.pattern) if form.pattern is not None else None
        self._plans: dict[Layout, _Plan | None] = {}
        self._letters = _letters_of(form)
        self._doubts = Doubts(chosen)
        self._star: Star | None = None  # from the first star on
        self._unit_now = form.unit  # of the last line that named one
        self._others = 0  # lines without a number since the last reading
        self._settling = 0
        self._seen = False
        self._clock: Counter = Counter()
        self._sequence: Counter = Counter()
        self._places: Usual = Usual()
        if form.places is not None:
            self._places.learn(form.places)
        self._edge: Usual = Usual()
        self._ends_at = 0
        self._widths: set[int] = set()  # of numbers that end at the same place: then blanks fill them up
        self._constants: dict[int, float] = {}
        self._changes: deque[bool] = deque(maxlen=OF)

    def read(self, raw: RawLine) -> Line:
        """A line as its notation takes it apart, without its check."""
        if self._check is not None:
            raw = RawLine(self._check.split(raw.data)[0], raw.whole)
        return self._grammar.read(raw)

    def record(self, raw: RawLine, at_s: float) -> Record:
        """Turn one line into a record."""
        checked = False
        if self._check is not None and raw.whole:
            body, checked = self._check.split(raw.data)
            if checked:
                raw = RawLine(body, raw.whole)
        line = self._grammar.read(raw)
        if self._pattern is not None:
            return self._by_pattern(line, self._pattern, at_s)
        layout = line.layout
        try:
            plan = self._plans[layout]
        except KeyError:
            plan = self._plans[layout] = self._plan(layout)
            if len(self._plans) > 4096:
                self._plans.clear()
            if plan is not None:
                self._doubts.learn(line.raw)
                self._letters |= self._doubts.printed
        if plan is None:
            return self._other(line, at_s, checked=checked)
        if self._check is not None and not checked:
            self.strange += 1
            return Record(at_s, "torn", line.raw, note="its checksum is wrong")
        return self._fitting(line, plan, at_s, checked)

    def settle(self) -> None:
        """The next samples are those of a converter that has just started."""
        self._settling = SETTLE
        self._clock, self._sequence = Counter(), Counter()
        self._doubts.forget()

    @property
    def has_decimals(self) -> bool:
        """Whether decimals were printed already."""
        return self._places.size > 0

    def has_places(self, places: int) -> bool:
        """Whether so many decimals are what was printed so far, or none were."""
        return self._places.size in (-1, 0, places) or not self._places.fixed

    def prime(self, raws: list[RawLine]) -> None:
        """Learn from the lines that waited how many decimals are usual, before the first is judged."""
        i = self.form.roles.index("value")
        places: list[int] = []
        for raw in raws:
            layout = self.read(raw).layout
            if layout.kind == "numbers" and layout.shape == self.form.shape:
                places.append(layout.spots[i].places)
        usual = max(set(places), key=places.count, default=0)
        if len(places) >= ENOUGH_ALIKE and places.count(usual) >= 0.8 * len(places):
            self._places.learn(usual)
            self.form = replace(self.form, places=min(usual, MOST_PLACES))

    def regroup(self, form: LineFormat) -> None:
        """The same format, with a mark between groups of three digits."""
        self.form = form
        self._grammar = grammar(form.notation)
        self._plans.clear()

    # what fits

    def _plan(self, layout: Layout) -> _Plan | None:
        form = self.form
        if layout.kind != "numbers" or len(layout.spots) != len(form.roles):
            return None
        if form.shape is not None and layout.shape != form.shape and layout.shape not in form.also:
            return None
        at = {role: i for i, role in reversed(list(enumerate(form.roles)))}
        value = at["value"]
        spot = layout.spots[value]
        if spot.quantity not in (None, self._chosen.quantity):
            return None
        unit = spot.unit or (layout.unit if spot.quantity is None else None) or form.unit
        blank = form.unit is not None and form.shape is not None and spot.quantity is None and layout.unit is None
        blank = blank and self._unit_stood_there()
        length = at.get("length")
        return _Plan(
            layout,
            value,
            tuple(i for i, role in enumerate(form.roles) if role == "plus"),
            unit,
            10.0 ** -(spot.end - spot.begin - 1 - spot.places) if form.turned else spot.step,
            False if blank else layout.stable,
            blank,
            at.get("clock"),
            at.get("sequence"),
            length,
            layout.spots[length].unit_text if length is not None else None,
            tuple((role, i) for i, role in enumerate(form.roles) if role in ("stable", "overload", "fault")),
            tuple(i for i, role in enumerate(form.roles) if role == "constant" and layout.spots[i].unit == spot.unit),
        )

    def _unit_stood_there(self) -> bool:
        """Whether lines of the format name the unit, and this one leaves it blank."""
        i = self.form.roles.index("value")
        return any(plan is not None and plan.layout.spots[i].unit for plan in self._plans.values())

    def _fitting(self, line: Line, plan: _Plan, at_s: float, checked: bool) -> Record:
        self.strange = 0
        values = line.values
        if not self.form.turned and (torn := self._torn(line, plan)):
            return Record(at_s, "torn", line.raw, note=torn)
        clock = None if plan.clock is None else values[plan.clock]
        waits = self._counted(line, at_s, clock, None if plan.sequence is None else values[plan.sequence])
        return waits or self._reading(line, plan, at_s, checked)

    def _counted(self, line: Line, at_s: float, clock: float | None, sequence: float | None) -> Record | None:
        """What a line is where its clock or its number is out of step or began again; None where they go on."""
        began = False
        for counter, number in ((self._clock, clock), (self._sequence, sequence)):
            if number is None:
                continue
            said = counter.take(number, self._others)
            if said == "torn":
                return Record(at_s, "torn", line.raw, note="its clock is out of step")
            began = began or said == "began"
        self._others = 0
        if began:
            self._settling = SETTLE
            self._doubts.forget()
        if self._settling:
            self._settling -= 1
            return Record(at_s, "reset", line.raw, note=SETTLES)
        return None

    def _reading(self, line: Line, plan: _Plan, at_s: float, checked: bool) -> Record:
        values = line.values
        value = values[plan.value]
        if self.form.turned:
            value = self._turned(line, plan.value)
        for i in plan.plus:
            value += values[i]
        stable = plan.stable
        for role, i in plan.flags:
            if role == "stable":
                stable = values[i] != 0
            elif values[i] != 0:
                said = Record(at_s, "overload" if role == "overload" else "fault", line.raw, checked=checked)
                return self._doubts.twice(said, f"it says {role}")
        if plan.constants:
            self._watch(line, plan)
        spot, step = plan.layout.spots[plan.value], plan.step
        if spot.stop != spot.end:  # a power of ten
            step *= 10.0 ** int(line.text[spot.end + 1 : spot.stop])
        if self._star is not None or plan.layout.starred:
            self._star = self._star or Star()
            told = self._star.take(value, starred=plan.layout.starred)
            stable = told if stable is None else stable
        unit = self._unit_now if plan.blank else plan.unit
        self._unit_now = unit
        reading = Record(
            at_s,
            "reading",
            line.raw,
            None if plan.unit is None else value,
            unit,
            value if plan.unit is None else None,
            stable,
            None if plan.length is None else values[plan.length],
            plan.length_unit,
            step,
            None if plan.clock is None else self._clock.total * (self.clock_s or 1e-3),
            None if plan.sequence is None else int(self._sequence.total),
            checked,
        )
        return self._unless_none(reading, line.digits(plan.value), value)

    def _unless_none(self, reading: Record, digits: str, value: float) -> Record:
        """The reading, or what its line is instead."""
        instead = self._doubts.instead(reading, digits, value)
        if instead is not None:
            return instead
        self._seen = True
        return reading

    def _turned(self, line: Line, i: int) -> float:
        spot = line.layout.spots[i]
        return spot.sign * float(line.digits(i)[::-1])

    # what is torn

    def _torn(self, line: Line, plan: _Plan) -> str:
        """Why a line of the right shape lacks a digit, "" where it does not."""
        spot = plan.layout.spots[plan.value]
        if spot.places == 3 and self._places.fixed and self._places.size == 0 and self.form.groups is None:
            self.doubt = _thousands_or_not(line, plan.unit)
            return "a dot where there was none"
        if not self._places.usual(spot.places):
            return "it has lost a digit"
        padded = line.text[spot.begin] == "0" and spot.end - spot.begin > spot.places + 2
        if len(self._widths) < FEW_WIDTHS and line.text[max(spot.begin - 2, 0) : spot.begin] == "  ":
            if spot.end != self._ends_at:
                self._widths.clear()
            self._widths.add(spot.end - spot.begin)
            self._ends_at = spot.end
        if (padded or len(self._widths) == FEW_WIDTHS) and not self._edge.usual(spot.end):
            return "it has lost a sign"
        return ""

    def _watch(self, line: Line, plan: _Plan) -> None:
        """A number that was always the same and moves now may be a second cell."""
        changed = False
        for i in plan.constants:
            before = self._constants.get(i, line.values[i])
            changed = changed or line.values[i] != before
            self._constants[i] = line.values[i]
        self._changes.append(changed)
        if sum(self._changes) >= MOVED:
            columns = tuple(sorted((plan.value + 1, *(i + 1 for i in plan.constants))))
            numbers = " and ".join(map(str, columns))
            self.doubt = FormatQuestion(
                f"columns {numbers} of {line.raw.strip()[:48]!r} move: two cells? Say which is the force with --column"
                "; or add them with --format",
                columns,
                patient=False,
            )

    # what does not fit

    def _other(self, line: Line, at_s: float, *, checked: bool = False) -> Record:
        self._others += 1
        kind = line.kind
        text = line.raw.strip()
        sure = checked or not self._seen
        if kind in ("overload", "fault", "status") and (sure or self._doubts.is_said(kind, text)):
            return Record(at_s, kind, line.raw, stable=line.layout.stable)
        label = kind == "words" and self.form.label is not None and text == self.form.label
        if label or (kind == "numbers" and line.shape in self.form.beside):
            return Record(at_s, "unknown", line.raw, note=LABEL)
        if self._settling and kind == "numbers" and _SETTLING.search(text):
            self._settling -= 1
            return Record(at_s, "reset", line.raw, note=SETTLES)
        self.strange += 4 if kind in ("numbers", "broken") else 1
        if kind != "broken" and self._is_banner(text):
            if self._seen:
                self.settle()
                return Record(at_s, "reset", line.raw, note="the board has started again")
            return Record(at_s, "unknown", line.raw)
        torn = kind == "broken" or not (set(_WORD.findall(text.lower())) - self._known_words(text))
        return Record(at_s, "torn" if torn and self._seen else "unknown", line.raw)

    def _known_words(self, text: str) -> set[str]:
        """Words that may be a piece of a line of the format, or several run into one another."""
        return {word for word in _WORD.findall(text.lower()) if set(word) <= self._letters}

    def _is_banner(self, text: str) -> bool:
        """Words of a program that starts: such words, or a line heard before the first reading."""
        return BOOT.search(text) is not None or without_digits(text) in self._heard

    def _by_pattern(self, line: Line, pattern: Expression, at_s: float) -> Record:
        text = (line.text or "").strip()
        found = pattern.search.match(text) if line.kind != "broken" else None
        if found is None:
            return self._other(line, at_s)
        self.strange = 0
        fields = found.groupdict()
        numbers = {name: _number(said) for name, said in fields.items() if name != "stands"}
        if waits := self._counted(line, at_s, numbers.get("clock"), numbers.get("sequence")):
            return waits
        value = numbers["value"] + sum(n for name, n in numbers.items() if name.startswith("plus"))
        digits = fields["value"].strip()
        mark = max(digits.rfind("."), digits.rfind(","))
        unit = self.form.unit
        reading = Record(
            at_s,
            "reading",
            line.raw,
            value if unit else None,
            unit,
            None if unit else value,
            fields["stands"] == pattern.stands if fields.get("stands") is not None else None,
            numbers.get("length"),
            None,
            10.0 ** -(len(digits) - mark - 1) if mark >= 0 else 1.0,
            self._clock.total * (self.clock_s or 1e-3) if "clock" in numbers else None,
            int(self._sequence.total) if "sequence" in numbers else None,
        )
        return self._unless_none(reading, digits.lstrip("+- "), value)


def _thousands_or_not(line: Line, unit: str | None) -> FormatQuestion:
    """What to ask of whole numbers that show a dot before three digits once they are large."""
    unit = f" {unit}" if unit else ""
    return FormatQuestion(
        f"the dot in {line.raw.strip()[:48]!r} may stand between thousands, or before decimals; give --format"
        f" 'thousands-dot{unit}' or 'value{unit}'",
        patient=False,
    )


def _letters_of(form: LineFormat) -> set[str]:
    known = "".join(form.shape or ()) + (form.label or "") + (form.pattern or "") + (form.unit or "")
    return set((known + "stusgsntgrossnetmd").lower())


def _number(text: str) -> float:
    text = re.sub(r"[\s'\u2019]", "", text).replace("\u2212", "-")
    return float(text.replace(",", "."))


def usual_clock(lines: list[tuple[float, Line]], form: LineFormat) -> float | None:
    """Seconds of one unit of the clock, from lines with the times they came. [s]"""
    if "clock" not in form.roles:
        return None
    i = form.roles.index("clock")
    fitting = [(at, line) for at, line in lines if line.shape == form.shape and line.kind == "numbers"]
    if len(fitting) < 2:
        return None
    steps = [unwrapped(b[1].values[i] - a[1].values[i]) for a, b in pairwise(fitting)]
    step = sum(steps) / len(steps)
    took = (fitting[-1][0] - fitting[0][0]) / (len(fitting) - 1)
    spot = fitting[-1][1].layout.spots[i]
    return clock_unit(spot.name, spot.unit_text, step, took or None) if step > 0 else None
