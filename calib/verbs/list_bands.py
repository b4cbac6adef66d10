"""`bandcurve list`: what a folder holds, and what is due."""

import json
import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from calib.errors import BandcurveError
from calib.units import Shown
from calib.verbs.quantities import UNIT_HELP, shown_in

if TYPE_CHECKING:
    from calib.profile.collection import BandFiles, Collection
    from calib.scale import Scale

SCALE_DAYS = 366  # between two checks of a scale, as in the fit


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
    from calib.profile.collection import read_collection

    found = read_collection(folder)
    today = date.today()
    bands = [_band(band, today) for band in found.bands]
    scales = [_scale(scale, today) for _, scale in found.scales]
    if as_json:
        print(json.dumps({"bands": bands, "scales": scales, "failed": list(found.failed)}, indent=2))
    else:
        _say(found, bands, scales, shown)
    for sentence in found.failed:
        print(f"bandcurve: {sentence}", file=sys.stderr)
    return 1 if found.failed else 0


def _band(files: "BandFiles", today: date) -> dict[str, Any]:
    from calib.profile.uses import reps_between
    from calib.use.history import LOOK_REPS

    latest = files.latest
    last = date.fromisoformat(latest.made.measured_at) if latest and latest.made.measured_at else None
    reps, due = reps_between(files.uses, last, None), _look_again(files, last)
    return {
        "id": files.id,
        "calibrations": len(files.profiles),
        "last": last.isoformat() if last else None,
        "file": str(files.profiles[-1][0]) if files.profiles else None,
        "flat_length_m": latest.band.flat_length_m if latest else None,
        "pull_N": _middle(files),
        "reps_since": reps,
        "look_again": due.isoformat() if due else None,
        "due": latest is None or reps >= LOOK_REPS or (due is not None and due <= today),
        "two_bands": files.is_two_bands,
    }


def _look_again(files: "BandFiles", last: date | None) -> date | None:
    """By the drift seen, where calibrations can be laid side by side; else after the usual months."""
    from calib.use.history import history, look_again

    if len(files.profiles) > 1 and not files.is_two_bands:
        try:
            return history([p for _, p in files.profiles], files.uses).look_again
        except BandcurveError:
            return look_again(last)
    return look_again(last)


def _middle(files: "BandFiles") -> float | None:
    """Pull at twice the rest length, None where it was not tested. [N]"""
    latest = files.latest
    if latest is None:
        return None
    at, grid = 2 * latest.band.rest_half_path_m, latest.branches.loading.length_m
    return round(latest.force(at), 2) if grid[0] <= at <= grid[-1] else None


def _scale(scale: "Scale", today: date) -> dict[str, Any]:
    check = scale.latest()
    checked = date.fromisoformat(check.checked_on) if check else None
    due = checked is None or (today - checked).days > SCALE_DAYS
    return {"id": scale.id, "kind": scale.kind, "checked_on": checked.isoformat() if checked else None, "due": due}


def _say(found: "Collection", bands: list[dict[str, Any]], scales: list[dict[str, Any]], shown: Shown) -> None:
    from calib.verbs.plain_text import table, wrap

    if not bands and not scales:
        print(wrap(f"Nothing in {found.folder} yet. Begin with bandcurve record, or name another folder."))
        return
    if bands:
        rows = [
            [
                b["id"],
                f"{b['calibrations']}",
                b["last"] or "-",
                shown.tape(b["flat_length_m"]) if b["flat_length_m"] else "-",
                shown.pull(b["pull_N"], 1) if b["pull_N"] else "-",
                f"{b['reps_since']}",
                "now" if b["due"] else b["look_again"] or "-",
            ]
            for b in bands
        ]
        heads = [
            "band",
            "times",
            "measured",
            f"flat {shown.length}",
            f"{shown.force} at 2 x",
            "reps since",
            "look again",
        ]
        print(table(heads, rows))
        print(wrap('"At 2 x": the pull on the way out at twice the rest length.'))
    for b in bands:
        if b["two_bands"]:
            print(wrap(f"{b['id']} stands for two bands: the flat lengths are too far apart. Give one another id."))
    if scales:
        print()
        rows = [[s["id"], s["kind"], s["checked_on"] or "never", "now" if s["due"] else "-"] for s in scales]
        print(table(["scale", "kind", "checked", "check again"], rows))
