"""The man page, made of the commands: `python -m tests.campaigns.man_page` writes docs/bandcurve.1."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from calib.verbs.overview import COMMANDS
from calib.verbs.terminal.help_pages import WordGroup, load

PAGE = Path(__file__).parents[2] / "docs" / "bandcurve.1"
HEAD = """\
.\\" Made from the commands by python -m tests.campaigns.man_page; a test compares them.
.TH BANDCURVE 1
.SH NAME
bandcurve \\- measure the tension curve of elastic loop bands, with an uncertainty that holds
.SH SYNOPSIS
.B bandcurve
.RI [ options ]
.I command
.RI [ arguments ]
.SH DESCRIPTION
Leads through measuring a band with a scale and a tape, plates or a load cell, fits its tension curve with limits,
warns about what looks wrong, and answers what follows: what it puts on a bar, which two match, has one gone soft.
The guide is part of the program:
.B bandcurve explain
shows its pages,
.B bandcurve help
.I command
a command with its options.
.SH OPTIONS
.TP
.B \\-\\-version
Print the version.
.TP
.B \\-\\-no\\-color
Plain text, as with NO_COLOR set.
.TP
.B \\-\\-no\\-input
Ask nothing: what an option does not say is an error.
.TP
.BR \\-h ", " \\-\\-help
Show the commands; after a command, its own options.
.SH COMMANDS
"""
FOOT = """\
.SH ENVIRONMENT
.TP
.B NO_COLOR
Plain text.
.TP
.B PAGER
Shows text longer than the terminal, less where it is not set; cat turns that off.
.SH EXIT STATUS
0: done. 1: unusable input or data. 2: wrong usage. 130: interrupted.
"""


def page() -> str:
    """The whole page in the man macros."""
    return HEAD + "".join(line + "\n" for name, entry in COMMANDS.items() for line in _command(name, entry)) + FOOT


def _command(name: str, entry: Any) -> Iterator[str]:
    command = load(name, entry.module)
    if not isinstance(command, WordGroup):
        yield from _options(f"bandcurve {name}", command)
        return
    yield f".SS {_roff(f'bandcurve {name}')}"
    yield _roff(entry.summary)
    context = command.make_context(name, [], resilient_parsing=True)
    for word in command.list_commands(context):
        yield from _options(f"bandcurve {name} {word}", command.get_command(context, word))


def _options(called: str, command: Any) -> Iterator[str]:
    """A command with its summary, arguments and options."""
    context = command.make_context(called, [], resilient_parsing=True)
    yield f".SS {_roff(called)}"
    yield _roff(re.split(r"\n\s*\n", command.help or "")[0].replace("\n", " "))
    for parameter in command.get_params(context):
        record = parameter.get_help_record(context)
        if record is not None and "--help" not in record[0]:
            yield from (".TP", f".B {_roff(record[0])}", _roff(record[1]) or "\\&")


def _roff(text: str) -> str:
    """Text as the macros take it: nothing in it is a command."""
    plain = " ".join(text.split()).replace("\\", "\\e").replace("-", "\\-")
    return f"\\&{plain}" if plain[:1] in (".", "'") else plain


def main() -> None:
    """Write the page."""
    PAGE.write_text(page(), "utf-8")


if __name__ == "__main__":
    main()
