"""Options of record, plan and batch new. Those that answer a question are made of that question."""

from pathlib import Path
from typing import Annotated, Any

from calib.use.ask.measuring import BY_KEY
from calib.verbs.terminal import typer_later as typer

GEAR, BAND, PLACES, COURSE = "Scale and tape", "The band", "Lengths or loads", "Procedure"
UNTIL, CELL = "Only the readings needed", "Load cell on a line"


def answers(key: str, panel: str, **more: Any) -> Any:
    """The option that answers a question, so that it is not asked.

    Args:
        key: Of the question.
        panel: Heading of the help page it stands under.
        more: As for any option.
    """
    question = BY_KEY[key]
    return typer.Option(
        question.option, metavar=question.metavar, help=question.option_help, rich_help_panel=panel, **more
    )


MethodOption = Annotated[str | None, answers("way", GEAR)]
ScaleOption = Annotated[
    Path | None,
    typer.Option("--scale", metavar="FILE", help="The scale's file, with its checks.", rich_help_panel=GEAR),
]
CapacityOption = Annotated[str | None, answers("max", GEAR)]
ResolutionOption = Annotated[str | None, answers("step", GEAR)]
LocksOption = Annotated[str | None, answers("locks", GEAR)]
KindOption = Annotated[str | None, answers("tape", GEAR)]
FittingsOption = Annotated[str | None, answers("pins", GEAR)]
PlatesOption = Annotated[str | None, answers("plates", GEAR)]
HookOption = Annotated[str | None, answers("hook", GEAR)]
PlateOption = Annotated[str | None, answers("plate", GEAR)]
FlatOption = Annotated[str | None, answers("flat", BAND)]
SectionOption = Annotated[str | None, answers("section", BAND)]
MassOption = Annotated[str | None, answers("mass", BAND)]
TemperatureOption = Annotated[str | None, answers("temperature", BAND)]
LatitudeOption = Annotated[str | None, answers("latitude", BAND)]
LengthsOption = Annotated[str | None, answers("lengths", PLACES)]
LoadsOption = Annotated[str | None, answers("loads", PLACES)]
HolesOption = Annotated[str | None, answers("pitch", PLACES)]
FirstHoleOption = Annotated[int, answers("first_hole", PLACES, min=0, max=9999)]
TopOption = Annotated[
    str | None,
    typer.Option("--to", metavar="LENGTH", help="Longest length to plan, by the tape.", rich_help_panel=PLACES),
]
OverStretchOption = Annotated[
    bool,
    typer.Option("--over-stretch", help="Allow lengths above 3.0 times the flat length.", rich_help_panel=PLACES),
]
UntilOption = Annotated[
    str | None,
    typer.Option(
        "--until",
        metavar="U",
        help="Choose readings one by one until the pull is known this well, '2%'.",
        rich_help_panel=UNTIL,
    ),
]
OverOption = Annotated[
    str | None,
    typer.Option(
        "--over", metavar="A..B", help="Everywhere between these half-path lengths: 1.2m..1.8m.", rich_help_panel=UNTIL
    ),
]
BaudOption = Annotated[
    str | None, typer.Option("--baud", help="With --port: baud rate, like 9600.", rich_help_panel=CELL)
]
ColumnOption = Annotated[
    int | None,
    typer.Option("--column", min=1, help="With --port: which number of a line is the force.", rich_help_panel=CELL),
]
PatternOption = Annotated[
    str | None,
    typer.Option(
        "--pattern", help="With --port: a line with fields: 't={clock ms} kg={value kg}'.", rich_help_panel=CELL
    ),
]
AskOption = Annotated[
    str | None,
    typer.Option(
        "--ask",
        metavar="TEXT",
        help="With --port: WRITE this to a silent device, repeatedly.",
        rich_help_panel=CELL,
    ),
]
FormatOption = Annotated[
    str | None,
    typer.Option("--format", help="With --port: what a line holds: 'clock, value kg'.", rich_help_panel=CELL),
]
