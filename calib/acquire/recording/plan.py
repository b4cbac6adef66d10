"""Which lengths to measure: denser where the pull climbs fastest, within what the band and the scale bear.

Lengths are as taped; the half path is worked out only for stretch and expected pull. Nothing is asked or printed here.
"""

from collections.abc import Sequence
from dataclasses import replace

from calib import assumptions
from calib.errors import DataError
from calib.frozen import dataclass
from calib.half_path import DEFAULT_THICKNESS, offset_over, rest_half_path
from calib.records import Band, LengthSetup
from calib.units import G_STANDARD

CAUTION_STRETCH = assumptions.BY_NAME["caution_stretch"].value
REFUSE_STRETCH = 3.0  # common practice, no source
USUAL_TOP = 2.2  # stretch of the longest length where none is asked for; a choice
LOWEST = 1.1  # stretch of the shortest length: below it a millimetre is several per cent of the pull
LOWEST_OF_FEW = 1.2  # the same where three or four lengths must do
CAPACITY_SHARE = 0.8  # of the scale's capacity; common practice, no source
SHEAR_MODULUS = assumptions.BY_NAME["shear_modulus"].value  # [Pa]
BEARABLE_MODULUS = 1.5 * SHEAR_MODULUS  # a stiffer mix than usual; an assumption, so that the first plan errs low
LEAST_GAP = 0.02  # of stretch between two lengths, else they say the same
MODULUS_SAID = f"taking {SHEAR_MODULUS / 1e6:.1f} MPa for the rubber's shear modulus (plain natural rubber)"
STIFF_SAID = f"taking {BEARABLE_MODULUS / 1e6:.1f} MPa for the rubber's shear modulus (a stiff mix: the safe side)"


@dataclass(frozen=True)
class Holes:
    """A rack's row of holes as the length standard: the distance between pins is a number of pitches."""

    pitch: float  # [m] centre to centre
    first: int = 0  # number of the hole the fixed pin sits in

    def length(self, hole: int) -> float:
        """Distance between the two pins, centre to centre. [m]"""
        return (hole - self.first) * self.pitch

    def number(self, length: float) -> int:
        """The hole nearest to a length."""
        return self.first + round(length / self.pitch)


@dataclass(frozen=True)
class PlanLimits:
    """What the band and the scale bear, and what the user wants."""

    top: float = USUAL_TOP  # stretch ratio of the longest length
    capacity: float | None = None  # [N] of the scale
    allow_over: bool = False  # plan above stretch 3.0 because told to


@dataclass(frozen=True)
class Plan:
    """Planned lengths as taped, with what there is to say about them."""

    lengths: tuple[float, ...]  # [m]
    said: tuple[str, ...] = ()


def neo_hooke(stretch: float) -> float:
    """Shape of the pull over stretch, l - 1 / l^2; zero at rest."""
    return stretch - stretch**-2


def loop_shape(stretch: float) -> float:
    """Shape of the pull of a usual loop over stretch: it climbs less than l - 1 / l^2 further out.

    The 0.5 is an assumption, from no source: bands lie between 0 and 1.
    """
    return neo_hooke(stretch) * (1 + 0.5 / stretch)


@dataclass(frozen=True)
class Geometry:
    """From a length as taped to a stretch ratio and back."""

    rest: float  # [m] half path at rest
    offset: float  # [m] half path less the tape reading

    def stretch(self, length: float) -> float:
        """Stretch ratio at a length as taped. [1]"""
        return (length + self.offset) / self.rest

    def length(self, stretch: float) -> float:
        """Length as taped at a stretch ratio. [m]"""
        return stretch * self.rest - self.offset


def geometry_of(band: Band, setup: LengthSetup) -> Geometry:
    """How this band's stretch relates to what the tape reads."""
    thickness = band.thickness or DEFAULT_THICKNESS
    offset = offset_over(setup.kind, setup.fitting_diameters, thickness)
    return Geometry(rest_half_path(band.flat_length, thickness, band.strands), offset)


def section_stiffness(band: Band, modulus: float = SHEAR_MODULUS) -> float | None:
    """Strands x width x thickness x shear modulus; None where the section is not known. [N]"""
    if band.width is None or band.thickness is None:
        return None
    return band.strands * band.width * band.thickness * modulus


def plan_lengths(
    band: Band, setup: LengthSetup, limits: PlanLimits, count: int = 8, holes: Holes | None = None, step: float = 0.001
) -> Plan:
    """Propose lengths to measure at.

    Args:
        band: With its flat length; width and thickness where known, for the expected pull.
        setup: What the tape is laid along.
        limits: Of stretch and force.
        count: How many lengths.
        holes: The rack's holes, where the length is set by pins.
        step: Lengths are round to this. [m]

    Raises:
        DataError: The asked-for stretch is above 3.0, or no three lengths fit.
    """
    geometry = geometry_of(band, setup)
    top, said = _top(band, limits)
    lowest = LOWEST if count > 4 else LOWEST_OF_FEW
    shape = [lowest + (top - lowest) * (i / (count - 1)) ** 1.5 for i in range(count)]
    lengths = [round(round(geometry.length(s) / step) * step, 6) for s in shape]
    if holes is not None:
        lengths = _at_holes(lengths, geometry, holes, top)
    lengths = _spread(sorted(set(lengths)), geometry)
    if len(lengths) < 3:
        raise DataError(
            f"only {len(lengths)} usable length(s) between stretch {LOWEST} and {top:.2f}",
            remedy="use closer holes, a tape, or a scale with more capacity",
        )
    return Plan(tuple(lengths), said)


def _top(band: Band, limits: PlanLimits) -> tuple[float, tuple[str, ...]]:
    """Stretch of the longest length, and what to say about it."""
    top, said = limits.top, list(stretch_caution(limits.top, limits.allow_over))
    stiffness = section_stiffness(band, BEARABLE_MODULUS)
    if stiffness is not None and limits.capacity is not None:
        bearable = stretch_at(CAPACITY_SHARE * limits.capacity / stiffness)
        if bearable < top:
            top = max(bearable, LOWEST_OF_FEW + 3 * LEAST_GAP)
            said.append(
                f"the plan stops at {top:.2f} times the flat length, where the pull may come near 80 % of what the "
                f"scale takes ({limits.capacity / G_STANDARD:.0f} kg), {STIFF_SAID}"
            )
    return top, tuple(said)


def stretch_caution(stretch: float, allow_over: bool = False) -> tuple[str, ...]:
    """What to say about a stretch ratio.

    Raises:
        DataError: It is above 3.0 and nobody said that this is meant.
    """
    if stretch > REFUSE_STRETCH and not allow_over:
        raise DataError(
            f"{stretch:.2f} times the flat length is more than a band should have to bear ({REFUSE_STRETCH:.1f})",
            remedy="plan shorter lengths, or use --over-stretch if its maker allows it",
        )
    if stretch > CAUTION_STRETCH:
        return (f"above {CAUTION_STRETCH} times the flat length bands wear and snap: stand aside, eyes covered",)
    return ()


def stretch_at(relative_force: float) -> float:
    """Stretch ratio at which l - 1 / l^2 has a value, by bisection. [1]"""
    low, high = 1.0, 20.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if neo_hooke(middle) < relative_force else (low, middle)
    return low


def _at_holes(lengths: Sequence[float], geometry: Geometry, holes: Holes, top: float) -> list[float]:
    """The nearest holes that stretch the band and stay below the top."""
    numbers = {holes.number(length) for length in lengths}
    usable = [n for n in numbers if 1 + LEAST_GAP < geometry.stretch(holes.length(n)) <= top + LEAST_GAP]
    return [holes.length(n) for n in usable]


def _spread(lengths: Sequence[float], geometry: Geometry) -> list[float]:
    kept: list[float] = []
    for length in lengths:
        if not kept or geometry.stretch(length) - geometry.stretch(kept[-1]) >= LEAST_GAP:
            kept.append(length)
    return kept


def plan_loads(band: Band, loads: Sequence[float], limits: PlanLimits) -> Plan:
    """Check a row of hung loads; their lengths are what is measured.

    Args:
        band: With width and thickness where known.
        loads: Masses to hang. [kg]
        limits: Of stretch.

    Raises:
        DataError: Fewer than three different loads, or one that is not above zero.
    """
    rising = sorted(set(loads))
    if len(rising) < 3 or rising[0] <= 0:
        raise DataError("at least three different loads above zero are needed", remedy="for example 2.5 5 10 15 20")
    stiffness = section_stiffness(band)
    said: tuple[str, ...] = ()
    if stiffness is not None:
        stretch = stretch_at(rising[-1] * G_STANDARD / stiffness)
        try:
            said = stretch_caution(stretch, limits.allow_over)
        except DataError as error:
            what = f"under the heaviest load {error.what}, {MODULUS_SAID}"
            remedy = "leave that load out, or give --over-stretch if the band's maker allows it"
            raise DataError(what, remedy=remedy) from None
    return Plan(tuple(rising), said)


def shorter(
    above: float, top: float, most: int, geometry: Geometry, holes: Holes | None, step: float
) -> tuple[float, ...]:
    """Lengths for what is left of a plan, evenly between one measured already and a new top.

    Args:
        above: The longest length so far, as taped. [m]
        top: Not to be passed. [m]
        most: How many lengths.
        geometry: For the least gap between two.
        holes: The rack's holes, where there are any.
        step: Lengths are round to this. [m]
    """
    room = geometry.stretch(top) - geometry.stretch(above)
    count = min(most, int(room / LEAST_GAP + 1e-9))
    even = [above + (top - above) * (i + 1) / count for i in range(count)]
    if holes is not None:
        even = [holes.length(holes.number(x)) for x in even]
    else:
        even = [round(int(x / step + 1e-6) * step, 6) for x in even]
    return tuple(sorted({x for x in even if above + 1e-6 < x <= top + 1e-6}))


def with_top(limits: PlanLimits, geometry: Geometry, length: float) -> PlanLimits:
    """Limits whose top is a length as taped. [m]"""
    return replace(limits, top=geometry.stretch(length))
