"""TOML read with nothing let pass that could stall the reader: size, depth, parts of a key, number of tables.

The standard library's parser recurses once for each part of a dotted key and copies the key's prefix at every part, so
a key of some thousand parts is a RecursionError and one of 40 000 parts (80 kB) holds gigabytes. Such a text is refused
before it is parsed. What the keys mean is not known here.
"""

import re
import tomllib
from typing import Any

from calib.errors import DataError

LARGEST = 1_000_000  # characters; a head or a rig of this package has a few thousand
MOST_PARTS = 16  # of a dotted key; the files of this package need two
MOST_TABLES = 2000  # a rig or a set of plates has some tens

_PART = r"""(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')"""
_LONG_KEY = re.compile(rf"""(?<![\w"'.-]){_PART}(?:[ \t]*+\.[ \t]*+{_PART}){{{MOST_PARTS},}}""")
_TABLE = re.compile(r"^[ \t]*\[", re.MULTILINE)


def parse_toml(text: str, name: str, part: str = "") -> dict[str, Any]:
    """Parse TOML that a stranger may have written.

    Args:
        text: The document.
        name: What to call the file in an error.
        part: Which part of the file it is, as in "the head"; empty for the whole.

    Raises:
        DataError: Not TOML (with `file:line` where the parser says one), too large, nested too deep, a key of too many
            parts, too many tables.
    """
    if len(text) > LARGEST:
        raise DataError(f"has more than {LARGEST / 1e6:.0f} MB of TOML", where=name, remedy="is it the right file?")
    if found := _LONG_KEY.search(text):
        line = text.count("\n", 0, found.start()) + 1
        raise DataError(f"a key has more than {MOST_PARTS} parts", where=f"{name}:{line}", remedy="remove that line")
    if sum(1 for _ in _TABLE.finditer(text)) > MOST_TABLES:
        raise DataError(f"has more than {MOST_TABLES} tables", where=name, remedy="is it the right file?")
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise DataError(f"{part} is nested too deep".strip(), where=name, remedy="is it the right file?") from None
    except ValueError as error:  # broken TOML, or a number of thousands of digits
        raise _broken(error, name, part) from None


def _broken(error: ValueError, name: str, part: str) -> DataError:
    said = str(error)
    where = re.search(r"line (\d+)", said)
    what = re.sub(r"\s*\(at .*\)$", "", said)[:90]
    return DataError(
        f"{part} is not TOML ({what})".strip(),
        where=f"{name}:{where[1]}" if where else name,
        remedy="correct that line",
    )
