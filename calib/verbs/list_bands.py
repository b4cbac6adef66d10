"""`bandcurve list`: what a folder holds, and what is due."""

import json
import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from calib.errors import BandcurveError
from calib.units import Shown
from calib.verbs.terminal.quantities import UNIT_HELP, shown_in

if TYPE_CHECKING:
    from calib.profile.store.collection import BandFiles, Collection
    from calib.scale import Scale
    from calib.use.bands.history import History

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
    from calib.profile.store.collection import read_collection

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
    from calib.profile.store.uses import reps_between
    from calib.use.bands.history import LOOK_REPS, look_again

    latest = files.latest
    last = date.fromisoformat(latest.made.measured_at) if latest and latest.made.measured_at else None
    past = _history(files)
    reps = past.reps_since if past else reps_between(files.uses, last, None)
    due = past.look_again if past else look_again(last)
    plate = next((p for p in reversed(past.plates) if last is None or p.on >= last), None) if past else None
    return {
        "id": files.id,
        "calibrations": len(files.profiles),
        "last": last.isoformat() if last else None,
        "rechecked": plate.on.isoformat() if plate else None,
        "recheck_passed": plate.passed if plate else None,
        "file": str(files.profiles[-1][0]) if files.profiles else None,
        "flat_length_m": latest.band.flat_length_m if latest else None,
        "pull_N": _middle(files),
        "reps_since": reps,
        "look_again": due.isoformat() if due else None,
        "due": latest is None or reps >= LOOK_REPS or (due is not None and due <= today),
        "two_bands": files.is_two_bands,
    }


def _history(files: "BandFiles") -> "History | None":
    """Of the last calibration alone where all cannot be laid side by side; None where there is none, or two bands."""
    from calib.use.bands.history import history

    if not files.profiles or files.is_two_bands:
        return None
    profiles = [p for _, p in files.profiles]
    try:
        return history(profiles, files.uses, rechecks=files.rechecks)
    except BandcurveError:
        return history(profiles[-1:], files.uses, rechecks=files.rechecks)


def _middle(files: "BandFiles") -> float | None:
    """Pull at twice the rest length, None where it was not tested. [N]"""
    latest = files.latest
    if latest is None:
        return None
    at, grid = 2 * latest.band.rest_half_path_m, latest.branches.loading.length_m
    return round(latest.force(at), 2) if grid[0] <= at <= grid[-1] else None


def _plate(band: dict[str, Any]) -> str:
    said = {True: "", False: " failed", None: " ?"}
    return f"{band['rechecked']}{said[band['recheck_passed']]}" if band["rechecked"] else "-"


def _scale(scale: "Scale", today: date) -> dict[str, Any]:
    check = scale.latest()
    checked = date.fromisoformat(check.checked_on) if check else None
    due = checked is None or (today - checked).days > SCALE_DAYS
    return {"id": scale.id, "kind": scale.kind, "checked_on": checked.isoformat() if checked else None, "due": due}


def _say(found: "Collection", bands: list[dict[str, Any]], scales: list[dict[str, Any]], shown: Shown) -> None:
    from calib.verbs.terminal.plain_text import table, wrap

    if not bands and not scales:
        print(wrap(f"Nothing in {found.folder} yet. Begin with bandcurve record, or name another folder."))
        return
    if bands:
        rows = [
            {
                "band": b["id"],
                "measured": b["last"] or "-",
                "re-check": _plate(b),
                f"flat {shown.length}": shown.tape(b["flat_length_m"]) if b["flat_length_m"] else "-",
                f"{shown.force} at 2 x": shown.pull(b["pull_N"], 1) if b["pull_N"] else "-",
                "reps since": f"{b['reps_since']}",
                "look again": "now" if b["due"] else b["look_again"] or "-",
            }
            for b in bands
        ]
        print(table(list(rows[0]), [list(row.values()) for row in rows]))
        print(wrap('"At 2 x": the pull on the way out at twice the rest length.'))
    for b in bands:
        if b["two_bands"]:
            print(wrap(f"{b['id']} stands for two bands: the flat lengths are too far apart. Give one another id."))
    if scales:
        print()
        checked = [[s["id"], s["kind"], s["checked_on"] or "never", "now" if s["due"] else "-"] for s in scales]
        print(table(["scale", "kind", "checked", "check again"], checked))
