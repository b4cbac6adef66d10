"""The command line as a whole: starts commands; the one place where errors become text and exit status.

A command's module is imported when it is chosen, so that `--help` stays fast. Each module has a function `command`.
"""

import os
import sys
from collections.abc import Mapping, Sequence
from contextlib import suppress
from importlib import import_module
from inspect import signature
from pathlib import Path
from typing import Any, ClassVar

import typer
from typer.core import TyperGroup

from calib.errors import BandcurveError, UsageError
from calib.safe_write import file_error
from calib.verbs.overview import COMMANDS, overview, version_text
from calib.verbs.terminal.plain_text import complaint


class WordGroup(TyperGroup):
    """A group whose words are modules, each imported when chosen."""

    words: ClassVar[Mapping[str, str]] = {}  # word to module, in the order a user meets them

    def list_commands(self, ctx: Any) -> list[str]:
        """The words in that order."""
        return list(self.words)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """Import the chosen word's module."""
        return load(cmd_name, self.words[cmd_name]) if cmd_name in self.words else None


class LazyGroup(WordGroup):
    """The whole command line; its overview needs only the summary of each command."""

    words: ClassVar[Mapping[str, str]] = {name: command.module for name, command in COMMANDS.items()}

    def get_help(self, ctx: Any) -> str:
        """The overview, without importing any command."""
        return overview().rstrip()


def load(name: str, path: str) -> Any:
    """The command object of one module: a `command` function, or an `app` of its own with sub-commands."""
    module = import_module(path)
    if hasattr(module, "app"):
        for inner in module.app.registered_commands:
            _leave_files_to_readers(inner.callback)
        found = typer.main.get_command(module.app)
    else:
        single = typer.Typer(add_completion=False, rich_markup_mode=None, context_settings=_SETTINGS)
        _leave_files_to_readers(module.command)
        single.command(name)(module.command)
        found = typer.main.get_command(single)
    found.name = name
    return found


def _leave_files_to_readers(command: Any) -> None:
    """A file that may not be read is unusable input, said in one sentence by its reader, and no wrong usage."""
    for parameter in signature(command).parameters.values():
        for option in getattr(parameter.annotation, "__metadata__", ()):
            if hasattr(option, "readable"):
                option.readable = False


_SETTINGS = {"help_option_names": ["-h", "--help"]}


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
        cls=LazyGroup, add_completion=False, rich_markup_mode=None, context_settings=_SETTINGS, result_callback=_leave
    )
    app.callback()(_root)
    return typer.main.get_command(app)


def run(arguments: Sequence[str]) -> int:
    """Run one command; every error a user can cause becomes one sentence on standard error.

    Returns:
        0 done, 1 unusable input or data, 2 wrong usage, 130 interrupted.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # for matrices of fifty rows threads cost more than they give
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # cp1252 and cp437 terminals lack some signs
    try:
        status = _answered(arguments)
        if sys.stdout:
            sys.stdout.flush()
        return status
    except OSError as error:
        with suppress(OSError, ValueError):  # or leaving would try again, and complain
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        if not isinstance(error, BrokenPipeError):  # whoever closed the pipe has read enough
            where = Path(error.filename or "standard output")
            print(complaint(str(file_error(error, where, "used"))), file=sys.stderr)
        return 1


def _answered(arguments: Sequence[str]) -> int:
    try:
        status = build()(args=list(arguments), prog_name="bandcurve", standalone_mode=True)
    except SystemExit as leaving:
        return leaving.code if isinstance(leaving.code, int) else 1
    except UsageError as error:
        print(complaint(str(error)), file=sys.stderr)
        return 2
    except BandcurveError as error:
        print(complaint(str(error)), file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("\nbandcurve: interrupted", file=sys.stderr)
        return 130
    return status if isinstance(status, int) else 0
