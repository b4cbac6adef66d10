"""What a known load is worth: plates, weighed things, water in a bucket. No scale is judged here.

A set of known loads is off in two ways: all together (one mould, one shop scale, one jug), and each piece by itself.
"""

from math import sqrt
from typing import Literal

from calib.errors import DataError
from calib.frozen import dataclass
from calib.plate_set import Piece, PlateSet, names_of, sizes
from calib.records import Loads, NotNegative
from calib.units import MASS

PlateKind = Literal["plates", "calibrated", "weighed", "stated"]
LoadKind = Literal["plates", "calibrated", "weighed", "water", "stated", "force"]

AIR = 1.2  # kg/m3, air near 20 degree Celsius at sea level
REFERENCE = 8000.0  # kg/m3, density that conventional mass refers to (OIML D 28; from memory)


@dataclass(frozen=True)
class Worth:
    """What one kind of known load is worth until its owner knows better."""

    name: str
    u_common: float  # relative, the set together
    u_each: float  # relative, one piece by itself
    u_each_mass: float  # [kg] one piece by itself
    why: str


_BOUND = 1 / sqrt(3)  # a "+- a" without more said is a bound: u = a / sqrt 3

WORTH: dict[LoadKind, Worth] = {
    "plates": Worth(
        "ordinary iron or rubber plates",
        0.01 * _BOUND,
        0.02 * _BOUND,
        0.0,
        "plates as cast are taken as good to 2 % a plate and 1 % for the whole lot, where nothing better is stated; "
        "old plates can be worse (common practice, no source)",
    ),
    "calibrated": Worth(
        "calibrated plates",
        0.0005 * _BOUND,
        0.001 * _BOUND,
        0.010 * _BOUND,
        "taken as trimmed to within 0.1 % and 10 g each (common practice, no source); a maker may state better",
    ),
    "weighed": Worth(
        "anything weighed on a shop or parcel scale",
        0.0005 * _BOUND,
        0.0,
        0.005 * _BOUND,
        "a scale used for trade, read to 5 g, and good to 0.05 % as a whole (common practice, no source)",
    ),
    "water": Worth(
        "water measured with a jug",
        0.01 * _BOUND,
        0.005 * _BOUND,
        0.0,
        "the marks of a kitchen jug are taken as good to 1 % all together, one filling to 0.5 % "
        "(common practice, no source): weigh the full bucket on a shop scale to do better",
    ),
    "force": Worth("known forces", 0.0, 0.0, 0.0, "as stated"),
    "stated": Worth("loads with a stated uncertainty", 0.0, 0.0, 0.0, "as stated"),
}


@dataclass(frozen=True)
class KnownLoads:
    """One set of known loads: its identity and how well it is known. Every u is k = 1."""

    id: str
    kind: LoadKind = "plates"
    u_common: NotNegative = WORTH["plates"].u_common  # relative
    u_each: NotNegative = WORTH["plates"].u_each  # relative
    u_each_mass: NotNegative = 0.0  # [kg], or newton where the loads are forces
    pieces: tuple[Piece, ...] = ()  # where each is known by name

    def u_piece(self, nominal: float) -> float:
        """Own uncertainty of one piece, in the unit of its nominal value."""
        if self.pieces:
            return min(self.pieces, key=lambda p: abs(p.mass_kg - nominal)).u_mass_kg
        return sqrt((self.u_each * nominal) ** 2 + self.u_each_mass**2)

    def name(self, nominal: float, number: int) -> str:
        """Name of one of the pieces of a mass: the first is number 0."""
        return [p.id for p in self.pieces if p.mass_kg == nominal][number]


def usual(id_: str, kind: LoadKind) -> KnownLoads:
    """A set of loads of which nothing is known but its kind."""
    worth = WORTH[kind]
    return KnownLoads(id_, kind, worth.u_common, worth.u_each, worth.u_each_mass)


def set_from(text: str, id_: str, owner: str, kind: PlateKind = "plates", unit: Literal["kg", "lb"] = "kg") -> PlateSet:
    """A set of plates from what its owner typed; a piece that was weighed is worth what a shop scale is.

    Args:
        text: `2 x 20, 4 x 10`; a piece that was weighed as `20=20.04`.
        id_: Of the set; it should hold a mark of its own, so that two sets named alike are never taken for one.
        owner: Whose plates they are.
        kind: What they are worth as they come.
        unit: Of what was typed.

    Raises:
        DataError: The text cannot be read.
    """
    typed = sizes(text)
    worth, weighed = WORTH[kind], WORTH["weighed"]
    every = all(mass is not None for _, mass in typed)
    pieces = []
    for name, (label, mass) in zip(names_of([label for label, _ in typed]), typed, strict=True):
        kilos = (label if mass is None else mass) * MASS[unit]
        one = worth if mass is None else weighed
        u = sqrt((one.u_each * kilos) ** 2 + one.u_each_mass**2)
        pieces.append(Piece(id=name, label=label, mass_kg=kilos, u_mass_kg=u))
    return PlateSet(
        format="bandcurve-plates/1",
        id=id_,
        owner=owner,
        kind="weighed" if every else kind,
        unit=unit,
        u_common=(weighed if every else worth).u_common,
        pieces=tuple(pieces),
    )


def known_loads_of(plates: PlateSet) -> KnownLoads:
    """A set as a scale is checked with it."""
    return KnownLoads(plates.id, plates.kind, plates.u_common, 0.0, 0.0, plates.pieces)


def loads_of(plates: PlateSet, hook_mass: float = 0.0) -> Loads:
    """A set as the head of a run carries it.

    Args:
        plates: The set.
        hook_mass: Of what hangs with every load. [kg]
    """
    return Loads(
        plates.id,
        plates.u_common,
        0.0,
        hook_mass,
        tuple(p.id for p in plates.pieces),
        tuple(p.mass_kg for p in plates.pieces),
        tuple(p.u_mass_kg for p in plates.pieces),
    )


def water_density(temperature: float) -> float:
    """Density of air-free water at 1 atm.

    Args:
        temperature: 0 to 40. [degree Celsius]

    Returns:
        Density [kg/m3]. Tanaka et al., Metrologia 38 (2001) 301, formula (1), coefficients from memory; tap water is
        some 0.02 % denser.

    Raises:
        DataError: Water that is ice, or too hot for the formula.
    """
    if not 0 <= temperature <= 40:
        raise DataError(f"water at {temperature:g} C is outside 0 to 40 C", remedy="use water from the cold tap")
    t = temperature
    return 999.974950 * (1 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))


def water_mass(volume: float, temperature: float) -> float:
    """Mass that a volume of water stands for when it hangs in air beside iron plates.

    Args:
        volume: [m3]
        temperature: Of the water. [degree Celsius]

    Returns:
        Conventional mass [kg]: the air carries 0.12 % of water and 0.015 % of iron.
    """
    return volume * (water_density(temperature) - AIR) / (1 - AIR / REFERENCE)
