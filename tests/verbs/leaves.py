"""Every number of a document, and the document with one of them pushed to an extreme."""

import copy
from collections.abc import Iterator
from typing import Any

EXTREMES = (0.0, -1.0, 1e308, -1e308, 5e-324)
FACTORS = (1e6, -1.0, 100.0)  # also these times the number itself: another unit, a sign, per cent
Path = tuple[str | int, ...]


def numbers(value: Any, path: Path = ()) -> Iterator[tuple[Path, float]]:
    """Paths and values of all numbers; of a long list its first, middle and last."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from numbers(inner, (*path, key))
    elif isinstance(value, list):
        places = sorted({0, len(value) // 2, len(value) - 1}) if value else []
        for i in places:
            yield from numbers(value[i], (*path, i))
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield path, float(value)


def pushed(document: Any, path: Path, value: float) -> Any:
    """A copy with one number changed; a whole number stays one where it can."""
    made = copy.deepcopy(document)
    here = made
    for part in path[:-1]:
        here = here[part]
    was = here[path[-1]]
    whole = isinstance(was, int) and value == int(value) and abs(value) < 1e15
    here[path[-1]] = int(value) if whole else value
    return made


def all_pushed(document: Any) -> Iterator[tuple[str, Any]]:
    """Each number of a document at each extreme, named for a message."""
    for path, value in numbers(document):
        for extreme in (*EXTREMES, *(value * factor for factor in FACTORS)):
            if abs(extreme) <= 1e308 and extreme != value:
                yield f"{'.'.join(map(str, path))} = {extreme!r}", pushed(document, path, extreme)
