"""Documents with a format and a version: validated, and written the same way each time. No file is opened here.

A newer minor version is read, its unknown fields kept; a newer major version is refused; an unknown field of a known
version is refused with the nearest known name.
"""

import json
import re
from collections.abc import Sequence
from dataclasses import MISSING, fields
from typing import TYPE_CHECKING, Annotated, Any, NamedTuple, TypeVar, get_args

from calib.checked import Limits, Part, quick
from calib.errors import DataError

if TYPE_CHECKING:
    from pydantic import ValidationError

Positive = Annotated[float, Limits(gt=0)]
NotNegative = Annotated[float, Limits(ge=0)]
Numbers = tuple[float, ...]
NotNegatives = tuple[NotNegative, ...]
_YEAR = r"(19|2[01])\d\d"
_LEAP = r"((19|2[01])(0[48]|[2468][048]|[13579][26])|2000)"  # 1900 and 2100 had no 29 February
_DAY = r"(0[1-9]|1[0-2])-(0[1-9]|1\d|2[0-8])|(0[13-9]|1[0-2])-(29|30)|(0[13578]|1[02])-31"
IsoDate = Annotated[str, Limits(pattern=f"^({_YEAR}-({_DAY})|{_LEAP}-02-29)$")]  # a day of 1900 to 2199

Model = TypeVar("Model", bound=Part)
DIGITS = 7  # significant, in every file
MOST_FACTORS = 16  # of one curve


class Version(NamedTuple):
    """A format as this program knows it."""

    name: str
    major: int
    minor: int
    last_of_older: int = 9999  # minor version of the major one before


def validate(model: type[Model], document: dict[str, Any], known: Version, name: str) -> Model:
    """Make a typed document of parsed JSON.

    Args:
        model: What it should be.
        document: Parsed JSON.
        known: The newest version this program writes.
        name: What to call the document in an error.

    Raises:
        DataError: Another format, a newer major version, or a field that is missing, unknown or wrong.
    """
    newer = is_newer_minor(document.get("format"), known, f"{name}: format")
    made = None if newer else quick(model, document)
    if made is not None:
        return made
    from pydantic import ValidationError

    from calib.checked_words import judged

    try:
        return judged(model, document, newer=newer)
    except ValidationError as error:
        raise _sentence(error, model, name) from None


def is_newer_minor(text: object, known: Version, where: str, begins: str = "is it the right file?") -> bool:
    """Whether a format that a file names is of a newer minor version, so that it may hold what nobody here knows.

    Args:
        text: Under `format`; None where there is none.
        known: The newest version this program writes.
        where: It stands.
        begins: The remedy where there is no format.

    Raises:
        DataError: Another format, or a newer major version.
    """
    mine = f"{known.name}/{known.major}"
    found = re.fullmatch(r"([a-z-]+)/([0-9]{1,4})(?:\.([0-9]{1,4}))?", text) if isinstance(text, str) else None
    if found is None or found[1] != known.name:
        said = "has no format" if text is None else f"has the format {str(text)[:40]!r}"
        kinds = [one.removeprefix("bandcurve-") for one in (found[1] if found else "", known.name)]
        remedy = f"it is a {kinds[0]}, and a {kinds[1]} is needed here" if found else begins
        raise DataError(f"{said}, {mine!r} is needed", where=where, remedy=remedy)
    if int(found[2]) > known.major:
        said = f"is of version {found[2]}, newer than this program reads ({known.major})"
        raise DataError(said, where=where, remedy="install a newer bandcurve")
    if int(found[2]) < 1:
        raise DataError(f"has the format {text!r}, which never existed", where=where, remedy=f"use {mine}")
    newest = known.minor if int(found[2]) == known.major else known.last_of_older
    return int(found[3] or 0) > newest


def _sentence(error: "ValidationError", model: type[Part], name: str) -> DataError:
    """The first mistake in words, an unknown field before a missing one: the one often is the other mistyped."""
    mistakes = sorted(error.errors(include_url=False), key=lambda e: e["type"] != "extra_forbidden")
    first = mistakes[0]
    path = key_path(first["loc"])
    more = f" ({len(mistakes) - 1} more)" if len(mistakes) > 1 else ""
    where = f"{name}: {path}" if path else name
    if first["type"] == "extra_forbidden":
        from difflib import get_close_matches

        near = get_close_matches(str(first["loc"][-1]), _fields_at(model, first["loc"][:-1]), n=1)
        remedy = f"did you mean {near[0]!r}?" if near else "free fields belong under 'extensions'"
        return DataError(f"unknown field{more}", where=where, remedy=remedy)
    if first["type"] == "missing":
        return DataError(f"is missing{more}", where=where, remedy="add it")
    if first["type"] == "value_error":
        cause = first["ctx"]["error"]
        what, remedy = (cause.what, cause.remedy) if isinstance(cause, DataError) else (str(cause), "")
        return DataError(f"{what}{more}", where=where, remedy=remedy or "correct the value, or make the file again")
    value = json.dumps(first["input"], default=str)
    shown = f", not {value if len(value) <= 40 else value[:37] + '...'}" if len(value) < 400 else ""
    words = first["msg"].replace("Input should", "should")
    return DataError(f"{words}{shown}{more}", where=where, remedy="correct the value, or make the file again")


def key_path(loc: Sequence[int | str]) -> str:
    """Write a place in a document as `factors[2].loading_N`."""
    return "".join(f"[{part}]" if isinstance(part, int) else f".{part[:60]}" for part in loc).lstrip(".")


def _fields_at(model: type[Part], loc: Sequence[int | str]) -> list[str]:
    """Field names of the part of a model that a place in the document leads to."""
    here: Any = model
    for part in loc:
        if isinstance(part, str):
            here = _part_in(_names(here)[part].type) if part in _names(here) else None
        if here is None:
            return []
    return list(_names(here))


def _names(part: Any) -> dict[str, Any]:
    """Fields by the names of the file."""
    return {f.metadata.get("alias", f.name): f for f in fields(part)}


def _part_in(annotation: Any) -> type[Part] | None:
    if isinstance(annotation, type) and issubclass(annotation, Part):
        return annotation
    return next((found for inner in get_args(annotation) if (found := _part_in(inner))), None)


def to_json(document: Part) -> str:
    """Text of a document: keys in schema order, seven significant digits, the same bytes for the same content."""
    return _text(plain_json(document), 0) + "\n"


def plain_json(value: Any) -> Any:
    """Plain JSON values, seven digits; a field that may be left out is left out where it holds its default."""
    if isinstance(value, Part):
        known = {f.name: (name, f) for name, f in _names(value).items()}
        told = {known[name][0] if name in known else name: v for name, v in value
                if name not in known or not _is_default(v, known[name][1])}  # fmt: skip
        return {name: plain_json(v) for name, v in told.items()}
    if isinstance(value, dict):
        return {str(k): plain_json(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [float(_SHORT(v)) if type(v) is float else plain_json(v) for v in value]
    return float(_SHORT(value)) if isinstance(value, float) else value


def _is_default(value: Any, field: Any) -> bool:
    made = field.default if field.default_factory is MISSING else field.default_factory()
    return made is not MISSING and bool(value == made)


_SHORT = f"{{:.{DIGITS}g}}".format
_FLAT = json.JSONEncoder(ensure_ascii=True, allow_nan=False).encode


def _text(value: Any, depth: int) -> str:
    """JSON with one line a key; lists of plain values and short objects on one line."""
    nested = isinstance(value, dict | list) and any(
        isinstance(v, dict | list) for v in (value.values() if isinstance(value, dict) else value)
    )
    if not nested:
        flat = _FLAT(value)
        if not isinstance(value, dict) or len(flat) <= 110:
            return flat
    pad, close = "  " * (depth + 1), "  " * depth
    if isinstance(value, dict):
        body = [f"{_FLAT(k)}: {_text(v, depth + 1)}" for k, v in value.items()]
        return "{\n" + ",\n".join(pad + line for line in body) + f"\n{close}}}"
    return "[\n" + ",\n".join(pad + _text(v, depth + 1) for v in value) + f"\n{close}]"
