"""What a command says of its options, kept as said: typer is loaded only where it has to answer.

Command modules import this under typer's name. `plain_line` reads a command line that is in order by what was said
here; for help, completion and whatever is not in order `help_pages` hands it on to typer. Loading typer, and what it
loads to check its options, takes longer than most commands.
"""

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple


class Said(NamedTuple):
    """An option or an argument as typer takes it."""

    kind: str  # Option or Argument
    names: tuple[str, ...]
    more: dict[str, Any]


def Option(*names: str, **more: Any) -> Any:  # noqa: N802 - typer's name
    """An option, as `typer.Option` in an `Annotated`."""
    return Said("Option", names, more)


def Argument(**more: Any) -> Any:  # noqa: N802 - typer's name
    """An argument, as `typer.Argument` in an `Annotated`."""
    return Said("Argument", (), more)


class Typer:
    """A command of several words: modules by word, or functions of its own module."""

    def __init__(
        self,
        words: Mapping[str, str] | None = None,
        arranged: Callable[[list[str]], list[str]] = lambda arguments: arguments,
        **settings: Any,
    ) -> None:
        self.words = words or {}  # word to module
        self.arranged = arranged  # what is typed for short, in full
        self.settings = settings
        self.commands: dict[str, Callable[..., int]] = {}

    def command(self, word: str) -> Callable[[Callable[..., int]], Callable[..., int]]:
        """A function of the module as a word."""

        def kept(function: Callable[..., int]) -> Callable[..., int]:
            self.commands[word] = function
            return function

        return kept
