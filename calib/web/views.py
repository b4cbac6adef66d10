"""What the page answers and takes: bands, what each pulls, recordings. Nothing is worked out here."""

import asyncio
import json
from collections.abc import AsyncIterator
from pathlib import Path

from starlette.responses import JSONResponse, RedirectResponse, Response, StreamingResponse
from starlette.types import ASGIApp

from calib.web.access import Doorkeeper
from calib.web.asking import tape_drawing
from calib.web.bands import band, bands
from calib.web.pages import Asked, Site, build
from calib.web.rigs import rig, rigs
from calib.web.starting import begin, finish, prepare, start

LOOK_S = 0.1  # how often a watching browser's stream looks for something new


def page_of(folder: Path, door: Doorkeeper) -> ASGIApp:
    """The page of a folder.

    Args:
        folder: The collection.
        door: Who may come in.
    """
    return build(folder, door, VIEWS, CHANGES)


def recording(site: Site, asked: Asked) -> Response:
    """One recording: what comes next, and what there is so far."""
    name = asked.request.path_params["name"]
    with site.bench.sitting(name) as sitting:
        seen, tape = sitting.seen_by(asked.browser), tape_drawing(sitting.state)
    if asked.wants_json:
        return JSONResponse(seen)
    return site.render(asked, "recording.html", name=name, tape=tape, **seen)


def entry(site: Site, asked: Asked) -> Response:
    """One entry of a recording; the answer is sent when it is on the disk."""
    name = asked.request.path_params["name"]
    held = asked.fields.get("held_s", "")
    with site.bench.sitting(name) as sitting:
        if asked.fields.get("pen") == "take":
            sitting.take_pen(asked.browser)
        elif sitting.pen in ("", asked.browser):
            sitting.take_pen(asked.browser)
            held_s = float(held) if held.replace(".", "", 1).isdecimal() else None
            sitting.enter(asked.fields.get("id", "") or f"{sitting.version}", asked.fields.get("entry", ""), held_s)
        seen = sitting.seen_by(asked.browser)
    return JSONResponse(seen) if asked.wants_json else RedirectResponse(asked.request.url.path, 303)


def watching(site: Site, asked: Asked) -> Response:
    """A recording as it goes on, as server-sent events: one at once, one after every change."""
    name = asked.request.path_params["name"]

    async def changes() -> AsyncIterator[str]:
        shown = -1
        while True:
            found = site.bench.open.get(name)
            if found is None or found.version != shown:
                with site.bench.sitting(name) as sitting:
                    shown = sitting.version
                    yield f"data: {json.dumps(sitting.seen_by(asked.browser))}\n\n"
            await asyncio.sleep(LOOK_S)

    return StreamingResponse(changes(), media_type="text/event-stream")


VIEWS = {
    "/": bands,
    "/band/{name:path}": band,
    "/rigs": rigs,
    "/rig/{name:path}": rig,
    "/measure": start,
    "/measure/{name:path}/live": watching,
    "/measure/{name:path}": recording,
}
CHANGES = {
    "/measure": prepare,
    "/begin": begin,
    "/measure/{name:path}": entry,
    "/curve/{name:path}": finish,
}
