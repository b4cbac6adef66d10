"""Goes along a stream whose format is known: readings, what is torn, restarts, codes, overloads.

A line that lacks bytes is missing data, and nothing follows from it. A restart needs more: words of a start, or a
clock or a counter that begins anew and goes on from there. What deviates alone is torn; what deviates three times is a
change.
"""

import re
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median

from calib.acquire.cell.line_format import MOST_PLACES, Chosen, Expression, LineFormat, Question, Role, expression
from calib.acquire.cell.line_grammar import Layout, Line, grammar
from calib.acquire.cell.lines import CHECKS, Kind, RawLine, Record
from calib.acquire.cell.meter import NEWTON
from calib.acquire.cell.number_roles import clock_unit, unwrapped
from calib.acquire.cell.printed_words import BOOT

SETTLE = 4  # samples after a restart: the converter settles that long
FULL_SCALE = frozenset({8388607.0, -8388608.0})  # what a saturated 24-bit converter sends
TAIL = 0xFF  # a read broken by an interrupt ends in ones
OFF_MADS = 8  # median absolute deviations that a broken read is off
RECENT = 15  # samples the median is taken of
LOST = 80  # four for each line with numbers, one for each of words, in a row: the format has changed
MISSED = 20  # lines in a row that a clock is out of step, until it is taken as it is
CHANGED = 3  # lines in a row that deviate alike: a change, not torn
NINES = 4  # nines in a row that a display out of range shows
BEYOND = 1.1  # of the scale's range; scales show a little above it (common practice, no source)

JUMP = 20  # usual steps that a clock may leave out; back by more, and on from there, it began anew
MOVED, OF = 8, 20  # of so many lines, a number that was always the same has changed in so many
ROUND_NINES = 0.1  # of a reading: nearer to the one before, a row of nines is a number like others

SETTLES = "settling after a restart"
BROKEN = "broken read: it ends in ones, far off"
LABEL = "label"
_SETTLING = re.compile(r"\bsettling\b", re.IGNORECASE)  # said of a line by the sender
_WORD = re.compile(r"[^\W\d_]{3,}")
_FLAG_WORD = re.compile(r"over|fault|\berr", re.IGNORECASE)


@dataclass(slots=True)
class _Plan:
    """Where the numbers of the roles stand in lines of one layout."""

    layout: Layout
    value: int
    plus: tuple[int, ...]
    unit: str | None
    step: float
    stable: bool | None
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
        self.doubt: Question | None = None
        self.form = form
        self.clock_s = form.clock_s
        self._chosen, self._heard = chosen, heard
        self._grammar = grammar(form.notation)
        self._check = CHECKS.get(form.check or "")
        self._pattern = expression(form.pattern) if form.pattern is not None else None
        self._plans: dict[Layout, _Plan | None] = {}
        self._limit = _limits(chosen)
        self._letters = _letters_of(form)
        self._recent: deque[float] = deque(maxlen=RECENT)
        self._steps: deque[float] = deque(maxlen=RECENT)
        self._sample = ""  # a line of the format
        self._printed: set[str] = set()  # what its lines hold
        self._flagged = False
        self._others = 0  # lines without a number since the last reading
        self._settling = 0
        self._seen = self._last_broken = self._nines = False
        self._clock: _Counter = _Counter()
        self._sequence: _Counter = _Counter()
        self._places: _Usual = _Usual()
        if form.places is not None:
            self._places.learn(form.places)
        self._edge: _Usual = _Usual()
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
                self._printed |= set(line.raw.lower())
                self._letters |= self._printed
                self._sample = "\x02" if layout.framed else line.raw
        if plan is None:
            return self._other(line, at_s)
        if self._check is not None and not checked:
            self.strange += 1
            return Record(at_s, "torn", line.raw, note="its checksum is wrong")
        return self._fitting(line, plan, at_s, checked)

    def settle(self) -> None:
        """The next samples are those of a converter that has just started."""
        self._settling = SETTLE
        self._clock, self._sequence = _Counter(), _Counter()
        self._recent.clear()

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
        if spot.quantity not in (None, "force"):
            return None
        unit = spot.unit or (layout.unit if spot.quantity is None else None) or form.unit
        blank = form.unit is not None and form.shape is not None and spot.quantity is None and layout.unit is None
        blank = blank and self._unit_stood_there(layout)
        length = at.get("length")
        return _Plan(
            layout,
            value,
            tuple(i for i, role in enumerate(form.roles) if role == "plus"),
            unit,
            10.0 ** -(spot.end - spot.begin - 1 - spot.places) if form.turned else spot.step,
            False if blank else layout.stable,
            at.get("clock"),
            at.get("sequence"),
            length,
            layout.spots[length].unit_text if length is not None else None,
            tuple((role, i) for i, role in enumerate(form.roles) if role in ("stable", "overload", "fault")),
            tuple(i for i, role in enumerate(form.roles) if role == "constant" and layout.spots[i].unit == spot.unit),
        )

    def _unit_stood_there(self, layout: Layout) -> bool:
        """Whether lines of the format name the unit, and this one leaves it blank."""
        i = self.form.roles.index("value")
        return any(plan is not None and plan.layout.spots[i].unit for plan in self._plans.values())

    def _fitting(self, line: Line, plan: _Plan, at_s: float, checked: bool) -> Record:
        self.strange, self._flagged = 0, False
        values = line.values
        if not self.form.turned and (torn := self._torn(line, plan)):
            return Record(at_s, "torn", line.raw, note=torn)
        began = False
        for counter, i in ((self._clock, plan.clock), (self._sequence, plan.sequence)):
            if i is None:
                continue
            said = counter.take(values[i], self._others)
            if said == "torn":
                return Record(at_s, "torn", line.raw, note="its clock is out of step")
            began = began or said == "began"
        self._others = 0
        if began:
            self._settling = SETTLE
            self._recent.clear()
        if self._settling:
            self._settling -= 1
            return Record(at_s, "reset", line.raw, note=SETTLES)
        return self._reading(line, plan, at_s, checked)

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
                return Record(at_s, "overload" if role == "overload" else "fault", line.raw, note=f"it says {role}")
        if kind := self._no_number(line, plan, value):
            return Record(at_s, kind[0], line.raw, stable=stable, note=kind[1])
        if plan.constants:
            self._watch(line, plan)
        self._recent.append(value)
        self._seen = True
        counts = value if plan.unit is None else None
        spot, step = plan.layout.spots[plan.value], plan.step
        if spot.stop != spot.end:  # a power of ten
            step *= 10.0 ** int(line.text[spot.end + 1 : spot.stop])
        return Record(
            at_s,
            "reading",
            line.raw,
            None if plan.unit is None else value,
            plan.unit,
            counts,
            stable,
            None if plan.length is None else values[plan.length],
            plan.length_unit,
            step,
            None if plan.clock is None else self._clock.total * (self.clock_s or 1e-3),
            None if plan.sequence is None else int(self._sequence.total),
            checked,
        )

    def _turned(self, line: Line, i: int) -> float:
        spot = line.layout.spots[i]
        return spot.sign * float(line.digits(i)[::-1])

    # what is no number though it looks like one

    def _no_number(self, line: Line, plan: _Plan, value: float) -> tuple[Kind, str] | None:
        digits = line.digits(plan.value)
        if digits[0] == "9" and self._is_nines(digits, value):
            return "overload", "a row of nines"
        if plan.unit is None:
            if value in FULL_SCALE:
                return "overload", "full-scale code of the converter"
            if self._is_broken(value):
                return "fault", BROKEN
        if self._limit is not None:
            force = self._limit(value, plan.unit)
            if force is not None and abs(force) > BEYOND * (self._chosen.capacity or 0.0):
                return "overload", "beyond the scale's range"
        return None

    def _is_nines(self, digits: str, value: float) -> bool:
        """A row of nines that the readings before do not lead to."""
        bare = digits.replace(".", "").replace(",", "")
        if len(bare) < NINES or bare.strip("9"):
            return False
        return not self._recent or abs(value - self._recent[-1]) > ROUND_NINES * abs(value)

    def _is_broken(self, counts: float) -> bool:
        """A single sample that ends in ones and is far off the median of those before it."""
        self._last_broken = not self._last_broken and self._off(counts)
        return self._last_broken

    def _off(self, counts: float) -> bool:
        if len(self._recent) < 5 or counts != int(counts) or int(counts) & TAIL != TAIL:
            return False
        middle = median(self._recent)
        spread = median(abs(x - middle) for x in self._recent)
        return abs(counts - middle) > OFF_MADS * max(spread, 1.0)

    def _torn(self, line: Line, plan: _Plan) -> str:
        """Why a line of the right shape lacks a digit, "" where it does not."""
        spot = plan.layout.spots[plan.value]
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
            self.doubt = Question(
                f"columns {numbers} of {line.raw.strip()[:48]!r} move: two cells? Say which is the force with --column"
                "; or add them with --format",
                columns,
                patient=False,
            )

    # what does not fit

    def _other(self, line: Line, at_s: float) -> Record:
        self._others += 1
        kind = line.kind
        text = line.raw.strip()
        if kind in ("overload", "fault", "status") and not (self._seen and self._is_scrap(line, text)):
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

    def _is_scrap(self, line: Line, text: str) -> bool:
        """Whether it may be a torn line: one letter of it alone, digits with an e between, a flag said only once."""
        letters = re.findall(r"[^\W\d_]", text.lower())
        known = set(letters) <= self._printed | {"e"}
        if len(letters) == 1 and known and not re.search(r"\d", text):
            return True
        if re.search(r"\d[eE][+\-]?\d", text):
            return len(letters) > 1 and known
        flagged = (line.layout.framed and "\x02" in self._sample) or _FLAG_WORD.search(self._sample) is not None
        again, self._flagged = self._flagged, True
        return flagged and not again

    def _is_banner(self, text: str) -> bool:
        """Words of a program that starts: such words, or a line heard before the first reading."""
        return BOOT.search(text) is not None or _without_digits(text) in self._heard

    def _by_pattern(self, line: Line, pattern: Expression, at_s: float) -> Record:
        text = (line.text or "").strip()
        found = pattern.search.match(text) if line.kind != "broken" else None
        if found is None:
            return self._other(line, at_s)
        self.strange, self._seen = 0, True
        fields = found.groupdict()
        numbers = {name: _number(said) for name, said in fields.items() if name != "stands"}
        value = numbers["value"] + sum(n for name, n in numbers.items() if name.startswith("plus"))
        digits = fields["value"].strip()
        mark = max(digits.rfind("."), digits.rfind(","))
        step = 10.0 ** -(len(digits) - mark - 1) if mark >= 0 else 1.0
        stable = fields["stands"] == pattern.stands if fields.get("stands") is not None else None
        unit = self.form.unit
        for counter, name in ((self._clock, "clock"), (self._sequence, "sequence")):
            if name in numbers and counter.take(numbers[name]) == "torn":
                return Record(at_s, "torn", line.raw, note="its clock is out of step")
        return Record(
            at_s,
            "reading",
            line.raw,
            value if unit else None,
            unit,
            None if unit else value,
            stable,
            numbers.get("length"),
            None,
            step,
            self._clock.total * (self.clock_s or 1e-3) if "clock" in numbers else None,
            int(self._sequence.total) if "sequence" in numbers else None,
        )


class _Counter:
    """A clock or a counter of lines: its steps, what is out of step, and where it begins anew."""

    def __init__(self) -> None:
        self.total = 0.0
        self._last: float | None = None
        self._suspect: float | None = None
        self._usual = 0.0
        self._missed = 0  # lines in a row that are out of step
        self._agreeing = 0  # lines in a row that go on from a suspect

    def take(self, value: float, skipped: int = 0) -> str:
        """Say of the next value "on", "torn" or "began": anew, and gone on from there; `skipped` lines had none."""
        if self._last is None:
            self._last, self.total = value, value
            return "on"
        step = unwrapped(value - self._last)
        if 0 <= step <= (JUMP + skipped) * self._usual or (not self._usual and step >= 0):
            return self._go_on(value, step)
        suspect, self._suspect = self._suspect, value
        self._missed += 1
        follows = suspect is not None and 0 <= unwrapped(value - suspect) <= 1.5 * self._usual
        if suspect is None or (not follows and self._missed < MISSED):
            self._agreeing = 0
            return "torn"
        self._agreeing += 1
        if self._agreeing < CHANGED - 1 and self._missed < MISSED:
            return "torn"
        began = suspect < self._last - JUMP * self._usual
        self.total = value if began else self.total + step
        self._last, self._suspect, self._missed = value, None, 0
        return "began" if began else "on"

    def _go_on(self, value: float, step: float) -> str:
        self._last, self._suspect, self._missed = value, None, 0
        self.total += step
        if step:
            self._usual = step if not self._usual else self._usual + 0.2 * (min(step, 3 * self._usual) - self._usual)
        return "on"


class _Usual:
    """A size that is always the same in a stream; what deviates alone is noticed, what lasts is learnt."""

    def __init__(self) -> None:
        self.fixed = False
        self.size = -1  # -1: none seen yet
        self._same = self._other = 0
        self._varies = False

    def learn(self, size: int) -> None:
        """Say what is usual."""
        self.size, self._same, self.fixed = size, ENOUGH_ALIKE, True

    def usual(self, size: int) -> bool:
        """Whether a size is the usual one, or sizes vary."""
        if self._varies:
            return True
        if size == self.size:
            self._same, self._other = self._same + 1, 0
            self.fixed = self._same >= ENOUGH_ALIKE
            return True
        if self.fixed and self._other + 1 < CHANGED:
            self._other += 1
            return False
        self._varies = self.size >= 0 and not self.fixed
        self.size, self._same, self._other, self.fixed = size, 1, 0, False
        return True


ENOUGH_ALIKE = 8
FEW_WIDTHS = 2


def _limits(chosen: Chosen) -> Callable[[float, str | None], float | None] | None:
    """What gives the force of a number, where the scale's range is known. [N]"""
    if chosen.capacity is None:
        return None

    def force(value: float, unit: str | None) -> float | None:
        if unit is not None:
            return value * NEWTON[unit]
        return None if chosen.per_count is None else chosen.zero + chosen.per_count * value

    return force


def _letters_of(form: LineFormat) -> set[str]:
    known = "".join(form.shape or ()) + (form.label or "") + (form.pattern or "") + (form.unit or "")
    return set((known + "stusgsntgrossnetmd").lower())


def _without_digits(text: str) -> str:
    return re.sub(r"\d+", "0", text.strip())


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
