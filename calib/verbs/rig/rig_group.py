"""`bandcurve rig`: what bands put on a bar. A file alone is worked out; a word before it asks for something else.

Each word is a module of its own, imported when chosen, with a function `command`.
"""

from pathlib import Path

from calib.profile.store.own_files import own_files
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.plain_text import at_terminal

WORDS = {
    "new": "calib.verbs.rig.rig_new",
    "show": "calib.verbs.rig.rig_show",
    "check": "calib.verbs.rig.rig_check",
    "solve": "calib.verbs.rig.rig_solve",
    "weight": "calib.verbs.rig.rig_weight",
}
OF_A_FILE = ("show", "check", "solve", "weight")
END = ".rig.toml"


def _is_rig(name: str) -> bool:
    """Whether a rig is meant by its bare name; a word and a file that is there come first."""
    return name not in WORDS and not Path(name).exists() and len(name) < 200 and Path(f"{name}{END}").is_file()


def _arranged(args: list[str]) -> list[str]:
    """Put in the word that was left out: a file in place of a word means `show`, and so does nothing at a terminal."""
    if not args and at_terminal() and own_files(Path(), f"*{END}"):
        return ["show"]
    if args and args[0] not in ("-h", "--help") and (any(sign in args[0] for sign in "-./\\") or _is_rig(args[0])):
        args = ["show", *args]
    if len(args) > 1 and args[0] in OF_A_FILE and _is_rig(args[1]):
        args = [args[0], f"{args[1]}{END}", *args[2:]]
    return args


app = typer.Typer(
    words=WORDS,
    arranged=_arranged,
    add_completion=False,
    rich_markup_mode=None,
    no_args_is_help=True,
    subcommand_metavar="FILE | NAME | COMMAND [ARGS]...",
    context_settings={"help_option_names": ["-h", "--help"]},
    help="""Say what calibrated bands put on a bar. FILE alone is short for show FILE, and so is NAME for
NAME.rig.toml. At a terminal, nothing at all asks which; the one last shown is offered.

\b
Examples:
  bandcurve rig new squat
  bandcurve rig squat.rig.toml
  bandcurve rig check squat.rig.toml --out squat2.rig.toml
  bandcurve rig solve squat.rig.toml *.profile.json --top 120 --plates 20x4,10x2
  bandcurve rig weight squat.rig.toml
""",
)
