"""One question as data: how it is asked, which option answers it, how an answer is read. No terminal is known here.

An answer is kept as the text a person would type, units and all ("102.9 cm"), so that a draft, the folder's memory, an
option and a field of a page are the same thing. `read` makes that text of what was typed, or says what is wrong.
"""

from collections.abc import Callable, Mapping
from typing import Literal

from calib.frozen import dataclass

Answers = Mapping[str, str]
Occasion = Literal["quick", "full", "form", "box"]
Belongs = Literal["gear", "band", "day"]  # how long an answer holds: until told otherwise, for this band, for today

EVERY: frozenset[Occasion] = frozenset(("quick", "full", "form", "box"))
NOT_QUICK: frozenset[Occasion] = EVERY - {"quick"}
NEVER: frozenset[Occasion] = frozenset()


def always(_: Answers) -> bool:
    """Whatever was answered so far."""
    return True


def never(_: Answers) -> bool:
    """Whatever was answered so far, no."""
    return False


@dataclass(frozen=True)
class Choice:
    """One of the answers to choose from."""

    value: str  # as it is kept
    words: str
    more: str = ""  # a second line below it
    short: str = ""  # in the summary, where `words` are too long


@dataclass(frozen=True)
class Question:
    """One thing a person is asked, or may say."""

    key: str
    label: str  # in the summary
    prompt: str  # {length}, {small} and {force} stand for the units in use
    read: Callable[[str, Answers], str]  # raises DataError, whose sentence is shown
    help: tuple[str, ...]  # behind `?`
    option: str = ""  # that answers it beforehand; empty where there is none
    metavar: str = ""
    option_help: str = ""
    default: str = ""  # of Enter, and where it is not asked
    unknown: str = ""  # said where it was left open; empty where an answer is needed
    choices: tuple[Choice, ...] = ()
    sketch: tuple[str, ...] = ()  # a drawing in characters, behind `?`
    fits: frozenset[Occasion] = EVERY  # on others it makes no sense
    asked: frozenset[Occasion] = EVERY  # else only who changes its line in the summary is asked
    belongs: Belongs = "gear"
    when: Callable[[Answers], bool] = always  # else it makes no sense
    asked_if: Callable[[Answers], bool] = never  # asked on every occasion then
    listed: bool = True  # in the summary

    @property
    def needed(self) -> bool:
        """Whether measuring cannot begin without an answer."""
        return not (self.default or self.unknown)

    def answer_text(self, answers: Answers) -> str:
        """What was answered, for the summary."""
        value = answers.get(self.key) or self.default
        if not value:
            return self.unknown
        return next((c.short or c.words for c in self.choices if c.value == value), value)
