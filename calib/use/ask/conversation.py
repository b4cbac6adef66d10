"""A talk before a measurement as it goes: which question is open, what `back` does, the summary. No terminal here."""

from collections.abc import Mapping
from dataclasses import field, replace

from calib.acquire.recording.typed_entry import clean
from calib.errors import DataError
from calib.frozen import dataclass
from calib.use.ask.measuring import BY_KEY, MEASURING
from calib.use.ask.question import Occasion, Question
from calib.use.ask.readers import READ_IN, unit_behind, units_of

LETTERS = {  # of the lines of the summary; not n and y, which are no and yes
    "way": "a",
    "max": "b",
    "step": "c",
    "locks": "d",
    "loads": "e",
    "hook": "f",
    "flat": "g",
    "tape": "h",
    "pitch": "i",
    "first_hole": "j",
    "pins": "k",
    "lengths": "l",
    "section": "m",
    "scale_at": "o",
    "zeroed": "p",
    "mass": "q",
    "plate": "r",
    "temperature": "s",
    "pulls": "t",
    "day": "u",
    "plates": "v",
}


@dataclass(frozen=True)
class AnswerLine:
    """One line of the summary; its letter changes it."""

    letter: str
    question: Question
    words: str


@dataclass(frozen=True)
class Talk:
    """What was answered so far."""

    occasion: Occasion
    answers: Mapping[str, str] = field(default_factory=dict)
    asked: tuple[str, ...] = ()  # keys answered in this talk, in order
    recalled: bool = False  # the gear is that of last time

    @property
    def still_open(self) -> tuple[Question, ...]:
        """What is still to be asked, in order."""
        return tuple(q for q in MEASURING if self._is_open(q))

    def _is_open(self, question: Question) -> bool:
        if question.key in self.answers or not self._fits(question):
            return False
        return question.needed or self.occasion in question.asked or question.asked_if(self.answers)

    def _fits(self, question: Question) -> bool:
        return self.occasion in question.fits and question.when(self.answers)

    def answered(self, key: str, text: str) -> "Talk":
        """The talk with an answer more, or another one in its place; an empty one is the default.

        Raises:
            DataError: It cannot be read; nothing has changed.
        """
        question, typed = BY_KEY[key], clean(text)
        if not typed and question.needed:
            raise DataError("nothing was typed", remedy="type an answer, or ? for help")
        kept = question.read(typed, self.answers) if typed else question.default
        answers = {**self.answers, key: kept, **_unit_told(key, kept)}
        return replace(self, answers=answers, asked=(*(k for k in self.asked if k != key), key))

    def before_last_answer(self) -> "Talk":
        """The talk before its last answer; itself where there was none."""
        if not self.asked:
            return self
        last = self.asked[-1]
        return replace(self, answers={k: v for k, v in self.answers.items() if k != last}, asked=self.asked[:-1])

    def prompt(self, question: Question) -> str:
        """A question in the units in use."""
        said = question.prompt.format(**units_of(self.answers).in_prompts)
        if question.key == "flat" and "unit" in self.answers:
            return f"{said.partition(', with unit')[0]}, {self.answers['unit']}: "
        return said

    @property
    def lines(self) -> tuple[AnswerLine, ...]:
        """The summary."""
        shown = [q for q in MEASURING if q.listed and self._fits(q)]
        return tuple(AnswerLine(LETTERS[q.key], q, q.answer_text(self.answers)) for q in shown)


def _unit_told(key: str, kept: str) -> Mapping[str, str]:
    """Who gives the flat length in a unit has a tape in it."""
    unit = unit_behind(kept, "length") if key == "flat" else None
    return {"unit": READ_IN.get(unit, unit)} if unit else {}
