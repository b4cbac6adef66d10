"""What people decided about bands, `bandcurve.bands.csv`: retired, suspect, in use, renamed, one band, paired, undone.

Rows are only ever added, each with an id and an instant; what holds now follows from them and from the files that are
there. A decision names the calibrations it was taken about, so it follows them when folders are merged or moved, and
never reaches a band of the same name that is somebody else's. No file is opened here.
"""

import csv
import io
import re
from collections.abc import Iterable
from typing import Literal, cast, get_args

from calib.errors import DataError
from calib.frozen import dataclass
from calib.safe_read import utf8_text
from calib.safe_write import quoted
from calib.stamp import ID_DIGITS, Stamp, instant

Event = Literal["retired", "suspect", "in-use", "renamed", "one-band", "set-aside", "paired", "undone"]
NAME = "bandcurve.bands.csv"
PATTERN = re.compile(r"bandcurve\.bands\b.*\.csv", re.IGNORECASE)  # and the copy a sync leaves under a longer name
FORMAT = "bandcurve-bands"
VERSION = 1
COLUMNS = ("entry", "at", "event", "band", "to", "calibrations", "note")
CAP_BYTES = 4_000_000
_KEY = re.compile(rf"[0-9a-f]{{{ID_DIGITS}}}")


@dataclass(frozen=True)
class Decision:
    """One decision."""

    stamp: Stamp
    event: Event
    band: str  # its name when it was taken
    to: str = ""  # the new name; of "paired" the band on the right; of "undone" the entry that is taken back
    keys: tuple[str, ...] = ()  # of the calibrations it is about; none where the band has only logs
    note: str = ""


def begun() -> str:
    """The beginning of a file."""
    return f'# format = "{FORMAT}/{VERSION}"\n{",".join(COLUMNS)}\n'


def row_of(decision: Decision) -> str:
    """One row."""
    note = quoted(decision.note)
    mark = decision.stamp
    return (
        ",".join((mark.entry, mark.at_text, decision.event, decision.band, decision.to, " ".join(decision.keys), note))
        + "\n"
    )


def with_row(there: bytes | None, name: str, decision: Decision) -> bytes:
    """The file with one decision more; a last row that was cut off goes.

    Raises:
        DataError: What is there cannot be read.
    """
    if there is None:
        return (begun() + row_of(decision)).encode()
    parse_decisions(there, name)
    return there[: there.rfind(b"\n") + 1] + row_of(decision).encode()


def parse_decisions(data: bytes, name: str) -> list[Decision]:
    """Read a file; a last row that was cut off is passed over.

    Args:
        data: The whole file.
        name: What to call it in an error.

    Raises:
        DataError: It is none, is of a newer version, or a row of it cannot be used; with its line.
    """
    text = utf8_text(data[:CAP_BYTES], name).replace("\r\n", "\n")
    lines = text[: text.rfind("\n") + 1].split("\n")
    found = re.fullmatch(rf'# format = "{FORMAT}/([0-9]{{1,4}})(?:\.[0-9]{{1,4}})?"', lines[0])
    if found is None:
        raise DataError("is not a register of bands", where=name, remedy="move it away, and a new one is begun")
    if int(found[1]) > VERSION:
        what = f"is of version {found[1]}, newer than this program reads ({VERSION})"
        raise DataError(what, where=name, remedy="install a newer bandcurve")
    if len(lines) < 2 or tuple(lines[1].split(",")) != COLUMNS:
        raise DataError(f"has no line {','.join(COLUMNS)}", where=name, remedy="move it away, and a new one is begun")
    return [_decision(line, f"{name}:{i}") for i, line in enumerate(lines[2:], 3) if line.strip()]


def _decision(line: str, where: str) -> Decision:
    try:
        entry, at, event, band, to, keys, note = next(csv.reader(io.StringIO(line)))
        mark = Stamp(entry, instant(at))
    except (ValueError, csv.Error, StopIteration, OverflowError):
        raise DataError("is not a decision about a band", where=where, remedy="correct or remove that row") from None
    listed = tuple(keys.split())
    if event not in get_args(Event) or not all(_KEY.fullmatch(key) for key in (entry, *listed)):
        raise DataError(
            f"{event[:20]!r} of {band[:20]!r} is not a decision this program knows",
            where=where,
            remedy="correct or remove that row, or install a newer bandcurve",
        )
    return Decision(mark, cast(Event, event), band, to, listed, note.removeprefix(" "))


def standing(decisions: Iterable[Decision]) -> tuple[list[Decision], frozenset[str]]:
    """Decisions in the order they were taken, each once, without those taken back; and all entries taken back.

    Taking back what took something back makes that stand again.
    """
    ordered = sorted({d.stamp.entry: d for d in decisions}.values(), key=lambda d: (d.stamp.at, d.stamp.entry))
    gone: set[str] = set()
    for decision in reversed(ordered):
        if decision.event == "undone" and decision.stamp.entry not in gone:
            gone.add(decision.to)
    return [d for d in ordered if d.stamp.entry not in gone and d.event != "undone"], frozenset(gone)
