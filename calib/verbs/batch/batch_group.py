"""`bandcurve batch`: a box of nominally equal bands. Each word is a module of its own, imported when chosen."""

import typer

from calib.verbs.terminal.help_pages import WordGroup

WORDS = {
    "new": "calib.verbs.batch.batch_new",
    "record": "calib.verbs.batch.batch_record",
    "fit": "calib.verbs.batch.batch_fit",
}


class Words(WordGroup):
    """The words of a box."""

    words = WORDS


app = typer.Typer(
    cls=Words,
    add_completion=False,
    rich_markup_mode=None,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="""Measure a box of nominally equal bands together: some in full, the others at about three lengths.

\b
Examples:
  bandcurve batch new box --count 12 --flat 1029mm
  bandcurve batch record box
  bandcurve batch fit box
""",
)


@app.callback()
def _words() -> None:
    pass
