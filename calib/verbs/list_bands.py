"""`bandcurve list`: what a folder holds, and what is due."""

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calib.units import Shown
from calib.use.answers.bands import ListAnswer, ListedBand, ListedScale
from calib.verbs.terminal.answer import give
from calib.verbs.terminal.quantities import UNIT_HELP, shown_in

if TYPE_CHECKING:
    from calib.profile.store.collection import Collection

SAID = (  # findings of a band as a whole; those of its calibration are said where it is shown
    *("band-retired", "band-suspect", "band-softened", "recheck-failed"),
    *("one-day-apart", "several-folders", "register-differs"),
)


def command(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where the files are.")] = Path(),
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP)] = "kg",
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of words.")] = False,
) -> int:
    """List the bands and scales in a folder and the folders below, and what should be measured again.

    The folder of plain files is the whole store: copy somebody's folder into yours and both are one collection.

    \b
    Examples:
      bandcurve list
      bandcurve list profiles --json
    """
    shown = shown_in(unit)
    from calib.profile.store.collection import read_collection
    from calib.use.bands.listing import listed_band, listed_scale

    found = read_collection(folder)
    today = date.today()
    bands = [listed_band(band, found.register, today) for band in found.bands]
    scales = [listed_scale(scale, today) for _, scale in found.scales]
    if as_json:
        give(
            ListAnswer(folder=str(folder), bands=tuple(bands), scales=tuple(scales), failed=tuple(found.failed)),
            None,
            as_json=True,
        )
    else:
        _say(found, bands, scales, shown)
    for sentence in found.failed:
        print(f"bandcurve: {sentence}", file=sys.stderr)
    return 1 if found.failed else 0


def _plate(band: ListedBand) -> str:
    said = {True: "", False: " failed", None: " ?"}
    return f"{band.rechecked}{said[band.recheck_passed]}" if band.rechecked else "-"


def _say(found: "Collection", bands: list[ListedBand], scales: list[ListedScale], shown: Shown) -> None:
    from calib.verbs.terminal.plain_text import table, wrap

    if not bands and not scales:
        print(wrap(f"Nothing in {found.folder} yet. Begin with bandcurve record, or name another folder."))
        return
    if bands:
        rows = [
            {
                "band": b.band,
                "measured": b.day or "-",
                "re-check": _plate(b),
                f"flat {shown.length}": shown.tape(b.flat_length_m) if b.flat_length_m else "-",
                f"{shown.force} at 2 x": shown.pull(b.loading.force_N, 1) if b.loading else "-",
                "reps since": f"{b.reps_since}",
                "look again": "now" if b.due else b.look_again or "-",
            }
            for b in bands
        ]
        print(table(list(rows[0]), [list(row.values()) for row in rows]))
        print(wrap('"At 2 x": the pull, loading, at twice the rest length.'))
    for b in bands:
        if b.two_bands:
            print(wrap(f"{b.band} stands for two bands: the flat lengths are too far apart. Give one another id."))
        for finding in b.findings:
            if finding.code in SAID:
                print(wrap(f"{finding.text}."))
    if scales:
        print()
        checked = [[s.scale, s.kind, s.checked_on or "never", "now" if s.due else "-"] for s in scales]
        print(table(["scale", "kind", "checked", "check again"], checked))
