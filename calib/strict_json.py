"""JSON read with nothing let pass: size, encoding, duplicate keys, NaN, depth. What the keys mean is not known here."""

import json
import re
from math import inf, isfinite
from pathlib import Path
from typing import Any, NoReturn

from calib.errors import DataError, FileError
from calib.safe_read import read_capped, utf8_text

DEEPEST = 32  # levels; the files of this package need six


_HEADED = re.compile(rb'(?:\xef\xbb\xbf)?\s*# format(?: = "bandcurve-([a-z]*))?')  # the tool's tables begin so


def read_json(path: Path, cap_bytes: int) -> dict[str, Any]:
    """Read a file that holds one JSON object.

    Args:
        path: The file.
        cap_bytes: A larger file is refused before it is read. [byte]

    Raises:
        FileError: It cannot be read, or is too large.
        DataError: It is not strict JSON.
    """
    return parse_json(read_capped(path, cap_bytes), path.name, cap_bytes)


def parse_json(data: bytes, name: str, cap_bytes: int) -> dict[str, Any]:
    """Parse one JSON object.

    Args:
        data: UTF-8, with or without a byte order mark.
        name: What to call it in an error.
        cap_bytes: More is refused. [byte]

    Raises:
        DataError: Too large, empty, not UTF-8, not JSON, not an object, a key twice, NaN or infinity, or too deep.
    """
    if len(data) > cap_bytes:
        raise FileError(f"is larger than {cap_bytes / 1e6:.0f} MB", where=name, remedy="is it the right file?")
    if not data.strip():
        raise DataError("the file is empty", where=name, remedy="is it the right file?")
    if headed := _HEADED.match(data):
        kind = (headed[1] or b"").decode()
        run = kind in ("", "run")
        raise DataError(
            "is a run, not a JSON document" if run else f"is a file of {kind}, not a JSON document",
            where=name,
            remedy=f"fit it first: bandcurve fit {name}" if run else "is it the right file?",
        )
    text = utf8_text(data, name)
    try:
        document = json.loads(text, object_pairs_hook=_unique, parse_constant=_no_constant)
    except json.JSONDecodeError as error:
        where = f"{name}:{error.lineno}"
        raise DataError(
            f"is not JSON ({error.msg}, column {error.colno})", where=where, remedy="was it cut off?"
        ) from None
    except RecursionError:
        raise _too_deep(name) from None
    except DataError as error:
        raise error.placed_at(name) from None
    except ValueError:
        raise DataError("holds a number with too many digits", where=name, remedy="shorten it") from None
    if not isinstance(document, dict):
        raise DataError("holds no JSON object", where=name, remedy="is it the right file?")
    if not _is_finite(document, name):
        _name_too_large(text, name)
    return document


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for key, value in pairs:
        if key in out:
            raise DataError(f"the key {key[:60]!r} appears twice in one object", remedy="remove one of them")
        out[key] = value
    return out


def _no_constant(text: str) -> NoReturn:
    raise DataError(f"{text} is not a number that can be used", remedy="write a finite number or null")


def _name_too_large(text: str, name: str) -> None:
    """Read it once more, slowly, for the number as it is written."""
    try:
        json.loads(text, parse_float=_finite)
    except DataError as error:
        raise error.placed_at(name) from None


def _finite(text: str) -> float:
    value = float(text)
    if not isfinite(value):
        raise DataError(f"{text[:20]} is too large", remedy="write a finite number or null")
    return value


def _too_deep(name: str) -> DataError:
    return DataError(f"is nested deeper than {DEEPEST} levels", where=name, remedy="is it the right file?")


def _is_finite(document: dict[str, Any], name: str) -> bool:
    """Whether every number is; one of 1e999 becomes infinite when it is read."""
    level: list[Any] = [document]
    for _ in range(DEEPEST):
        values = [x.values() if isinstance(x, dict) else x for x in level]
        mixed = [some for some in values if not ({float}.issuperset(map(type, some)) and isfinite(sum(some)))]
        if any(inf in some or -inf in some for some in mixed):
            return False
        level = [v for some in mixed for v in some if isinstance(v, (dict, list))]
        if not level:
            return True
    raise _too_deep(name)
