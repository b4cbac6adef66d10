"""Which names may stand for a band or a scale: they become file names, so paths and device names are refused."""

import re

from calib.errors import DataError

PATTERN = r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$"
_DEVICES = frozenset({"con", "prn", "aux", "nul", *(f"{d}{i}" for d in ("com", "lpt") for i in range(10))})


def check_id(text: str) -> str:
    """Return the name as it is, or refuse it.

    Raises:
        DataError: It is empty, longer than 64 characters, holds others than letters, digits, dot, underscore, hyphen,
            or is the name of a device on some system.
    """
    remedy = "use letters, digits, dot, underscore or hyphen, starting with a letter or digit"
    if not re.fullmatch(PATTERN, text):
        raise DataError(f"{text[:40]!r} cannot be a name", remedy=remedy)
    if text.split(".")[0].lower() in _DEVICES:
        raise DataError(f"{text!r} is the name of a device on some systems", remedy="choose another name")
    return text
