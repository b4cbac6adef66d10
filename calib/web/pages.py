"""The page's addresses: which view each has, and what it is made of. Who may come in is decided in `access`.

Every view is rendered here on the server and works without a script; scripts only make it livelier. Nothing outside the
folder is read: a band is found by its name in the collection, never by a path.
"""

import json
from collections.abc import Awaitable, Callable, Hashable, Mapping, Sequence
from contextlib import suppress
from dataclasses import field
from functools import cached_property, partial
from pathlib import Path
from threading import Timer
from typing import TYPE_CHECKING, Any, TypeVar
from urllib.parse import parse_qsl

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from calib.errors import BandcurveError, DataError
from calib.frozen import dataclass
from calib.itself import Itself
from calib.profile.store.memory import recall
from calib.profile.store.own_files import own_files
from calib.units import FORCE, LENGTH, SHOWN, Shown
from calib.use.bands.lookup import Found, Lookup
from calib.use.report.layout import sentence
from calib.web.access import COOKIE, Doorkeeper, Guard, too_large
from calib.web.once import Once

if TYPE_CHECKING:
    from calib.web.cell.cells import Cells
    from calib.web.measuring import Bench

Kind = TypeVar("Kind")
AHEAD_S = 0.3  # until what was just shown has its pictures and scripts
MOST_ANSWERS = 8  # kept, of those that take long
DIGITS = {"mm": 0, "cm": 1, "m": 3, "in": 2, "ft": 3}  # of a length, after the point
OCCASIONS = {"quick": "Quick look (4 minutes)", "full": "In full (15 minutes)"}  # ways to measure one band
PLACES = (("/measure", "Measure"), ("/", "Bands"), ("/rigs", "On the bar"))  # what the head of every view leads to


@dataclass
class Site:
    """What the views need: the folder and the templates."""

    folder: Path
    templates: Environment
    ports: tuple[str, ...]  # of load cells, named at the terminal
    once: Once
    _seen: tuple[object, dict[Path, Lookup]] | None = None
    _answers: dict[tuple[Hashable, ...], Any] = field(default_factory=dict)
    _ahead: Lookup | None = None

    @cached_property
    def bench(self) -> "Bench":
        """The recordings that are open."""
        from calib.web.measuring import Bench

        return Bench(self.folder)

    @cached_property
    def cells(self) -> "Cells":
        """The load cell at this computer."""
        from calib.web.cell.cells import Cells

        return Cells(self.folder, self.ports)

    def lookup(self, folder: Path | None = None) -> Lookup:
        """The bands of the folder, or of one in it; looked through again only when a file has changed."""
        files = [path for path in own_files(self.folder, "*") if path.suffix in (".json", ".csv")]
        now = tuple((str(path), *_state(path)) for path in files)
        if self._seen is None or self._seen[0] != now:
            self._seen = now, {}
        where = folder or self.folder
        return self._seen[1].setdefault(where, Lookup(where))

    def ahead(self, work: Callable[[Lookup], object]) -> None:
        """Work out beside, once for the files as they are, what is likely to be asked for next; its caches keep it."""
        lookup = self.lookup()
        if self._ahead is not lookup:
            self._ahead = lookup
            later = Timer(AHEAD_S, _quietly, (work, lookup))
            later.daemon = True
            later.start()

    def answer_for(self, asked: tuple[Hashable, ...], bands: Sequence[Found], work: Callable[[], Kind]) -> Kind:
        """An answer that takes long, worked out once for one question and the bands as they are.

        Args:
            asked: All else that it depends on, the bytes of its files among them.
            bands: Those it may take: their profiles, known by all of their bytes, and what is said of them.
            work: Works it out.
        """
        known = tuple((Itself(f.profile), Itself(f.band), f.name, f.path, f.verdict, f.findings) for f in bands)
        key = (*asked, known)
        kept: Kind | None = self._answers.get(key)
        if kept is None:
            kept = work()
            for old in list(self._answers)[: -MOST_ANSWERS + 1]:  # the oldest first
                self._answers.pop(old, None)
            self._answers[key] = kept
        return kept

    def shown_units(self, asked: "Asked") -> Shown:
        """Units for people: loads as this browser wants them, lengths as the folder's tape is marked."""
        from calib.use.ask.memory import GEAR

        gear = recall(self.folder).get(GEAR)
        known = gear.value if gear is not None and isinstance(gear.value, dict) else {}
        force = asked.force or ("lb" if known.get("force_unit") == "lb" else "kg")
        said = str(known.get("unit"))
        tape = said if said in DIGITS else "in" if force == "lb" else "cm"
        return Shown(force, FORCE[force], tape, LENGTH[tape], DIGITS[tape])

    def render(self, asked: "Asked | Request", template: str, status: int = 200, /, **values: Any) -> HTMLResponse:
        """A view as HTML."""
        request = asked.request if isinstance(asked, Asked) else asked
        known = {"here": request.url.path, "places": PLACES, "form_name": self.once.field, "occasions": OCCASIONS}
        text = self.templates.get_template(template).render(**known, **values)
        answer = HTMLResponse(text, status)
        if request.query_params.get("unit") in SHOWN:
            answer.set_cookie("unit", request.query_params["unit"], samesite="lax")
        return answer


def _quietly(work: Callable[[Lookup], object], lookup: Lookup) -> None:
    with suppress(BandcurveError):  # said to whoever asks for it
        work(lookup)


def _state(path: Path) -> tuple[int, int]:
    """When a file was changed and its size; nothing of one just taken away, or a link to what is not there."""
    try:
        stat = path.stat()
    except OSError:
        return 0, -1
    return stat.st_mtime_ns, stat.st_size


@dataclass(frozen=True)
class Asked:
    """One request, its body read."""

    request: Request
    fields: dict[str, str]  # of a form, or of a JSON object

    @property
    def wants_json(self) -> bool:
        """Whether a script asks, rather than a person."""
        return "json" in self.request.headers.get("accept", "")

    @property
    def force(self) -> str:
        """The unit of loads that this browser asked for last; "" where it never did."""
        unit = self.request.query_params.get("unit") or self.request.cookies.get("unit", "")
        return unit if unit in SHOWN else ""

    @property
    def browser(self) -> str:
        """Which browser it is."""
        return self.request.cookies.get(COOKIE, "")


View = Callable[[Site, Asked], Response]
WayOn = Callable[[Site, str, str], dict[str, str]]
HOME = {"words": "All bands", "address": "/"}


def site_of(folder: Path, ports: Sequence[str] = ()) -> Site:
    """The site of a folder; with ports of load cells named at the terminal."""
    templates = Environment(
        loader=PackageLoader("calib.web"), autoescape=select_autoescape(), undefined=StrictUndefined, auto_reload=False
    )
    return Site(folder, templates, tuple(ports), Once())


def build(
    site: Site,
    door: Doorkeeper,
    routes: Mapping[str, View],
    changes: Mapping[str, View],
    way_on: WayOn = lambda site, path, query: HOME,
) -> ASGIApp:
    """The page as an ASGI application.

    Args:
        site: The folder and what shows it.
        door: Who may come in.
        routes: Views by address, for reading.
        changes: Views by address that change something; sent as POST only.
        way_on: Where a sentence that says no leads on to, by what was asked for.
    """
    served = [
        *(Route(path, _asked(site, view, way_on), methods=["GET"]) for path, view in routes.items()),
        *(Route(path, _asked(site, view, way_on), methods=["POST"]) for path, view in changes.items()),
        Mount("/static", StaticFiles(packages=[("calib.web", "static")])),
    ]
    app = Starlette(routes=served, exception_handlers={404: _not_there(site), 500: _fault(site)})
    return Guard(app, door)


def _asked(site: Site, view: View, way_on: WayOn) -> Callable[[Request], Awaitable[Response]]:
    """A view run beside the loop; what a user can cause becomes one sentence, in the form that was asked for."""

    async def answer(request: Request) -> Response:
        try:
            body = await request.body()
        except ClientDisconnect:  # gone, or cut off where it grew too large
            return too_large()
        try:
            asked = Asked(request, _fields(body))
            act = partial(view, site, asked)
            return await run_in_threadpool(site.once.answer, asked.browser, request.url.path, asked.fields, act)
        except BandcurveError as error:
            said = sentence(str(error).replace(f"{site.folder}/", ""))  # a phone knows no folders
            way = await run_in_threadpool(way_on, site, request.url.path, request.url.query)
            if "json" in request.headers.get("accept", ""):
                return JSONResponse({"error": said, "help": way}, 422)
            return site.render(request, "sorry.html", 422, sentence=said, way=way)

    return answer


def _fields(body: bytes) -> dict[str, str]:
    """What was sent, as text: a form's fields or those of a JSON object."""
    try:
        text = body.decode("utf-8")
        if not text.startswith("{"):
            return dict(parse_qsl(text, keep_blank_values=True, max_num_fields=100))
        found = json.loads(text)
        return {str(k): str(v) for k, v in found.items() if isinstance(v, str | int | float)}
    except (ValueError, RecursionError):
        raise DataError("that request could not be read", remedy="load the page again") from None


def _not_there(site: Site) -> Callable[[Request, Exception], Awaitable[Response]]:
    async def answer(request: Request, error: Exception) -> Response:
        return site.render(request, "sorry.html", 404, sentence="There is nothing at this address.", way=HOME)

    return answer


def _fault(site: Site) -> Callable[[Request, Exception], Awaitable[Response]]:
    async def answer(request: Request, error: Exception) -> Response:
        kind = type(error).__name__
        said = f"bandcurve has a fault here ({kind}); please report it. What is on the disk is safe."
        if "json" in request.headers.get("accept", ""):
            return JSONResponse({"error": said, "help": HOME}, 500)
        return site.render(request, "sorry.html", 500, sentence=said, way=HOME)

    return answer
