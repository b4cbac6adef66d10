"""`bandcurve scale`: a scale's file, and its checks with known loads."""

import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from calib.errors import DataError, UsageError

if TYPE_CHECKING:
    from calib.acquire.check_table import CheckRow, Quantity
    from calib.fit.known_loads import KnownLoads
    from calib.fit.scale_check import ScaleCheck
    from calib.scale import Scale

UNIT = "shown_unit"  # in a scale file's free space: what its display shows
PLAUSIBLE = 0.2  # relative: a gain further from one is a unit or a column mistaken

app = typer.Typer(
    add_completion=False,
    rich_markup_mode=None,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="""Keep what is known of a scale, and check it with known loads.

\b
Examples:
  bandcurve scale new garage-hook --resolution 0.05kg --capacity 50kg
  bandcurve scale check garage-hook.scale.json
  bandcurve scale check garage-hook.scale.json --from plates.csv --loads-kind weighed
  bandcurve scale show garage-hook.scale.json
""",
)

FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="The scale's file, NAME.scale.json.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON document instead of words.")]


@app.command("new")
def new(
    name: Annotated[str, typer.Argument(metavar="NAME", help="What to call the scale.")],
    resolution: Annotated[str | None, typer.Option("--resolution", help="One step of the display: 0.05kg.")] = None,
    capacity: Annotated[str | None, typer.Option("--capacity", help="The most it takes: 50kg.")] = None,
    kind: Annotated[str, typer.Option("--kind", help="hanging-scale, platform-scale or load-cell.")] = "hanging-scale",
    locks: Annotated[
        str | None, typer.Option("--locks", help="Does the display lock: no, peak, or steady (after a second or so).")
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", "-o", help="Folder for the file.")] = None,
    as_json: JsonOption = False,
) -> int:
    """Make the file of a scale: two or three questions, or options.

    \b
    Examples:
      bandcurve scale new garage-hook
      bandcurve scale new cell-3 --kind load-cell --resolution 0.005kg --capacity 100kg --locks no
    """
    from calib.identity import check_id
    from calib.safe_write import write_new

    _one_of("--kind", kind, ("hanging-scale", "platform-scale", "load-cell"))
    if locks is not None:
        _one_of("--locks", locks, ("no", "peak", "steady"))
    asked = resolution is None
    step, unit = _resolution(resolution)
    most = _capacity(capacity, unit, asked)
    scale = _document(check_id(name), kind, step, most, locks or _locks(asked), unit)
    path = (out or Path()) / f"{name}.scale.json"
    path.parent.mkdir(parents=True, exist_ok=True)
    write_new(path, scale.to_json())
    _tell_scale(scale, path, as_json, f"  bandcurve scale check {path}")
    return 0


@app.command("show")
def show(file: FileArgument, as_json: JsonOption = False) -> int:
    """Say what is known of a scale.

    \b
    Example:
      bandcurve scale show garage-hook.scale.json
    """
    from calib.scale import load_scale

    scale = load_scale(file)
    step = f"  bandcurve fit RUN --scale {file}" if scale.checks else f"  bandcurve scale check {file}"
    _tell_scale(scale, file, as_json, step)
    return 0


@app.command("check")
def check(
    file: FileArgument,
    table: Annotated[
        Path | None,
        typer.Option("--from", metavar="CSV", help="Columns known_<unit>, shown_<unit>, branch (up or down)."),
    ] = None,
    loads_kind: Annotated[
        str | None, typer.Option("--loads-kind", help="plates, calibrated, weighed, water or stated.")
    ] = None,
    loads: Annotated[str | None, typer.Option("--loads", help="Name of this set of loads: plates-1.")] = None,
    u_common: Annotated[
        str | None, typer.Option("--u-common", help="Standard uncertainty of the whole set together: 0.1%.")
    ] = None,
    u_each: Annotated[
        str | None, typer.Option("--u-each", help="Standard uncertainty of one piece by itself: 0.2% or 5g.")
    ] = None,
    on: Annotated[str | None, typer.Option("--date", help="Day of the check, 2026-03-01; today if not given.")] = None,
    latitude: Annotated[
        float | None, typer.Option("--latitude", min=-90, max=90, help="Degrees, south below zero.")
    ] = None,
    altitude: Annotated[float | None, typer.Option("--altitude", min=-500, max=9000, help="Metres.")] = None,
    temperature: Annotated[
        float | None,
        typer.Option("--temperature", min=-59, max=99, help="Of the air, or of the water if water hangs. [C]"),
    ] = None,
    unit: Annotated[str | None, typer.Option("--unit", help="What the display shows: kg, lb or N.")] = None,
    any_gain: Annotated[
        bool, typer.Option("--any-gain", help="Take it even where the scale shows far more or less than the loads.")
    ] = False,
    as_json: JsonOption = False,
) -> int:
    """Check a scale with known loads, up and down, and keep the correction in its file.

    \b
    Examples:
      bandcurve scale check garage-hook.scale.json
      bandcurve scale check garage-hook.scale.json --from plates.csv --loads-kind plates --loads plates-1
      bandcurve scale check garage-hook.scale.json --from plates.csv --u-common 0.1% --u-each 5g
    """
    from calib.scale import load_scale, save_scale
    from calib.units import FORCE
    from calib.verbs.scale_record import check_part

    scale = load_scale(file)
    day = _day(on)
    shown_unit = unit or str(scale.extensions.get(UNIT, "kg"))
    if shown_unit not in FORCE:
        raise UsageError(f"--unit {shown_unit[:20]!r} is not a unit of force", remedy=f"use one of {', '.join(FORCE)}")
    draft = None if table else _Draft.beside(file, scale.id)
    stated = (u_common, u_each)
    rows, known, plus = _readings(table, loads_kind, loads, stated, shown_unit, scale.locks != "no", temperature, draft)
    result = _fit(rows, known, plus, scale, day, (latitude, altitude))
    _refuse_far_off(result, any_gain, str(table or "typed"))
    name = _name(scale, day)
    document = check_part(result, name, (latitude, altitude), temperature)
    save_scale(scale.with_check(document), file)
    if draft is not None:
        draft.path.unlink(missing_ok=True)
    _tell_check(result, f"{scale.id}/{name}", file, shown_unit, as_json)
    return 0


@dataclass(frozen=True)
class _Draft:
    """The file that holds what was typed so far."""

    path: Path

    @classmethod
    def beside(cls, file: Path, name: str) -> "_Draft":
        """One beside the scale's file that is not there yet."""
        names = (f"{name}.check.csv", *(f"{name}.check-{i}.csv" for i in range(2, 1000)))
        return cls(next(p for n in names if not (p := file.parent / n).exists()))

    def keep(self, rows: Sequence["CheckRow"], quantity: "Quantity") -> None:
        """Write them all; where that cannot be done say so and go on, they are still in memory."""
        from calib.acquire.check_table import format_check_table
        from calib.errors import FileError
        from calib.safe_write import write_atomically
        from calib.verbs.prompts import say

        try:
            write_atomically(self.path, format_check_table(rows, quantity))
        except FileError as error:
            say(f"  Not kept on disk: {error}.")


def _one_of(option: str, value: str, allowed: tuple[str, ...]) -> None:
    if value not in allowed:
        raise UsageError(f"{option} {value[:40]!r} is not known", remedy=f"use one of {', '.join(allowed)}")


def _resolution(given: str | None) -> tuple[float, str]:
    """One step of the display [N], and the unit it was given in."""
    from calib.verbs.prompts import ask, prepare
    from calib.verbs.scale_questions import needed

    if given is not None:
        return _force(given, "--resolution", "0.05kg")
    if not _somebody():
        raise needed("one step of the display", "--resolution", "0.05kg")
    prepare()

    def read(text: str) -> tuple[float, str]:
        return _force(text if text and not text[-1].isdigit() else f"{text}kg", "the step", "0.05")

    found: tuple[float, str] = ask(
        "One step of its display, in kg unless you say lb (0.05, or 0.1lb): ", _as_data(read)
    )
    return found


def _capacity(given: str | None, unit: str, asked: bool) -> float | None:
    from calib.verbs.prompts import ask

    if given is not None:
        return _force(given, "--capacity", "50kg")[0]
    if not (asked and _somebody()):
        return None

    def read(text: str) -> float:
        return _force(text if text and not text[-1].isdigit() else f"{text}{unit}", "the capacity", "50")[0]

    return ask(f"The most it takes, {unit} (Enter if not known): ", _as_data(read), empty=0.0) or None


def _locks(asked: bool) -> str:
    from calib.verbs.prompts import choose, say

    if not (asked and _somebody()):
        return "no"
    say("Does the number stay when the pull goes away?")
    say("  1  no, it follows", "  2  it keeps the highest", "  3  it locks once it has been steady for a second or so")
    return choose("Number", ("no", "peak", "steady"))


def _somebody() -> bool:
    return bool(sys.stdin and sys.stdin.isatty())


def _as_data(read: Any) -> Any:
    """What is wrong usage in an option is just a wrong answer at a prompt."""

    def reading(text: str) -> Any:
        try:
            return read(text.replace(",", "."))
        except UsageError as error:
            raise DataError(error.what, remedy=error.remedy) from None

    return reading


def _force(text: str, option: str, example: str) -> tuple[float, str]:
    """A force that wears its unit: value [N] and unit."""
    from calib.units import FORCE
    from calib.verbs.quantities import option_in_si

    value = option_in_si(text, option, "force")
    unit = next(u for u in sorted(FORCE, key=len, reverse=True) if text.strip().endswith(u))
    if value > 1e7:
        raise UsageError(f"{option} {text[:40]!r} is more than any scale shows", remedy=f"for example {example}")
    return value, unit


def _document(name: str, kind: str, step: float, capacity: float | None, locks: str, unit: str) -> "Scale":
    from calib.scale import Scale

    if capacity is not None and capacity <= step:
        raise DataError("the capacity is not above one step of the display", remedy="were the two swapped?")
    fields = {"format": "bandcurve-scale/1", "id": name, "kind": kind, "resolution_N": step, "capacity_N": capacity}
    return Scale.model_validate({**fields, "locks": locks, "extensions": {UNIT: unit}})


def _tell_scale(scale: "Scale", path: Path, as_json: bool, step: str) -> None:
    from calib.verbs.scale_text import scale_text

    if as_json:
        print(json.dumps({"file": str(path), "scale": json.loads(scale.to_json())}, indent=2))
        return
    print(scale_text(scale, str(scale.extensions.get(UNIT, "kg"))))
    print(f"In {path}. Next:\n{step}")


def _day(given: str | None) -> str:
    if given is None:
        return date.today().isoformat()
    try:
        return date.fromisoformat(given).isoformat()
    except ValueError:
        raise UsageError(f"--date {given[:20]!r} is not a date", remedy="write it like 2026-03-01") from None


def _readings(
    table: Path | None,
    loads_kind: str | None,
    loads: str | None,
    stated: tuple[str | None, str | None],
    unit: str,
    locks: bool,
    temperature: float | None,
    draft: "_Draft | None",
) -> tuple[tuple["CheckRow", ...], "KnownLoads", bool]:
    """The readings as masses or forces, the set of loads, and whether pieces were told apart."""
    from calib.verbs.prompts import prepare, say
    from calib.verbs.scale_questions import ask_loads, ask_rows, ask_water_temperature

    if draft is None:
        assert table is not None  # one of the two is there
        rows, quantity, plus = _from_table(table)
        known = _loads(loads_kind, loads, stated, quantity)
        if quantity == "volume":
            rows = _as_water(rows, 15.0 if temperature is None else temperature)
        return rows, known, plus
    prepare()
    say("", "Hang known loads on the scale, up and then down. A check takes about five minutes.", "")
    nothing_said = loads_kind is None and stated == (None, None)
    known = ask_loads() if nothing_said and _somebody() else _loads(loads_kind, loads, stated, "mass")
    water = known.kind == "water"
    cold = ask_water_temperature() if water and temperature is None and _somebody() else temperature
    say("", f"Each line is kept in {draft.path} until the check is done; after a break: --from that file.")
    rows = ask_rows(unit, water, locks, lambda some: draft.keep(some, "volume" if water else "mass"))
    plus = any(len(row.pieces) > 1 for row in rows)
    return (_as_water(rows, 15.0 if cold is None else cold) if water else rows), known, plus


def _from_table(path: Path) -> tuple[tuple["CheckRow", ...], "Quantity", bool]:
    from calib.acquire.check_table import CAP_BYTES, parse_check_table
    from calib.strict_json import read_capped

    found = parse_check_table(read_capped(path, CAP_BYTES), path.name)
    return found.rows, found.quantity, found.has_pieces


def _loads(
    kind: str | None, name: str | None, stated: tuple[str | None, str | None], quantity: "Quantity"
) -> "KnownLoads":
    """The set of known loads, from options."""
    from dataclasses import replace

    from calib.fit.known_loads import WORTH, usual
    from calib.identity import check_id

    by_quantity = {"force": "force", "volume": "water"}.get(quantity, "plates" if stated == (None, None) else "stated")
    chosen = kind or by_quantity
    _one_of("--loads-kind", chosen, tuple(WORTH))
    if (chosen == "force") != (quantity == "force") or (quantity == "volume" and chosen != "water"):
        raise UsageError(f"--loads-kind {chosen} does not go with the known column", remedy="leave it out")
    known = usual(check_id(name or f"{chosen}-1"), next(kind for kind in WORTH if kind == chosen))
    common, each = (_uncertainty(text, option) for text, option in zip(stated, ("--u-common", "--u-each"), strict=True))
    if common is not None:
        if common[1]:
            raise UsageError("--u-common is relative", remedy="for example --u-common 0.1%")
        known = replace(known, u_common=common[0])
    if each is not None:
        known = replace(known, u_each=each[0], u_each_mass=each[1])
    return known


def _uncertainty(text: str | None, option: str) -> tuple[float, float] | None:
    """A stated uncertainty: relative part and part in kilogram."""
    from calib.verbs.masses import mass_option

    if text is None:
        return None
    if text.strip() in ("0", "0%", "0g"):
        return 0.0, 0.0
    bare = text.strip().removesuffix("%")
    if bare == text.strip():
        return 0.0, mass_option(text, option)
    try:
        value = float(bare) if bare.isascii() else -1.0
    except ValueError:
        value = -1.0
    if not 0 <= value <= 50:
        raise UsageError(f"{option} {text[:20]!r} is not a share up to 50 %", remedy=f"for example {option} 0.1%")
    return value / 100, 0.0


def _as_water(rows: tuple["CheckRow", ...], temperature: float) -> tuple["CheckRow", ...]:
    from dataclasses import replace

    from calib.fit.known_loads import water_mass

    return tuple(replace(r, pieces=tuple(water_mass(p / 1000, temperature) for p in r.pieces)) for r in rows)


def _fit(
    rows: tuple["CheckRow", ...],
    known: "KnownLoads",
    plus: bool,
    scale: "Scale",
    day: str,
    place: tuple[float | None, float | None],
) -> "ScaleCheck":
    from calib.fit.scale_check import check_scale
    from calib.fit.weighings import Weighing, added_one_by_one
    from calib.gravity import local_gravity

    totals = [float(sum(row.pieces)) for row in rows]
    pieces = [row.pieces for row in rows] if plus or known.kind == "force" else added_one_by_one(totals)
    weighings = [Weighing(p, r.shown, r.branch, r.line) for p, r in zip(pieces, rows, strict=True)]
    g = 1.0 if known.kind == "force" else local_gravity(*place)[0]
    return check_scale(weighings, known, scale.resolution_N, day, g)


def _refuse_far_off(result: "ScaleCheck", any_gain: bool, where: str) -> None:
    top = max(w.nominal for w in result.weighings) * result.g
    ratio = result.shown_for(top) / top
    if any_gain or abs(ratio - 1) <= PLAUSIBLE:
        return
    units = abs(ratio / 2.2046 - 1) < 0.1 or abs(ratio * 2.2046 - 1) < 0.1
    slip = "was one of the two in lb, the other in kg?" if units else "were the columns swapped, or in another unit?"
    raise DataError(
        f"the scale shows {ratio:.3g} times the known load, and no check was kept: {slip}",
        where=where,
        remedy="mend it, or give --any-gain if it is really so",
    )


def _name(scale: "Scale", day: str) -> str:
    """The day; with a number where that day has a check already."""
    taken = {c.id for c in scale.checks}
    return next(n for n in (day, *(f"{day}-{i}" for i in range(2, 1000))) if n not in taken)


def _tell_check(result: "ScaleCheck", name: str, file: Path, unit: str, as_json: bool) -> None:
    from calib.verbs.scale_text import check_document, check_text

    if as_json:
        print(json.dumps(check_document(result, name, str(file)), indent=2))
        return
    print(f"Scale check {name}")
    print(check_text(result, unit))
    print(f"Kept in {file}. Next:")
    print(f"  bandcurve fit RUN --scale {file}")
