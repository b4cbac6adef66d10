"""What hung on a scale and what it showed, from a table or from the keyboard, and what the loads are worth.

Nothing is fitted here.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from calib.acquire.files.check_table import CAP_BYTES, CheckRow, Quantity, format_check_table, parse_check_table
from calib.acquire.files.typed import parse_number
from calib.errors import DataError, FileError, UsageError
from calib.fit.gear.known_loads import WORTH, KnownLoads, known_loads_of, usual, water_mass
from calib.frozen import dataclass
from calib.identity import check_id
from calib.plate_set import PlateSet, load_plates
from calib.safe_read import read_capped
from calib.safe_write import write_atomically
from calib.scale import Scale
from calib.units import MASS
from calib.use.scales.checked import HungLoads
from calib.verbs.scale.scale_new import one_of
from calib.verbs.scale.scale_questions import ask_loads, ask_rows, ask_water_temperature
from calib.verbs.terminal.prompts import at_terminal, lead, prepare, say
from calib.verbs.terminal.quantities import option_in_si

PLATES_FILE = ".plates.json"
COLD_TAP = 15.0  # [degree Celsius] of water where nobody says


@dataclass(frozen=True)
class Stated:
    """What the options say of the known loads; None where nothing."""

    kind: str | None = None
    name: str | None = None
    u_common: str | None = None
    u_each: str | None = None
    water_C: float | None = None

    @property
    def plates(self) -> PlateSet | None:
        """The set of plates, where its file was named."""
        return load_plates(self.name) if self.name and self.name.endswith(PLATES_FILE) else None


def from_table(path: Path, stated: Stated) -> HungLoads:
    """Readings of a table.

    Raises:
        FileError: It cannot be read.
        DataError: It is no such table.
        UsageError: An option cannot be read, or does not go with it.
    """
    found = parse_check_table(read_capped(path, CAP_BYTES), path.name)
    if found.in_counts:
        what = "what was shown is in counts, of a check at a load cell's line"
        raise DataError(what, where=path.name, remedy=f"go on with it: --port PORT --from {path}")
    loads = _loads(stated, found.quantity)
    rows = _as_water(found.rows, stated.water_C) if found.quantity == "volume" else found.rows
    return HungLoads(rows, loads, found.has_pieces)


def from_keyboard(scale: Scale, unit: str, stated: Stated, draft: "Draft") -> HungLoads:
    """Readings typed one after the other, each kept in the draft.

    Args:
        scale: For whether it locks.
        unit: What its display shows.
        stated: Loads of options; asked for where nothing is said.
        draft: Holds what was typed so far.
    """
    prepare()
    say("", "Hang known loads on the scale, going up and then down. A check takes about five minutes.", "")
    loads, cold = lead(lambda: _loads_and_water(stated)) if _is_silent(stated) else _loads_and_water(stated)
    water = loads.kind == "water"
    say("", f"Each line is kept in {draft.path} until the check is done; after a break: --from that file.")
    rows = ask_rows(unit, water, scale.locks != "no", lambda some: draft.keep(some, "volume" if water else "mass"))
    plus = any(len(row.pieces) > 1 for row in rows)
    return HungLoads(_as_water(rows, cold) if water else rows, loads, plus)


def _loads_and_water(stated: Stated) -> tuple[KnownLoads, float | None]:
    """The known loads, and how cold they are where they are water."""
    loads, cold = loads_of(stated), stated.water_C
    if loads.kind == "water" and cold is None and at_terminal():
        cold = ask_water_temperature()
    return loads, cold


def _is_silent(stated: Stated) -> bool:
    """Whether the loads are asked for."""
    return (stated.kind, stated.u_common, stated.u_each, stated.plates) == (None,) * 4 and at_terminal()


def with_pieces(hung: HungLoads, plates: PlateSet) -> HungLoads:
    """The same with the masses of the pieces that hung: the fewest that make a load, or those written with a plus.

    Raises:
        DataError: The set does not make a load, with its line.
    """
    out = []
    for row in hung.rows:
        typed = [f"{p / MASS[plates.unit]:.6g}" for p in row.pieces]
        try:
            names = plates.named("+".join(typed)) if len(typed) > 1 else plates.stack(sum(row.pieces))
        except DataError as error:
            raise error.placed_at(f"line {row.line}" if row.line else "") from None
        out.append(replace(row, pieces=tuple(plates.piece(n).mass_kg for n in names)))
    return replace(hung, rows=tuple(out), pieces_told_apart=True)


def loads_of(stated: Stated) -> KnownLoads:
    """The set of known loads: from options, or asked for where they are silent."""
    return ask_loads() if _is_silent(stated) else _loads(stated, "mass")


@dataclass(frozen=True)
class Draft:
    """The file that holds what was typed so far."""

    path: Path

    @classmethod
    def beside(cls, file: Path, name: str) -> "Draft":
        """One beside the scale's file that is not there yet."""
        names = (f"{name}.check.csv", *(f"{name}.check-{i}.csv" for i in range(2, 1000)))
        return cls(next(p for n in names if not (p := file.parent / n).exists()))

    def keep(self, rows: Sequence[CheckRow], quantity: Quantity, shown: str = "N") -> None:
        """Write them all; where that cannot be done say so and go on, they are still in memory."""
        try:
            write_atomically(self.path, format_check_table(rows, quantity, shown))
        except FileError as error:
            say(f"  Not stored on disk: {error}.")


def _loads(stated: Stated, quantity: Quantity) -> KnownLoads:
    """The set of known loads, from options."""
    if plates := stated.plates:
        if (stated.kind, stated.u_common, stated.u_each) != (None, None, None) or quantity != "mass":
            raise UsageError("a set of plates already states its uncertainty", remedy="leave the other options out")
        return known_loads_of(plates)
    plain = "plates" if (stated.u_common, stated.u_each) == (None, None) else "stated"
    by_column = {"force": "force", "volume": "water"}.get(quantity, plain)
    chosen = one_of("--loads-kind", stated.kind or by_column, tuple(WORTH))
    if (chosen == "force") != (quantity == "force") or (quantity == "volume" and chosen != "water"):
        raise UsageError(f"--loads-kind {chosen} does not fit the known column", remedy="leave it out")
    loads = usual(check_id(stated.name or f"{chosen}-1"), chosen)
    if stated.u_common is not None:
        share = _share(stated.u_common, "--u-common")
        if share is None:
            raise UsageError("--u-common is relative", remedy="for example --u-common 0.1%")
        loads = replace(loads, u_common=share)
    if stated.u_each is not None:
        share = _share(stated.u_each, "--u-each")
        mass = option_in_si(stated.u_each, "--u-each", "mass") if share is None else 0.0
        loads = replace(loads, u_each=share or 0.0, u_each_mass=mass)
    return loads


def _share(text: str, option: str) -> float | None:
    """A share such as 0.1 %; None where it is none, 0 where nothing is off."""
    bare = text.strip()
    if bare in ("0", "0g"):
        return 0.0
    if not bare.endswith("%"):
        return None
    try:
        value = parse_number(bare.removesuffix("%"))
    except DataError as error:
        raise UsageError(f"{option} {text[:20]!r}: {error.what}", remedy=f"for example {option} 0.1%") from None
    if not 0 <= value <= 50:
        raise UsageError(f"{option} {text[:20]!r} is not a share up to 50 %", remedy=f"for example {option} 0.1%")
    return value / 100


def _as_water(rows: tuple[CheckRow, ...], temperature: float | None) -> tuple[CheckRow, ...]:
    """Litres as the mass they stand for."""
    cold = COLD_TAP if temperature is None else temperature
    return tuple(replace(r, pieces=tuple(water_mass(p / 1000, cold) for p in r.pieces)) for r in rows)
