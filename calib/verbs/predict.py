"""`bandcurve predict`: what a band pulls at a length, or the length for a pull."""

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast, get_args

import typer

from calib.errors import OutOfRangeError, UsageError
from calib.half_path import LengthKind
from calib.units import Shown
from calib.verbs.terminal.band_argument import BandArgument, FolderOption, band_of, say_doubts
from calib.verbs.terminal.quantities import UNIT_HELP, lengths_in_si, option_in_si, shown_in

if TYPE_CHECKING:
    from calib.profile.document import Profile


def command(
    band: BandArgument,
    length: Annotated[str | None, typer.Option(metavar="LENGTH", help="Half-path length, for example 1.6m.")] = None,
    between: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="What a tape reads between two fittings; --kind says how.")
    ] = None,
    kind: Annotated[
        str | None, typer.Option(metavar="KIND", help="With --between: band-outer, band-inner, centres or half-path.")
    ] = None,
    fittings: Annotated[
        str | None,
        typer.Option(metavar="D,D", help="With --between: diameters of the fittings in mm, for example 25,50."),
    ] = None,
    force: Annotated[
        str | None, typer.Option(metavar="FORCE", help="Ask for the length instead, for example 15kg.")
    ] = None,
    extrapolate: Annotated[
        bool, typer.Option("--extrapolate", help="Go beyond the tested lengths, marked, with wider limits.")
    ] = False,
    folder: FolderOption = Path(),
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP)] = "kg",
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of words.")] = False,
) -> int:
    """Say what a band pulls at a length, or at which length it pulls a force.

    A band's name is answered from its newest good calibration, a file from that file.

    A half-path length is half of the band's closed path. What a tape reads between two fittings is converted.

    \b
    Examples:
      bandcurve predict B07 --length 1.6m
      bandcurve predict B07 --between 1.5m --kind centres --fittings 25,50
      bandcurve predict B07.profile.json --force 15kg --json
    """
    shown = shown_in(unit)
    if sum(option is not None for option in (length, between, force)) != 1:
        raise UsageError("give one of --length, --between and --force", remedy="for example --length 1.6m")
    if between is None and (kind or fittings):
        raise UsageError("--kind and --fittings belong to --between", remedy="give --between, or leave them out")
    if force is not None:
        if extrapolate:
            raise UsageError("--extrapolate works with a length only", remedy="leave it out, or give --length")
        return _answer_length(band, folder, option_in_si(force, "--force", "force"), shown, as_json)
    return _answer_force(band, folder, length, between, kind, fittings, extrapolate, shown, as_json)


def _answer_length(band: str, folder: Path, force: float, shown: Shown, as_json: bool) -> int:
    from calib.use.bands.predict import inverse_json, inverse_text, invert

    found = band_of(band, folder)
    profile = found.profile
    inverse = invert(profile, force)
    print(json.dumps(inverse_json(inverse)) if as_json else inverse_text(profile, inverse, shown))
    say_doubts(found.findings)
    return 0


def _answer_force(
    band: str,
    folder: Path,
    length: str | None,
    between: str | None,
    kind: str | None,
    fittings: str | None,
    extrapolate: bool,
    shown: Shown,
    as_json: bool,
) -> int:
    wanted = option_in_si(length, "--length", "length") if length is not None else None
    read = _between(between, kind, fittings) if between is not None else None
    from calib.use.bands.predict import half_path_between, prediction_json, prediction_text

    found = band_of(band, folder)
    profile = found.profile
    if read is not None:
        wanted = half_path_between(profile, *read)
        if not as_json:
            _say_converted(profile, wanted, kind, shown)
    assert wanted is not None
    try:
        prediction = profile.predict(wanted, extrapolate)
    except OutOfRangeError as error:
        raise _with_way_out(error, extrapolate) from None
    print(json.dumps(prediction_json(prediction)) if as_json else prediction_text(profile, prediction, shown))
    say_doubts(found.findings)
    return 0


def _between(between: str, kind: str | None, fittings: str | None) -> tuple[float, LengthKind, tuple[float, ...]]:
    kinds = get_args(LengthKind)
    if kind not in kinds:
        said = "--between needs --kind" if kind is None else f"--kind {kind[:40]!r} is not known"
        raise UsageError(said, remedy=f"use one of {', '.join(kinds)}")
    if fittings and kind == "half-path":
        raise UsageError("a half-path length has no fittings", remedy="leave --fittings out, or give another --kind")
    if fittings is None and kind != "half-path":
        raise UsageError("--between needs --fittings", remedy="give the diameters in mm, for example --fittings 25,50")
    diameters = lengths_in_si(fittings, "--fittings", "mm", 2) if fittings else ()
    return option_in_si(between, "--between", "length"), cast(LengthKind, kind), diameters


def _say_converted(profile: "Profile", length: float, kind: str | None, shown: Shown) -> None:
    known = profile.band.thickness_m or kind == "half-path"
    assumed = "" if known else ", taking the band as 4.5 mm thick (it was not measured)"
    print(f"That is a half-path length of {shown.tape(length)} {shown.length}{assumed}.", file=sys.stderr)


def _with_way_out(error: OutOfRangeError, extrapolate: bool) -> OutOfRangeError:
    more = "" if extrapolate else ", or add --extrapolate for a marked guess"
    return OutOfRangeError(error.what, where=error.where, remedy=error.remedy + more)
