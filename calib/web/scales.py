"""The page's check of a scale: known loads hung, what it shows typed line by line, the check kept in the scale's file.

Each line is in a table beside the scale's file before it is acknowledged; that table is all there is to go on from.
"""

from datetime import date
from pathlib import Path
from threading import Lock
from urllib.parse import quote

from starlette.responses import RedirectResponse, Response

from calib.acquire.files.check_table import CAP_BYTES, format_check_table, parse_check_table, read_pair
from calib.acquire.recording.typed_entry import clean
from calib.errors import BandcurveError, DataError
from calib.identity import check_id
from calib.records import Locks
from calib.safe_read import read_capped
from calib.safe_write import update, write_new
from calib.scale import Scale, load_scale, update_scale
from calib.units import FORCE
from calib.use.report.layout import sentence
from calib.use.scales.scale_described import LOCKING, LOCKS, MAXIMUM, STEPS, Kind, scale_of, shown_value
from calib.use.scales.typed_check import Sheet
from calib.web.pages import Asked, Site

_ONE_AT_A_TIME = Lock()  # an end of a check and a line that comes meanwhile, or two ends
FEWEST = 3  # lines: nothing and one load, once more
LOADS = {"plates": "gym plates", "calibrated": "calibrated plates", "weighed": "weighed on a kitchen scale"}


def scale_list(site: Site, asked: Asked, wrong: str = "") -> Response:
    """Scale files of the folder, and the questions for a new one."""
    typed = {key: asked.fields.get(key, "")[:64] for key in ("name", "step", "most", "locks")}
    names = list(site.cells.scales())
    more = {"help": {"step": STEPS, "most": MAXIMUM, "locks": LOCKING}, "locks": LOCKS}
    return site.render(asked, "scales.html", 422 if wrong else 200, names=names, typed=typed, wrong=wrong, **more)


def new_scale(site: Site, asked: Asked) -> Response:
    """Make the file of a hanging or floor scale, as `bandcurve scale new` does; its check comes next."""
    fields = asked.fields
    try:
        name = check_id(fields.get("name", "").strip())
        step, unit = shown_value(fields.get("step", "").strip(), "kg")
        most = shown_value(fields["most"].strip(), unit)[0] if fields.get("most", "").strip() else None
        locks: Locks = next((one for one in LOCKS if one == fields.get("locks")), "no")
        kind: Kind = "platform-scale" if fields.get("kind") == "platform-scale" else "hanging-scale"
        made = scale_of(name, kind, step, most, locks, unit)
        write_new(site.folder / f"{name}.scale.json", made.to_json())
    except BandcurveError as error:
        return scale_list(site, asked, sentence(str(error).replace(f"{site.folder}/", "")))
    return RedirectResponse(f"/scale/{quote(name)}", 303)


def _file(site: Site, name: str) -> Path:
    file = site.cells.scales().get(name)
    if file is None:
        raise DataError(f"there is no scale {name[:60]!r} here", remedy="choose one from the list")
    return file


def _draft(file: Path) -> Path:
    return file.with_name(file.name.removesuffix(".scale.json") + ".check.csv")


def _sheet(file: Path, scale: Scale) -> Sheet:
    """What was typed so far."""
    draft = _draft(file)
    return _sheet_of(read_capped(draft, CAP_BYTES) if draft.is_file() else None, draft.name, scale)


def _sheet_of(there: bytes | None, name: str, scale: Scale) -> Sheet:
    rows = parse_check_table(there, name).rows if there else ()
    return Sheet(scale.shown_unit or "kg", False, tuple(rows))


def scale(site: Site, asked: Asked) -> Response:
    """A scale, its checks, and the one under way."""
    return _show(site, asked)


def _show(site: Site, asked: Asked, wrong: str = "", said: tuple[str, ...] = ()) -> Response:
    name = asked.request.path_params["name"]
    file = _file(site, name)
    found = load_scale(file)
    sheet = _sheet(file, found)
    per = FORCE[sheet.unit]
    known_per = FORCE[sheet.known_unit] / FORCE["kg"]
    rows = [
        f"{sum(r.pieces) / known_per:.6g} {sheet.known_unit}: shows {r.shown / per:.6g} {sheet.unit}"
        for r in sheet.rows
    ]
    return site.render(
        asked,
        "scale.html",
        422 if wrong else 200,
        name=name,
        checks=[check.id for check in found.checks],
        rows=rows,
        known=sheet.known_unit,
        unit=sheet.unit,
        loads=LOADS,
        may_end=len(rows) >= FEWEST,
        wrong=wrong,
        said=said,
    )


def weighed(site: Site, asked: Asked) -> Response:
    """One line more, the last one back, or the end of the check; of several phones, one after another."""
    with _ONE_AT_A_TIME:
        return _weighed(site, asked)


def _weighed(site: Site, asked: Asked) -> Response:
    name, fields = asked.request.path_params["name"], asked.fields
    file = _file(site, name)
    try:
        found = load_scale(file)
        sheet = _sheet(file, found)
        if fields.get("do") == "end":
            return _show(site, asked, said=_ended(file, found, sheet, fields.get("loads", "")))
        draft = _draft(file)
        update(draft, lambda there: _changed(_sheet_of(there, draft.name, found), fields), CAP_BYTES)
    except BandcurveError as error:
        return _show(site, asked, sentence(str(error)))
    return RedirectResponse(asked.request.url.path, 303)


def _changed(sheet: Sheet, fields: dict[str, str]) -> str:
    """The table with one line more, or without its last."""
    if fields.get("do") == "undo":
        rows = sheet.rows[:-1]
    else:
        line = clean(f"{fields.get('known', '').replace(' ', '')} {fields.get('shown', '')}")
        rows = sheet.with_row(*read_pair(line, sheet.known_unit, sheet.unit)).rows
    return format_check_table(rows, "mass")


def _ended(file: Path, found: Scale, sheet: Sheet, loads: str) -> tuple[str, ...]:
    """Fit the check, keep it in the scale's file, and say what it found."""
    from calib.fit.gear.known_loads import usual
    from calib.use.scales.check_part import check_part
    from calib.use.scales.checked import HungLoads, fit_check, places, refuse_far_off, verdict, with_check

    if len(sheet.rows) < FEWEST:
        raise DataError("at least nothing and one load, three lines in all, are needed", remedy="go on with the next")
    kind = loads if loads in LOADS else "plates"
    day, place = date.today().isoformat(), (None, None)
    several = any(len(row.pieces) > 1 for row in sheet.rows)
    result = fit_check(HungLoads(sheet.rows, usual(f"{kind}-1", kind), several), found, day, place)  # type: ignore[arg-type]
    refuse_far_off(result, False, file.name)
    check = check_part(result, day, place, None)
    update_scale(file, lambda now: with_check(now, check))
    _draft(file).unlink(missing_ok=True)
    return tuple(f"It {verdict(result, force, sheet.unit)}." for force in places(result))
