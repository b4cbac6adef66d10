"""`bandcurve import`: somebody's table in, a run out, and in a few lines what was understood."""

from dataclasses import replace
from datetime import UTC, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar

from calib.errors import BandcurveError, DataError, FileError, UsageError
from calib.frozen import dataclass
from calib.half_path import LENGTH_KINDS
from calib.verbs.talk.table_questions import along_of, fittings_of, given_or_asked, legs, scale_name, taped
from calib.verbs.terminal import typer_later as typer

if TYPE_CHECKING:
    from calib.acquire.files.table_header import RawTable, Understood
    from calib.acquire.files.table_import import Imported
    from calib.acquire.files.table_layout import BandTable
    from calib.acquire.files.typed import Quantity
    from calib.records import Row, Run, RunHead, ScaleInUse

T = TypeVar("T")
BAND = "Letters, digits, dot, underscore and hyphen. The band's files start with this name."
FLAT = "The loop laid flat on the floor, not pulled, from fold to fold."
ZERO = "Before the first reading, the hook on it. 0 if it showed nothing."
METHODS = ("scale-in-line", "hung-weight", "anchor-on-scale")


def command(
    table: Annotated[
        Path, typer.Argument(metavar="TABLE", help="CSV, .xlsx or .ods with a length and a force column.")
    ],
    id: Annotated[str | None, typer.Option("--id", help="Name of the band, for example B07.")] = None,
    flat: Annotated[str | None, typer.Option("--flat", help="Flat length, end to end, for example 1029mm.")] = None,
    kind: Annotated[
        str | None, typer.Option("--kind", help=f"Where the tape was held: {', '.join(LENGTH_KINDS)}.")
    ] = None,
    fittings: Annotated[
        str | None, typer.Option("--fittings", help="Their diameters in mm, for example 12,12.")
    ] = None,
    scale: Annotated[
        str | None, typer.Option("--scale", help="Name of the scale, or its file NAME.scale.json.")
    ] = None,
    strands: Annotated[int | None, typer.Option("--strands", help="2 for a loop, 1 for a single strand.")] = None,
    thickness: Annotated[str | None, typer.Option("--thickness", help="Of the band, for example 4.5mm.")] = None,
    length_unit: Annotated[str | None, typer.Option("--length-unit", help="Unit, if the header has none.")] = None,
    force_unit: Annotated[str | None, typer.Option("--force-unit", help="Unit, if the header has none.")] = None,
    resolution: Annotated[
        str | None, typer.Option("--resolution", help="Step of the scale, for example 0.05kg.")
    ] = None,
    method: Annotated[str, typer.Option("--method", help=f"{', '.join(METHODS)}.")] = "scale-in-line",
    zero: Annotated[
        str | None, typer.Option("--zero", help="Scale reading with nothing pulling, for example 82.4kg.")
    ] = None,
    date: Annotated[str | None, typer.Option("--date", help="Day it was measured, for example 2026-03-01.")] = None,
    temperature: Annotated[
        float | None, typer.Option("--temperature", min=-50, max=90, help="Of the band, in degrees C.")
    ] = None,
    dwell: Annotated[
        float | None, typer.Option("--dwell", min=0, max=3600, help="Seconds held before each reading.")
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", "-o", help="The run to write; default ID.run.csv here.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")] = False,
) -> int:
    """Turn a table with a length and a force column into a run, fit it, and say what the band pulls.

    Pulls may stand beside each other (pull 1, pull 2; out, back), several bands below each other with a column "band",
    or on a sheet each. Units come from the header, "Length (cm)", or from options; branches and cycles from columns or
    from the turning points. What is missing is asked for at a terminal. Nothing is overwritten.

    \b
    Examples:
      bandcurve import readings.csv --id B07 --flat 1029mm --kind band-inner --fittings 12,12 --scale hook --strands 2
      bandcurve import readings.csv --length-unit in --force-unit lb
      bandcurve import box.xlsx --flat 1029mm --kind band-inner --fittings 12,12 --scale hook --strands 2
    """
    from calib.acquire.files.run_file import read_bytes
    from calib.acquire.files.table_layout import band_tables

    if method not in METHODS:
        raise UsageError(f"--method {method[:30]!r} is unknown", remedy=f"use one of {', '.join(METHODS)}")
    day = _noon(date) if date is not None else None
    given = _Given(
        id, flat, kind, fittings, scale, strands, thickness, length_unit, force_unit, resolution, method, zero, day,
        temperature, dwell, out, as_json,
    )  # fmt: skip
    chosen = _chosen(band_tables(read_bytes(table), table.name), given, table.name)
    for _, options in chosen:
        if options.id:
            _refuse_existing(options.target(options.id))
    if len(chosen) > 1:
        common = _for_all(chosen[0][1])
        chosen = [(one, replace(common, id=own.id, flat=own.flat)) for one, own in chosen]
    written = [_import(one.table, options, one.band if len(chosen) > 1 else "") for one, options in chosen]
    if as_json:
        return _as_json(written)
    for band, target, unit in written:
        print(_kilos(band, target, unit))
    return 0


@dataclass(frozen=True)
class _Given:
    """The options, for one band."""

    id: str | None
    flat: str | None
    kind: str | None
    fittings: str | None
    scale: str | None
    strands: int | None
    thickness: str | None
    length_unit: str | None
    force_unit: str | None
    resolution: str | None
    method: str
    zero: str | None
    started: datetime | None
    temperature: float | None
    dwell: float | None
    out: Path | None
    as_json: bool

    @property
    def hung(self) -> bool:
        """Whether pulls are masses."""
        return self.method == "hung-weight"

    def target(self, band: str) -> Path:
        """The run of a band."""
        if self.out is not None and self.out.is_dir():
            return self.out / f"{band}.run.csv"
        return self.out or Path(f"{band}.run.csv")


def _chosen(tables: "list[BandTable]", given: _Given, name: str) -> "list[tuple[BandTable, _Given]]":
    """Which bands of a file are meant, each with its own name and flat length among the options."""
    if len(tables) == 1:
        one = tables[0]
        return [(one, replace(given, id=given.id or one.band or None, flat=given.flat or one.flat or None))]
    names = ", ".join(t.band for t in tables)
    wanted = [t for t in tables if given.id is None or t.band.lower() == given.id.lower()]
    if not wanted:
        raise DataError(f"has no band {given.id}", where=name, remedy=f"it has {names}")
    if len(wanted) > 1 and given.out is not None and not given.out.is_dir():
        what = f"--out names one file, and there are {len(wanted)} bands ({names[:60]})"
        raise UsageError(what, remedy="name a folder that is there, or one band with --id")
    return [(t, replace(given, id=t.band, flat=given.flat or t.flat or None)) for t in wanted]


def _for_all(given: _Given) -> _Given:
    """What holds for all bands of a file, asked once and not of each."""
    from calib.verbs.terminal.prompts import at_terminal, lead

    if not at_terminal():
        return given

    def talk() -> _Given:
        along, round_what = along_of(given.kind), given.fittings
        if along != "half-path":
            round_what = ",".join(f"{1000 * d:g}mm" for d in fittings_of(given.fittings))
        scale = given.scale if given.hung else given.scale or scale_name(None)
        return replace(given, strands=legs(given.strands), kind=along, fittings=round_what, scale=scale)

    return lead(talk)


def _import(raw: "RawTable", given: _Given, one_of_several: str) -> tuple[str, Path, str]:
    """One band's table as a run; its name, its file, and the unit of its pulls."""
    from calib.acquire.files.run_head import checked_head
    from calib.acquire.files.table_header import understand
    from calib.acquire.files.table_import import rows_of
    from calib.records import Run
    from calib.verbs.terminal.prompts import HOW, at_terminal, lead, say

    found = understand(raw)
    _refuse_missing(_missing(found, given))

    def talk() -> "tuple[tuple[str, str], RunHead, tuple[Row, ...]]":
        in_length, in_force = _units(found, given.length_unit, given.force_unit, hung=given.hung)
        made = rows_of(raw, found, in_length, in_force, hung=given.hung)
        say(*([f"Band {one_of_several}:"] if one_of_several else ()))
        say(*_understood(raw.header, found, made, in_length, in_force))
        head = checked_head(
            {
                "band": _band(given, in_length),
                "length": taped(given.kind, given.fittings) | ({"u_reading": made.u_reading} if made.u_reading else {}),
                "procedure": _procedure(given.method, given.temperature, given.dwell),
                **({"started": given.started} if given.started else {}),
            },
            None if given.hung else _scale(given.scale, given.resolution, made),
        )
        return (in_length, in_force), head, (*_zero_rows(given.zero, in_force, given.method), *made.rows)

    (in_length, in_force), head, rows = lead(talk, how=HOW if at_terminal() and _missing(found, given) else "")
    run = Run(raw.name, head, tuple(replace(row, number=i) for i, row in enumerate(rows, 1)))
    target = given.target(head.band.id)
    _write(run, target, in_length, in_force)
    return head.band.id, target, in_force


def _missing(found: "Understood", given: _Given) -> list[str]:
    """Options that are needed, and neither there nor said by the table."""
    needed = {
        "--length-unit": given.length_unit or found.length_unit,
        "--force-unit": given.force_unit or found.force_unit,
        "--id": given.id,
        "--flat": given.flat,
        "--strands": given.strands,
        "--kind": given.kind,
        "--fittings": given.fittings or given.kind in (None, "half-path") or None,
        "--scale": given.scale or given.hung or None,
        "--zero": given.zero or given.method != "anchor-on-scale" or None,
    }
    return [name for name, there in needed.items() if there is None]


def _as_json(written: list[tuple[str, Path, str]]) -> int:
    """One document a band, each on a line of its own where there are several."""
    from calib.use.answers.bands import ImportAnswer
    from calib.use.report.document import json_text

    for band, target, _ in written:
        print(json_text(ImportAnswer(band=band, file=str(target))))
    return 0


def _kilos(band: str, target: Path, unit: str) -> str:
    """The run fitted at once: its pull in words, or why there is none yet."""
    from calib.units import SHOWN
    from calib.use.bands.calibrate import calibrate_recording
    from calib.use.bands.curve_answer import fitted_band
    from calib.use.report.as_text import text_of
    from calib.use.report.curve_views import fitted_view
    from calib.verbs.terminal.plain_text import columns, wrap

    again = f"  bandcurve fit {target}{' --unit lb' if unit in ('lb', 'lbf') else ''}"
    try:
        _, fit, profile, saved = calibrate_recording(target)
    except BandcurveError as error:
        return f"{wrap(f'{band}: written to {target}. It cannot be fitted yet: {error}.')}\n{again}"
    used = sum(point.used for point in fit.points)
    answer = fitted_band(profile, str(saved), used)
    shown = SHOWN["lb" if unit in ("lb", "lbf") else "kg"]
    told = text_of(fitted_view(answer, shown), columns(), full=False, all_of_it=f"bandcurve show {saved}")
    return f"The run is {target}; with a checked scale:\n{again} --scale NAME.scale.json\n{told}"


def _refuse_missing(names: list[str]) -> None:
    """Where nobody can be asked, say in one go what is missing."""
    from calib.verbs.terminal.prompts import at_terminal

    if names and not at_terminal():
        said = f"{names[0]} is missing" if len(names) == 1 else f"{', '.join(names)} are missing"
        raise DataError(said, remedy=f"give {'it' if len(names) == 1 else 'them'}; at a terminal you are asked")


def _noon(text: str) -> datetime:
    """Noon of the day it was measured: the hour is not known."""
    from calib.verbs.terminal.quantities import day_gone_by

    return datetime.combine(day_gone_by(text, "--date"), time(12), UTC)


def _zero_rows(zero: str | None, unit: str, method: str) -> "tuple[Row, ...]":
    """What the scale showed with nothing pulling, before the first reading."""
    from calib.acquire.files.typed import parse_force
    from calib.records import Row

    if method == "hung-weight" or (zero is None and method != "anchor-on-scale"):
        return ()
    prompt = f"Scale reading with the band slack [{unit}]: "
    value = given_or_asked(zero, "--zero", prompt, lambda text: parse_force(text, unit), hint=ZERO)
    return (Row(1, "zero", force=value),)


def _write(run: "Run", target: Path, length_unit: str, force_unit: str) -> None:
    """Check the rows and write them as a new run, in the units of the table."""
    from calib.acquire.files.run_checks import check_readable
    from calib.acquire.files.run_file import columns_for, save_run

    check_readable(run)
    mass_unit = force_unit if run.head.procedure.method == "hung-weight" else None
    shown_force = {"kg": "kgf", "lb": "lbf"}.get(force_unit, force_unit)
    columns = columns_for(length_unit, shown_force, mass_unit, cell=any(row.n for row in run.rows))
    save_run(target, run.head, columns, run.rows)


def _units(found: "Understood", length_unit: str | None, force_unit: str | None, *, hung: bool) -> tuple[str, str]:
    """Units of the length and the force column: from options, the header, or whoever sits there."""
    from calib.units import FORCE, LENGTH, MASS

    forces = tuple(unit for unit in MASS if unit != "g") if hung else tuple(FORCE)
    length = _unit(length_unit, found.length_unit, "--length-unit", "length", tuple(LENGTH))
    return length, _unit(force_unit, found.force_unit, "--force-unit", "mass" if hung else "force", forces)


def _unit(option: str | None, header: str | None, name: str, what: "Quantity", known: tuple[str, ...]) -> str:
    from calib.acquire.files.typed import unit_named

    if option is not None or header is None:
        prompt = f"Unit of the {'masses' if what == 'mass' else what + 's'} ({', '.join(known)}): "
        return given_or_asked(
            option, name, prompt, lambda text: unit_named(text, known, what), hint=f"One of {', '.join(known)}."
        )
    if header not in known:
        raise DataError(f"{header!r} is not a unit for hung weights", remedy=f"give {name}, one of {', '.join(known)}")
    return header


def _band(given: _Given, unit: str) -> dict[str, object]:
    from calib.acquire.files.typed import parse_length
    from calib.identity import check_id
    from calib.use.ask.readers import flat_length

    strands, thickness = given.strands, given.thickness
    band = given_or_asked(given.id, "--id", "Name of the band, for example B07: ", check_id, hint=BAND)
    _refuse_existing(given.target(band))
    flat_long = given_or_asked(
        given.flat, "--flat", f"Flat length, end to end [{unit}]: ", lambda text: flat_length(text, unit), hint=FLAT
    )
    known: dict[str, object] = {"id": band, "flat_length": flat_long, "strands": legs(strands)}
    if thickness is not None:
        known["thickness"] = given_or_asked(thickness, "--thickness", "", lambda text: parse_length(text, "mm"))
    return known


def _procedure(method: str, temperature: float | None, dwell: float | None) -> dict[str, object]:
    upright = {} if method == "scale-in-line" else {"orientation": "vertical"}
    noted = {"temperature": temperature, "dwell_s": dwell}
    return {"method": method, **upright, **{name: value for name, value in noted.items() if value is not None}}


def _refuse_existing(target: Path) -> None:
    """Say before the questions, not after them, that the run is there already."""
    if target.exists():
        raise FileError(
            "exists already, and nothing is overwritten", where=str(target), remedy="name another with --out"
        )


def _scale(option: str | None, resolution: str | None, made: "Imported") -> "ScaleInUse":
    """The scale of a file with its latest check, or one known by name only."""
    from calib.acquire.files.typed import parse_force
    from calib.records import ScaleInUse

    if option is not None and option.endswith(".json"):
        from calib.scale import load_scale

        return load_scale(Path(option)).in_use()
    name = scale_name(option)
    step = made.resolution
    if resolution is not None:
        step = given_or_asked(resolution, "--resolution", "", lambda text: parse_force(text, "kg"))
    return ScaleInUse(id=name, resolution=step)


def _understood(
    header: tuple[str, ...], found: "Understood", made: "Imported", length_unit: str, force_unit: str
) -> list[str]:
    """What was made of the table, in sentences."""
    from calib.acquire.files.table_layout import is_of_the_band
    from calib.units import FORCE

    rows = [row for row in made.rows if row.kind == "reading"]
    cycles = len({row.cycle for row in rows})
    back = sum(row.branch == "unloading" for row in rows)
    lines = [
        f"Lengths from column {header[found.columns['length']]!r} in {length_unit}, "
        f"forces from column {header[found.columns['force']]!r} in {force_unit}.",
        f"{len(rows)} readings: {len(rows) - back} loading, {back} unloading (by {made.branch_from}); "
        f"{cycles} cycle{'s' * (cycles != 1)} (by {made.cycles_from}).",
    ]
    if made.samples:
        lines.append(f"{made.samples} samples of a logger were reduced to {len(rows)} readings.")
    if rows[0].mass is None:
        step = f"{made.resolution / FORCE[force_unit]:.4g} {force_unit}"
        lines.append(f"Smallest step of the forces: {step}.")
    if made.u_reading:
        lines.append(f"Lengths were read in coarse steps: each is good to {1000 * made.u_reading:.1f} mm (k = 1).")
    if made.left_out:
        lines.append(f"{made.left_out} row{'s' * (made.left_out != 1)} without a length or a force left out.")
    used = found.columns.values()
    unused = [name for i, name in enumerate(header) if name and i not in used and not is_of_the_band(name)]
    if unused:
        lines.append(f"Not used: column{'s' * (len(unused) != 1)} {', '.join(map(repr, unused))}.")
    return ["".join(c if c.isprintable() else "?" for c in line) for line in lines]
