"""The rig somebody last stood in, and the plates there: kept in the folder, offered the next time."""

import os
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from calib.errors import BandcurveError
from calib.profile.store.memory import recall, remember
from calib.profile.store.own_files import own_files
from calib.units import POUND
from calib.verbs.rig.rig_group import END
from calib.verbs.terminal.plain_text import at_terminal

if TYPE_CHECKING:
    from calib.use.rig.plates import Plates

LAST, PLATES = "rig.last", "rig.plates"  # the rig last stood in, and the plates last chosen from, as typed


def rigs_here(folder: Path) -> list[str]:
    """Rig files of a folder and below, the one last stood in first."""
    found = [path.relative_to(folder).as_posix() for path in own_files(folder, f"*{END}")]
    last = _last(folder, LAST)
    return sorted(found, key=lambda name: name != last)


def stand_in(file: Path, plates: "Sequence[Plates] | None" = None, unit: str = "kg") -> None:
    """Keep which rig somebody at a terminal stands in, and the plates there are; no answer waits for that."""
    if not at_terminal():
        return
    kept = {LAST: Path(os.path.relpath(file)).as_posix()} | ({PLATES: _written(plates, unit)} if plates else {})
    known = recall(Path())
    new = {key: value for key, value in kept.items() if key not in known or known[key].value != value}
    with suppress(BandcurveError, OSError):
        if new:
            remember(Path(), new)


def plates_here(folder: Path) -> str | None:
    """The plates last chosen from, as typed, with their unit."""
    return _last(folder, PLATES)


def _last(folder: Path, key: str) -> str | None:
    kept = recall(folder).get(key)
    return kept.value if kept is not None and isinstance(kept.value, str) else None


def _written(plates: "Sequence[Plates]", unit: str) -> str:
    """Plates as an option takes them, each with its unit.

    >>> from calib.use.rig.plates import Plates
    >>> _written([Plates(20.0, 4), Plates(2.5, 2)], "kg")
    '20kgx4,2.5kgx2'
    """
    return ",".join(f"{one.mass / (POUND if unit == 'lb' else 1.0):.6g}{unit}x{one.count}" for one in plates)
