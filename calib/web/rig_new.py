"""The page's way to a rig's file: the questions of `bandcurve rig new`, one after another, then the rig.

The answers so far travel with the form; the talk runs over them and stops at the question that comes next.
"""

import re
from contextlib import suppress
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import quote

from starlette.responses import RedirectResponse, Response

from calib.errors import BandcurveError, DataError
from calib.identity import check_id
from calib.profile.document import Profile, load_profile
from calib.profile.store.memory import recall, remember
from calib.profile.store.own_files import own_files
from calib.safe_write import write_new
from calib.use.ask.asker import Answers, NextQuestion, UnansweredError
from calib.use.report.layout import sentence
from calib.use.rig.rig_talk import STAND, ask_rig, remembered_latitude, remembered_stand
from calib.use.rig.rig_written import rig_toml
from calib.web.pages import Asked, Site

MOST_ANSWERS = 400
_NUMBERED = re.compile(r"(\d+)  (\S.*?)(?=\s{2,}\d+  |$)")


def new_rig(site: Site, asked: Asked) -> Response:
    """What to call it."""
    return site.render(asked, "rig_name.html", wrong="", typed="")


def next_question(site: Site, asked: Asked) -> Response:
    """An answer more, or one back: the question that comes next, or the rig."""
    fields, wrong = asked.fields, ""
    try:
        name = check_id(fields.get("name", "").strip())
        path = site.folder / f"{name}.rig.toml"
        if path.exists():
            raise DataError("is there already", where=path.name, remedy="choose another name")
    except BandcurveError as error:
        said = sentence(str(error))
        return site.render(asked, "rig_name.html", 422, wrong=said, typed=fields.get("name", "")[:64])
    answers = fields["answers"].split("\n")[:MOST_ANSWERS] if fields.get("answers") is not None else []
    answers = [text.strip("\r") for text in answers[1:]]
    if fields.get("do") == "back":
        answers = answers[:-1]
    elif "answer" in fields:
        answers.append(" ".join(fields["answer"].split())[:200])
    known = {key: found.value for key, found in recall(site.folder).items()}
    try:
        rig, stand = ask_rig(
            Answers(answers), partial(_profile, site), remembered_stand(known), remembered_latitude(known)
        )
    except UnansweredError as end:
        wrong = sentence(end.wanted.wrong) if end.wanted.wrong else ""
        return _show(site, asked, name, end, wrong)
    write_new(path, rig_toml(rig))
    with suppress(BandcurveError):
        remember(site.folder, {STAND: asdict(stand)})
    return RedirectResponse(f"/rig/{quote(name)}", 303)


def _profile(site: Site, name: str) -> Profile:
    """A band's profile by its file as seen from the folder; nothing outside of it is read."""
    files = _profiles(site)
    if name not in files:
        raise DataError(f"there is no {name[:60]!r} here", remedy="choose one from the list")
    return load_profile(files[name])


def _profiles(site: Site) -> dict[str, Path]:
    return {p.relative_to(site.folder).as_posix(): p for p in own_files(site.folder, "*.profile.json")}


def _show(site: Site, asked: Asked, name: str, end: UnansweredError, wrong: str) -> Response:
    wanted, bands = end.wanted, "profile of the band" in end.wanted.prompt.lower()
    return site.render(
        asked,
        "rig_new.html",
        422 if wrong else 200,
        name=name,
        answers="\n".join(["", *end.taken]),
        done=len(end.taken),
        wrong=wrong,
        profiles=[one.removesuffix(".profile.json") for one in _profiles(site)] if bands else [],
        **_in_words(wanted),
    )


def _in_words(wanted: NextQuestion) -> dict[str, Any]:
    """A question as a page shows it: its options are buttons, and nobody types Enter."""
    options = [m for line in wanted.said for m in _NUMBERED.findall(line)] if wanted.numbers else []
    lines = [line.strip() for line in wanted.said if not (options and _NUMBERED.match(line.strip()))]
    prompt = (
        re.sub(r"\s*\[(?:\d|Y/n|y/N)\]:? *$", "", wanted.prompt) if wanted.numbers or wanted.yes_no else wanted.prompt
    )
    hints = [
        one for one in re.split(r"(?<=\.) ", wanted.hint) if "bandcurve " not in one and not one.startswith("n asks")
    ]
    if wanted.yes_no:
        options = [("y", "Yes"), ("n", "No")]
    prompt = re.sub(r", beside the rig's file \(.*?\)", "", prompt.rstrip(": "))
    if prompt == "Which?" and lines:
        prompt = lines.pop().rstrip(":")
    usual = re.search(r"\s*\[(\d+(?: \w+)?)\]$", prompt)
    prompt = prompt[: usual.start()] if usual else prompt
    return {
        "lines": lines,
        "empty": usual[1] if usual else "",
        "prompt": prompt.replace("(Enter: ", "(empty: ").replace("; Enter: ", "; empty: "),
        "hint": " ".join(hints),
        "options": options,
        "usual": ("y" if wanted.default else "n") if wanted.yes_no else str(wanted.default),
    }
