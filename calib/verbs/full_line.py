"""The whole command line as typer has it: help, completion, and a sentence for what is not in order. Slow to load."""

from collections.abc import Mapping, Sequence
from typing import Any, ClassVar

import typer

from calib.errors import UsageError
from calib.verbs.overview import COMMANDS, overview, version_text
from calib.verbs.refusal import refused
from calib.verbs.terminal.help_pages import SETTINGS, WordGroup, bold_headings

_CommandLineError: type[Any] = next(kind for kind in typer.BadParameter.__mro__ if kind.__name__ == "ClickException")


class LazyGroup(WordGroup):
    """The whole command line; its overview needs only the summary of each command."""

    words: ClassVar[Mapping[str, str]] = {name: command.module for name, command in COMMANDS.items()}

    def get_help(self, ctx: Any) -> str:
        """The overview, without importing any command."""
        return bold_headings(overview().rstrip())


def _version(asked: bool) -> None:
    if asked:
        typer.echo(version_text(), nl=False)
        raise typer.Exit()


def _leave(status: object, show_version: bool) -> None:
    """Make the number a command returns the exit status."""
    if isinstance(status, int) and status:
        raise typer.Exit(status)


def _root(
    show_version: bool = typer.Option(False, "--version", help="Print the version.", callback=_version, is_eager=True),
) -> None:
    pass


def build() -> Any:
    """The whole command line as one command object."""
    app = typer.Typer(
        cls=LazyGroup, add_completion=True, rich_markup_mode=None, context_settings=SETTINGS, result_callback=_leave
    )
    app.callback()(_root)
    return typer.main.get_command(app)


def carried_out(arguments: Sequence[str]) -> int:
    """Carry out a command line.

    Returns:
        The exit status.
    """
    as_json = "--json" in arguments
    try:
        status = build()(args=list(arguments), prog_name="bandcurve", standalone_mode=not as_json)
    except SystemExit as leaving:
        if isinstance(leaving.__context__, BrokenPipeError):
            raise leaving.__context__ from None  # the library underneath calls it a failure
        raise
    except _CommandLineError as error:
        error.show()
        return refused(arguments, UsageError(error.format_message()), error.exit_code, said=True)
    except typer.Abort:
        raise KeyboardInterrupt from None
    return status if isinstance(status, int) else 0
