"""`bandcurve list`: what a folder holds, and what is due."""

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calib.errors import BandcurveError
from calib.units import Shown
from calib.use.answers.bands import ListAnswer, ListedBand, ListedScale
from calib.verbs.terminal.answer import give
from calib.verbs.terminal.quantities import UNIT_HELP, shown_in

if TYPE_CHECKING:
    from calib.finding import Finding
    from calib.profile.store.collection import BandFiles, Collection
    from calib.profile.store.register import Register
    from calib.scale import Scale
    from calib.use.bands.history import History

SCALE_DAYS = 366  # between two checks of a scale, as in the fit
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

    found = read_collection(folder)
    today = date.today()
    bands = [_band(band, found.register, today) for band in found.bands]
    scales = [_scale(scale, today) for _, scale in found.scales]
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


def _band(files: "BandFiles", register: "Register", today: date) -> ListedBand:
    from calib.profile.store.uses import reps_between
    from calib.use.answers.parts import doubts
    from calib.use.bands.history import LOOK_REPS, look_again
    from calib.use.bands.predict import pull_at

    latest = files.latest
    last = date.fromisoformat(latest.made.measured_at) if latest and latest.made.measured_at else None
    past = _history(files)
    reps = past.reps_since if past else reps_between(files.uses, last, None)
    due = past.look_again if past else look_again(last)
    plate = next((p for p in reversed(past.plates) if last is None or p.on >= last), None) if past else None
    at = _middle(files)
    return ListedBand(
        band=files.id,
        day=last.isoformat() if last else None,
        calibrations=len(files.profiles),
        rechecked=plate.on.isoformat() if plate else None,
        recheck_passed=plate.passed if plate else None,
        file=str(files.profiles[-1][0]) if files.profiles else None,
        flat_length_m=latest.band.flat_length_m if latest else None,
        length_m=at,
        loading=pull_at(latest, latest.estimate(at)) if latest and at else None,
        reps_since=reps,
        look_again=due.isoformat() if due else None,
        due=latest is None or reps >= LOOK_REPS or (due is not None and due <= today),
        two_bands=files.is_two_bands,
        findings=doubts((*_of_the_band(files, register), *latest.findings)) if latest else (),
    )


def _of_the_band(files: "BandFiles", register: "Register") -> "tuple[Finding, ...]":
    """Retired, suspect, gone soft, and what else is said beside its answers."""
    from calib.use.bands.lookup import band_findings

    path, profile = files.profiles[-1]
    of_profile = {f.code for f in profile.findings}
    return tuple(f for f in band_findings(files.known, register, profile, path) if f.code not in of_profile)


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
    """Twice the rest length, None where it was not tested. [m]"""
    latest = files.latest
    if latest is None:
        return None
    at, grid = 2 * latest.band.rest_half_path_m, latest.branches.loading.length_m
    return at if grid[0] <= at <= grid[-1] else None


def _plate(band: ListedBand) -> str:
    said = {True: "", False: " failed", None: " ?"}
    return f"{band.rechecked}{said[band.recheck_passed]}" if band.rechecked else "-"


def _scale(scale: "Scale", today: date) -> ListedScale:
    check = scale.latest()
    checked = date.fromisoformat(check.checked_on) if check else None
    due = checked is None or (today - checked).days > SCALE_DAYS
    return ListedScale(scale.id, scale.kind, checked.isoformat() if checked else None, due)


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
