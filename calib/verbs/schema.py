"""`bandcurve schema`: the JSON Schema of a file kind."""

import json
from typing import Annotated

import typer

from calib.errors import UsageError

KINDS = ("profile", "scale", "run", "series", "batch", "plates")


def command(
    kind: Annotated[
        str,
        typer.Argument(
            metavar="profile|scale|run|series|batch|plates", help="Which file; of a run or a series the head."
        ),
    ],
) -> int:
    """Print the JSON Schema (2020-12) of a file kind.

    \b
    Example:
      bandcurve schema profile > profile.schema.json
    """
    if kind not in KINDS:
        raise UsageError(f"there is no schema for {kind[:40]!r}", remedy=f"use one of {', '.join(KINDS)}")
    from calib.profile.schema import SCHEMAS

    print(json.dumps(SCHEMAS[kind](), indent=2))
    return 0
