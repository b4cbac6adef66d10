"""Whoever answers a talk that asks one thing after another: somebody at a terminal, or answers given before."""

from collections.abc import Callable, Sequence
from dataclasses import field
from typing import Protocol, TypeVar

from calib.errors import DataError
from calib.frozen import dataclass

T = TypeVar("T")


class Asker(Protocol):
    """Says and asks; each answer is read at once, and asked for again where it cannot be."""

    def say(self, *lines: str) -> None:
        """Lines to be read before the next question."""

    def ask(self, prompt: str, read: Callable[[str], T], *, empty: T | None = None, hint: str = "") -> T:
        """Ask for one thing; `empty` is the value of an empty answer, `hint` the help."""

    def choose(self, prompt: str, options: Sequence[T], *, default: int = 1, hint: str = "") -> T:
        """Ask for the number of one of some options, counted from 1."""

    def yes(self, prompt: str, *, default: bool = True, hint: str = "") -> bool:
        """Ask a question of yes or no."""


def number_of(options: Sequence[T]) -> Callable[[str], T]:
    """Reads the number of one of some options."""

    def read(text: str) -> T:
        if text in {str(i + 1) for i in range(len(options))}:
            return options[int(text) - 1]
        numbers = ", ".join(str(i + 1) for i in range(len(options) - 1)) + f" or {len(options)}"
        raise DataError(f"type {numbers} and Enter" if text else "type a number and Enter")

    return read


def yes_or_no(text: str) -> bool:
    """Reads yes or no."""
    if text.lower() in {"y", "yes"}:
        return True
    if text.lower() in {"n", "no"}:
        return False
    raise DataError("type y or n")


@dataclass(frozen=True)
class NextQuestion:
    """The question that no answer is there for yet."""

    prompt: str
    said: tuple[str, ...]  # before it, since the question before
    hint: str
    needed: bool  # whether an empty answer says nothing
    numbers: int = 0  # of the options; 0 where it is no choice
    default: int = 0  # the usual one of them
    yes_no: bool = False
    wrong: str = ""  # why the answer given to it cannot be read


class UnansweredError(Exception):
    """The answers are at their end; carries the question that comes next."""

    def __init__(self, wanted: NextQuestion, taken: Sequence[str]) -> None:
        super().__init__(wanted.prompt)
        self.wanted, self.taken = wanted, tuple(taken)


@dataclass
class Answers:
    """Answers given before, one after another; where they end, what is asked next is raised."""

    given: Sequence[str]
    _said: list[str] = field(default_factory=list)
    _at: int = 0

    def say(self, *lines: str) -> None:
        """Kept for the question that comes next."""
        self._said += [line for line in lines if line.strip()]

    def ask(self, prompt: str, read: Callable[[str], T], *, empty: T | None = None, hint: str = "") -> T:
        """The next answer, read.

        Raises:
            UnansweredError: There is none, or it cannot be read.
        """
        return self._read(NextQuestion(prompt, (), hint, needed=empty is None), read, empty)

    def choose(self, prompt: str, options: Sequence[T], *, default: int = 1, hint: str = "") -> T:
        """The option whose number is the next answer."""
        wanted = NextQuestion(prompt, (), hint, needed=False, numbers=len(options), default=default)
        return self._read(wanted, number_of(options), options[default - 1])

    def yes(self, prompt: str, *, default: bool = True, hint: str = "") -> bool:
        """The next answer, yes or no."""
        wanted = NextQuestion(prompt, (), hint, needed=False, yes_no=True, default=int(default))
        return self._read(wanted, yes_or_no, default)

    def _read(self, wanted: NextQuestion, read: Callable[[str], T], empty: T | None) -> T:
        from dataclasses import replace

        wanted = replace(wanted, said=tuple(self._said))
        if self._at >= len(self.given):
            raise UnansweredError(wanted, self.given)
        text = self.given[self._at]
        if text or empty is None:
            try:
                value = read(text)
            except DataError as error:
                raise UnansweredError(replace(wanted, wrong=str(error)), self.given[: self._at]) from None
        else:
            value = empty
        self._at += 1
        self._said.clear()
        return value
