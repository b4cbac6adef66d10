"""An error told: a sentence on standard error, and with --json a document in the place of the answer."""

import sys
from collections.abc import Sequence
from itertools import takewhile

from calib.errors import BandcurveError
from calib.verbs.terminal.plain_text import complaint

LINE_BY_LINE = ("listen",)  # commands whose answer is one object a line, the error at its end too


def refused(arguments: Sequence[str], error: BandcurveError, status: int, *, said: bool = False) -> int:
    """Say an error: a sentence on standard error, and with --json a document in the place of the answer too."""
    if not said:
        print(complaint(str(error)), file=sys.stderr)
    if "--json" in arguments:
        import json

        from calib.use.report.document import error_document

        question = _question(arguments)
        print(json.dumps(error_document(question, error, status), indent=None if question in LINE_BY_LINE else 2))
    return status


def _question(arguments: Sequence[str]) -> str:
    """What was asked: the command, with its second word where it has one."""
    words = list(takewhile(lambda word: not word.startswith("-"), arguments))
    grouped = words[:1] and words[0] in ("rig", "scale", "batch") and words[1:2] and words[1].isalpha()
    return "-".join(words[: 2 if grouped else 1])
