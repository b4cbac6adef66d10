"""Options that several commands share: how a band is measured, and what a load cell's line looks like."""

from pathlib import Path
from typing import Annotated

import typer

MethodOption = Annotated[
    str | None, typer.Option("--method", metavar="WAY", help="scale-in-line, hung-weight or anchor-on-scale.")
]
ScaleOption = Annotated[Path | None, typer.Option("--scale", metavar="FILE", help="The scale's file, with its checks.")]
LoadsOption = Annotated[str | None, typer.Option("--loads", metavar="LIST", help="Plates to hang: '2.5 5 10 15 20'.")]
HolesOption = Annotated[
    str | None, typer.Option("--holes", metavar="PITCH", help="Set lengths by rack holes: their pitch, '50mm'.")
]
FirstHoleOption = Annotated[
    int, typer.Option("--first-hole", metavar="N", help="Hole the fixed pin sits in; 0 asks.", min=0, max=9999)
]
TopOption = Annotated[str | None, typer.Option("--to", metavar="LENGTH", help="Longest length to plan.")]
OverOption = Annotated[
    str | None, typer.Option("--over", metavar="A..B", help="Working half-path lengths for --until: 1.2m..1.8m.")
]
OverStretchOption = Annotated[
    bool, typer.Option("--over-stretch", help="Allow lengths above 3.0 times the flat length.")
]
BaudOption = Annotated[str | None, typer.Option("--baud", help="With --port: its speed, like 9600.")]
ColumnOption = Annotated[
    int | None, typer.Option("--column", min=1, help="With --port: which number of a line is the force.")
]
FormatOption = Annotated[
    str | None, typer.Option("--format", help="With --port: what a line holds: 'clock, value kg'.")
]
