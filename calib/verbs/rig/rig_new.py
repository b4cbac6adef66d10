"""`bandcurve rig new`: a rig's file from a coach's answers."""

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from calib.errors import DataError
from calib.verbs.terminal import typer_later as typer

if TYPE_CHECKING:
    from calib.profile.document import Profile


def command(
    name: Annotated[str, typer.Argument(metavar="NAME", help="Name of the rig; NAME.rig.toml is written.")],
    out: Annotated[
        Path | None, typer.Option("--out", "-o", metavar="FOLDER", help="Folder for the file, beside its profiles.")
    ] = None,
    latitude: Annotated[
        str | None,
        typer.Option(metavar="DEGREES", help="Latitude of the place, '52' or '34S', if 0.15 % matters; remembered."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")] = False,
) -> int:
    """Make a rig file by answering questions about bar, rack, anchor and bands.

    Heights by tape or by the numbers of rack holes. Answers can be piped in, one a line. Rack, bar and
    units are remembered; answers survive Ctrl-C.

    \b
    Examples:
      bandcurve rig new squat
      bandcurve rig new squat --out profiles
    """
    from calib.identity import check_id
    from calib.safe_write import new_folder, write_new
    from calib.use.rig.rig_talk import ask_rig
    from calib.use.rig.rig_written import rig_toml
    from calib.verbs.rig.rig_memory import Memory
    from calib.verbs.rig.rig_place import stand_in
    from calib.verbs.terminal import prompts
    from calib.verbs.terminal.prompts import EndOfInputError, lead, prepare

    folder = out or Path()
    path = folder / f"{check_id(name)}.rig.toml"
    if path.exists():
        raise DataError("is there already", where=str(path), remedy="choose another name, or edit it by hand")
    memory = Memory(folder, name)
    place = memory.latitude(latitude)
    prepare()
    try:
        talk = partial(ask_rig, prompts, partial(_profile, folder), memory.stand(), place)
        rig, stand = lead(talk, memory.draft(), memory.keep_draft)
    except EndOfInputError:
        raise DataError("the input ended before the rig was complete", where=name, remedy="begin again") from None
    with new_folder(folder):
        write_new(path, rig_toml(rig))
    memory.keep(stand, latitude)
    stand_in(path)
    if as_json:
        from calib.use.answers.rigs import FileAnswer
        from calib.verbs.terminal.answer import give

        give(FileAnswer(file=str(path)), None, as_json=True)
    else:
        print(f"Written: {path}\nNext:\n  bandcurve rig {path}    (in lb: add --unit lb)")
    return 0


def _profile(folder: Path, name: str) -> "Profile":
    """A band by its name, or a profile as seen from the rig's file."""
    from calib.profile.store.cards import is_path
    from calib.use.bands.lookup import find

    if Path(name).is_absolute() or len(name) > 200:
        raise DataError(
            "give its path relative to the rig's file", where=name[:40], remedy="for example B07.profile.json"
        )
    return find(folder / name if is_path(name) else name, folder).profile
