"""`bandcurve schema`: the JSON Schema of a file kind or of an answer."""

import json
from typing import Annotated

from calib.errors import UsageError
from calib.verbs.terminal import typer_later as typer

FILES = ("profile", "scale", "run", "series", "batch", "plates")


def command(
    kind: Annotated[
        str,
        typer.Argument(
            metavar="KIND",
            help="profile, scale, run, series (their heads), batch, plates, line, answer or answer:QUESTION.",
        ),
    ],
) -> int:
    """Print the JSON Schema (2020-12) of a file kind, or of what commands print with --json; line is that of listen.

    \b
    Examples:
      bandcurve schema profile > profile.schema.json
      bandcurve schema answer
      bandcurve schema answer:predict
    """
    name, named, question = kind.partition(":")
    if name == "answer":
        print(json.dumps(_answer(question if named else None), indent=2))
        return 0
    if kind == "line":
        from calib.use.cell.reading_line import line_schema

        print(json.dumps(line_schema(), indent=2))
        return 0
    if kind not in FILES:
        raise UsageError(f"there is no schema for {kind[:40]!r}", remedy=f"use one of {', '.join(FILES)}, line, answer")
    from calib.profile.schema import SCHEMAS

    print(json.dumps(SCHEMAS[kind](), indent=2))
    return 0


def _answer(question: str | None) -> dict[str, object]:
    from calib.use.report.answer_schema import answer_schema, answer_types

    if question is not None and question not in answer_types():
        raise UsageError(f"there is no answer {question[:40]!r}", remedy=f"use one of {', '.join(answer_types())}")
    return answer_schema(question)
