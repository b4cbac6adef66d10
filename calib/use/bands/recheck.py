"""One known plate hung from a band, one length read: is the band still as it was measured? No file is read here."""

from datetime import date
from math import hypot
from typing import TYPE_CHECKING, cast

from calib.assumptions import BY_NAME
from calib.errors import DataError, OutOfRangeError
from calib.frozen import dataclass
from calib.gravity import U_PLACE_UNKNOWN
from calib.half_path import LengthKind, offset_over
from calib.profile.document import Profile
from calib.profile.store.rechecks import Hung
from calib.profile.table import ForceEstimate
from calib.units import G_STANDARD, Shown
from calib.use.answers.bands import RecheckAnswer
from calib.use.answers.parts import Level, doubts
from calib.use.bands.assumed import NORMAL_95, SEEN, U_TEMPERATURE, of_another_day

if TYPE_CHECKING:
    from calib.fit.gear.known_loads import LoadKind

ALONG: dict[LengthKind, str] = {
    "band-inner": "from where the band touches one fitting to where it touches the other",
    "band-outer": "over the outer faces of the band",
    "centres": "between the centres of the fittings",
    "half-path": "as a half-path length",
}
U_READING = BY_NAME["u_recheck_reading"].value  # [m] of the tape
U_COMMON = BY_NAME["u_length_offset"].value  # [m] of how the band lies round its fittings


@dataclass(frozen=True)
class Expected:
    """Where the tape should stand."""

    pull: float  # [N]
    length: float  # [m] on the tape
    half_width: float  # [m] of the 95 % limits
    smallest: float  # relative change of pull that would be seen in 95 of 100


@dataclass(frozen=True)
class JudgedRecheck:
    """What one length said."""

    expected: Expected
    level_ratio: float  # pull now over pull when measured, at the length read
    u_level_ratio: float
    k: float

    @property
    def passed(self) -> bool:
        """Whether no change lies inside the 95 % limits."""
        return abs(self.level_ratio - 1) <= self.k * self.u_level_ratio


def pull_of(profile: Profile, hung: Hung) -> float:
    """Pull at mid-length: the plate, and half of the band where it was weighed. [N]"""
    return (hung.mass + (profile.band.mass_kg or 0.0) / 2) * G_STANDARD


def expect(profile: Profile, hung: Hung) -> Expected:
    """Where the band should hang with the plate while loading.

    Raises:
        OutOfRangeError: The plate is too light or too heavy for the tested lengths.
    """
    pull = pull_of(profile, hung) / _warmer(profile, hung)
    try:
        half_path = profile.length(pull).length
    except OutOfRangeError as error:
        grid = profile.branches.loading.force_N
        low, high = min(grid) / G_STANDARD, max(grid) / G_STANDARD
        raise OutOfRangeError(
            f"a plate of {hung.mass:g} kg stretches {profile.band.id} beyond its tested lengths",
            where=error.where,
            remedy=f"hang one between {low:.1f} and {high:.1f} kg, best {(low + high) / 2:.0f} kg",
        ) from None
    u, k, slope = _doubt(profile, hung, half_path)
    return Expected(pull, half_path - _offset(profile, hung), k * u * pull / slope, (k + SEEN) * u)


def hung_of(kilos: float, load: str, kind: str, fittings: tuple[float, ...], temperature: float | None) -> Hung:
    """What hangs, with what its mass is good for.

    Args:
        kilos: All of it. [kg]
        load: How well the mass is known: plates, calibrated or weighed.
        kind: Where the tape is held.
        fittings: Diameters of what the band hangs on. [m]
        temperature: There. [degree C]

    Raises:
        DataError: Nothing hangs.
    """
    if kilos <= 0:
        raise DataError("a plate of 0 kg stretches nothing", remedy="hang a heavier one")
    from calib.fit.gear.known_loads import usual

    worth = usual("plate", cast("LoadKind", load))
    u_mass = hypot(worth.u_common * kilos, worth.u_piece(kilos))
    return Hung(kilos, u_mass, cast(LengthKind, kind), fittings, temperature)


def how_to(profile: Profile, hung: Hung, tape: Shown) -> tuple[str, ...]:
    """What to do, in sentences, for who stands before the band.

    Args:
        profile: The band's latest.
        hung: What hangs from it.
        tape: Its unit.
    """
    there = expect(profile, hung)
    round_what = " and ".join(f"{1000 * d:g}" for d in hung.fittings)
    return (
        "Look the band over first: if it has a nick, a crack or a sticky patch, throw it away.",
        *(
            [f"Hang it on the same pins as when it was measured, or equally thick ones: {round_what} mm."]
            if round_what
            else []
        ),
        f"Pull it five times to a little more than {tape.tape(there.length)} {tape.length}, eyes out of its line. Then "
        "lower the plate slowly, close to the floor, with no foot under it. "
        f"Wait {profile.conditions.dwell_s or 10:g} s, as when it was measured, and read the tape, {ALONG[hung.kind]}.",
    )


def recheck(profile: Profile, hung: Hung, read: float) -> JudgedRecheck:
    """Judge the band by one length.

    Args:
        profile: The band's latest.
        hung: What hangs from it.
        read: What the tape shows. [m]

    Raises:
        OutOfRangeError: The band was not tested at that length.
    """
    half_path = read + _offset(profile, hung)
    ratio = pull_of(profile, hung) / (profile.force(half_path) * _warmer(profile, hung))
    u, k, _ = _doubt(profile, hung, half_path)
    return JudgedRecheck(expect(profile, hung), ratio, ratio * u, k)


def _offset(profile: Profile, hung: Hung) -> float:
    return offset_over(hung.kind, hung.fittings, profile.band.thickness_m)


def _warmer(profile: Profile, hung: Hung) -> float:
    tested, here = profile.conditions.temperature_C, hung.temperature
    return 1.0 if tested is None or here is None else 1 + profile.temperature_coefficient.per_K * (here - tested)


def _doubt(profile: Profile, hung: Hung, half_path: float) -> tuple[float, float, float]:
    """Relative standard uncertainty of the ratio, its coverage factor, and the slope. [1], [1], [N/m]"""
    at, coefficient = profile.estimate(half_path), profile.temperature_coefficient
    tested, here = profile.conditions.temperature_C, hung.temperature
    unknown = tested is None or here is None
    warm = coefficient.per_K * U_TEMPERATURE if unknown else coefficient.u_per_K * ((here or 0.0) - (tested or 0.0))
    u = hypot(
        at.u / at.force,
        one_set(profile, at),
        hypot(U_READING, U_COMMON) * at.slope / at.force,
        hung.u_mass / hung.mass,
        U_PLACE_UNKNOWN,
        warm,
    )
    return u, max(at.u95 / at.u if at.u else NORMAL_95, NORMAL_95), at.slope


def one_set(profile: Profile, at: ForceEstimate) -> float:
    """How one set on another day differs from the curve of an unchanged band; relative, k = 1."""
    spread = profile.repeatability
    return hypot(spread.cycle_gain, of_another_day(profile), spread.hook_shift_m * at.slope / at.force)


def recheck_answer(
    profile: Profile, hung: Hung, read: float, found: JudgedRecheck, on: date, file: str
) -> RecheckAnswer:
    """The re-check as an answer.

    Args:
        profile: The calibration it was held against.
        hung: What hung from the band.
        read: What the tape showed. [m]
        found: What that length said.
        on: Day of the re-check.
        file: Where it was kept.
    """
    ratio, u = found.level_ratio, found.u_level_ratio
    return RecheckAnswer(
        band=profile.band.id,
        day=profile.made.measured_at,
        findings=doubts(profile.findings),
        on=on.isoformat(),
        file=file,
        passed=found.passed,
        mass_kg=hung.mass,
        shown_tape_m=read,
        level=Level(ratio, u, _of_the_mean(profile, found), found.k * u),
        expected_tape_m=found.expected.length,
        u95_next_set_tape_m=found.expected.half_width,
        smallest_change=found.expected.smallest,
    )


def _of_the_mean(profile: Profile, found: JudgedRecheck) -> float:
    """95 % half-width of the ratio without what one set differs by from the band's average."""
    at = profile.estimate(profile.length(found.expected.pull).length)
    relative = max((found.u_level_ratio / found.level_ratio) ** 2 - one_set(profile, at) ** 2, 0.0) ** 0.5
    return float(found.k * found.level_ratio * relative)
