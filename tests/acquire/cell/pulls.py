"""A pull as a load cell sees it, at ten samples a second: at rest, out, held, back. Invented."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from tests.acquire.cell.kinds import LineOfAKind

LINES = 160
REST, OUT, HELD, BACK = 24, 60, 110, 140  # lines until which it rests, goes out, is held, comes back

Written = Callable[[int, float], str]


def pull(i: int) -> float:
    """Kilograms at line `i`, to the hundredth."""
    flicker = (i * 7 % 5 - 2) / 100
    if i < REST or i >= BACK:
        return 0.0
    if i < OUT:
        return round(38.4 * (i - REST) / (OUT - REST), 2)
    if i < HELD:
        return round(38.4 - 0.004 * (i - OUT) + flicker, 2)
    return round(38.2 * (BACK - i) / (BACK - HELD), 2)


def moves(i: int) -> bool:
    """Whether the load moves at line `i`."""
    return REST <= i < OUT or HELD <= i < BACK


def still(i: int) -> bool:
    """Whether it stands."""
    return not moves(i)


def device(
    name: str,
    written: Written,
    unit: str | None = "kg",
    **more: Any,
) -> LineOfAKind:
    """A device that prints the pull.

    Args:
        name: Of the stream.
        written: Line `i` of a number `x` that the device means.
        unit: What `x` is in.
        more: `shown`, the number the device means, from kilograms; `at`, kilograms at line `i`; or of `LineOfAKind`.
    """
    shown: Callable[[float], float] = more.pop("shown", lambda x: x)
    at: Callable[[int], float] = more.pop("at", pull)

    def value(i: int) -> float:
        return shown(at(i))

    return LineOfAKind(name, lambda i: written(i, value(i)), value, unit, **more)


def asked(stream: LineOfAKind, showing: str, answer: str, *, pattern: bool = False) -> LineOfAKind:
    """The same stream where only the user can say what it is."""
    return replace(stream, asked=showing, answer=answer, pattern=pattern)
