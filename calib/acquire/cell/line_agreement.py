"""The format of a stream of lines: found by the agreement of about ten of them, kept, stated in words, or asked.

What each number of a line is belongs to `number_roles`, how numbers are written to `digit_groups`, what follows once
the format is known to `line_track`. No port is opened here.
"""

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import pairwise

from calib.acquire.cell.digit_groups import mark_in, settle
from calib.acquire.cell.line_format import Chosen, FormatQuestion, LineFormat
from calib.acquire.cell.line_grammar import Line, grammar, read_text
from calib.acquire.cell.line_layout import Notation
from calib.acquire.cell.line_steps import is_clock
from calib.acquire.cell.line_track import LABEL, LOST, Track, usual_clock
from calib.acquire.cell.lines import LineSplitter, RawLine, Record, check_of
from calib.acquire.cell.number_roles import decide, header_names, names_of_numbers
from calib.acquire.cell.printed_words import unit_of

AGREE = 10  # lines looked at
ENOUGH = 8  # of them of one shape: 80 %
PATIENCE = 40  # lines until an undecided column, or lines of no common shape, is asked about
BEGINS = 4  # newest lines alike: behind a long log the readings have only begun
MOST_WAITING = 200  # lines kept while no format is found
TURNS = 4  # lines of a shape, of twenty, that take turns with others
NEAR, FAR = 0.1, 0.2  # of the number before, and of the largest: a force that goes on does not change its sign
SURE = 3  # faults and overloads without a format until they are taken for all there is
_UNIT_SAID = re.compile(r"\W*units?\W+([^\W\d_]+)\W*", re.IGNORECASE)
_AROUND_WORDS = "0123456789.,;:+- \t"
_COMPLAINTS = ("overload", "fault", "status")


class LineReader:
    """Bytes in, records out. Before the format is found nothing comes out; then what waited comes with its own time.

    `format` is what was found; `question` what has to be asked instead. `complaint` is the fault or overload
    that comes instead of readings, "" where none does or a format is found.
    """

    def __init__(self, chosen: Chosen | None = None, *, from_start: bool = True) -> None:
        self.format: LineFormat | None = None
        self.question: FormatQuestion | None = None
        self.complaint = ""
        self._chosen = chosen or Chosen()
        self._split = LineSplitter(from_start=from_start)
        self._waiting: list[tuple[float, RawLine]] = []
        self._header: tuple[str, ...] = ()
        self._heard: set[str] = set()  # words before the first reading
        self._before: LineFormat | None = None  # the one that was lost
        self._seen: float | None = None  # the last number, the largest, and the first behind other words
        self._most = 0.0
        self._changed: float | None = None
        self._unit = ""  # said once, above the numbers
        self._numbered = 0  # lines with numbers, heard without a format
        self._track: Track | None = None
        if self._chosen.format:
            self._take(self._chosen.format)

    def feed(self, data: bytes, at_s: float) -> list[Record]:
        """Take bytes that arrived at a time and give the records they complete."""
        return self._read(self._split.feed(data), at_s)

    def answer(self, chosen: Chosen) -> list[Record]:
        """Take what the user says about the format, and give the records that waited for it."""
        self._chosen = replace(self._chosen, column=chosen.column, format=chosen.format)
        self.question, self._numbered = None, -1
        self.format = None
        if chosen.format is not None:
            self._take(chosen.format)
        elif not (self._waiting and self._agree()):
            return []
        return self._release()

    def interrupted(self, at_s: float, note: str) -> list[Record]:
        """End the stream here for a while: a half line is none, and what comes next may begin in the middle of one.

        Args:
            at_s: When it broke off. [s]
            note: Why; carried by a record of kind "reset".
        """
        records = self._read(self._split.finish(), at_s)
        self._split = LineSplitter(from_start=False)
        if self._track is not None:
            self._track.settle()
        return [*records, Record(at_s, "reset", "", note=note)]

    def finish(self, at_s: float) -> list[Record]:
        """Give what is left: a half line, and lines too few to find a format in."""
        records = self._read(self._split.finish(), at_s)
        return records + self._release()

    def _take(self, form: LineFormat) -> None:
        self.format = form
        self._track = Track(form, self._chosen, frozenset(self._heard))

    def _read(self, lines: Iterable[RawLine], at_s: float) -> list[Record]:
        records: list[Record] = []
        for raw in lines:
            if self._track is None:
                records += self._wait(raw, at_s)
                continue
            record = self._track.record(raw, at_s)
            if record.kind == "torn" or (record.kind == "unknown" and record.note != LABEL):
                record = self._in_groups(raw, record)
            records.append(record)
            self._remember(raw, record)
            if self._track.doubt is not None and self._chosen.format is None and self._chosen.column is None:
                self.question, self.format, self._track, self._waiting = self._track.doubt, None, None, []
            elif self._track.strange >= LOST and self._chosen.format is None:
                self._before, self.format, self._waiting, self._track = self.format, None, [], None
        return self._passed_on(records)

    def _wait(self, raw: RawLine, at_s: float) -> list[Record]:
        self._waiting.append((at_s, raw))
        newest = grammar().read(raw)
        self._hear_complaint(newest)
        if newest.kind == "words":
            self._header = header_names(newest.raw) or self._header
            said = _UNIT_SAID.fullmatch(newest.raw.strip())
            meaning = unit_of(said[1]) if said else None
            if meaning and meaning.quantity == "force":
                self._unit = meaning.unit or ""
        if newest.kind == "numbers" and self.question is not None and not self.question.patient:
            pass
        elif newest.kind == "numbers" and self._agree():
            return self._release()
        if len(self._waiting) > MOST_WAITING:
            at, oldest = self._waiting.pop(0)
            return [_alone(grammar().read(oldest), at)]
        return []

    def _in_groups(self, raw: RawLine, record: Record) -> Record:
        """The first value above a thousand, or with a comma, where only that makes the line fit."""
        form = self.format
        if form is None or self._track is None or form.pattern or form.turned or form.shape is None or not raw.whole:
            return record
        mark = None if form.groups else mark_in(record.raw)
        comma = form.decimal_comma or mark == "." or (mark != "," and not self._track.has_decimals)
        again = replace(form, groups=mark or form.groups, decimal_comma=comma)
        if again == form:
            return record
        line = grammar(again.notation).read(raw)
        if line.kind != "numbers" or len(line.values) != len(form.roles) or line.shape != form.shape:
            return record
        i = form.roles.index("value")
        if not re.search(r"[,'\u2019 \u00a0\u202f\u2009]", line.digits(i)):
            return record  # it is not the force that is written so: the line is torn
        if not self._track.has_places(line.layout.spots[i].places):
            return record
        self._track.regroup(again)
        self.format = again
        return self._track.record(raw, record.at_s)

    def _hear_complaint(self, line: Line) -> None:
        if line.kind not in _COMPLAINTS:
            return
        heard = sum(grammar().read(raw).kind in _COMPLAINTS for _, raw in self._waiting)
        if heard >= SURE:
            words = line.raw.strip(_AROUND_WORDS)
            self.complaint = words if read_text(words).kind == line.kind else line.raw.strip()

    def _passed_on(self, records: Iterable[Record]) -> list[Record]:
        told = [record for record in records if record.note != LABEL]
        if self.format is not None and self.format.unit is None:  # typed without one
            unit = next((record.unit for record in told if record.unit), None)
            if unit:
                self.format = replace(self.format, unit=unit)
        return told

    def _release(self) -> list[Record]:
        waiting, self._waiting = self._waiting, []
        if self._track is None:
            return [_alone(grammar().read(raw), at) for at, raw in waiting]
        track = self._track
        return self._passed_on([track.record(raw, at) for at, raw in waiting])

    def _agree(self) -> bool:
        """Look for a format in what waits; True when it is found."""
        self._numbered += 1
        if len(self._waiting) > PATIENCE and self._numbered % AGREE:
            return False  # asked already: a look at every tenth line is soon enough
        found = self._found()
        if isinstance(found, FormatQuestion):
            asked = self._numbered >= PATIENCE - 1 or len(self._waiting) >= PATIENCE or not found.patient
            self.question = found if asked else None
            return False
        if found is None:
            return False
        if other := self._other_words(found):
            self.question = other
            return False
        self.question, self.complaint = None, ""
        self._take(self._with_before(found))
        if self._track is not None and found.pattern is None:
            self._track.prime([raw for _, raw in self._waiting if raw.whole])
            self.format = self._track.form
        return True

    def _with_before(self, found: LineFormat) -> LineFormat:
        """The new format, with the unit said above the numbers; where it is the old one with other letters, both."""
        if found.unit is None and self._unit:
            found = replace(found, unit=self._unit)
        old = self._before
        if old is None or old.shape is None or (old.roles, old.unit) != (found.roles, found.unit):
            return found
        return replace(found, also=tuple({old.shape, *old.also} - {found.shape or ()}))

    def _remember(self, raw: RawLine, record: Record) -> None:
        """Keep the last number, and the first of a line that has other words or signs."""
        number = record.counts if record.value is None else record.value
        if record.kind == "reading" and number is not None:
            self._seen, self._most, self._changed = number, max(self._most, abs(number)), None
        elif self._changed is None and self.format is not None and not record.note:
            values = grammar(self.format.notation).read(raw).values
            if len(values) == len(self.format.roles):
                self._changed = values[self.format.roles.index("value")]

    @property
    def _goes_on(self) -> bool:
        """Whether the number went on far from zero where the words changed: then they do not say below zero."""
        if self._changed is None or self._seen is None:
            return False
        before, after = abs(self._seen), abs(self._changed)
        return abs(after - before) < NEAR * before and before > FAR * self._most

    def _other_words(self, found: LineFormat) -> FormatQuestion | None:
        """What to ask where the lines are as before but for a word or a sign: it may turn the force round."""
        old = self._before
        if old is None or not old.shape or not found.shape or self._chosen.column is not None:
            return None
        if (old.roles, old.unit) != (found.roles, found.unit) or found.shape in (old.shape, *old.also):
            return None
        if self._goes_on:
            return None
        newest = self._waiting[-1][1].data.decode(errors="replace").strip()[:48]
        return FormatQuestion(
            f"the lines have other words or signs since {newest!r}: say what they mean with --pattern, or --column",
            patient=False,
        )

    def _found(self) -> LineFormat | FormatQuestion | None:
        """The format of what waits, what has to be asked, None where more lines are needed."""
        raws = [raw for _, raw in self._waiting if raw.whole]
        check = check_of([raw.data for raw in raws[-2 * AGREE :]])
        if check is not None:
            raws = [RawLine(check.split(raw.data)[0]) for raw in raws]
        plain = [line for line in map(grammar().read, raws) if line.kind in ("numbers", "broken")]
        touched = [raw for raw in raws if grammar().read(raw).layout.glued] if not plain else []
        if len(touched) >= AGREE:
            plain = [line for line in map(grammar(Notation(glued=True)).read, touched) if line.kind == "numbers"]
            return self._of_glued(plain)
        named = len(names_of_numbers(self._header, plain[-1].shape)) if plain and plain[-1].shape else 0
        notation = settle(plain, is_clock, named) if self._chosen.column is None else Notation()
        if isinstance(notation, FormatQuestion):
            return notation if len(plain) >= AGREE else None
        lines = [grammar(notation).read(raw) for raw in raws]
        numbers = [line for line in lines if line.kind in ("numbers", "broken")]
        found = self._of_shapes(numbers)
        if not isinstance(found, LineFormat):
            return found
        found = replace(
            found,
            label=_label(lines),
            decimal_comma=notation.decimal == ",",
            groups=notation.groups,
            check=check.name if check else None,
        )
        timed = [(at, grammar(notation).read(raw)) for at, raw in self._waiting]
        self._heard |= _words_before(lines, found)
        return replace(found, clock_s=usual_clock(timed, found))

    def _of_glued(self, lines: Sequence[Line]) -> LineFormat | FormatQuestion | None:
        """Numbers that letters touch, where there are no others: W1234."""
        found = self._of_shapes(lines)
        return replace(found, glued=True) if isinstance(found, LineFormat) else found

    def _of_shapes(self, numbers: Sequence[Line]) -> LineFormat | FormatQuestion | None:
        last = numbers[-AGREE:]
        if len(last) < AGREE:
            return None
        shape, count = Counter(line.shape for line in last).most_common(1)[0]
        if count >= ENOUGH and shape:
            return self._of_shape([line for line in numbers if line.shape == shape])
        turns = Counter(line.shape for line in numbers[-2 * AGREE :] if line.shape)
        often = [shape for shape, n in turns.items() if n >= TURNS]
        if len(often) > 1 and len(numbers) >= 2 * AGREE and sum(turns[s] for s in often) >= 2 * ENOUGH:
            return self._taking_turns([[line for line in numbers if line.shape == shape] for shape in often])
        begins = len({line.shape for line in numbers[-BEGINS:]}) == 1
        if len(numbers) < PATIENCE or begins:
            return None
        shown = numbers[-1].raw.strip()[:48]
        return FormatQuestion(
            f"the lines have no common form, the newest is {shown!r}; give it with --pattern, or another --baud"
        )

    def _of_shape(self, alike: Sequence[Line]) -> LineFormat | FormatQuestion:
        return decide(alike, self._chosen.column, self._header, self._chosen.quantity)

    def _taking_turns(self, kinds: Sequence[Sequence[Line]]) -> LineFormat | FormatQuestion:
        """Lines of several kinds: one of them may name a force, and the others something else."""
        found = [(decide(alike, self._chosen.column, (), self._chosen.quantity), alike) for alike in kinds]
        forms = [(form, alike) for form, alike in found if isinstance(form, LineFormat)]
        forms = [one for one in forms if one[0].unit] or forms
        forms = [one for one in forms if not _is_label(*one)] or forms
        if len(forms) == 1:
            form = forms[0][0]
            return replace(form, beside=tuple(alike[0].shape for alike in kinds if alike[0].shape != form.shape))
        shown = " and ".join(repr(alike[-1].raw.strip()[:30]) for alike in kinds[:2])
        return FormatQuestion(
            f"lines of several kinds take turns: {shown}; write the one that is the force with --pattern"
        )


def _is_label(form: LineFormat, lines: Sequence[Line]) -> bool:
    """Whether a line of words with a number in it is always the same."""
    return form.unit is None and len({line.text for line in lines}) == 1 and any(c.isalpha() for c in lines[0].text)


def _is_said(line: Line) -> bool:
    return line.kind in ("words", "numbers") and len(re.findall(r"[^\W\d_]", line.raw)) > 5


def _words_before(lines: Sequence[Line], form: LineFormat) -> set[str]:
    """What was said before the first reading: heard again, it is a restart."""
    first = next(i for i, line in enumerate(lines) if line.kind == "numbers" and line.shape == form.shape)
    said = [
        re.sub(r"\d+", "0", line.raw.strip())
        if _is_said(line)
        and not (len(line.values) == len(form.roles) and len(re.findall(r"[^\W\d_]{3,}", line.raw)) < 2)
        else ""
        for line in lines
    ]
    return set(said[:first]) - set(said[first:]) - {""}


def _label(lines: Sequence[Line]) -> str | None:
    """The line of words that stands before most values, if one does."""
    before = Counter(a.raw.strip() for a, b in pairwise(lines) if (a.kind, b.kind) == ("words", "numbers"))
    found = before.most_common(1)
    return found[0][0] if found and found[0][1] >= ENOUGH and found[0][0] else None


def _alone(line: Line, at_s: float) -> Record:
    """What can be said of a line without a format."""
    if line.kind in ("overload", "fault", "status"):
        return Record(at_s, line.kind, line.raw)
    return Record(at_s, "unknown", line.raw, note="no format found")
