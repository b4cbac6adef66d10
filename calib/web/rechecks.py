"""The page's re-check of a band: one known plate, one length. What it means is worked out in `use/bands`."""

from datetime import date
from typing import Any

from starlette.responses import Response

from calib.acquire.files.typed import parse_length, parse_mass, parse_temperature
from calib.errors import BandcurveError, DataError
from calib.half_path import LengthKind
from calib.profile.document import Profile
from calib.profile.store.log_file import add_entry
from calib.profile.store.rechecks import KIND, Hung, Recheck, row_of
from calib.stamp import stamp
from calib.units import Shown
from calib.use.bands.recheck import how_to, hung_of, recheck, recheck_answer
from calib.use.report.folder_views import recheck_view
from calib.use.report.layout import sentence
from calib.web.answers import answered
from calib.web.pages import Asked, Site
from calib.web.scales import LOADS


def asks(site: Site, asked: Asked) -> Response:
    """What hangs; then where the tape stands."""
    query = dict(asked.request.query_params)
    return _form(site, asked, query)


def _form(site: Site, asked: Asked, typed: dict[str, str], wrong: str = "") -> Response:
    name, shown = asked.request.path_params["name"], site.shown_units(asked)
    profile = _profile(site, name)
    say: tuple[str, ...] = ()
    if typed.get("plate") and not wrong:
        try:
            say = how_to(profile, _hung(profile, typed, shown), shown)
        except BandcurveError as error:
            wrong = sentence(str(error))
    low, high = (shown.pull(profile.branches.loading.force_N[i], 1) for i in (0, -1))
    values: dict[str, Any] = {"name": name, "low": low, "high": high, "shown": shown, "loads": LOADS}
    typed = {**dict.fromkeys(("plate", "load", "temperature", "length"), ""), **typed}
    asks_temperature = profile.conditions.temperature_C is not None
    return site.render(
        asked, "recheck.html", 422 if wrong else 200,
        **values, typed=typed, say=say, wrong=wrong, asks_temperature=asks_temperature,
    )  # fmt: skip


def checked(site: Site, asked: Asked) -> Response:
    """The length was read: what it says of the band, kept in its list of re-checks."""
    name, shown, typed = asked.request.path_params["name"], site.shown_units(asked), asked.fields
    try:
        profile, day = _profile(site, name), date.today()
        hung = _hung(profile, typed, shown)
        read = parse_length(typed.get("length", ""), shown.length)
        found = recheck(profile, hung, read)
    except BandcurveError as error:
        return _form(site, asked, typed, sentence(str(error)))
    register = site.lookup().register()
    known = register.band(name)
    measured = profile.made.measured_at
    kept = Recheck(known.mark, day, hung, read, date.fromisoformat(measured) if measured else None, "",
                   stamp(register.newest))  # fmt: skip
    path = known.log_path(site.folder, KIND.name)
    add_entry(path, KIND, known.mark, lambda version: row_of(kept, version))
    answer = recheck_answer(profile, hung, read, found, day, path.name)
    return answered(site, asked, answer, recheck_view(answer, shown), title=f"Re-check of {name}", back=f"/band/{name}")


def _profile(site: Site, name: str) -> Profile:
    """The calibration that answers for a band."""
    if name not in {band.address for band in site.lookup().register().bands}:
        raise DataError(f"there is no band {name[:60]!r} here", remedy="choose one from the list")
    return site.lookup().find(name).profile


def _hung(profile: Profile, typed: dict[str, str], shown: Shown) -> Hung:
    """What hangs, on what the band was measured on."""
    taped = profile.gear.tape_kind
    kind: LengthKind = "band-inner" if taped is None or taped == "half-path" else taped
    fittings = tuple(profile.gear.fitting_diameters_m)
    if not fittings:
        raise DataError(
            "the profile does not say what the band hung on", remedy="re-check it at the computer: bandcurve recheck"
        )
    load = typed.get("load", "")
    temperature = typed.get("temperature", "").strip()
    warm = parse_temperature(temperature) if temperature else None
    kilos = parse_mass(typed.get("plate", ""), shown.force)
    return hung_of(kilos, load if load in LOADS else "plates", kind, fittings, warm)
