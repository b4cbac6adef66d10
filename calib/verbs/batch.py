"""`bandcurve batch`: a box of nominally equal bands. Each word is a module of its own, imported when chosen."""

from typing import Any

import typer
from typer.core import TyperGroup

from calib.verbs.app import load

WORDS = {
    "new": "calib.verbs.batch_new",
    "record": "calib.verbs.batch_record",
    "fit": "calib.verbs.batch_fit",
}


class Words(TyperGroup):
    """A group whose words are imported when chosen."""

    def list_commands(self, ctx: Any) -> list[str]:
        """Words in the order a user meets them."""
        return list(WORDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """Import the chosen word's module."""
        return load(cmd_name, WORDS[cmd_name]) if cmd_name in WORDS else None


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
