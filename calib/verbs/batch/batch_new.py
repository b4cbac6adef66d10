"""`bandcurve batch new`: a folder for a box of bands: one plan, one scale, an empty run for each band, and labels."""

import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from calib.verbs.talk.recording_options import (
    FirstHoleOption,
    HolesOption,
    LoadsOption,
    MethodOption,
    ScaleOption,
    TopOption,
)
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.quantities import paper_size

if TYPE_CHECKING:
    from calib.records import RunHead
    from calib.use.ask.given import Given


def command(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="A new folder, or one without runs.")],
    count: Annotated[int, typer.Option("--count", "-n", min=1, max=500, help="How many bands.")],
    prefix: Annotated[str, typer.Option("--prefix", help="Prefix of their names; a number follows.")] = "B",
    first: Annotated[int, typer.Option("--first", min=0, max=99_999, help="Number of the first band's name.")] = 1,
    full: Annotated[int, typer.Option("--full", min=1, help="How many to measure in full.")] = 3,
    flat: Annotated[str | None, typer.Option("--flat", metavar="LENGTH", help="Flat length of one, '1029mm'.")] = None,
    method: MethodOption = None,
    scale: ScaleOption = None,
    lengths: Annotated[
        str | None, typer.Option("--lengths", metavar="LIST", help="Lengths for those in full: '1130 1200 1350'.")
    ] = None,
    loads: LoadsOption = None,
    holes: HolesOption = None,
    first_hole: FirstHoleOption = 0,
    to: TopOption = None,
    cycles: Annotated[
        int | None,
        typer.Option("--cycles", metavar="N", help="Cycles out and back in the full measurements (2).", min=1, max=20),
    ] = None,
    dwell: Annotated[
        float | None, typer.Option("--dwell", metavar="S", help="Seconds to hold before a reading.", min=0, max=600)
    ] = None,
    paper: Annotated[str, typer.Option("--paper", help="Of the labels: a4 or letter.")] = "a4",
) -> int:
    """Make a folder for a box of bands sold as equal, and labels to print.

    You answer each question once, for all bands. The first few are to be measured in full; the others at
    three of the same lengths.

    \b
    Examples:
      bandcurve batch new box --count 12 --flat 1029mm
      bandcurve batch new box --count 40 --prefix K --full 4 --scale hook.scale.json
    """
    from calib.acquire.recording.batch_plan import heads, numbered
    from calib.identity import check_id
    from calib.scale import load_scale
    from calib.use.ask.given import Given, answered
    from calib.use.box.laying_out import refuse_other_runs, write_all
    from calib.verbs.talk.record_session import place_for
    from calib.verbs.terminal.prompts import EndOfInputError, prepare, say

    size = paper_size(paper)
    ids = [check_id(name) for name in numbered(prefix, count, first)]
    refuse_other_runs(folder)
    given = Given(
        band=ids[0],
        box=True,
        answers=answered(
            {"way": method, "loads": loads, "flat": flat, "lengths": lengths}
            | {"pitch": holes, "first_hole": first_hole or None}
        ),
        scale=load_scale(scale) if scale else None,
        top=to,
        cycles=cycles,
        dwell_s=dwell,
    )
    given.talk()  # an option that cannot be read is said before anything is asked
    beside = folder.parent if folder.parent.is_dir() else None  # it remembers the gear; none is made for that
    prepare()
    try:
        with place_for(folder):
            made = heads(_asked(given, folder, beside), ids, min(full, count))
    except EndOfInputError:
        say("", "Stopped before the last answer; nothing was written. Run the same command again to continue there.")
        return 1
    write_all(made, folder, min(full, count), size)
    _say(folder, made, min(full, count))
    return 0


def _asked(given: "Given", folder: Path, beside: Path | None) -> "RunHead":
    from calib.use.box.laying_out import for_all
    from calib.verbs.talk.setup_talk import describe
    from calib.verbs.terminal.prompts import say

    say("These answers hold for the whole box; for the flat length, measure any one of the bands.")
    base = describe(given, beside)
    return for_all(base, folder.resolve().name)


def _say(folder: Path, made: "list[RunHead]", full: int) -> None:
    from calib.acquire.recording.batch_plan import BandToMeasure, seconds_left
    from calib.records import Run
    from calib.use.box.laying_out import LABELS
    from calib.verbs.batch.batch_record import minutes
    from calib.verbs.terminal.plain_text import wrap

    left = seconds_left([BandToMeasure(Run(head.band.id, head, ())) for head in made])
    name = shlex.quote(str(folder))
    in_full = ", ".join(head.band.id for head in made[:full])
    rest = f"; the other {len(made) - full} at three lengths" if len(made) > full else ""
    print(wrap(f"{len(made)} bands, {made[0].band.id} to {made[-1].band.id}, in {folder}."))
    print(wrap(f"In full: {in_full}{rest}. About {minutes(left)} of measuring."))
    print(wrap(f"Print {folder / LABELS} (63.5 x 38.1 mm stickers, or scissors), then:"))
    print(f"  bandcurve batch record {name}")
