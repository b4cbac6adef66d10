"""The command line as a whole: starts commands; the one place where errors become text and exit status.

A command's module is imported when it is chosen, so that `--help` stays fast. Each module has a function `command`.
"""

import os
import sys
from collections.abc import Mapping, Sequence
from contextlib import suppress
from itertools import takewhile
from pathlib import Path
from typing import Any, ClassVar

import typer

from calib.errors import BandcurveError, DataError, EndOfInputError, UsageError, file_error
from calib.verbs.overview import COMMANDS, overview, version_text
from calib.verbs.terminal.help_pages import SETTINGS, WordGroup, bold_headings
from calib.verbs.terminal.plain_text import complaint

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


def run(arguments: Sequence[str]) -> int:
    """Run one command; every error a user can cause becomes one sentence on standard error.

    Returns:
        0 done, 1 unusable input or data, 2 wrong usage, 130 interrupted.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # for matrices of fifty rows threads cost more than they give
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # cp1252 and cp437 terminals lack some characters
    try:
        status = _answered(_for_every_command(arguments))
        if sys.stdout:
            sys.stdout.flush()
        return status
    except OSError as error:
        with suppress(OSError, ValueError):  # or leaving would try again, and complain
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        if isinstance(error, BrokenPipeError):
            return 0  # whoever closed the pipe has read enough
        where = Path(error.filename or "standard output")
        print(complaint(str(file_error(error, where, "used"))), file=sys.stderr)
        return 1


def _for_every_command(arguments: Sequence[str]) -> list[str]:
    """Carry out what every command understands (help, -h anywhere, --no-color, --no-input); give back the rest."""
    kept = [word for word in arguments if word not in ("--no-color", "--no-input")]
    if "--no-color" in arguments:
        os.environ["NO_COLOR"] = "1"
    if "--no-input" in arguments:
        sys.stdin = Path(os.devnull).open(encoding="utf-8")  # noqa: SIM115 - every question now meets its end of input
    if kept[:1] == ["help"]:
        return [*kept[1:], "--help"]
    if "-h" in kept or "--help" in kept:  # also after an option that wants a value
        words = list(takewhile(lambda word: not word.startswith("-"), kept))
        return [*words, "--help"]
    return kept


def _answered(arguments: Sequence[str]) -> int:
    as_json = "--json" in arguments
    try:
        status = build()(args=list(arguments), prog_name="bandcurve", standalone_mode=not as_json)
    except SystemExit as leaving:
        if isinstance(leaving.__context__, BrokenPipeError):
            raise leaving.__context__ from None  # the library underneath calls it a failure
        return leaving.code if isinstance(leaving.code, int) else 1
    except BandcurveError as error:
        return _refused(arguments, error, 2 if isinstance(error, UsageError) else 1)
    except _CommandLineError as error:
        error.show()
        return _refused(arguments, UsageError(error.format_message()), error.exit_code, said=True)
    except EndOfInputError:
        what, remedy = "the input ended before the question was answered", "answer it, or give the command's options"
        return _refused(arguments, DataError(what, remedy=remedy), 1)
    except (KeyboardInterrupt, typer.Abort):
        print("\nbandcurve: interrupted", file=sys.stderr)
        return 130
    return status if isinstance(status, int) else 0


def _refused(arguments: Sequence[str], error: BandcurveError, status: int, *, said: bool = False) -> int:
    """Say an error: a sentence on standard error, and with --json a document in the place of the answer too."""
    if not said:
        print(complaint(str(error)), file=sys.stderr)
    if "--json" in arguments:
        import json

        from calib.use.report.document import error_document

        print(json.dumps(error_document(_question(arguments), error, status), indent=2))
    return status


def _question(arguments: Sequence[str]) -> str:
    """What was asked: the command, with its second word where it has one."""
    words = list(takewhile(lambda word: not word.startswith("-"), arguments))
    grouped = words[:1] and words[0] in ("rig", "scale", "batch") and words[1:2] and words[1].isalpha()
    return "-".join(words[: 2 if grouped else 1])
