"""`bandcurve predict`: what a band pulls at a length, or the length for a pull."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple, cast, get_args

from calib.errors import DataError, OutOfRangeError, UsageError
from calib.half_path import LengthKind
from calib.units import Shown
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.answer import FULL_HELP, give
from calib.verbs.terminal.band_argument import BandArgument, FolderOption, say_doubts
from calib.verbs.terminal.given_profile import GivenProfile, given_profile
from calib.verbs.terminal.plain_text import at_terminal
from calib.verbs.terminal.quantities import UNIT_HELP, lengths_in_si, option_in_si, shown_in

if TYPE_CHECKING:
    from calib.profile.document import Profile

_Held = tuple[LengthKind | None, tuple[float, ...] | None]  # where the tape was held, how thick the pins are


def command(
    band: BandArgument,
    length: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="The tape reading, held as in the recording: 1.6m, 63in.")
    ] = None,
    between: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="The same, for other pins or another way of holding the tape.")
    ] = None,
    kind: Annotated[
        str | None,
        typer.Option(metavar="KIND", help="Where the tape is held: band-outer, band-inner, centres or half-path."),
    ] = None,
    pins: Annotated[
        str | None,
        typer.Option("--pins", "--fittings", metavar="D,D", help="Diameters of the pins, mm; default: as recorded."),
    ] = None,
    force: Annotated[
        str | None, typer.Option(metavar="FORCE", help="Give a pull and get the length, for example 15kg.")
    ] = None,
    extrapolate: Annotated[
        bool, typer.Option("--extrapolate", help="Go beyond the tested lengths (marked, with wider limits).")
    ] = False,
    folder: FolderOption = Path(),
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP)] = "kg",
    full: Annotated[bool, typer.Option("--full", help=FULL_HELP)] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")] = False,
) -> int:
    """Say what a band pulls at a length, or at which length it reaches a pull.

    A band's name uses its newest good calibration; a file uses that file; - is standard input.

    A length is what the tape reads, held as when the band was recorded. A profile that does not say how (made before
    version 1.1) takes --length as a half-path length.

    \b
    Examples:
      bandcurve predict B07 --length 1.6m
      bandcurve predict B07 --between 1.5m --kind centres --pins 25,50
      bandcurve predict B07.profile.json --force 15kg --json
    """
    how = _How(shown_in(unit), full, as_json)
    if length is None and between is None and force is None and at_terminal() and not as_json:
        from calib.verbs.talk.missing import asked_length

        length = asked_length()
    if sum(option is not None for option in (length, between, force)) != 1:
        raise UsageError("give one of --length, --between and --force", remedy="for example --length 1.6m")
    if force is not None:
        if extrapolate or kind or pins:
            raise UsageError("--extrapolate, --kind and --pins need a length", remedy="leave them out")
        wanted = option_in_si(force, "--force", "force")
        return _answer_length(given_profile(band, folder), wanted, how)
    option = "--length" if length is not None else "--between"
    read = option_in_si(length or between or "", option, "length")
    held = _kind(kind), _pins(pins, kind)
    if length is not None and any(held):
        raise UsageError("--kind and --pins need --between", remedy="write --between in place of --length")
    given = given_profile(band, folder)
    if between is not None or given.profile.half_path_less_tape is not None:
        read = _half_path(given.profile, read, held)
    return _answer_force(given, read, extrapolate, how)


class _How(NamedTuple):
    """How it is told."""

    shown: Shown
    full: bool
    as_json: bool


def _answer_length(given: GivenProfile, force: float, how: _How) -> int:
    from calib.use.bands.predict import invert, length_answer
    from calib.use.report.curve_views import length_view

    answer = length_answer(given.profile, invert(given.profile, force), given.findings)
    say_doubts(given.findings)
    give(answer, length_view(answer, how.shown), as_json=how.as_json, full=how.full)
    return 0


def _half_path(profile: "Profile", read: float, held: _Held) -> float:
    """What the tape reads as a half-path length. [m]"""
    from calib.use.bands.predict import half_path_between

    _say_assumed(profile, held[0])
    try:
        return half_path_between(profile, read, *held)
    except DataError as error:
        raise UsageError(error.what, where=error.where, remedy=error.remedy) from None


def _answer_force(given: GivenProfile, length: float, extrapolate: bool, how: _How) -> int:
    from calib.use.bands.predict import pull_answer
    from calib.use.report.curve_views import pull_view

    try:
        prediction = given.profile.predict(length, extrapolate)
    except OutOfRangeError as error:
        raise _with_way_out(error, given.profile, length, how.shown, extrapolate) from None
    answer = pull_answer(given.profile, prediction, given.findings)
    say_doubts(given.findings)
    give(answer, pull_view(answer, how.shown), as_json=how.as_json, full=how.full)
    return 0


def _say_assumed(profile: "Profile", kind: str | None) -> None:
    """A thickness that was not measured goes into what is made of the tape's reading."""
    if profile.band.thickness_m is None and (kind or profile.gear.tape_kind) != "half-path":
        print("Assuming the band is 4.5 mm thick (it was not measured).", file=sys.stderr)


def _kind(kind: str | None) -> LengthKind | None:
    kinds = get_args(LengthKind)
    if kind is not None and kind not in kinds:
        raise UsageError(f"--kind {kind[:40]!r} is not known", remedy=f"use one of {', '.join(kinds)}")
    return cast("LengthKind | None", kind)


def _pins(pins: str | None, kind: str | None) -> tuple[float, ...] | None:
    if pins and kind == "half-path":
        raise UsageError("a half-path length has no pins", remedy="leave --pins out, or give another --kind")
    return lengths_in_si(pins, "--pins", "mm", 2) if pins else None


def _with_way_out(
    error: OutOfRangeError, profile: "Profile", length: float, shown: Shown, extrapolate: bool
) -> OutOfRangeError:
    """The same error with the lengths that would work as the tape reads them."""
    offset = profile.half_path_less_tape
    what, remedy = error.what, error.remedy
    if offset is not None and not extrapolate:
        what = f"{shown.tape(length - offset)} {shown.length} on the tape is outside the tested lengths"
        grid = profile.branches.loading.length_m
        first, last = (shown.tape(x - offset) for x in (grid[0], grid[-1]))
        remedy = f"{first} to {last} {shown.length} on the tape would have worked"
    more = "" if extrapolate else ", or add --extrapolate for a marked guess"
    return OutOfRangeError(what, where=error.where, remedy=remedy + more)
