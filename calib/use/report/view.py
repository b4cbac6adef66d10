"""What an answer looks like before it is a screen or a page: kilos, a few lines, what to do next, tables on request.

Every renderer goes over the same view, so a terminal and a page say the same. Nothing is printed here.
"""

from calib.frozen import dataclass
from calib.units import POUND, SHOWN, Shown
from calib.use.answers.parts import Doubt, Pull

LIMITS = "95 % limits. mean: the band's average; next set: one set on another day."
UNKNOWN_TAPE = (
    "The profile does not say where the tape was held, so lengths are half-path; a new fit of its run says it."
)


@dataclass(frozen=True)
class Grid:
    """A table."""

    headers: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Section:
    """A part that is shown on request."""

    name: str
    title: str
    grid: Grid | None = None
    notes: tuple[str, ...] = ()
    picture: str = ""  # plain characters, lines already broken


@dataclass(frozen=True)
class View:
    """An answer to be seen."""

    kilos: str  # the answer in one sentence; first and last on a screen
    grid: Grid | None = None
    lines: tuple[str, ...] = ()
    findings: tuple[Doubt, ...] = ()
    sections: tuple[Section, ...] = ()
    cut_rows: str = ""  # what a row of the table is, where a short screen may leave rows out
    after: tuple[str, ...] = ()  # said whatever is asked for: what is urgent, which command is next


def other_units(shown: Shown) -> Shown:
    """The units that stand in brackets."""
    return SHOWN["lb" if shown.force == "kg" else "kg"]


def pull_in_both(newton: float, shown: Shown, digits: int = 2) -> str:
    """A pull in both units.

    >>> pull_in_both(147.09975, SHOWN["kg"])
    '15.00 kg (33.1 lb)'
    """
    also = other_units(shown)
    return f"{shown.pull(newton, digits)} {shown.force} ({also.pull(newton, 1)} {also.force})"


def load(kilograms: float, shown: Shown, digits: int = 1) -> str:
    """A load on a bar without its unit.

    Args:
        kilograms: The load. [kg]
        shown: Units for people.
        digits: After the point.
    """
    text = f"{mass(kilograms, shown):.{digits}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def mass(kilograms: float, shown: Shown) -> float:
    """A mass in the unit of people's weights.

    >>> mass(0.90718474, SHOWN["lb"])
    2.0
    """
    return kilograms / (1.0 if shown.force == "kg" else POUND)


def both_loads(kilograms: float, shown: Shown) -> str:
    """A load on a bar in both units.

    >>> both_loads(100.0, SHOWN["kg"])
    '100.0 kg (220.5 lb)'
    """
    also = other_units(shown)
    return f"{load(kilograms, shown)} {shown.force} ({load(kilograms, also)} {also.force})"


def length(metre: float, shown: Shown) -> str:
    """A length with its unit."""
    return f"{shown.tape(metre)} {shown.length}"


def on_the_tape(half_path: float, tape: float | None, shown: Shown) -> str:
    """A length as the tape reads it; as a half-path length where the profile does not say how it was taped."""
    if tape is None:
        return f"half-path length {length(half_path, shown)}"
    return f"{length(tape, shown)} on the tape"


def over_the_tape(over: tuple[float, float], offset: float | None, shown: Shown) -> str:
    """Working lengths as the tape reads them, the half-path lengths once beside them.

    Args:
        over: Half-path lengths, first and last. [m]
        offset: Half-path length less what the tape reads; None where that is not known, or differs. [m]
        shown: Units for people.

    >>> over_the_tape((1.2, 1.8), 0.014, SHOWN["kg"]), over_the_tape((1.2, 1.8), None, SHOWN["kg"])
    ('tape 1.186 to 1.786 m (half-path 1.200 to 1.800 m)', 'half-path lengths from 1.200 to 1.800 m')
    """
    first, last = (shown.tape(x) for x in over)
    if offset is None:
        return f"half-path lengths from {first} to {last} {shown.length}"
    from_, to = (shown.tape(x - offset) for x in over)
    return f"tape {from_} to {to} {shown.length} (half-path {first} to {last} {shown.length})"


def pulls_in_words(loading: Pull | None, unloading: Pull | None, shown: Shown) -> str:
    """Both pulls in one breath."""
    ways = (("loading", loading), ("unloading", unloading))
    return ", ".join(f"{shown.pull(p.force_N)} {shown.force} {way}" for way, p in ways if p is not None)


def pull_cells(pull: Pull | None, shown: Shown) -> tuple[str, ...]:
    """Cells of a table: the pull in both units, then both limits."""
    if pull is None:
        return ("-", "-", "-", "-")
    return (
        shown.pull(pull.force_N),
        other_units(shown).pull(pull.force_N, 1),
        shown.pull(pull.u95_mean_N),
        shown.pull(pull.u95_next_set_N),
    )


def pull_headers(shown: Shown) -> tuple[str, ...]:
    """Headers that go with `pull_cells`."""
    return (shown.force, other_units(shown).force, "+- mean", "+- next set")
