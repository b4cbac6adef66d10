"""One typed entry of a recording: a reading, and perhaps a length or load of the user's own behind an `@`.

Numbers are read by `typed`; here are the recording's units and rack holes. Nothing is judged here.
"""

from calib.acquire.files.typed import parse_force, parse_length, parse_mass
from calib.acquire.recording.course import Course
from calib.errors import DataError
from calib.frozen import dataclass

LONGEST = 200  # characters of an entry that are looked at


@dataclass(frozen=True)
class Typed:
    """What one line says."""

    text: str  # the reading as typed
    value: float  # [m] or [N]
    setting: float | None = None  # own length [m] or own load [kg]
    setting_text: str | None = None


def clean(line: str) -> str:
    """The line without control characters, at most so long as anything sensible."""
    return "".join(c if c.isprintable() else " " for c in line[: 10 * LONGEST]).strip()[:LONGEST]


def read_entry(text: str, course: Course, *, reads_length: bool, may_set: bool) -> Typed:
    """Read one entry.

    Args:
        text: As typed, cleaned.
        course: For units and holes.
        reads_length: Whether a length is asked for; otherwise a force.
        may_set: Whether a setting of the user's own may follow behind an `@`.

    Raises:
        DataError: It is not what was asked for.
    """
    reading, at, own = (part.strip() for part in text.partition("@"))
    if not reading:
        raise DataError("the reading is missing", remedy="type it before the @, for example 16.35 @ 1290")
    if at and not may_set:
        raise DataError("you cannot choose a length or load here", remedy="type just the number")
    value = parse_length(reading, course.length_unit) if reads_length else parse_force(reading, course.force_unit)
    if not at:
        return Typed(reading, value)
    if reads_length:
        return Typed(reading, value, parse_mass(own, course.force_unit), own)
    return Typed(reading, value, read_setting(own, course), own)


def read_setting(text: str, course: Course) -> float:
    """A length as taped, or the number of a rack hole. [m]

    Raises:
        DataError: It is neither.
    """
    if course.holes is None:
        return parse_length(text, course.length_unit)
    if not (text.isascii() and text.isdecimal()):
        raise DataError(f"{text[:30]!r} is not the number of a hole", remedy="for example 16.35 @ 14")
    length = course.holes.length(int(text[:6]))
    if length <= 0:
        raise DataError(f"hole {int(text[:6])} is not above hole {course.holes.first}", remedy="count the holes again")
    return length


def number_in_unit(value: float, unit: str, table: dict[str, float]) -> str:
    """A value in SI as a plain number in a unit, as many digits as a tape or a scale gives."""
    digits = {"mm": 1, "cm": 2, "in": 3, "m": 4, "ft": 4}.get(unit, 3)
    text = f"{value / table[unit]:.{digits}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def place_words(setting: float, course: Course, table: dict[str, float]) -> str:
    """A planned length as the user sets it: a hole with its length, or the length."""
    length = f"{number_in_unit(setting, course.length_unit, table)} {course.length_unit}"
    return length if course.holes is None else f"hole {course.holes.number(setting)} ({length})"
