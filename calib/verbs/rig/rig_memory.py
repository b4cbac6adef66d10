"""What a folder remembers of its rigs: units, rack, bar and what holds the bands; a talk that was broken off."""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from typing import Any

from calib.errors import BandcurveError, DataError, UsageError
from calib.profile.store.memory import recall, remember
from calib.use.rig.rig_talk import PLACE, STAND, Stand, remembered_latitude, remembered_stand
from calib.verbs.terminal.prompts import at_terminal, say

DRAFT = "rig.draft"  # key


class Memory:
    """Of one folder, for one rig; what it cannot keep or read is asked for again."""

    def __init__(self, folder: Path, rig: str) -> None:
        self._folder, self._key = folder, f"{DRAFT}.{rig}"
        asked = at_terminal() and folder.is_dir()  # answers through a pipe mean the same every time
        self._known = {key: found.value for key, found in recall(folder).items()} if asked else {}

    def stand(self) -> Stand | None:
        """Of the last rig, as far as it can be read."""
        return remembered_stand(self._known)

    def latitude(self, given: str | None) -> float | None:
        """Of the place: as given now, for the last rig, or where plates were hung to measure a band. [degree]

        Raises:
            UsageError: What is given is none.
        """
        try:
            return remembered_latitude(self._known, given)
        except DataError as error:
            raise UsageError(f"--latitude {str(given)[:20]!r}: {error.what}", remedy="for example 52, or 34S") from None

    def draft(self) -> tuple[str, ...]:
        """Answers of a talk about this rig that was broken off."""
        kept = self._known.get(self._key)
        if not isinstance(kept, list) or not all(isinstance(text, str) for text in kept):
            return ()
        say(f"Continuing after your {len(kept)} earlier answers; back undoes them one by one.")
        return tuple(kept)

    def keep_draft(self, answers: Sequence[str]) -> None:
        """Keep the answers so far; those of a pipe come again as they are."""
        if at_terminal():
            self._note({self._key: list(answers)})

    def keep(self, stand: Stand, latitude: str | None) -> None:
        """Keep what stays for the next rig; the draft has done its work."""
        place = {PLACE: latitude} if latitude else {}
        self._note({STAND: asdict(stand), self._key: None, **place})

    def _note(self, values: dict[str, Any]) -> None:
        with suppress(BandcurveError, OSError):  # the talk goes on without
            if self._folder.is_dir():
                remember(self._folder, values)
