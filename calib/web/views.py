"""What the page answers and takes: bands, what each pulls, recordings. Nothing is worked out here."""

import asyncio
import json
from collections.abc import AsyncIterator, Sequence
from contextlib import suppress
from importlib import import_module
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, RedirectResponse, Response, StreamingResponse
from starlette.types import ASGIApp

from calib.errors import BandcurveError
from calib.web.access import Doorkeeper
from calib.web.pages import Asked, Site, View, build, site_of
from calib.web.ways_on import way_on

ALIVE_S = 10.0  # a stream without news says so often that it is there, and finds out that nobody listens


def page_of(folder: Path, door: Doorkeeper, ports: Sequence[str] = ()) -> ASGIApp:
    """The page of a folder.

    Args:
        folder: The collection.
        door: Who may come in.
        ports: Of load cells, beside those that the system lists.
    """
    return build(site_of(folder, ports), door, VIEWS, CHANGES, way_on)


def recording(site: Site, asked: Asked) -> Response:
    """One recording: what comes next, and what there is so far."""
    from calib.use.bands.box_folder import boxes
    from calib.web.asking import tape_drawing

    name = asked.request.path_params["name"]
    with site.bench.sitting(name) as sitting:
        seen, tape = sitting.seen_by(asked.browser), tape_drawing(sitting.state)
    if asked.wants_json:
        return JSONResponse(seen)
    folder = name.rpartition("/")[0] or "."
    box = folder if folder in boxes(site.folder) else ""
    return site.render(asked, "recording.html", name=name, tape=tape, box=box, **seen)


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
    """A recording as it goes on, as server-sent events: one at once, one after every change; a load cell's values."""
    name = asked.request.path_params["name"]

    def now() -> tuple[int, str]:
        with site.bench.sitting(name) as sitting:
            return sitting.version, json.dumps(sitting.seen_by(asked.browser))

    async def changes() -> AsyncIterator[str]:
        shown, live = -1, None
        with site.bench.news.watch() as news, suppress(BandcurveError):  # a recording that is gone: the browser asks
            while True:
                news.clear()
                found = site.bench.open.get(name)
                newest = found.capture.live if found and found.capture else None
                if newest is not None and newest is not live:
                    live = newest
                    yield f"event: cell\ndata: {json.dumps(live)}\n\n"
                if found is None or found.version != shown:
                    shown, text = await run_in_threadpool(now)
                    yield f"data: {text}\n\n"
                try:
                    await asyncio.wait_for(news.wait(), ALIVE_S)
                except TimeoutError:
                    yield ": here\n\n"

    return StreamingResponse(changes(), media_type="text/event-stream")


_LATER: set[str] = set()


def load_all() -> None:
    """Load what was left for later, while nobody waits for it."""
    for module in sorted(_LATER):
        import_module(f"calib.web.{module}")


def later(module: str, name: str) -> View:
    """A view that is loaded when it is first asked for: the first page need not wait for all the others."""
    _LATER.add(module)

    def view(site: Site, asked: Asked) -> Response:
        found: Response = getattr(import_module(f"calib.web.{module}"), name)(site, asked)
        return found

    return view


VIEWS = {
    "/": later("bands", "bands"),
    "/band/{name:path}": later("bands", "band"),
    "/rigs": later("rigs", "rigs"),
    "/rigs/new": later("rig_new", "new_rig"),
    "/rig/{name:path}": later("rigs", "rig"),
    "/recheck/{name:path}": later("rechecks", "asks"),
    "/scales": later("scales", "scale_list"),
    "/scale/{name:path}": later("scales", "scale"),
    "/boxes": later("boxes", "box_list"),
    "/boxes/new": later("box_new", "new_box"),
    "/box/{name:path}": later("boxes", "box"),
    "/pairs": later("answers", "pairs"),
    "/solve/{name:path}": later("answers", "solved"),
    "/lifters": later("answers", "lifters"),
    "/heights/{name:path}": later("answers", "heights"),
    "/measure": later("starting", "start"),
    "/cell": later("cell.connecting", "cell"),
    "/measure/{name:path}/live": watching,
    "/measure/{name:path}": recording,
}
CHANGES = {
    "/measure": later("starting", "prepare"),
    "/begin": later("starting", "begin"),
    "/cell": later("cell.connecting", "connect"),
    "/boxes": later("box_new", "lay_out"),
    "/scales": later("scales", "new_scale"),
    "/rigs/new": later("rig_new", "next_question"),
    "/box/{name:path}": later("boxes", "begin_band"),
    "/curves/{name:path}": later("boxes", "curves"),
    "/scale/{name:path}": later("scales", "weighed"),
    "/recheck/{name:path}": later("rechecks", "checked"),
    "/measure/{name:path}": entry,
    "/curve/{name:path}": later("starting", "finish"),
}
