"""`bandcurve recheck`: one known plate, one length, in a minute."""

import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, get_args

from calib.errors import DataError, OutOfRangeError, UsageError, printable
from calib.half_path import LengthKind
from calib.units import Shown
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.answer import give
from calib.verbs.terminal.plain_text import complaint
from calib.verbs.terminal.quantities import UNIT_HELP, day_gone_by, lengths_in_si, option_in_si, shown_in

if TYPE_CHECKING:
    from calib.profile.document import Profile
    from calib.profile.store.rechecks import Hung

HANGS = "Plates plus whatever they hang on, as one number. You can add another unit, like 22 lb."
LOADS = ("plates", "calibrated", "weighed")


def command(
    band: Annotated[str, typer.Argument(metavar="ID", help="The band, for example B07.")],
    plate: Annotated[
        str | None,
        typer.Option(
            metavar="MASS", help="Everything that hangs, hook included, for example 10kg; if left out, you are asked."
        ),
    ] = None,
    length: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="The tape reading; if left out, you are asked.")
    ] = None,
    kind: Annotated[
        str, typer.Option(metavar="KIND", help="band-inner, band-outer, centres or half-path.")
    ] = "band-inner",
    fittings: Annotated[
        str | None, typer.Option(metavar="D,D", help="Their diameters in mm; default: as when it was measured.")
    ] = None,
    load: Annotated[
        str, typer.Option(metavar="WHAT", help="How well the mass is known: plates, calibrated or weighed.")
    ] = "plates",
    temperature: Annotated[
        float | None, typer.Option(metavar="C", help="Of the room, degrees Celsius.", min=-30, max=60)
    ] = None,
    on: Annotated[str | None, typer.Option(metavar="DAY", help="Date, like 2026-03-01; default: today.")] = None,
    note: Annotated[str, typer.Option(metavar="TEXT", help="A note to store with it.")] = "",
    folder: Annotated[Path, typer.Option("--folder", metavar="DIR", help="Where the files are.")] = Path(),
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP)] = "kg",
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")] = False,
) -> int:
    """Check a band against its profile: hang a known plate from it, read one length.

    The result is stored in ID.rechecks.csv; history and list use it.

    \b
    Examples:
      bandcurve recheck B07
      bandcurve recheck B07 --plate 10kg --load weighed --length 1432mm --temperature 18 --json
    """
    shown = shown_in(unit)
    _refuse_unknown("--kind", kind, get_args(LengthKind))
    _refuse_unknown("--load", load, LOADS)
    mass = option_in_si(plate, "--plate", "mass") if plate is not None else None
    read = option_in_si(length, "--length", "length") if length is not None else None
    given = lengths_in_si(fittings, "--fittings", "mm", 2) if fittings else None
    day = day_gone_by(on, "--on") if on is not None else date.today()
    from calib.profile.store.collection import read_collection
    from calib.profile.store.log_file import add_entry
    from calib.profile.store.newest_profile import in_force
    from calib.profile.store.rechecks import KIND, Recheck, row_of
    from calib.stamp import stamp
    from calib.use.bands.recheck import expect, hung_of, recheck, recheck_answer
    from calib.use.report.folder_views import recheck_view
    from calib.verbs.terminal.plain_text import clean

    collection = read_collection(folder)
    known = collection.band(band)
    band, profile = known.known.mark, in_force(known.calibrations(), day)
    for said in collection.failed_of(known):
        if ".profile.json" in said:  # that one may be in force; damaged re-checks are told of where they are added to
            print(complaint(f"left out, {said}"), file=sys.stderr)
    round_what = _fittings(profile, given, kind)
    kilos = _ask_mass(profile, shown.force) if mass is None else mass
    hung = hung_of(kilos, load, kind, round_what, temperature)
    expect(profile, hung)
    if read is None:
        hung, read = _led(profile, hung, shown)
    found = recheck(profile, hung, read)
    kept = Recheck(band, day, hung, read, _calibrated_on(profile), clean(note), stamp(collection.register.newest))
    path = known.known.log_path(folder, KIND.name)
    answer = recheck_answer(profile, hung, read, found, day, str(path))
    if not as_json:  # said even where it cannot be kept
        give(answer, recheck_view(answer, shown), as_json=False)
    add_entry(path, KIND, band, lambda version: row_of(kept, version))
    if as_json:
        give(answer, None, as_json=True)
    else:
        print(f"Noted in {printable(path)}.")
    return 0


def _refuse_unknown(option: str, value: str, known: tuple[str, ...]) -> None:
    if value not in known:
        raise UsageError(f"{option} {value[:40]!r} is not known", remedy=f"use one of {', '.join(known)}")


def _fittings(profile: "Profile", given: Sequence[float] | None, kind: str) -> tuple[float, ...]:
    """Diameters of what the band hangs on: as given, else as when it was measured. [m]"""
    found = profile.gear.fitting_diameters_m if given is None else given
    if not found and kind != "half-path":
        raise UsageError(
            f"the profile of {profile.band.id} does not say what the band hung on",
            remedy="give their diameters, for example --fittings 12,12, or a converted length with --kind half-path",
        )
    return tuple(found)


def _calibrated_on(profile: "Profile") -> date | None:
    day = profile.made.measured_at
    return date.fromisoformat(day) if day else None


def _ask_mass(profile: "Profile", unit: str) -> float:
    """What hangs, from whoever sits at the terminal. [kg]"""
    from calib.acquire.files.typed import parse_mass
    from calib.profile.store.rechecks import Hung
    from calib.units import FORCE
    from calib.use.bands.recheck import expect
    from calib.verbs.terminal.prompts import EndOfInputError, ask, at_terminal, lead, prepare, say

    if not at_terminal():
        raise UsageError(
            "the load is not given, and there is no terminal to ask at", remedy="give it, for example --plate 10kg"
        )
    prepare()
    low, high = (profile.branches.loading.force_N[i] / FORCE[unit] for i in (0, -1))
    say(
        f"{profile.band.id} was tested from {low:.1f} to {high:.1f} {unit}; hang a load in that range, "
        "ideally in the middle."
    )

    def read(text: str) -> float:
        kilos = parse_mass(text, unit)
        expect(profile, Hung(kilos, 0.0, "half-path", ()))
        return kilos

    try:
        return lead(lambda: ask(f"What hangs on it, hook included, {unit}? ", read, hint=HANGS), how="")
    except EndOfInputError:
        raise KeyboardInterrupt from None


def _led(profile: "Profile", hung: "Hung", shown: Shown) -> "tuple[Hung, float]":
    """What hung at which temperature, and the length, from whoever sits at the terminal."""
    from calib.acquire.files.typed import parse_length
    from calib.use.ask.readers import typed_in
    from calib.use.bands.recheck import expect, how_to, recheck
    from calib.use.report.folder_views import tape_units
    from calib.verbs.terminal.prompts import at_terminal, prepare, say

    if not at_terminal():
        raise UsageError(
            "the length is not given, and there is no terminal to ask at", remedy="give it, for example --length 1432mm"
        )
    there, tape = expect(profile, hung), tape_units(shown)
    prepare()
    say(*how_to(profile, hung, tape))

    def read(text: str) -> float:
        length = parse_length(text, tape.length)
        try:
            recheck(profile, hung, length)
        except OutOfRangeError:
            near, shows = there.length, f"{tape.tape(there.length)} {tape.length}"
            unit = typed_in(text, tape.length, (0.8 * near, 1.25 * near))
            raise DataError(
                f"{profile.band.id} was not tested there; with this load it should reach about {shows}{unit}"
            ) from None
        return length

    return _asked(profile, hung, tape, read)


def _asked(profile: "Profile", hung: "Hung", tape: Shown, read: Callable[[str], float]) -> "tuple[Hung, float]":
    """The length that the tape shows, and the temperature where the profile has one to compare with."""
    from calib.use.bands.recheck import ALONG
    from calib.verbs.talk.procedure_talk import ask_temperature
    from calib.verbs.terminal.prompts import EndOfInputError, ask, lead

    def talk() -> "tuple[Hung, float]":
        length = ask(
            f"The tape shows, {tape.length}? ",
            read,
            hint=f"Wait until the plate hangs still; measure {ALONG[hung.kind]}.",
        )
        if hung.temperature is None and profile.conditions.temperature_C is not None:
            return replace(hung, temperature=ask_temperature()), length
        return hung, length

    try:
        return lead(talk)
    except EndOfInputError:
        raise KeyboardInterrupt from None
