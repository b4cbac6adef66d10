"""The start of a measurement on the page: what is asked, what was remembered, the cautions, the pulls before.

The questions, their help and how an answer is read are those of `use/ask`; the page only shows them as one form. The
answers travel with the form, so nothing is half begun on the server when a phone falls asleep.
"""

import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from typing import Any, cast

from starlette.responses import RedirectResponse, Response

from calib.acquire.files.typed import parse_length
from calib.acquire.recording.new_file import free_name, new_writer
from calib.acquire.recording.state import Recording
from calib.errors import BandcurveError, DataError
from calib.frozen import dataclass
from calib.identity import check_id
from calib.profile.store.memory import recall, remember
from calib.records import RunHead
from calib.scale import load_scale
from calib.stamp import here_and_now
from calib.units import LENGTH
from calib.use.ask import memory
from calib.use.ask.cautions import CAUTIONS
from calib.use.ask.conversation import Talk
from calib.use.ask.gear import gear_of
from calib.use.ask.given import Given, with_scale_of
from calib.use.ask.head import head_of, planned_words
from calib.use.ask.measuring import MEASURING
from calib.use.ask.question import Occasion, Question
from calib.use.ask.until import aim_of, per_cent, until_head
from calib.use.ask.warm_up import warm_up_words, warmed_up
from calib.use.bands.calibrate import calibrate_recording, carrying, todays_quick_look
from calib.use.report.drawings import NAMES, drawing
from calib.use.report.layout import sentence
from calib.web.pages import OCCASIONS, Asked, Site


@dataclass(frozen=True)
class StartForm:
    """What was typed so far, read as far as it can be."""

    band: str
    given: Given
    talk: Talk
    until: str  # how well the pull is to be known, as typed; "" where the plan is fixed
    over: str  # between which lengths, as typed; "" for all of them
    wrong: dict[str, str]  # key of a question: what is wrong with its answer

    @property
    def complete(self) -> bool:
        """Whether a head can be made of it."""
        return not (self.wrong or self.talk.still_open)


def read_form(site: Site, fields: dict[str, str]) -> StartForm:
    """Read the fields of the form over what the folder remembers.

    Raises:
        DataError: The band's name can be no name.
    """
    band = check_id(fields.get("band", "").strip())
    occasion = cast("Occasion", fields["occasion"] if fields.get("occasion") in OCCASIONS else "quick")
    given = Given(band=band, quick=occasion == "quick")
    file = site.cells.scales().get(fields.get("scale", ""))
    if file is not None:
        given = replace(given, scale=load_scale(file), scale_file=str(file))
    given = site.cells.given_at_cell(given) if fields.get("cell") else with_scale_of(given, known_of(site))
    talk, wrong = read_answers(site, given, fields)
    until, over = (fields.get(k, "").strip()[:40] if _may_choose(talk, given) else "" for k in ("until", "over"))
    if until:
        try:
            wanted = per_cent(f"{until.rstrip('% ')}%", "this")
            given = replace(given, until=until_head(wanted, _span(over, talk.answers) if over else None))
        except BandcurveError as error:
            wrong["over" if isinstance(error, DataError) else "until"] = sentence(str(error))
    return StartForm(band, given, talk, until, over if until else "", wrong)


def known_of(site: Site) -> Mapping[str, Any]:
    """What the folder remembers."""
    return {key: found.value for key, found in recall(site.folder).items()}


def read_answers(site: Site, given: Given, fields: dict[str, str]) -> tuple[Talk, dict[str, str]]:
    """The answers of a form over those of last time; keys of questions whose answer cannot be read, and why."""
    typed = {q.key: fields[f"q.{q.key}"].strip() for q in MEASURING if fields.get(f"q.{q.key}", "").strip()}
    start = given.talk()
    way = {"way": typed["way"]} if "way" in typed else {}
    told = memory.recalled(known_of(site), replace(start, answers={**start.answers, **way}), given.band)
    talk = replace(told, answers={k: v for k, v in told.answers.items() if k not in typed})
    wrong: dict[str, str] = {}
    for question in MEASURING:
        if question.key not in typed or not question.when(talk.answers) or given.occasion not in question.fits:
            continue
        try:
            talk = talk.answered(question.key, typed[question.key])
        except DataError as error:
            wrong[question.key] = sentence(str(error))
    return talk, wrong


def _span(text: str, answers: Mapping[str, str]) -> tuple[float, float]:
    """Two lengths with dots or a word between, in the unit of the tape where none stands behind. [m]"""
    parts = [part for part in re.split(r"\s*(?:\.\.+|\bto\b|\s-\s)\s*", text) if part]
    if len(parts) != 2:
        raise DataError(f"{text!r} is not two lengths", remedy="for example 1.2 m to 1.8 m")
    unit = next((u for u in sorted(LENGTH, key=len, reverse=True) if parts[1].endswith(u)), _tape_unit(answers))
    low, high = (parse_length(part, unit) for part in parts)
    if not low < high:
        raise DataError(f"{text!r} does not go up", remedy="the shorter length first")
    return low, high


def _tape_unit(answers: Mapping[str, str]) -> str:
    """That the flat length was typed in."""
    flat = answers.get("flat", "").strip()
    return next((u for u in sorted(LENGTH, key=len, reverse=True) if flat.endswith(u)), "cm")


def _may_choose(talk: Talk, given: Given) -> bool:
    """Whether readings may be chosen one by one, as far as is needed."""
    return talk.occasion == "full" and given.cell is None and talk.answers.get("way") != "plates"


def start(site: Site, asked: Asked) -> Response:
    """The form: a name and a way first, then what the way asks for."""
    query = dict(asked.request.query_params)
    if not query.get("band"):
        return site.render(asked, "start.html", names=site.bench.unfinished())
    return _show_form(site, asked, read_form(site, query), {})


def _with_defaults(form: StartForm) -> StartForm:
    return replace(form, talk=with_defaults(form.talk))


def with_defaults(talk: Talk) -> Talk:
    """What was left empty though it need not be answered is taken as it stands there."""
    while (question := next((q for q in talk.still_open if not q.needed), None)) is not None:
        talk = talk.answered(question.key, "")
    return talk


def prepare(site: Site, asked: Asked) -> Response:
    """The form was sent: what is missing or wrong is asked again, else the cautions and the pulls come next."""
    form = read_form(site, asked.fields)
    if asked.fields.get("again"):
        return _show_form(site, asked, form, {})
    form = _with_defaults(form)
    if not form.complete:
        return _show_form(site, asked, form, {q.key: "This is needed." for q in form.talk.still_open})
    try:
        head, notes = head_of(form.talk.answers, form.given, here_and_now())
    except DataError as error:
        return _show_form(site, asked, form, {"": sentence(str(error))})
    gear = gear_of(head)
    return site.render(
        asked,
        "ready.html",
        band=form.band,
        occasion=form.talk.occasion,
        cell=form.given.cell is not None,
        scale=asked.fields.get("scale", ""),
        until=form.until,
        over=form.over,
        answers=dict(form.talk.answers),
        cautions=CAUTIONS,
        clear=drawing("stand-clear"),
        lengths=planned_words(head, gear),
        notes=[sentence(note) for note in notes],
        warm_up=warm_up_words(head, "go back"),
        flat=None if head.extensions.get("quick") else gear.length_text(head.band.flat_length),
        wrong="",
    )


def begin(site: Site, asked: Asked) -> Response:
    """The pulls are done and the cautions acknowledged: the run's file is made, and the readings begin."""
    if asked.fields.get("careful") != "yes":
        raise DataError("the cautions were not acknowledged", remedy="go back, read them, and tick the box")
    form = _with_defaults(read_form(site, asked.fields))
    if not form.complete:
        return _show_form(site, asked, form, {q.key: "This is needed." for q in form.talk.still_open})
    head, _ = head_of(form.talk.answers, form.given, here_and_now())
    head = warmed_up(head, _flat_after(asked.fields.get("flat_after", ""), head), here_and_now())
    before = todays_quick_look(head, site.folder)
    if before is not None:
        head = carrying(head, before)
    state = Recording(head)
    if state.course.asked is not None:
        aim_of(state.run, state.course)  # what cannot be is said before anybody pulls a band
    path = free_name(site.folder, form.band)
    new_writer(path, state).close()
    with suppress(BandcurveError):  # memory is a convenience: the measuring goes on without
        remember(site.folder, memory.after(form.talk, form.band, at_cell=form.given.cell is not None))
    name = path.name.removesuffix(".run.csv")
    if form.given.cell is not None:
        with site.bench.sitting(name) as sitting:
            site.cells.attach(sitting, site.bench.news.tell)
    return RedirectResponse(f"/measure/{name}", 303)


def _flat_after(text: str, head: RunHead) -> float:
    """The flat length after the pulls; that before them where nothing was typed. [m]"""
    if not text.strip():
        return head.band.flat_length
    flat = parse_length(text, gear_of(head).units.length)
    if abs(flat / head.band.flat_length - 1) > 0.05:
        raise DataError(
            f"a flat length of {text.strip()[:20]} after the pulls is far from that before",
            remedy="go back and correct one of them",
        )
    return round(flat, 6)


def finish(site: Site, asked: Asked) -> Response:
    """The recording is done: fit it, save its profile, show the kilos."""
    with site.bench.sitting(asked.request.path_params["name"]) as sitting:
        _, _, profile, _ = calibrate_recording(sitting.path)
    return RedirectResponse(f"/band/{profile.band.id}", 303)


def _show_form(site: Site, asked: Asked, form: StartForm, missing: dict[str, str]) -> Response:
    talk, wrong = form.talk, {**missing, **form.wrong}
    asked_first, more = fields_of(talk, wrong, asked)
    values = {
        "band": form.band,
        "occasion": talk.occasion,
        "recalled": talk.recalled,
        "cell": form.given.cell is not None,
        "until": form.until,
        "over": form.over,
        "wrong_until": form.wrong.get("until", ""),
        "wrong_over": form.wrong.get("over", ""),
        "may_until": _may_choose(talk, form.given),
        "line": site.cells.notes,
        "scales": [] if form.given.cell or form.talk.answers.get("way") == "plates" else list(site.cells.scales()),
        "scale_file": asked.fields.get("scale") or asked.request.query_params.get("scale", ""),
        "scale": form.given.scale.id if form.given.scale else "",
        "asked": asked_first,
        "more": more,
        "wrong": wrong.get("", ""),
    }
    return site.render(asked, "set_up.html", 422 if wrong else 200, **values)


def fields_of(talk: Talk, wrong: dict[str, str], asked: Asked) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """The questions as the form shows them: those to be answered, and those that stand as last time."""
    shown = [q for q in MEASURING if q.listed and talk.occasion in q.fits and q.when(talk.answers)]
    ask = {q.key for q in talk.still_open} | set(wrong) | ({"flat"} if not talk.recalled else set()) | _typed(asked)
    first = [_field(talk, q, wrong.get(q.key, "")) for q in shown if q.key in ask]
    return first, [_field(talk, q, "") for q in shown if q.key not in ask]


def _typed(asked: Asked) -> set[str]:
    """Keys that the form showed open before."""
    return {key.removeprefix("shown.") for key in asked.fields if key.startswith("shown.")}


def _field(talk: Talk, question: Question, wrong: str) -> dict[str, Any]:
    """A question as the form shows it."""
    return {
        "key": question.key,
        "label": question.label,
        "prompt": talk.prompt(question).rstrip(": "),
        "help": question.help,
        "choices": [
            {"value": c.value, "words": c.words, "drawing": _drawn(question, c.value)} for c in question.choices
        ],
        "value": talk.answers.get(question.key, question.default),
        "unknown": question.unknown,
        "drawing": drawing("flat") if question.key == "flat" else "",
        "wrong": wrong,
    }


def _drawn(question: Question, value: str) -> str:
    """The drawing beside a choice, where there is one."""
    named = {"level": "scale-in-line", "plates": "hung-weight", "floor": "anchor-on-scale"}.get(value, value)
    return drawing(named) if question.key in ("way", "tape") and named in NAMES else ""
