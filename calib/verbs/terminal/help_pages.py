"""What a command's help page looks like, and what a mistyped word is answered with. No command is known here.

The pages keep what the Command Line Interface Guidelines (clig.dev) ask for: headings in bold at a terminal, options in
groups, a suggestion for a mistyped word at every level.
"""

import os
import re
import sys
from collections.abc import Mapping
from difflib import get_close_matches
from importlib import import_module
from inspect import signature
from typing import Any, ClassVar

import typer
from typer.core import TyperCommand, TyperGroup

SETTINGS = {"help_option_names": ["-h", "--help"]}


def bold_headings(page: str) -> str:
    """Make the headings of a help page bold where the terminal can show it."""
    if not sys.stdout.isatty() or os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
        return page
    return re.sub(r"^([ ]{0,2}[A-Z][\w ,]*:)", "\033[1m\\1\033[0m", page, flags=re.MULTILINE)


class Command(TyperCommand):
    """A command whose options stand in the groups they name as `rich_help_panel`."""

    def get_help(self, ctx: Any) -> str:
        """The page, headings in bold at a terminal."""
        return bold_headings(super().get_help(ctx))

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Options that name no group first, then each group in the order it first appears."""
        groups: dict[str, list[tuple[str, str]]] = {"Arguments": [], "Options": []}
        for parameter in self.get_params(ctx):
            record = parameter.get_help_record(ctx)
            kind = "Arguments" if parameter.param_type_name == "argument" else "Options"
            if record is not None:
                groups.setdefault(getattr(parameter, "rich_help_panel", None) or kind, []).append(record)
        for heading, records in groups.items():
            if records:
                with formatter.section(heading):
                    formatter.write_dl(records)


class WordGroup(TyperGroup):
    """A group whose words are modules, each imported when chosen."""

    words: ClassVar[Mapping[str, str]] = {}  # word to module, in the order a user meets them

    def list_commands(self, ctx: Any) -> list[str]:
        """The words in that order."""
        return list(self.words) or super().list_commands(ctx)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """Import the chosen word's module."""
        return load(cmd_name, self.words[cmd_name]) if cmd_name in self.words else super().get_command(ctx, cmd_name)

    def get_help(self, ctx: Any) -> str:
        """The page, headings in bold at a terminal."""
        return bold_headings(super().get_help(ctx))

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """Find the command, or say which word was probably meant."""
        word = args[0]
        if word not in self.list_commands(ctx) and not word.startswith("-"):
            near = get_close_matches(word, [*self.list_commands(ctx), "help"], n=1)
            meant = f"did you mean '{near[0]}'?" if near else f"'{ctx.command_path} --help' lists them."
            ctx.fail(f"There is no command {word[:40]!r}; {meant}")
        return super().resolve_command(ctx, args)


def load(name: str, path: str) -> Any:
    """The command object of one module: a `command` function, or an `app` of its own with sub-commands."""
    module = import_module(path)
    if hasattr(module, "app"):
        for inner in module.app.registered_commands:
            _leave_files_to_readers(inner.callback)
            inner.cls = inner.cls if issubclass(inner.cls, Command) else Command
        found = typer.main.get_command(module.app)
    else:
        single = typer.Typer(add_completion=False, rich_markup_mode=None, context_settings=SETTINGS)
        _leave_files_to_readers(module.command)
        single.command(name, cls=Command)(module.command)
        found = typer.main.get_command(single)
    found.name = name
    return found


def _leave_files_to_readers(command: Any) -> None:
    """A file that may not be read is unusable input, said in one sentence by its reader, and no wrong usage."""
    for parameter in signature(command).parameters.values():
        for option in getattr(parameter.annotation, "__metadata__", ()):
            if hasattr(option, "readable"):
                option.readable = False
