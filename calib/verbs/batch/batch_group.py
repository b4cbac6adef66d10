"""`bandcurve batch`: a box of nominally equal bands. Each word is a module of its own, imported when chosen."""

from calib.verbs.terminal import typer_later as typer

WORDS = {
    "new": "calib.verbs.batch.batch_new",
    "record": "calib.verbs.batch.batch_record",
    "fit": "calib.verbs.batch.batch_fit",
}


app = typer.Typer(
    words=WORDS,
    add_completion=False,
    rich_markup_mode=None,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="""Measure a box of bands sold as equal: a few in full, the others at about three lengths.

\b
Examples:
  bandcurve batch new box --count 12 --flat 1029mm
  bandcurve batch record box
  bandcurve batch fit box
""",
)
