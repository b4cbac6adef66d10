"""Pages that show an answer as the commands give it: pairs, what to hang for a wanted load, lifters one after another.

The answer, its sentences and its tables are those of the commands; here are the addresses and the forms before them.
"""

from dataclasses import replace
from functools import partial
from os.path import relpath
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.responses import JSONResponse, Response

from calib.acquire.files.typed import parse_mass
from calib.errors import BandcurveError, DataError
from calib.safe_read import read_capped
from calib.use.answers.parts import Answer
from calib.use.report.as_html import html_of
from calib.use.report.document import document
from calib.use.report.layout import sentence
from calib.use.report.view import View
from calib.use.rig.rig_file import CAP_BYTES as RIG_BYTES
from calib.web.pages import Asked, Site
from calib.web.rigs import file_of, refuse_outside, rig_files

if TYPE_CHECKING:
    from calib.units import Unit
    from calib.use.answers.lineup import LineupAnswer
    from calib.use.bands.lookup import Lookup
    from calib.use.bands.pair import Pairing
    from calib.use.lineup.evening import Box
    from calib.use.lineup.lifters_table import Turn
    from calib.use.rig.plates import Plates
    from calib.use.rig.solve import Sought

MOST_KINDS = 20  # of plates
WANTED = {"bottom": "At the bottom", "top": "At the top", "average": "On average"}


def answered(
    site: Site, asked: Asked, answer: Answer, view: View, template: str = "answer.html", /, **more: Any
) -> Response:
    """An answer, as JSON for a script, else as its view."""
    if asked.wants_json:
        return JSONResponse(document(answer))
    return site.render(asked, template, **{**more, "answer": on_page(view)})


def on_page(view: View) -> str:
    """A view without what is said of options and commands: a page has its own buttons."""
    lines, after = (_for_a_page(some) for some in (view.lines, view.after))
    sections = tuple(replace(section, notes=_for_a_page(section.notes)) for section in view.sections)
    return html_of(replace(view, lines=lines, after=after, sections=sections))


def _for_a_page(sentences: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(text for text in sentences if "--" not in text and "bandcurve " not in text)


def pairs(site: Site, asked: Asked) -> Response:
    """Left and right out of the folder's bands."""
    from calib.use.bands.pair import pair_answer
    from calib.use.report.pair_views import pair_view

    answer = pair_answer(paired(site.lookup()))
    return answered(site, asked, answer, pair_view(answer, site.shown_units(asked)), title="Left and right", back="/")


def paired(lookup: "Lookup") -> "Pairing":
    """Left and right out of all bands that were measured.

    Raises:
        DataError: They are fewer than two.
    """
    from calib.use.bands.pair import pair_found

    names = [band.address for band in lookup.register().bands if band.calibrations]
    if len(names) < 2:
        raise DataError("a pair is made of two bands that were measured", remedy="measure another one")
    return pair_found(lookup.find_all(names))


def solved(site: Site, asked: Asked) -> Response:
    """Which bands, hung how, with which plates, put a wanted load on the bar of a rig."""
    from calib.use.lineup.evening import sound_bands
    from calib.use.report.solve_views import solve_view
    from calib.use.rig.from_python import solve_for

    name = asked.request.path_params["name"]
    file, query, shown = file_of(site, name), asked.request.query_params, site.shown_units(asked)
    refuse_outside(site, file)
    typed = {key: query.get(key, "").strip() for key in (*WANTED, "plates")}
    values = {"name": name, "wanted": WANTED, "typed": typed, "shown": shown, "answer": "", "wrong": ""}
    values["once"] = query.get("once") == "yes"
    if not any(typed[key] for key in WANTED):
        return site.render(asked, "solve.html", **values)
    try:
        loads = {key: parse_mass(typed[key], shown.force) for key in WANTED if typed[key]}
        plates = {p.mass: p.count for p in plates_of(typed["plates"], shown.force)}
        kept, _ = sound_bands(site.lookup())
        once = query.get("once") == "yes"
        bottom, top, average = (loads.get(of) for of in WANTED)
        answer = site.answer_for(
            ("solve", file, read_capped(file, RIG_BYTES), bottom, top, average, *plates.items(), once),
            kept,
            lambda: solve_for(
                file, kept, bottom_kg=bottom, top_kg=top, average_kg=average, plates=plates, each_once=once
            ),
        )
    except BandcurveError as error:
        if asked.wants_json:
            raise
        return site.render(asked, "solve.html", 422, **{**values, "wrong": sentence(str(error))})
    return answered(site, asked, answer, solve_view(answer, shown), "solve.html", **values)


def heights(site: Site, asked: Asked) -> Response:
    """What a rig puts on the bar for each of several lifters, at the heights of each."""
    from calib.use.report.rig_views import lifters_view
    from calib.use.rig.lifters import parse_list, under_rig
    from calib.use.rig.rig_answers import lifters_answer
    from calib.use.rig.rig_files import bands_of, named, read_rig

    name, shown = asked.request.path_params["name"], site.shown_units(asked)
    file = file_of(site, name)
    refuse_outside(site, file)
    people = parse_list(asked.request.query_params.get("lifters", "")[:2000])
    rig = read_rig(file)
    profiles = [found.profile for found in bands_of(rig, file, site.lookup(file.parent))]
    unit: Unit = "kg" if asked.wants_json or shown.force == "kg" else "lb"
    with named(file):
        found = under_rig(rig, profiles, people, extrapolate=False, unit=unit)
    answer = lifters_answer(found, profiles, unit)
    view = lifters_view(answer, shown, file.name)
    return answered(site, asked, answer, view, title=f"Lifters under {name}", back=f"/rig/{name}")


def plates_of(text: str, unit: str) -> "list[Plates]":
    """Plates as they are written, 20x4, 10x2; none where nothing is.

    Raises:
        DataError: It is no such list.
    """
    from calib.use.rig.plates import Plates

    found = []
    for part in filter(None, (part.strip() for part in text.replace(";", ",").split(","))):
        mass, cross, count = part.lower().replace("*", "x").partition("x")
        if not (cross and count.strip().isascii() and count.strip().isdecimal() and 0 < int(count[:5]) <= 100):
            raise DataError(f"{part[:40]!r} is not a mass and a number of plates", remedy="write 20x4, 10x2")
        found.append(Plates(parse_mass(mass, unit), int(count)))
    if len(found) > MOST_KINDS:
        raise DataError(f"{len(found)} kinds of plates are named", remedy=f"give at most {MOST_KINDS}")
    return found


def lifters(site: Site, asked: Asked) -> Response:
    """A plan for several lifters: a table of the folder, a rig, the plates there are."""
    from calib.use.lineup.evening import Box, not_paired, plan_evening, sound_bands
    from calib.use.lineup.lineup_answers import lineup_answer, lineup_view

    tables, query, shown = lifter_tables(site.folder), asked.request.query_params, site.shown_units(asked)
    typed = {key: query.get(key, "").strip() for key in ("table", "rig", "plates")}
    values = {"tables": list(tables), "rigs": sorted(rig_files(site)), "typed": typed, "answer": "", "wrong": ""}
    if not typed["table"]:
        return site.render(asked, "lifters.html", **values)
    try:
        if typed["table"] not in tables:
            raise DataError(f"there is no table {typed['table'][:60]!r} here", remedy="choose one from the list")
        kept, left = sound_bands(site.lookup())
        box = Box(kept, plates_of(typed["plates"], shown.force) or None, unit="lb" if shown.force == "lb" else "kg")
        sought_at = partial(_sought_at, site, typed["rig"], box)

        def plan() -> "LineupAnswer":
            lineups, used = plan_evening(tables[typed["table"]], sought_at)
            return lineup_answer(lineups, used, [*left, *not_paired(kept, used)])

        rigs = ((path, read_capped(path, RIG_BYTES)) for path in rig_files(site).values())
        asked_for = "lineup", *typed.items(), tables[typed["table"]], shown.force, *left, *rigs
        answer = site.answer_for(asked_for, kept, plan)
    except BandcurveError as error:
        if asked.wants_json:
            raise
        return site.render(asked, "lifters.html", 422, **{**values, "wrong": sentence(str(error))})
    return answered(site, asked, answer, lineup_view(answer, shown), "lifters.html", **values)


def _sought_at(site: Site, rig: str, box: "Box", turn: "Turn") -> "Sought":
    """What there is to choose from where a turn is lifted: in the rig chosen, or that of the exercise's name."""
    from calib.use.lineup.evening import sought_in

    if not rig and not turn.exercise:
        raise DataError("no rig is named", remedy="choose a rig, or give the table a column exercise")
    file = file_of(site, rig or turn.exercise)
    refuse_outside(site, file)
    return sought_in(file, box, _seen_from)


def _seen_from(file: Path, path: Path) -> str:
    """A profile's name as a rig file writes it."""
    return Path(relpath(path, file.parent)).as_posix()


def lifter_tables(folder: Path) -> "dict[str, tuple[Turn, ...]]":
    """Tables of the folder that are of lifters, by their name on the page."""
    from calib.use.lineup.lifters_table import CAP_BYTES, parse_lifters

    found = {}
    for path in sorted((*folder.glob("*.csv"), *folder.glob("*.toml"))):
        if path.name.endswith((".run.csv", ".stream.csv", ".series.csv", ".uses.csv", ".rechecks.csv", ".rig.toml")):
            continue
        try:
            found[path.name] = parse_lifters(read_capped(path, CAP_BYTES), path.name)
        except BandcurveError:
            continue  # another kind of table
    return found
