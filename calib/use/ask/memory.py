"""What a folder remembers of the people who measure in it: gear, the bands' sizes, a talk that was broken off.

Values by key, as `profile/store/memory` keeps them: answers as they were typed. Whatever of them cannot be read any
more is passed over. No file is touched here.
"""

from collections.abc import Mapping
from typing import Any

from calib.errors import DataError
from calib.use.ask.conversation import Talk
from calib.use.ask.measuring import BY_KEY, MEASURING
from calib.use.ask.question import Belongs

GEAR, BAND, DRAFT = "measuring.gear", "measuring.band", "measuring.draft"  # keys; the last two with the band behind
BESIDE = ("unit", "scale_file", "force_unit", "plates_id")  # kept with the gear, and asked by no question
Known = Mapping[str, Any]


def recalled(known: Known, talk: Talk, band: str) -> Talk:
    """A talk with what is known from before; what was said now stands."""
    gear = _texts(known.get(GEAR))
    own = {} if talk.occasion == "box" else _texts(known.get(f"{BAND}.{band}"))
    if talk.answers.get("way", gear.get("way")) != gear.get("way"):
        gear = {}  # other gear this time
    if "scale" in talk.answers:
        gear = {k: v for k, v in gear.items() if k not in ("max", "step", "locks", "force_unit")}
    own_talk = {k: v for k, v in talk.answers.items() if not (k == "plates_id" and k in gear)}
    answers = _readable(gear | own, own_talk)
    return Talk(talk.occasion, answers, recalled=bool(gear))


def drafted(known: Known, talk: Talk, band: str) -> tuple[Talk, str] | None:
    """A talk that was broken off, and when; None where there was none of this occasion."""
    draft = _texts(known.get(f"{DRAFT}.{band}"))
    if draft.get("occasion") != talk.occasion:
        return None
    answers = _readable({k: v for k, v in draft.items() if k not in ("occasion", "at")}, talk.answers)
    own = tuple(k for k in answers if k in BY_KEY and k not in talk.answers)
    return (Talk(talk.occasion, answers, own), draft.get("at", "")) if own else None


def _readable(kept: Mapping[str, str], answers: Mapping[str, str]) -> dict[str, str]:
    """The answers with those kept that can still be read."""
    found = {**{k: kept[k] for k in BESIDE if k in kept}, **answers}
    for question in MEASURING:
        text = kept.get(question.key)
        if text is None or question.key in answers or not question.when(found):
            continue
        try:
            found[question.key] = question.read(text, found) if text else question.default
        except DataError:
            continue  # somebody wrote it by hand, or what it goes with has changed
    return found


def _texts(value: object) -> dict[str, str]:
    return {str(k): v for k, v in value.items() if isinstance(v, str)} if isinstance(value, dict) else {}


def after(talk: Talk, band: str, *, at_cell: bool = False, box: bool = False) -> dict[str, Any]:
    """What to remember of a talk that came to its end.

    Args:
        talk: As it ended.
        band: Its id.
        box: Whether a box of bands is measured: what was said of one of them is not remembered.
        at_cell: Whether a load cell was read: it says itself what it is, so the gear remembered stays.
    """
    beside = {k: talk.answers[k] for k in BESIDE if k in talk.answers}
    gear = {} if at_cell else {GEAR: _belonging(talk, "gear") | beside}
    own = {} if box else {f"{BAND}.{band}": _belonging(talk, "band")}
    return {**gear, **own, f"{DRAFT}.{band}": None}


def draft(talk: Talk, band: str, at: str) -> dict[str, Any]:
    """What to remember while a talk goes on."""
    return {f"{DRAFT}.{band}": {**talk.answers, "occasion": talk.occasion, "at": at}}


def _belonging(talk: Talk, to: Belongs) -> dict[str, str]:
    return {k: v for k, v in talk.answers.items() if k in BY_KEY and BY_KEY[k].belongs == to}
