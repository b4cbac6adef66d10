"""What `import` asks at a terminal where neither an option nor the table says it."""

import re
from collections.abc import Callable
from typing import TypeVar

from calib.errors import DataError, UsageError
from calib.half_path import LENGTH_KINDS

T = TypeVar("T")
LEGS = "How many legs of the band pull side by side."
SCALE = "Whatever you call it; bands measured with one scale share its error."
_ASK_KIND = """Where was the tape held?
  band-outer  outer faces of the band
  band-inner  where band and fittings touch
  centres     centres of the fittings
  half-path   converted already, or a single strand
The tape was held: """


def given_or_asked(
    option: str | None, name: str, prompt: str, read: Callable[[str], T], *, empty: str = "", hint: str = ""
) -> T:
    """An option's value; asked for at a terminal, refused by name where nobody can be asked."""
    from calib.verbs.terminal.prompts import EndOfInputError, ask, at_terminal

    if option is not None:
        try:
            return read(option)
        except DataError as error:
            raise UsageError(f"{name}: {error.what}", remedy=error.remedy) from None
    if not at_terminal():
        raise DataError(f"{name} is missing", remedy=f"give {name}; at a terminal it is asked for")
    try:
        return ask(prompt, lambda text: read(text or empty), hint=hint)
    except EndOfInputError:
        raise DataError(f"{name} is missing", remedy=f"give {name}") from None


def taped(kind: str | None, fittings: str | None) -> dict[str, object]:
    """How the tape was held."""
    along = along_of(kind)
    if along == "half-path":
        return {"kind": along}
    return {"kind": along, "fitting_diameters": list(fittings_of(fittings))}


def legs(strands: int | None) -> int:
    """How many strands."""
    given = None if strands is None else str(strands)
    prompt = "Strands, 2 for a loop, 1 for a single strand [2]: "
    return given_or_asked(given, "--strands", prompt, _strands, empty="2", hint=LEGS)


def along_of(kind: str | None) -> str:
    """What the tape was laid along."""
    return given_or_asked(kind, "--kind", _ASK_KIND, _one_of(LENGTH_KINDS), hint="Type one of the four words.")


def fittings_of(fittings: str | None) -> tuple[float, ...]:
    """How thick the fittings are. [m]"""
    prompt = "Diameters of the two fittings in mm, for example 12,12: "
    return given_or_asked(
        fittings,
        "--fittings",
        prompt,
        _diameters,
        hint="What the band lay round: a pin, a hook. One number if both are alike.",
    )


def scale_name(option: str | None) -> str:
    """What the scale is called."""
    from calib.identity import check_id

    return given_or_asked(option, "--scale", "Name of the scale, for example hook: ", check_id, hint=SCALE)


def _strands(text: str) -> int:
    if text not in ("1", "2"):
        raise DataError("the number of strands is 1 or 2")
    return int(text)


def _one_of(known: tuple[str, ...]) -> Callable[[str], str]:
    def read(text: str) -> str:
        if text not in known:
            raise DataError(f"{text[:20]!r} is not one of {', '.join(known)}")
        return text

    return read


def _diameters(text: str) -> tuple[float, ...]:
    from calib.acquire.files.typed import parse_length

    parts = [part for part in re.split(r"[,;\s]+", text.strip()) if part]
    if not 1 <= len(parts) <= 2:
        raise DataError("one diameter, or two with a comma between", remedy="for example 12,12")
    return tuple(parse_length(part, "mm") for part in parts)
