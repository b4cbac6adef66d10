"""The use log of a band, `ID.uses.csv`: how often it was pulled, and when. No file is opened here."""

from collections.abc import Iterable
from datetime import date, datetime

from calib.errors import DataError
from calib.frozen import dataclass
from calib.profile.store.band_log import NO_STAMP, VERSION, Kind, LogRow, begun, parse_log, row_text
from calib.stamp import LATEST, Stamp

KIND = Kind("uses", "use log", ("reps",), "bandcurve log")
Moment = tuple[date, datetime]  # a day where the person was, and an instant in UTC
MOST_REPS = 100_000  # in one entry: more is a slip


@dataclass(frozen=True)
class Use:
    """One entry of a band's log."""

    band: str
    on: date
    reps: int
    note: str = ""
    stamp: Stamp = NO_STAMP


def new_log(band: str) -> str:
    """The beginning of a log."""
    return begun(KIND, band)


def row_of(use: Use, version: int = VERSION) -> str:
    """One row."""
    return row_text(use.stamp, use.on, [f"{use.reps}"], use.note, version)


def parse_uses(data: bytes, name: str) -> list[Use]:
    """Read a log; a last row that was cut off is passed over.

    Args:
        data: The whole file.
        name: What to call it in an error.

    Raises:
        DataError: It is no log, or a row of it cannot be used; with its line.
    """
    return [_use(row) for row in parse_log(data, name, KIND)]


def _use(row: LogRow) -> Use:
    try:
        reps = checked_reps(row.cells["reps"])
    except DataError as error:
        raise DataError(error.what, where=row.where, remedy="correct or remove that row") from None
    return Use(row.band, row.about_day, reps, row.cells["note"], row.stamp)


def checked_reps(text: str) -> int:
    """A number of repetitions.

    >>> checked_reps("60")
    60

    Raises:
        DataError: It is none.
    """
    if not (text.isascii() and text.isdecimal()) or len(text) > 9 or not 0 < int(text) <= MOST_REPS:
        raise DataError(
            f"{text[:20]!r} is not a number of repetitions", remedy=f"give a whole number, 1 to {MOST_REPS}"
        )
    return int(text)


def counted_once(uses: Iterable[Use]) -> list[Use]:
    """Entries in order of their day, and of one day in that of their writing; one that is there twice counts once."""
    return sorted({u.stamp.entry: u for u in uses}.values(), key=lambda u: (u.on, u.stamp.at, u.stamp.entry))


def reps_between(uses: Iterable[Use], after: Moment | None, until: Moment | None) -> int:
    """Repetitions after one moment, up to and with another; None leaves that end open.

    A moment is a day and an instant. Of entries about that same day those count as later that were noted after the
    instant; `whole_day` puts all of them before.
    """
    moments = ((u.reps, (u.on, u.stamp.at)) for u in uses)
    return sum(reps for reps, at in moments if (after is None or at > after) and (until is None or at <= until))


def whole_day(day: date) -> Moment:
    """The end of a day, where nothing says at which instant."""
    return day, LATEST
