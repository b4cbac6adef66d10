"""The page's addresses: which view each has, and what it is made of. Who may come in is decided in `access`.

Every view is rendered here on the server and works without a script; scripts only make it livelier. Nothing outside the
folder is read: a band is found by its name in the collection, never by a path.
"""

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from calib.errors import BandcurveError, DataError
from calib.web.access import Doorkeeper, Guard

PLACES = (("/", "Bands"),)  # what the head of every view leads to


@dataclass(frozen=True)
class Site:
    """What the views need: the folder and the templates."""

    folder: Path
    templates: Environment

    def render(self, request: Request, name: str, status: int = 200, **values: Any) -> HTMLResponse:
        """A view as HTML."""
        text = self.templates.get_template(name).render(here=request.url.path, places=PLACES, **values)
        return HTMLResponse(text, status)


View = Callable[[Site, Request], Response]


def site_of(folder: Path) -> Site:
    """The site of a folder."""
    templates = Environment(
        loader=PackageLoader("calib.web"), autoescape=select_autoescape(), undefined=StrictUndefined, auto_reload=False
    )
    return Site(folder, templates)


def build(folder: Path, door: Doorkeeper, routes: dict[str, View], changes: dict[str, View]) -> ASGIApp:
    """The page as an ASGI application.

    Args:
        folder: The collection.
        door: Who may come in.
        routes: Views by address, for reading.
        changes: Views by address that change something; sent as POST only.
    """
    site = site_of(folder)
    served = [
        *(Route(path, _asked(site, view), methods=["GET"]) for path, view in routes.items()),
        *(Route(path, _asked(site, view), methods=["POST"]) for path, view in changes.items()),
        Mount("/static", StaticFiles(packages=[("calib.web", "static")])),
    ]
    app = Starlette(routes=served, exception_handlers={404: _not_there(site)})
    return Guard(app, door)


def _asked(site: Site, view: View) -> Callable[[Request], Awaitable[Response]]:
    """A view run beside the loop; what a user can cause becomes one sentence, in the form that was asked for."""

    async def answer(request: Request) -> Response:
        try:
            return await run_in_threadpool(view, site, request)
        except BandcurveError as error:
            status = 404 if isinstance(error, NotHereError) else 422
            if "json" in request.headers.get("accept", ""):
                return JSONResponse({"error": str(error)}, status)
            return site.render(request, "sorry.html", status, sentence=str(error))

    return answer


def _not_there(site: Site) -> Callable[[Request, Exception], Awaitable[Response]]:
    async def answer(request: Request, error: Exception) -> Response:
        return site.render(request, "sorry.html", 404, sentence="There is nothing at this address.")

    return answer


class NotHereError(DataError):
    """What was asked for is not in the folder."""
