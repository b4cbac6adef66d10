"""A set of plates and other known loads: every piece by name, with its mass and how well that is known; and its file.

What a run was loaded with is said by the names of pieces, so that a piece that is off is off wherever it hangs. What a
kind of plate is worth until somebody weighs it stands in `fit.gear.known_loads`. Nothing is fitted here.
"""

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

from calib import versioned
from calib.checked import After, Field, Limits, Part
from calib.errors import DataError
from calib.identity import PATTERN, check_id
from calib.safe_write import write_atomically
from calib.strict_json import parse_json, read_json
from calib.units import MASS

FORMAT = versioned.Version("bandcurve-plates", 1, 0)
CAP_BYTES = 1_000_000
MOST_PIECES = 100
HEAVIEST = 5000.0  # in kg or lb: no piece that somebody hangs weighs more
MOST_OF_ONE = 12  # of one size; a larger number before the x is a mass
PIECE = r"[0-9A-Za-z._]{1,24}"
_NUMBER = r"[0-9]+(?:\.[0-9]+)?"
_GROUP = re.compile(rf"(?:({_NUMBER}) ?[x*] ?)?({_NUMBER})(?: ?= ?({_NUMBER}))?")
_DECIMAL_COMMA = re.compile(r"(?<![\d.])(\d+,(?:25|5|50|75))(?= *(?:[,;\n]|$))")
EXAMPLE = "for example 2 x 20, 4 x 10, 2 x 5"

SetId = Annotated[str, After(check_id, pattern=PATTERN)]
Kind = Literal["plates", "calibrated", "weighed", "stated"]


class Piece(Part):
    """One plate, or another thing that hangs."""

    id: Annotated[str, Limits(pattern=rf"^{PIECE}$")] = Field(description="To be chalked on it: 20a, 20b.")
    label: Annotated[float, Limits(gt=0, le=HEAVIEST)] = Field(
        description="What is marked on it, in the unit of the set."
    )
    mass_kg: Annotated[float, Limits(gt=0, le=HEAVIEST)] = Field(description="As weighed, else as marked.")
    u_mass_kg: Annotated[float, Limits(ge=0, le=100)] = Field(
        description="By itself, beside what the whole set has in common."
    )


class PlateSet(Part):
    """Pieces that one person has."""

    format: Annotated[str, Limits(pattern=r"^bandcurve-plates/1(\.[0-9]+)?$")]
    id: SetId = Field(description="No other set has it: it holds whose plates they are.")
    owner: str
    kind: Kind
    unit: Literal["kg", "lb"] = Field(default="kg", description="Of the labels.")
    u_common: Annotated[float, Limits(ge=0, le=0.5)] = Field(description="Relative, the whole set together.")
    pieces: tuple[Piece, ...]
    note: str | None = None
    extensions: dict[str, Any] = Field(default_factory=dict, description="Free space for other programs.")

    def __post_init__(self) -> None:
        names = [piece.id for piece in self.pieces]
        if not 1 <= len(names) <= MOST_PIECES:
            raise DataError(f"a set has 1 to {MOST_PIECES} pieces, not {len(names)}")
        twice = next((n for n in names if names.count(n) > 1), None)
        if twice:
            raise DataError(f"two pieces are called {twice!r}", remedy="give only one of them another letter")

    def piece(self, name: str) -> Piece:
        """The piece of a name.

        Raises:
            DataError: There is none.
        """
        for piece in self.pieces:
            if piece.id == name:
                return piece
        known = ", ".join(piece.id for piece in self.pieces)
        raise DataError(f"there is no plate {name[:24]!r} in the set {self.id}", remedy=f"its pieces: {known}")

    def mass(self, names: Sequence[str]) -> float:
        """What some pieces weigh together. [kg]"""
        return float(sum(self.piece(name).mass_kg for name in names))

    def stack(self, load: float) -> tuple[str, ...]:
        """Names of the fewest pieces whose labels make a load, the same ones each time; heaviest first.

        Args:
            load: By the labels. [kg]

        Raises:
            DataError: They do not make it; the nearest loads they make are named.
        """
        found: dict[int, tuple[Piece, ...]] = {0: ()}
        for piece in sorted(self.pieces, key=lambda p: -p.label):
            grams = round(piece.label * MASS[self.unit] * 1e3)
            for total, made in list(found.items()):
                more = (*made, piece)
                if total + grams not in found or len(more) < len(found[total + grams]):
                    found[total + grams] = more
        near = min(found, key=lambda total: abs(total - 1e3 * load))
        if abs(near - 1e3 * load) > 1 + 1e-4 * 1e3 * load:
            below = max((t for t in found if t < 1e3 * load), default=0)
            above = min((t for t in found if t > 1e3 * load), default=max(found))
            raise DataError(
                f"these plates do not make {self._load_words(load)}",
                remedy=f"they make {self._load_words(below / 1e3)} and {self._load_words(above / 1e3)}",
            )
        return tuple(piece.id for piece in found[near])

    def named(self, text: str) -> tuple[str, ...]:
        """Names of pieces from what was typed, `20a+10a` or only `20+10`: of a size the first that is free.

        Raises:
            DataError: There is no such piece, or no more of that size.
        """
        out: list[str] = []
        for part in re.split(r"[+ ]+", text.strip()):
            exact = next((p.id for p in self.pieces if p.id == part), None)
            of_size = [p.id for p in self.pieces if re.fullmatch(_NUMBER, part) and abs(p.label - float(part)) < 1e-6]
            free = exact or next((name for name in of_size if name not in out), None)
            if free is None or free in out:
                what = f"there is no {'other ' if free or of_size else ''}plate {part[:24]!r} in the set {self.id}"
                raise DataError(what, remedy=f"its pieces: {', '.join(p.id for p in self.pieces)}")
            out.append(free)
        return tuple(out)

    def _load_words(self, load: float) -> str:
        return f"{load / MASS[self.unit]:g} {self.unit}"

    def to_json(self) -> str:
        """The document as text: the same content gives the same bytes."""
        return versioned.to_json(self)


def sizes(text: str) -> list[tuple[float, float | None]]:
    """Labels of the pieces typed, and what each weighed where that was said.

    `2 x 20, 4 x 10` is two of 20 and four of 10; `20=20.04` one marked 20 that weighed 20.04. A number before the
    x that is no count (a fraction, or more than a dozen) is a mass: `20 x 4` is four of 20.

    Raises:
        DataError: It cannot be read.
    """
    out: list[tuple[float, float | None]] = []
    if comma := _DECIMAL_COMMA.search(text):
        raise DataError(
            f"{comma[1]!r} may be one number or two", remedy="write 1.25 with a dot, and a space behind commas"
        )
    parts = [part.strip() for part in re.split(r"[;,\n]", text.replace("\u00d7", "x").lower()) if part.strip()]
    for part in parts:
        found = _GROUP.fullmatch(part)
        if found is None:
            raise DataError(f"{part[:30]!r} is not a plate", remedy=EXAMPLE)
        first, second = float(found[1] or 1), float(found[2])
        count, label = (second, first) if first != int(first) or first > MOST_OF_ONE else (first, second)
        if count != int(count) or not 1 <= count <= MOST_OF_ONE or not 0 < label <= 1e3:
            raise DataError(f"{part[:30]!r} is not a number of plates of one mass", remedy=EXAMPLE)
        if found[3] and count > 1:
            raise DataError(f"{part[:30]!r}: plates are weighed one by one", remedy="write 20=20.04, 20=19.97")
        out += [(label, float(found[3]) if found[3] else None)] * int(count)
    if not out:
        raise DataError("there is no plate in it", remedy=EXAMPLE)
    return out


def names_of(labels: Sequence[float]) -> list[str]:
    """A name for each piece: its label and a letter, 20a, 20b, 10a."""
    seen: dict[float, int] = {}
    out = []
    for label in labels:
        seen[label] = seen.get(label, 0) + 1
        n = seen[label]
        out.append(f"{label:g}" + (chr(96 + n) if n <= 26 else f".{n}"))
    return out


def parse_plates(data: bytes, name: str) -> PlateSet:
    """Make a set of a file's bytes.

    Args:
        data: The whole file.
        name: What to call it in an error.
    """
    return versioned.validate(PlateSet, parse_json(data, name, CAP_BYTES), FORMAT, name)


def load_plates(path: Path | str) -> PlateSet:
    """Read a set of plates from NAME.plates.json.

    Raises:
        FileError: It cannot be read.
        DataError: It is no set of plates, or one this program cannot read.
    """
    where = Path(path)
    return versioned.validate(PlateSet, read_json(where, CAP_BYTES), FORMAT, where.name)


def save_plates(plates: PlateSet, path: Path | str) -> None:
    """Write a set, whole or not at all."""
    write_atomically(Path(path), plates.to_json())
