"""`bandcurve recheck`: one known plate, one length, in a minute."""

import json
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast, get_args

import typer

from calib.errors import UsageError
from calib.half_path import LengthKind
from calib.units import Shown
from calib.verbs.band_file import add_row
from calib.verbs.quantities import UNIT_HELP, day_gone_by, lengths_in_si, option_in_si, shown_in

if TYPE_CHECKING:
    from calib.profile.document import Profile
    from calib.profile.rechecks import Hung
    from calib.use.recheck import Judged

LOADS = ("plates", "calibrated", "weighed")


def command(
    band: Annotated[str, typer.Argument(metavar="ID", help="The band, for example B07.")],
    plate: Annotated[str, typer.Option(metavar="MASS", help="All that hangs, hook included, for example 10kg.")],
    length: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="What the tape shows; asked for at a terminal.")
    ] = None,
    kind: Annotated[
        str, typer.Option(metavar="KIND", help="band-inner, band-outer, centres or half-path.")
    ] = "band-inner",
    fittings: Annotated[
        str | None, typer.Option(metavar="D,D", help="Their diameters in mm; default: as when it was measured.")
    ] = None,
    load: Annotated[
        str, typer.Option(metavar="WHAT", help="What the mass is good for: plates, calibrated or weighed.")
    ] = "plates",
    temperature: Annotated[
        float | None, typer.Option(metavar="C", help="Of the room, degrees Celsius.", min=-30, max=60)
    ] = None,
    on: Annotated[str | None, typer.Option(metavar="DAY", help="The day, as 2026-03-01; default: today.")] = None,
    note: Annotated[str, typer.Option(metavar="TEXT", help="To be kept with it.")] = "",
    folder: Annotated[Path, typer.Option("--folder", metavar="DIR", help="Where the files are.")] = Path(),
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP)] = "kg",
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of words.")] = False,
) -> int:
    """Check a band against its profile: hang a known plate from it, read one length.

    What was read is kept in ID.rechecks.csv; history and list go by it.

    \b
    Examples:
      bandcurve recheck B07 --plate 10kg
      bandcurve recheck B07 --plate 10kg --load weighed --length 1432mm --temperature 18 --json
    """
    shown = shown_in(unit)
    if kind not in get_args(LengthKind):
        raise UsageError(f"--kind {kind[:40]!r} is not known", remedy=f"use one of {', '.join(get_args(LengthKind))}")
    if load not in LOADS:
        raise UsageError(f"--load {load[:40]!r} is not known", remedy=f"use one of {', '.join(LOADS)}")
    mass = option_in_si(plate, "--plate", "mass")
    read = option_in_si(length, "--length", "length") if length is not None else None
    given = lengths_in_si(fittings, "--fittings", "mm", 2) if fittings else None
    day = day_gone_by(on, "--on") if on is not None else date.today()
    from calib.fit.known_loads import usual
    from calib.profile.collection import read_collection
    from calib.profile.one_id import in_force
    from calib.profile.rechecks import Hung, Recheck, new_rechecks, parse_rechecks, row_of
    from calib.use.recheck import expect, recheck, recheck_json
    from calib.verbs.plain_text import clean

    profile = in_force(read_collection(folder).band(band).calibrations(), day)
    loads = usual("plate", load)  # type: ignore[arg-type]
    u_mass = ((loads.u_common * mass) ** 2 + loads.u_piece(mass) ** 2) ** 0.5
    round_what = profile.gear.fitting_diameters_m if given is None else given
    if not round_what and kind != "half-path":
        raise UsageError(
            f"the profile of {band} does not say what the band hung on",
            remedy="give the diameters, for example --fittings 12,12, or a converted length with --kind half-path",
        )
    hung = Hung(mass, u_mass, cast(LengthKind, kind), tuple(round_what), temperature)
    expect(profile, hung)
    length_now = _asked(profile, hung, shown) if read is None else read
    found = recheck(profile, hung, length_now)
    kept = Recheck(band, datetime.now().astimezone().isoformat(timespec="seconds"), day, hung, length_now, clean(note))
    path = folder / f"{band}.rechecks.csv"
    add_row(path, band, new_rechecks(band), row_of(kept), parse_rechecks)
    if as_json:
        print(json.dumps(recheck_json(profile, found) | {"on": day.isoformat(), "file": str(path)}, indent=2))
    else:
        _say(profile, found, shown)
        print(f"Noted in {path}.")
    return 0


def _asked(profile: "Profile", hung: "Hung", shown: Shown) -> float:
    """The length, from whoever sits at the terminal."""
    from calib.acquire.typed import parse_length
    from calib.use.recheck import expect
    from calib.verbs.prompts import EndOfInputError, ask, at_terminal, prepare, say

    if not at_terminal():
        raise UsageError("there is nobody to ask for the length", remedy="give it, for example --length 1432mm")
    there = expect(profile, hung)
    prepare()
    tape = "mm" if shown.length == "m" else shown.length
    say(
        "Eyes out of the line of the band; the plate low over the floor, and no foot under it.",
        "Look the band over first: a nick, a crack, a sticky patch, and it is thrown away, not measured.",
        f"Pull it five times to a little more than {shown.tape(there.length)} {shown.length}, then let the plate",
        f"down slowly. Wait {profile.conditions.dwell_s or 10:g} s, as when it was measured, and read the tape "
        f"({hung.kind}).",
    )
    try:
        return ask(f"The tape shows, {tape}? ", lambda text: parse_length(text, tape))
    except EndOfInputError:
        raise KeyboardInterrupt from None


def _say(profile: "Profile", found: "Judged", shown: Shown) -> None:
    from calib.verbs.plain_text import wrap

    there, percent = found.expected, 100 * (found.level_ratio - 1)
    limit, more = 100 * found.k * found.u_level_ratio, "more" if percent > 0 else "less"
    said = (
        f"Band {profile.band.id} pulls {abs(percent):.1f} % {more} there than when it was measured "
        f"({profile.made.measured_at or 'day not noted'}), give or take {limit:.1f} %. The tape was expected "
        f"at {shown.tape(there.length)} {shown.length}, give or take {shown.tape(there.half_width)} {shown.length}."
    )
    seen = f"One plate shows a change of {100 * there.smallest:.1f} % or more 19 times in 20, not a smaller one."
    again = f"Read the tape again. If it stays, measure the band in full: bandcurve record {profile.band.id}"
    print("PASS" if found.passed else "NOT PASSED")
    print(wrap(said))
    print(wrap(seen if found.passed else again))
