"""The page's views of bands: the list, and what one band pulls where. Numbers are those of the commands' answers."""

from typing import Any

from starlette.responses import JSONResponse, Response

from calib.errors import DataError
from calib.frozen import dataclass
from calib.profile.document import Profile
from calib.profile.store.register import KnownBand
from calib.units import Shown
from calib.use.answers.bands import PullAnswer
from calib.use.answers.parts import Pull
from calib.use.bands.lookup import Found, Lookup
from calib.use.bands.predict import pull_answer
from calib.use.paper.curve_svg import curve_svg
from calib.use.report.document import document
from calib.use.report.view import other_units
from calib.web.pages import Asked, Site
from calib.web.ways_on import step_on

AT_ONCE = 8  # bands that are paired in no time


def bands(site: Site, asked: Asked) -> Response:
    """All bands of the folder: status, newest day, what is wrong with their files."""
    register = site.lookup().register()
    rows = [_row(band) for band in register.bands]
    problems = [str(problem.text) for problem in register.problems]
    if len(rows) > AT_ONCE:
        site.ahead(_pairs)
    return site.render(asked, "bands.html", bands=rows, problems=[*problems, *register.said])


def _pairs(lookup: Lookup) -> object:
    """Behind the button below the list; of many bands it takes long."""
    from calib.web.answers import paired

    return paired(lookup)


def _row(band: KnownBand) -> dict[str, Any]:
    newest = band.calibrations[-1] if band.calibrations else None
    return {"name": band.address, "status": band.status, "day": (newest.day or "date not recorded") if newest else ""}


@dataclass(frozen=True)
class Span:
    """The lengths a band was tested at, as its tape reads them."""

    first: float  # [m]
    last: float
    offset: float  # half-path less tape [m]; 0 where the profile does not say how it was taped
    taped: bool

    @classmethod
    def of_profile(cls, profile: Profile) -> "Span":
        """Of a profile."""
        grid, offset = profile.branches.loading.length_m, profile.half_path_less_tape
        return cls(grid[0] - (offset or 0.0), grid[-1] - (offset or 0.0), offset or 0.0, offset is not None)


def band(site: Site, asked: Asked) -> Response:
    """What one band pulls, at a length of the user's own tape."""
    found = _found(site, asked.request.path_params["name"])
    span = Span.of_profile(found.profile)
    shown = site.shown_units(asked)
    tape = _tape(asked.request.query_params.get("tape", ""), span, shown)
    answer = pull_answer(found.profile, found.profile.predict(tape + span.offset), found.findings)
    if asked.wants_json:
        return JSONResponse({**_figures(answer, shown, span), "answer": document(answer)})
    return site.render(asked, "band.html", **_band_values(found, answer, span, shown))


def _found(site: Site, name: str) -> Found:
    """The calibration that answers for a name; a name of the register, never a path."""
    lookup = site.lookup()
    if name not in {band.address for band in lookup.register().bands}:
        raise DataError(f"there is no band {name[:60]!r} here", remedy="choose one from the list")
    return lookup.find(name)


def _tape(text: str, span: Span, shown: Shown) -> float:
    """A length of the slider in metres; the middle where none was given. [m]"""
    if not text:
        return (span.first + span.last) / 2
    try:
        value = float(text) * shown.metre
    except ValueError:
        raise DataError(f"{text[:20]!r} is not a length", remedy="type a number") from None
    if not span.first - 0.01 <= value <= span.last + 0.01:
        raise DataError(
            f"{shown.tape(value)} {shown.length} was not tested",
            remedy=f"{shown.tape(span.first)} to {shown.tape(span.last)} {shown.length} was",
        )
    return min(max(value, span.first), span.last)


def _figures(answer: PullAnswer, shown: Shown, span: Span) -> dict[str, Any]:
    """The texts that change with the slider."""
    tape = answer.length_m - span.offset
    return {
        "tape": shown.tape(tape),
        "stretch": f"{answer.stretch:.2f}",
        "part": (tape - span.first) / (span.last - span.first),
        "loading": _pull(answer.loading, shown),
        "unloading": _pull(answer.unloading, shown),
    }


def _pull(pull: Pull | None, shown: Shown) -> dict[str, str] | None:
    if pull is None:
        return None
    also = other_units(shown)
    return {
        "pull": shown.pull(pull.force_N),
        "also": f"{also.pull(pull.force_N, 1)} {also.force}",
        "mean": shown.pull(pull.u95_mean_N),
        "next_set": shown.pull(pull.u95_next_set_N),
    }


def _band_values(found: Found, answer: PullAnswer, span: Span, shown: Shown) -> dict[str, Any]:
    from calib.use.report.recorded_words import has_unread_gaps  # loads numerics, which the list of bands need not

    findings = [step_on(f) for f in answer.findings]
    return {
        "few_lengths": has_unread_gaps(found.profile),
        "name": answer.band,
        "day": answer.day,
        "source": f"{found.name}, {found.path.name}",
        "findings": findings,
        "shown": shown,
        "also": other_units(shown),
        "first": shown.tape(span.first),
        "last": shown.tape(span.last),
        "step": f"{10.0**-shown.digits:g}",
        "taped": span.taped,
        "picture": curve_svg(found.profile, span.offset, shown),
        **_figures(answer, shown, span),
    }
