"""What the page answers: the bands of the folder, and what each pulls. Nothing is worked out here."""

from pathlib import Path

from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp

from calib.web.access import Doorkeeper
from calib.web.pages import Site, build


def page_of(folder: Path, door: Doorkeeper) -> ASGIApp:
    """The page of a folder.

    Args:
        folder: The collection.
        door: Who may come in.
    """
    return build(folder, door, {"/": bands}, {})


def bands(site: Site, request: Request) -> Response:
    """All bands of the folder."""
    from calib.profile.store.collection import read_collection

    found = read_collection(site.folder)
    return site.render(request, "bands.html", bands=found.bands, failed=found.failed)
