"""An answer told: as JSON, or as a screen with the kilos first and last. The one way commands print their results."""

from calib.use.answers.parts import Answer
from calib.use.report.view import View

FULL_HELP = "Everything: table, uncertainty budget, every warning."


def give(answer: Answer, view: View | None, *, as_json: bool, full: bool = False) -> None:
    """Print an answer, after the last gate.

    Args:
        answer: What to tell.
        view: How it looks on a screen; not needed for JSON.
        as_json: One JSON document instead of words.
        full: Every section.

    Raises:
        DataError: A number in it cannot be.
    """
    from calib.use.report.document import check, json_text

    if as_json or view is None:
        print(json_text(answer))
        return
    from calib.use.report.as_text import text_of
    from calib.verbs.terminal.pager import page
    from calib.verbs.terminal.plain_text import columns

    check(answer)
    page(text_of(view, columns(), full=full))
