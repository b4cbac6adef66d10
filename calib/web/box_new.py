"""The page's form for a new box of bands: asked once, as at the terminal; an empty run for each band, and labels."""

from contextlib import suppress

from starlette.responses import RedirectResponse, Response

from calib.acquire.recording.batch_plan import heads, numbered
from calib.errors import BandcurveError, DataError
from calib.identity import check_id
from calib.profile.store.memory import remember
from calib.safe_write import new_folder
from calib.stamp import here_and_now
from calib.use.ask import memory
from calib.use.ask.conversation import Talk
from calib.use.ask.given import Given, with_scale_of
from calib.use.ask.head import head_of
from calib.use.box.laying_out import for_all, refuse_other_runs, write_all
from calib.use.report.layout import sentence
from calib.web.pages import Asked, Site
from calib.web.starting import fields_of, known_of, read_answers, with_defaults

ABOUT = {
    "box": "A name for the box; it becomes a folder",
    "count": "How many bands",
    "prefix": "What their names begin with; numbers follow",
    "full": "How many are measured in full",
}
USUAL = {"box": "box", "count": "", "prefix": "B", "full": "3"}


def new_box(site: Site, asked: Asked) -> Response:
    """The form."""
    talk, _ = read_answers(site, _given(site), {})
    return _show(site, asked, talk, {})


def _given(site: Site) -> Given:
    return with_scale_of(Given(box=True), known_of(site))


def _show(site: Site, asked: Asked, talk: Talk, wrong: dict[str, str], said: str = "") -> Response:
    first, more = fields_of(talk, wrong, asked)
    return site.render(
        asked,
        "box_new.html",
        422 if wrong or said else 200,
        about=ABOUT,
        typed={key: asked.fields.get(key, usual) for key, usual in USUAL.items()},
        asked=first,
        more=more,
        recalled=talk.recalled,
        wrong=said,
    )


def lay_out(site: Site, asked: Asked) -> Response:
    """The form was sent: what is missing or wrong is asked again, else the box is made."""
    fields = asked.fields
    given = _given(site)
    talk, wrong = read_answers(site, given, fields)
    if fields.get("again"):
        return _show(site, asked, talk, {})
    talk = with_defaults(talk)
    if missing := {q.key: "This is needed." for q in talk.still_open} | wrong:
        return _show(site, asked, talk, missing)
    try:
        name = check_id(fields.get("box", "").strip())
        count, full = (_whole(fields.get(key, "")) for key in ("count", "full"))
        ids = [check_id(one) for one in numbered(fields.get("prefix", "").strip(), count)]
        base, _ = head_of(talk.answers, given, here_and_now())
        folder = site.folder / name
        refuse_other_runs(folder)
        with new_folder(folder):
            write_all(heads(for_all(base, name), ids, min(full, count)), folder, min(full, count), "a4")
    except BandcurveError as error:
        return _show(site, asked, talk, {}, sentence(str(error)))
    with suppress(BandcurveError):
        remember(site.folder, memory.after(talk, ids[0], box=True))
    return RedirectResponse(f"/box/{name}", 303)


def _whole(text: str) -> int:
    if not (text.strip().isascii() and text.strip().isdecimal() and 0 < int(text.strip()[:6]) <= 500):
        raise DataError(f"{text.strip()[:20]!r} is not a number of bands", remedy="type 1 to 500")
    return int(text)
