"""What a folder remembers of how one works there, `bandcurve.memory.json`: gear, rack, plates, units, the last answers.

One value a key, the newest wins; every value carries the instant it was noted. So several programs write it at once,
and where a folder is synced, what two machines noted comes together key by key (a copy that the sync left beside it
is read too). A value is plain JSON; what it means is the caller's business.
"""

import json
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from calib.errors import BandcurveError, DataError
from calib.frozen import dataclass
from calib.safe_read import read_capped
from calib.safe_write import update
from calib.stamp import EARLIEST, Stamp, instant, stamp
from calib.strict_json import parse_json

NAME = "bandcurve.memory.json"
COPIES = "bandcurve.memory*.json"  # a sync that finds two keeps the other one beside it, under a longer name
FORMAT = "bandcurve-memory/1"
CAP_BYTES = 1_000_000


@dataclass(frozen=True)
class Remembered:
    """One value and when it was noted."""

    value: Any
    at: datetime  # UTC


def recall(folder: Path) -> dict[str, Remembered]:
    """Everything a folder remembers, by key; nothing where it remembers nothing, or the file cannot be read.

    Memory is a convenience: what cannot be read is asked again, so it is passed over here. `remember` says so.
    """
    found: dict[str, Remembered] = {}
    for path in sorted(folder.glob(COPIES)):
        try:
            found = newest_of(found, _entries(read_capped(path, CAP_BYTES), path.name))
        except BandcurveError:
            continue
    return found


def remember(folder: Path, values: Mapping[str, Any]) -> None:
    """Note values, now; those of other keys stay as they are, whoever wrote them. None forgets a key.

    Args:
        folder: Where; it is there.
        values: Plain JSON values by key, for example {"gear.tape": "inside"}.

    Raises:
        DataError: The file that is there cannot be read, or is of a newer version.
        FileError: It cannot be written.
    """
    path = folder / NAME
    update(path, lambda there: _text(_noted(there, values, recall(folder))), CAP_BYTES)


def _noted(there: bytes | None, values: Mapping[str, Any], known: Mapping[str, Remembered]) -> dict[str, Remembered]:
    """What is there and the new values, each newer than what is known of its key, in a copy too."""
    before = _entries(there, NAME) if there else {}
    noted = stamp(max((known[key].at for key in values if key in known), default=EARLIEST))
    return newest_of(before, {key: Remembered(value, noted.at) for key, value in values.items()})


def newest_of(one: Mapping[str, Remembered], other: Mapping[str, Remembered]) -> dict[str, Remembered]:
    """Both together, of each key the newest."""
    out = dict(one)
    for key, found in other.items():
        if key not in out or found.at >= out[key].at:
            out[key] = found
    return out


def _entries(data: bytes, name: str) -> dict[str, Remembered]:
    document = parse_json(data, name, CAP_BYTES)
    said = str(document.get("format"))
    if not said.startswith("bandcurve-memory/"):
        raise DataError("is not the memory of a folder", where=name, remedy="move it away, and a new one is begun")
    if said.split("/")[1].split(".")[0] != "1":
        raise DataError(
            f"has the format {said[:40]!r}, newer than this program reads",
            where=name,
            remedy="install a newer bandcurve",
        )
    entries = document.get("entries")
    if not isinstance(entries, dict):
        raise DataError("has no entries", where=name, remedy="move it away, and a new one is begun")
    try:
        return {key: Remembered(entry["value"], instant(entry["at"])) for key, entry in entries.items()}
    except (TypeError, KeyError, ValueError, OverflowError):
        raise DataError(
            "has an entry without value and instant", where=name, remedy="move it away, and a new one is begun"
        ) from None


def _text(entries: Mapping[str, Remembered]) -> str:
    plain = {key: {"at": Stamp("", found.at).at_text, "value": found.value} for key, found in sorted(entries.items())}
    lines = [f"  {json.dumps(key)}: {json.dumps(value, allow_nan=False)}" for key, value in plain.items()]
    body = ",\n".join(lines)
    return f'{{\n"format": "{FORMAT}",\n"entries": {{\n{body}\n}}\n}}\n'
