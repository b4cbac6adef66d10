"""Live doubt about a reading: does it fit what is known so far, and if not, which slip does it look like?

Interpolation of ln(force / (l - 1/l^2)) over stretch l: no fit, no array. Nothing is asked or printed here.
"""

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from math import exp, log

from calib.acquire.recording.plan import neo_hooke
from calib.frozen import dataclass
from calib.records import BranchName

SAME = 0.004  # of stretch: two lengths this close are one
LEAST_STRETCH = 1.01  # below it the log form says nothing
U_STRETCH = 0.003  # of one length reading; times the slope it is part of the tolerance
FIRST_WAY_BACK = 0.90  # of the loading branch; filled rubber loses more, latex less
NO_NEARER = 0.1  # of ln: of slips that fit as well as that, the commoner kind is named
Scored = tuple[float, str]


@dataclass(frozen=True)
class KnownReading:
    """A reading that was accepted."""

    stretch: float  # ratio to the rest length
    force: float  # [N] pull
    branch: BranchName
    cycle: int


@dataclass(frozen=True)
class Expectation:
    """What a reading should be, and how far off it may be before it is questioned."""

    force: float  # [N]
    tolerance: float  # of ln force

    def fits(self, force: float) -> bool:
        """Whether a pull is within the tolerance."""
        return force > 0 and abs(log(force / self.force)) <= self.tolerance


def expect(
    known: Sequence[KnownReading], stretch: float, branch: BranchName, first: float | None = None
) -> Expectation | None:
    """Expected pull at a stretch ratio from the readings so far.

    Args:
        known: Accepted readings, in order.
        stretch: Ratio to the rest length.
        branch: Loading or unloading.
        first: Strands x section x modulus for the very first reading, where the section is known. [N]

    Returns:
        None where nothing is known, or the band is all but slack there.
    """
    if stretch < LEAST_STRETCH:
        return None
    out = _levels(known, "loading")
    found = _interpolate(out, stretch)
    tolerance = 0.0
    if branch == "unloading" and found is not None:
        drop, tolerance = _drop(known, out, stretch)
        found = (found[0] + drop, found[1])
    if found is None:
        return None if first is None else Expectation(first * neo_hooke(stretch), log(4.0))
    slope = (1 + 2 * stretch**-3) / neo_hooke(stretch)  # d ln(l - 1/l^2) / dl
    return Expectation(exp(found[0]) * neo_hooke(stretch), found[1] + tolerance + 2.5 * slope * U_STRETCH)


def _levels(known: Sequence[KnownReading], branch: BranchName) -> list[tuple[float, float]]:
    """(stretch, mean of ln(F / g)) of one branch, rising, readings at one length together."""
    points = sorted(
        (k.stretch, log(k.force / neo_hooke(k.stretch)))
        for k in known
        if k.branch == branch and k.force > 0 and k.stretch >= LEAST_STRETCH
    )
    groups: list[list[tuple[float, float]]] = []
    for point in points:
        if groups and point[0] - groups[-1][0][0] <= SAME:
            groups[-1].append(point)
        else:
            groups.append([point])
    return [(sum(s for s, _ in g) / len(g), sorted(v for _, v in g)[(len(g) - 1) // 2]) for g in groups]


def _interpolate(points: Sequence[tuple[float, float]], stretch: float) -> tuple[float, float] | None:
    """Level and tolerance at a stretch; outside the points half of the last slope is carried on."""
    if not points:
        return None
    below = [p for p in points if p[0] <= stretch + SAME]
    above = [p for p in points if p[0] >= stretch - SAME]
    if below and above:
        (s0, v0), (s1, v1) = below[-1], above[0]
        if s1 - s0 < SAME:
            return v0, 0.05
        return v0 + (v1 - v0) * (stretch - s0) / (s1 - s0), 0.08 + 0.1 * min(stretch - s0, s1 - stretch)
    near, next_near = (below[-1], below[-2:-1]) if below else (above[0], above[1:2])
    distance = abs(stretch - near[0])
    if not next_near:
        return near[1], 0.15 + 0.6 * min(distance, 0.4)
    slope = (near[1] - next_near[0][1]) / (near[0] - next_near[0][0])
    step = max(-0.15, min(0.15, 0.5 * slope * (stretch - near[0])))
    return near[1] + step, 0.12 + 0.3 * min(distance, 0.5)


def _drop(known: Sequence[KnownReading], out: Sequence[tuple[float, float]], stretch: float) -> tuple[float, float]:
    """How far ln force lies below the loading branch, from the unloading readings so far, and its tolerance."""
    seen: list[tuple[float, float]] = []
    for s, level in _levels(known, "unloading"):
        there = _interpolate(out, s)
        if there is not None:
            seen.append((abs(s - stretch), level - there[0]))
    if not seen:
        return log(FIRST_WAY_BACK), 0.12
    distance, drop = min(seen)
    return drop, 0.0 if distance <= SAME else 0.05 + 0.1 * min(distance, 0.5)


@dataclass(frozen=True)
class TypedReading:
    """A typed value that is to be judged, and the ways to judge another value in its place."""

    text: str  # as typed
    value: float  # in the unit typed
    fits: Callable[[float], bool]  # would this value, in the same unit, fit?
    other: Callable[[float], bool]  # would it fit as the other quantity: a length for a force, a force for a length?
    other_name: str  # "length" or "pull"
    unit: str
    units: tuple[tuple[str, float], ...]  # other units with their factor to the unit typed
    wanted: float | None = None  # what was expected, in the unit typed; None where only `fits` is known


def likely_slip(entry: TypedReading) -> str | None:
    """Name the slip that turns the typed value into the one that fits best; None where none does."""
    if entry.value < 0:
        return "a minus sign: is the hook reversed, or was the scale zeroed under load"
    fitting = [(value, words) for value, words in _slips(entry) if entry.fits(value)]
    if fitting:
        wanted = entry.wanted or 0.0
        off = [abs(log(value / wanted)) if value * wanted > 0 else 0.0 for value, _ in fitting]
        return next(words for one, (_, words) in zip(off, fitting, strict=True) if one <= min(off) + NO_NEARER)
    return f"the {entry.other_name} typed in its place" if entry.other(entry.value) else None


def _slips(entry: TypedReading) -> Iterator[Scored]:
    v = entry.value
    points = [(v * f, f"the decimal point ({_short(v * f)})") for f in (10.0, 0.1, 100.0, 0.01)]
    units = [(v * f, f"{unit} instead of {entry.unit}") for unit, f in entry.units]
    yield from units + points if entry.other_name != "length" else points + units  # a length's ten is mm or cm
    for text in filter(_as_a_scale_shows, _transposed(entry.text)):
        yield float(text), f"two digits swapped ({text})"
    for text in filter(_as_a_scale_shows, _misread(entry.text)):
        yield float(text), f"one digit misread ({text})"


def _as_a_scale_shows(text: str) -> bool:
    """No scale shows 07.3, so nobody misread it."""
    return not text.startswith("0") or text.startswith("0.")


def _short(value: float) -> str:
    return f"{value:.4g}" if abs(value) < 1e4 else f"{value:.0f}"


def _plain_digits(text: str) -> str | None:
    """The typed text as a plain decimal number, None where it is something else."""
    plain = text.strip().replace(",", ".")
    return plain if plain.replace(".", "", 1).isdecimal() and plain.isascii() else None


def _transposed(text: str) -> Iterator[str]:
    plain = _plain_digits(text) or ""
    places = [i for i, c in enumerate(plain) if c != "."]
    for i, j in pairwise(places):
        if plain[i] != plain[j]:
            digits = list(plain)
            digits[i], digits[j] = digits[j], digits[i]
            yield "".join(digits)


def _misread(text: str) -> Iterator[str]:
    """One leading digit off; later ones would hide in the tolerance."""
    plain = _plain_digits(text) or ""
    places = [i for i, c in enumerate(plain) if c != "."][:2]
    for i in places:
        digit = int(plain[i])
        for near in sorted(range(10), key=lambda d: abs(d - digit)):
            if near != digit:
                yield plain[:i] + str(near) + plain[i + 1 :]
