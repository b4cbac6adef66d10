"""The page's views of rigs: what the bands put on the bar at each height, up and down, left and right.

The numbers are those of `bandcurve rig FILE --json`, at the same heights; the page only shows one height at a time.
"""

from pathlib import Path
from typing import Any

from starlette.responses import JSONResponse, Response

from calib.errors import DataError
from calib.profile.store.own_files import own_files
from calib.units import POUND, Shown
from calib.use.answers.rigs import PullsAlong, RigAnswer, RigWay
from calib.use.report.document import document
from calib.use.report.rig_views import REMINDER
from calib.use.report.view import load, other_units
from calib.use.rig.rig_answers import refuse_flying, rig_answer
from calib.use.rig.rig_files import bands_of, read_rig, worked_out
from calib.web.pages import Asked, Site
from calib.web.ways_on import step_on

WAYS = (("up", "Going up"), ("down", "Coming down"))


def rigs(site: Site, asked: Asked) -> Response:
    """The rigs of the folder."""
    return site.render(asked, "rigs.html", names=sorted(rig_files(site)))


def rig_files(site: Site) -> dict[str, Path]:
    """Rig files by their name on the page."""
    found = own_files(site.folder, "*.rig.toml")
    return {p.relative_to(site.folder).as_posix().removesuffix(".rig.toml"): p for p in found}


def rig(site: Site, asked: Asked) -> Response:
    """One rig, with a slider over the bar's height."""
    name = asked.request.path_params["name"]
    file = file_of(site, name)
    refuse_outside(site, file)
    answer, profiles = worked_out(file, extrapolate=False, lookup=site.lookup(file.parent))
    refuse_flying(answer)
    told = rig_answer(answer, profiles)
    if asked.wants_json:
        return JSONResponse({"answer": document(told), "heights": _heights(told, site.shown_units(asked))})
    at = len(told.heights_m) - 1
    return site.render(asked, "rig.html", **_values(name, told, site.shown_units(asked), at))


def file_of(site: Site, name: str) -> Path:
    """The file of a rig.

    Raises:
        DataError: There is none of that name in the folder.
    """
    file = rig_files(site).get(name)
    if file is None:
        raise DataError(f"there is no rig {name[:60]!r} here", remedy="choose one from the list")
    return file


def refuse_outside(site: Site, file: Path) -> None:
    """A rig may name any file; the page reads none outside its folder."""
    for found in bands_of(read_rig(file), file, site.lookup(file.parent)):
        if not found.path.resolve().is_relative_to(site.folder):
            raise DataError(f"names a profile outside this folder ({found.path.name})", where=file.name,
                            remedy="copy the profile into the folder")  # fmt: skip


def _values(name: str, told: RigAnswer, shown: Shown, at: int) -> dict[str, Any]:
    return {
        "name": name,
        "used": [f"{b.band} {b.side}, {b.arrangement}, from {b.hangs_from} ({b.day or 'no day'})" for b in told.used],
        "weight": load(told.bar_and_plates_kg, shown),
        "shown": shown,
        "also": other_units(shown),
        "at": at,
        "last": len(told.heights_m) - 1,
        "now": _heights(told, shown)[at],
        "ways": WAYS,
        "findings": [step_on(f) for f in told.findings],
        "reminder": REMINDER,
        "unequal": _lets_go(told, shown),
    }


def _heights(told: RigAnswer, shown: Shown) -> list[dict[str, Any]]:
    """For each height the texts that the slider changes."""
    return [
        {
            "height": f"{shown.tape(h)} {shown.length}",
            **{way: _way_cells(getattr(told, way), i, told.gravity_m_s2, shown) for way, _ in WAYS},
        }
        for i, h in enumerate(told.heights_m)
    ]


def _way_cells(way: RigWay | None, i: int, gravity: float, shown: Shown) -> dict[str, Any] | None:
    if way is None:
        return None
    return {
        "load": load(way.bar_load_kg[i], shown),
        "also": f"{load(way.bar_load_kg[i], other_units(shown))} {other_units(shown).force}",
        "mean": load(way.u95_mean_kg[i], shown),
        "next_set": load(way.u95_next_set_kg[i], shown),
        "left": _side(way.sides["left"], i, gravity, shown),
        "right": _side(way.sides["right"], i, gravity, shown),
        "bands": ", ".join(f"{b.band} {load(b.tension_N[i] / gravity, shown)}" for b in way.bands),
    }


def _side(side: PullsAlong, i: int, gravity: float, shown: Shown) -> str:
    return load(side.vertical_N[i] / gravity, shown)


def _lets_go(told: RigAnswer, shown: Shown) -> list[str]:
    """What is missing on a side at the top, at once, when one band lets go."""
    way = told.up or told.down
    if way is None:
        return []
    scale = 1.0 if shown.force == "kg" else 1 / POUND
    return [
        f"{used.band} ({used.side}): {abs(band.vertical_N[-1]) / told.gravity_m_s2 * scale:.1f} {shown.force}"
        for used, band in zip(told.used, way.bands, strict=True)
    ]
