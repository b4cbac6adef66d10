"""`bandcurve rig check`: a rig compared with what a scale shows in it at a few heights."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

from calib.errors import DataError, UsageError
from calib.units import SHOWN
from calib.verbs.rig.rig_place import stand_in
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.answer import FULL_HELP, give
from calib.verbs.terminal.quantities import UNIT_HELP, option_in_si, shown_in

if TYPE_CHECKING:
    from calib.units import Unit
    from calib.use.rig.rig_file import Check, CheckWay, Rig

BESIDE = "An anchor on the scale is pulled up as hard as the bar is pulled down, so the scale shows no difference."
LINE = "A height and the reading there, for example 120 125.3; back removes the last line, Enter on an empty line ends."
WAYS = {
    "platform": "a platform scale under lifter and bar; the anchors stand beside it, not on it",
    "hook": "a scale hooked in at the bar, in place of the sleeve, with one band on it",
    "hover": "plates added until the bar hovers in its bands from above",
}


def command(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The rig, NAME.rig.toml.")],
    how: Annotated[
        str | None, typer.Option("--how", metavar="WAY", help="platform, hook or hover; if left out, you are asked.")
    ] = None,
    alone: Annotated[
        str | None,
        typer.Option("--alone", metavar="LOAD", help="Platform: lifter, bar, plates without bands: 102.4kg."),
    ] = None,
    reading: Annotated[
        list[str] | None,
        typer.Option("--read", metavar="HEIGHT=LOAD", help="Reading at a height: 120cm=125.3kg; repeat the option."),
    ] = None,
    band: Annotated[int, typer.Option("--band", min=0, help="Hook: which band, counted from 0.")] = 0,
    hook: Annotated[str, typer.Option("--hook", metavar="LENGTH", help="Hook: its thickness.")] = "12mm",
    resolution: Annotated[str, typer.Option("--resolution", metavar="LOAD", help="One step of the display.")] = "0.1kg",
    wait: Annotated[float, typer.Option("--wait", min=0.1, help="Seconds to hold still before reading.")] = 10.0,
    out: Annotated[
        Path | None, typer.Option("--out", "-o", metavar="NEW", help="Write the corrected rig to a new file.")
    ] = None,
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP)] = "kg",
    extrapolate: Annotated[
        bool, typer.Option("--extrapolate", help="Go beyond the tested lengths (marked, with wider limits).")
    ] = False,
    full: Annotated[bool, typer.Option("--full", help=FULL_HELP)] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")] = False,
) -> int:
    """Compare a rig with scale readings at two or three heights, and correct it.

    Slack length, grip on the fittings and level are fitted to the readings. Without --read you are asked for them.

    \b
    Examples:
      bandcurve rig check squat.rig.toml --out squat2.rig.toml
      bandcurve rig check squat.rig.toml --how platform --alone 102.4kg --read 100cm=125.3kg --read 150cm=160.1kg
      bandcurve rig check squat.rig.toml --how hook --band 0 --read 120cm=14.2kg
    """
    from calib.use.report.rig_views import check_view
    from calib.use.rig.rig_answers import check_answer
    from calib.use.rig.rig_check import work_out
    from calib.use.rig.rig_file import check_rig
    from calib.use.rig.rig_files import named, read_profiles, read_rig
    from calib.verbs.terminal.prompts import lead

    said = cast("Unit", shown_in(unit).force)
    rig = read_rig(file)
    profiles = read_profiles(rig, file)
    stand_in(file)
    if how or reading or rig.check is None:
        way = _check_way(how, bool(reading))
        given = _given(way, alone, reading, said) if reading else lead(lambda: _asked(way, rig, said))
        step = _load(resolution, "--resolution", said)
        thick = option_in_si(hook, "--hook", "length")
        rig = replace(rig, check=replace(given, band=band, hook_diameter=thick, wait_s=wait, resolution=step))
    with named(file):
        check_rig(rig)
        before, _ = work_out(replace(rig, check=None), profiles, extrapolate=extrapolate)
        after, learned = work_out(rig, profiles, extrapolate=extrapolate)
    assert learned is not None
    if out is not None:
        _write(out, rig)
    assert rig.check is not None
    told = replace(check_answer(learned, rig.check, before, after, profiles), file=str(out) if out else None)
    give(told, check_view(told, SHOWN[said]), as_json=as_json, full=full)
    return 0


def _check_way(how: str | None, told: bool) -> "CheckWay":
    from calib.verbs.terminal.prompts import EndOfInputError, choose, prepare, say

    if how is None and not told:
        prepare()
        say("How do you check it?", *(f"  {n}  {what}" for n, what in enumerate(WAYS.values(), 1)))
        try:
            how = choose("Which?", tuple(WAYS), hint="docs/rig.md says how each is done.")
        except EndOfInputError:
            raise DataError("no reading was given", where="check", remedy="give --how and --read") from None
    if how not in WAYS:
        raise UsageError(f"--how {(how or '')[:40]!r} is not known", remedy=f"use {', '.join(WAYS)}")
    return cast("CheckWay", how)


def _load(text: str, option: str, unit: str) -> float:
    from calib.acquire.files.typed import parse_mass

    try:
        return parse_mass(text, unit)
    except DataError as error:
        raise UsageError(f"{option}: {error.what}", remedy=error.remedy) from None


def _given(way: "CheckWay", alone: str | None, readings: list[str], unit: str) -> "Check":
    from calib.use.rig.rig_file import Check

    pairs = []
    for text in readings:
        height, equals, shown = text.partition("=")
        if not equals:
            raise UsageError(f"--read {text[:40]!r} is not a height and a load", remedy="write --read 120cm=125.3kg")
        pairs.append((option_in_si(height, "--read", "length"), _load(shown, "--read", unit)))
    rest = None if alone is None else _load(alone, "--alone", unit)
    if way == "platform" and rest is None:
        raise UsageError("--alone is missing", remedy="give what the platform shows without bands")
    return Check(way, tuple(h for h, _ in pairs), tuple(s for _, s in pairs), rest)


def _asked(way: "CheckWay", rig: "Rig", unit: str) -> "Check":
    from calib.acquire.files.typed import parse_mass
    from calib.use.rig.rig_file import Check
    from calib.verbs.terminal.prompts import EndOfInputError, ask, say, yes

    alone = None
    try:
        if way == "platform":
            if not yes("Are all anchors beside the scale, not on it?", hint=BESIDE):
                raise DataError("an anchor on the scale is pulled up as hard as the bar is pulled down, so it shows "
                                "nothing", where="check", remedy="put the anchors beside it")  # fmt: skip
            alone = ask(f"Lifter, bar and plates on it, without bands [{unit}]: ", lambda text: parse_mass(text, unit),
                        hint="Stand on it holding the bar as in the lift, with the bands unhooked.")  # fmt: skip
        what = "all plates on the bar where it hovers" if way == "hover" else "what it shows"
        length, shown = ("cm" if unit == "kg" else "in"), SHOWN[unit]
        say("Approach each height in the direction that stretches the bands, hold still, read. Each "
            "line: height of the bar "
            f"[{length}], a space, {what} [{unit}]. Two or three heights from "
            f"{shown.tape(rig.bar.bottom)} to {shown.tape(rig.bar.top)} {shown.length}, then Enter.")  # fmt: skip
        if way == "hover":
            say("Keep hands and feet out from under the bar; have a second person help you take plates off.")
    except EndOfInputError:
        raise DataError("the input ended before any reading", where="check", remedy="begin again") from None
    pairs = _pairs(rig, length, unit)
    return Check(way, tuple(h for h, _ in pairs), tuple(s for _, s in pairs), alone)


def _pairs(rig: "Rig", length: str, unit: str) -> list[tuple[float, float]]:
    from calib.acquire.files.typed import parse_length, parse_mass
    from calib.use.rig.rig_file import MOST_READINGS
    from calib.verbs.terminal.prompts import EndOfInputError, ask

    pairs: list[tuple[float, float]] = []

    def read(text: str) -> tuple[float, float] | None:
        if not text and pairs:
            return None
        height, _, shown = text.rpartition(" ")
        if not height:
            raise DataError("a line is a height, a space and a load", remedy="type for example 120 125.3")
        at = parse_length(height, length)
        if not rig.bar.bottom <= at <= rig.bar.top:
            raise DataError(f"{at:.4g} m is not between the ends of the lift", remedy="hold it between them")
        return at, parse_mass(shown, unit)

    while len(pairs) < MOST_READINGS:
        try:
            pair = ask(f"{len(pairs) + 1:>3}> ", read, hint=LINE)
        except EndOfInputError:
            break
        if pair is None:
            break
        pairs.append(pair)
    if not pairs:
        raise DataError("no reading was given", where="check", remedy="read at least one height, better three")
    return pairs


def _write(path: Path, rig: "Rig") -> None:
    from calib.safe_write import write_new
    from calib.use.rig.rig_written import rig_toml

    write_new(path, rig_toml(rig))
