"""The command line as a whole: starts commands; the one place where errors become text and exit status.

A command's module is imported when it is chosen. A command line that is in order is read by `plain_line`; for help,
completion and what is not in order the whole of it is built with typer, in `full_line`.
"""

import os
import sys
from collections.abc import Sequence
from contextlib import suppress
from itertools import takewhile
from pathlib import Path

from calib.errors import BandcurveError, DataError, EndOfInputError, UsageError, file_error
from calib.verbs.door import guarded
from calib.verbs.overview import COMMANDS
from calib.verbs.refusal import refused
from calib.verbs.terminal.plain_line import called
from calib.verbs.terminal.plain_text import complaint

_MODULES = {name: command.module for name, command in COMMANDS.items()}


def run(arguments: Sequence[str]) -> int:
    """Run one command; every error a user can cause becomes one sentence on standard error.

    Returns:
        0 done, 1 unusable input or data, 2 wrong usage, 130 interrupted.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # for matrices of fifty rows threads cost more than they give
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # cp1252 and cp437 terminals lack some characters
    with guarded():
        return _run(arguments)


def _run(arguments: Sequence[str]) -> int:
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
    return kept or list(arguments and ["--help"])


def _answered(arguments: Sequence[str]) -> int:
    try:
        call = called(arguments, _MODULES)
        if call is None:
            from calib.verbs.full_line import carried_out

            return carried_out(arguments)
        return call.command(**call.values) or 0
    except SystemExit as leaving:
        return leaving.code if isinstance(leaving.code, int) else 1
    except BandcurveError as error:
        return refused(arguments, error, 2 if isinstance(error, UsageError) else 1)
    except (EndOfInputError, EOFError):
        what, remedy = "the input ended before the question was answered", "answer it, or give the command's options"
        return refused(arguments, DataError(what, remedy=remedy), 1)
    except KeyboardInterrupt:
        print("\nbandcurve: interrupted", file=sys.stderr)
        return 130
