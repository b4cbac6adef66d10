"""What a command's help page looks like, and what a mistyped word is answered with. No command is known here.

The pages keep what the Command Line Interface Guidelines (clig.dev) ask for: headings in bold at a terminal, options in
groups, a suggestion for a mistyped word at every level.
"""

import os
import re
import shutil
import sys
from collections.abc import Mapping, Sequence
from copy import copy
from difflib import get_close_matches
from functools import wraps
from importlib import import_module
from inspect import signature
from textwrap import fill
from typing import Annotated, Any, ClassVar, get_args, get_type_hints

import typer
from typer.core import TyperCommand, TyperGroup

from calib.verbs.door import own
from calib.verbs.terminal.plain_text import at_terminal
from calib.verbs.terminal.typer_later import Said

LONG = 30  # options on a help page; where there are more, those of a group are named, and --help-full says each
FULL = "--help-full"
SETTINGS = {"help_option_names": ["-h", "--help"]}


def bold_headings(page: str) -> str:
    """Make the headings of a help page bold where the terminal can show it."""
    if not sys.stdout.isatty() or os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
        return page
    return own(re.sub(r"^([ ]{0,2}[A-Z][\w ,]*:)", "\033[1m\\1\033[0m", page, flags=re.MULTILINE))


def _folded(page: str, width: int) -> str:
    """A help page whose examples stay within the width; a folded one can still be copied as it stands."""

    def fold(match: re.Match[str]) -> str:
        lines = ["   "]
        for word in re.findall(r"--\S+ (?!-)(?:'[^']*'|\S)+|(?:'[^']*'|\S)+", match[0]):
            if len(lines[-1]) + len(word) + 3 > width and lines[-1].strip():
                lines[-1] += " \\"
                lines.append("       ")
            lines[-1] += " " + word
        return "\n".join(lines)

    return re.sub(rf"^    bandcurve .{{{width - 13},}}$", fold, page, flags=re.MULTILINE)


def _shown(text: str) -> str:
    """A help page, headings in bold; one that is longer than the terminal goes through a pager, and is done then."""
    if not (at_terminal() and sys.stdout.isatty()) or text.count("\n") + 2 <= shutil.get_terminal_size().lines:
        return bold_headings(text)
    from calib.verbs.terminal.pager import page

    page(text)
    raise typer.Exit()


class Command(TyperCommand):
    """A command whose options stand in the groups they name as `rich_help_panel`."""

    full_page: Any = None  # the option that shows every option: one object, as its library compares them

    def get_help(self, ctx: Any) -> str:
        """The page, headings in bold at a terminal, through a pager where it is longer than that."""
        return _shown(_folded(super().get_help(ctx), min(80, shutil.get_terminal_size().columns)))

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """As typed; what is missing is asked for where somebody sits at a keyboard."""
        from calib.verbs.talk.missing import asked_for, can_be_asked

        asked: dict[str, list[str]] = {}
        while True:
            try:
                words = [word for answer in asked.values() for word in answer]
                parsed: list[str] = super().parse_args(ctx, [*args, *words])
            except typer.BadParameter as error:
                wrong = getattr(error, "param", None)
                missing = type(error).__name__ == "MissingParameter" or (wrong and wrong.name in asked)
                if wrong is None or not missing or not can_be_asked(args):
                    raise
                said = error.message if asked.pop(wrong.name, None) else ""
                asked[wrong.name] = asked_for(wrong, ctx.command_path.partition(" ")[2], said)
                ctx.params.clear()
            else:
                return parsed

    def get_params(self, ctx: Any) -> list[Any]:
        """The parameters; a command of many options has a page of all of them too."""
        params: list[Any] = super().get_params(ctx)
        if len(params) <= LONG:
            return params
        if self.full_page is None:
            self.full_page = _full_page(params[-1])
        return [*params, self.full_page]

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Options that name no group first, then each group in the order it first appears."""
        groups: dict[str, list[tuple[str, str]]] = {"Arguments": [], "Options": []}
        for parameter in self.get_params(ctx):
            record = parameter.get_help_record(ctx)
            kind = "Arguments" if parameter.param_type_name == "argument" else "Options"
            if record is not None:
                groups.setdefault(getattr(parameter, "rich_help_panel", None) or kind, []).append(record)
        short = len(self.get_params(ctx)) > LONG and not ctx.meta.get(FULL)
        named = {heading: groups.pop(heading) for heading in list(groups) if short and heading not in PLAIN}
        for heading, records in groups.items():
            if records:
                with formatter.section(heading):
                    formatter.write_dl(records)
        if named:
            with formatter.section(f"More options ({ctx.command_path} {FULL} explains them)"):
                formatter.write(_names(named, formatter.width))


PLAIN = ("Arguments", "Options")


def _names(named: Mapping[str, Sequence[tuple[str, str]]], width: int) -> str:
    """The options of each group by name alone; a name is never broken."""
    wide = max(map(len, named))
    lines = []
    for heading, records in named.items():
        options = " ".join(option.split(" ")[0] for option, _ in records)
        first, after = f"  {heading:<{wide}}  ", " " * (wide + 4)
        lines.append(fill(options, width, initial_indent=first, subsequent_indent=after, break_on_hyphens=False))
    return "".join(line + "\n" for line in lines)


def _full_page(help_option: Any) -> Any:
    """The option that shows every option, made like the one that shows help."""

    def shown(ctx: Any, _: Any, value: bool) -> None:
        if value and not ctx.resilient_parsing:
            ctx.meta[FULL] = True
            typer.echo(ctx.get_help(), color=ctx.color)
            ctx.exit()

    made = copy(help_option)
    made.name, made.opts, made.callback = "help_full", [FULL], shown
    made.help = "Show every option and exit."
    return made


class WordGroup(TyperGroup):
    """A group whose words are modules, each imported when chosen."""

    words: ClassVar[Mapping[str, str]] = {}  # word to module, in the order a user meets them

    @staticmethod
    def arranged(args: list[str]) -> list[str]:
        """What is typed for short, in full."""
        return args

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """As typed in full; `help WORD` is `WORD --help` here too."""
        asked = args[:1] == ["help"] and "help" not in self.words
        parsed: list[str] = super().parse_args(ctx, self.arranged([*args[1:], "--help"] if asked else args))
        return parsed

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
        said = module.app
        kind = type("Words", (WordGroup,), {"words": said.words, "arranged": staticmethod(said.arranged)})
        app = typer.Typer(cls=kind, **said.settings)
        app.callback()(_nothing)
        for word, command in said.commands.items():
            app.command(word, cls=Command)(_for_typer(command))
    else:
        app = typer.Typer(add_completion=False, rich_markup_mode=None, context_settings=SETTINGS)
        app.command(name, cls=Command)(_for_typer(module.command))
    found = typer.main.get_command(app)
    found.name = name
    return found


def _nothing() -> None:
    pass


def started(command: Any, values: dict[str, Any]) -> Any:
    """Carry out a command."""
    return command(**values)


def _for_typer(command: Any) -> Any:
    """A command whose annotations are typer's own."""

    @wraps(command)
    def spoken(**values: Any) -> Any:
        return started(command, values)

    spoken.__annotations__ = {
        name: _typers(kind) for name, kind in get_type_hints(command, include_extras=True).items()
    }
    spoken.__signature__ = signature(command).replace(  # type: ignore[attr-defined]
        parameters=[
            parameter.replace(annotation=spoken.__annotations__[name])
            for name, parameter in signature(command).parameters.items()
        ]
    )
    return spoken


def _typers(kind: Any) -> Any:
    """A file that may not be read is unusable input, said in one sentence by its reader, and no wrong usage."""
    said = next((mark for mark in getattr(kind, "__metadata__", ()) if isinstance(mark, Said)), None)
    if said is None:
        return kind
    option = getattr(typer, said.kind)(*said.names, **said.more)
    option.readable = False
    return Annotated[get_args(kind)[0], option]
